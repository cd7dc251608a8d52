"""The result file's schema, for checking files that were written here or elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from huehold.errors import InputError

__all__ = ["ResultFile", "check_result"]


class _Part(BaseModel):
    """A part of the file: additions are allowed, NaN is not, numbers stay numbers."""

    model_config = ConfigDict(extra="allow", allow_inf_nan=False, strict=True)


class _Source(_Part):
    name: str
    duration_s: float | None = Field(ge=0)
    frames_seen: int = Field(ge=0)
    frames_used: int = Field(ge=0)
    width_px: int = Field(ge=0)
    height_px: int = Field(ge=0)


class _Endpoint(_Part):
    onset_s: float
    confirmed_s: float
    hold_s: float = Field(ge=0)
    hue_deg: float | None = Field(ge=0, le=360)
    cleared: bool | None


class _Addition(_Part):
    time_s: float
    mass_g: float | None
    cumulative_g: float | None


class _FadeBack(_Part):
    peak_s: float
    back_s: float | None


class _Disturbance(_Part):
    start_s: float
    end_s: float | None
    kind: str


class _Vessel(_Part):
    time_s: float
    x_px: float
    y_px: float
    semi_major_px: float = Field(gt=0)
    semi_minor_px: float = Field(gt=0)
    angle_deg: float


class _Reading(_Part):
    time_s: float
    mass_g: float
    source: str


class _Trace(_Part):
    time_s: list[float]
    hue_deg: list[float | None]
    chroma: list[float | None]
    lightness: list[float | None]
    turbidity: list[float | None]
    trust: list[float | None]

    @model_validator(mode="after")
    def _columns_agree(self) -> Self:
        lengths = {name: len(column) for name, column in self if isinstance(column, list)}
        if len(set(lengths.values())) > 1:
            raise ValueError(f"the columns differ in length: {lengths}")
        if any(
            later < earlier for earlier, later in zip(self.time_s, self.time_s[1:], strict=False)
        ):
            raise ValueError("time_s runs backwards")
        return self


class ResultFile(_Part):
    """One run as a file, schema ``huehold.run/1``; further fields are allowed."""

    schema_: Literal["huehold.run/1"] = Field(alias="schema")
    source: _Source
    method: str
    verdict: Literal["endpoint", "not_reached", "overshoot", "no_start_colour", "unreadable"]
    endpoint: _Endpoint | None
    additions: list[_Addition]
    fade_backs: list[_FadeBack]
    disturbances: list[_Disturbance]
    vessel: list[_Vessel]
    trace: _Trace
    readings: list[_Reading]
    assay: dict[str, Any] | None
    warnings: list[str]

    @model_validator(mode="after")
    def _endpoint_agrees(self) -> Self:
        if (self.verdict == "endpoint") != (self.endpoint is not None):
            raise ValueError("endpoint must be there exactly when the verdict is 'endpoint'")
        return self


def check_result(result: Mapping[str, Any]) -> None:
    """Check an object read from a result file against the schema.

    Parameters
    ----------
    result : mapping
        The parsed JSON object.

    Raises
    ------
    InputError
        If it does not follow ``huehold.run/1``; the message names every fault's place.
    """
    try:
        ResultFile.model_validate(dict(result))
    except ValidationError as error:
        faults = "; ".join(_fault(fault) for fault in error.errors())
        raise InputError(f"This is not a huehold.run/1 result: {faults}.") from error


def _fault(fault: Mapping[str, Any]) -> str:
    place = ".".join(str(step) for step in fault["loc"]) or "the object"
    return f"{place}: {fault['msg']}"
