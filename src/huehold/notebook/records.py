"""Rows of the notebook as plain types, and the core types as rows."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from types import MappingProxyType
from typing import Any, Literal, TypeVar

import numpy as np
from pydantic import ConfigDict, TypeAdapter, with_config

from huehold.core import OBSERVED, Ellipse, Event, Observation, Rect
from huehold.run import Picture

__all__ = ["MassEntry", "Note", "Outline", "RunRecord"]

T = TypeVar("T")
_LONGEST_S = 1e9

OBSERVATION_COLUMNS = (*OBSERVED, "reasons", "vessel", "strip")


@dataclass(frozen=True, slots=True)
class RunRecord:
    """What the notebook knows of a run beside its observations.

    Attributes
    ----------
    id : int
        Number of the run in this notebook.
    started_at, finished_at : str
        UTC, ISO 8601; `finished_at` is None while the run is open or after a crash.
    title, program, method : str
        Name given by the user; version of huehold; the method as its file's text.
    settings, source, inputs : mapping
        As they were given to the run.
    calibrations : tuple of mapping
        Name, version and content of each calibration used.
    verdict : mapping or None
        The verdict, once finished.
    removed_at : str or None
        When the run was put away; it can be brought back.
    main_result : str
        The assay's main result in short; empty without one. `Notebook.result` has all of it.
    """

    id: int
    started_at: str
    finished_at: str | None
    title: str
    program: str
    method: str
    settings: Mapping[str, Any]
    source: Mapping[str, Any]
    inputs: Mapping[str, Any]
    calibrations: tuple[Mapping[str, Any], ...]
    verdict: Mapping[str, Any] | None
    removed_at: str | None
    main_result: str


@dataclass(frozen=True, slots=True)
class MassEntry:
    """A titrant mass as it stands now, or one of its earlier revisions.

    Attributes
    ----------
    entry, revision : int
        Number of the entry in its run, and of this version of it, both from 1.
    time_s, mass_g : float
        Seconds from the first frame; cumulative grams of titrant.
    typed : str
        The characters as typed.
    source : str
        ``"typed"``, ``"balance"``, ``"display"`` or ``"file"``.
    struck : bool
        Whether this revision takes the entry back.
    entered_at : str
        UTC, ISO 8601.
    """

    entry: int
    revision: int
    time_s: float
    mass_g: float
    typed: str
    source: str
    struck: bool
    entered_at: str


@dataclass(frozen=True, slots=True)
class Outline:
    """Where the user said that the liquid or the white is.

    Attributes
    ----------
    time_s : float
        Seconds from the first frame.
    what : {"vessel", "white"}
    shape : mapping of str to float, or None
        The fields of an `Ellipse` or a `Rect` in pixels of the frames; None leaves it to the
        program again.
    entered_at : str
        UTC, ISO 8601.
    """

    time_s: float
    what: Literal["vessel", "white"]
    shape: Mapping[str, float] | None
    entered_at: str

    @property
    def placed(self) -> Ellipse | Rect | None:
        """The outline itself."""
        if self.shape is None:
            return None
        return (Ellipse if self.what == "vessel" else Rect)(**self.shape)


@dataclass(frozen=True, slots=True)
class Note:
    """A remark made during a run."""

    time_s: float
    text: str
    entered_at: str


def observation_row(observation: Observation) -> tuple[object, ...]:
    """Return an observation as the values of `OBSERVATION_COLUMNS`; NaN becomes NULL."""
    numbers = (_null(getattr(observation, name)) for name in OBSERVED)
    vessel = json.dumps(asdict(observation.vessel)) if observation.vessel else None
    strip = observation.strip.tobytes() if observation.strip is not None else None
    return (*numbers, json.dumps(observation.reasons), vessel, strip)


def observation_from(row: tuple[Any, ...]) -> Observation:
    """Return the observation of a row with the columns `OBSERVATION_COLUMNS`.

    Raises
    ------
    ValueError, TypeError
        If the row is damaged.
    """
    numbers = {name: _number(value) for name, value in zip(OBSERVED, row, strict=False)}
    if not 0.0 <= numbers["trust"] <= 1.0 or math.isnan(numbers["time_s"]):
        raise ValueError("an observation without time or trust")
    reasons, vessel, strip = row[len(OBSERVED) :]
    return Observation(
        **numbers,
        reasons=_texts(json.loads(reasons)),
        vessel=_ellipse(json.loads(vessel)) if vessel else None,
        strip=np.frombuffer(strip, np.uint8).reshape(-1, 3) if strip else None,
    )


def _number(value: Any) -> float:
    number = math.nan if value is None else float(value)
    if math.isinf(number):
        raise ValueError("a number without end")
    return number


def _texts(values: Any) -> tuple[str, ...]:
    if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
        raise ValueError("reasons that are no texts")
    return tuple(values)


def _ellipse(values: Any) -> Ellipse:
    return Ellipse(**{name: _number(value) for name, value in values.items()})


def time_from(row: tuple[Any, ...]) -> float | None:
    """Return the time in a row (time_s,), or None if there is none."""
    time_s = _number(row[0])
    if abs(time_s) > _LONGEST_S:
        raise ValueError("a time beyond any run")
    return None if math.isnan(time_s) else time_s


def event_row(event: Event) -> tuple[object, ...]:
    """Return an event as (time_s, kind, end_s, told_s, detail)."""
    return (event.time_s, event.kind, event.end_s, event.told_s, json.dumps(dict(event.detail)))


def event_from(row: tuple[Any, ...]) -> Event:
    """Return the event of a row (time_s, kind, end_s, told_s, detail)."""
    time_s, kind, end_s, told_s, detail = row
    return Event(time_s, kind, end_s, told_s, MappingProxyType(json.loads(detail)))


def mass_from(row: tuple[Any, ...]) -> MassEntry:
    """Return the entry of a row with the fields of `MassEntry` in order."""
    return checked(MassEntry, row)


def note_from(row: tuple[Any, ...]) -> Note:
    """Return the remark of a row (time_s, text, entered_at)."""
    return checked(Note, row)


def outline_from(row: tuple[Any, ...]) -> Outline:
    """Return the outline of a row (time_s, what, shape, entered_at).

    Raises
    ------
    ValueError, TypeError
        If the row is damaged.
    """
    time_s, what, shape, entered_at = row
    found = checked(Outline, (time_s, what, json.loads(shape) if shape else None, entered_at))
    found.placed  # noqa: B018 - the names of its fields must be those of its kind
    return found


def result_from(row: tuple[Any, ...]) -> Mapping[str, Any]:
    """Return the result of a row (content,)."""
    found = json.loads(row[0])
    if not isinstance(found, dict):
        raise ValueError("a result that is no object")
    return found


def main_result(result: Mapping[str, Any]) -> str:
    """Return the main line of a result file's assay: the dose's if there is one, or nothing."""
    results = (result.get("assay") or {}).get("results") or {}
    for key in ("dose", "content", *results):
        if key in results:
            return str(results[key].get("text", ""))
    return ""


def picture_from(row: tuple[Any, ...]) -> Picture:
    """Return the thumbnail of a row (time_s, jpeg)."""
    return checked(Picture, row)


def run_from(row: tuple[Any, ...]) -> RunRecord:
    """Return the run of a full row of the table."""
    values = list(row)
    for index in (6, 7, 8, 9, 10):
        values[index] = json.loads(values[index]) if values[index] else None
    return checked(RunRecord, values)


def checked(kind: type[T], row: Sequence[Any]) -> T:
    """Return a row as a dataclass whose fields it holds in order.

    Raises
    ------
    ValueError
        If a value is not of its field's type or not finite.
    """
    names = (field.name for field in fields(kind))  # type: ignore[arg-type]
    found: T = _ADAPTERS[kind].validate_python(dict(zip(names, row, strict=True)))
    return found


def _null(number: float) -> float | None:
    return None if math.isnan(number) else number


_FINITE = with_config(ConfigDict(allow_inf_nan=False))
_ADAPTERS: Mapping[type, TypeAdapter[Any]] = {
    kind: TypeAdapter(_FINITE(kind)) for kind in (MassEntry, Note, Outline, Picture, RunRecord)
}
