"""What every calibration file says: what it is, when it was made, values with their doubt.

A file is a small TOML document. Each kind of calibration has a model of its own, built on
`Calibration`; a key that is not listed is an error, so that a slip of the pen cannot pass
for a setting.
"""

from __future__ import annotations

import datetime as dt
import difflib
import functools
import math
import typing
from collections.abc import Callable
from typing import Annotated, Any, Literal, ParamSpec, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from huehold.errors import InputError

__all__ = [
    "SCHEMA", "Calibration", "Origin", "Table", "Text", "Value", "checked", "faults", "plainly",
    "remind_date",
]  # fmt: skip

SCHEMA = "huehold.calibration/1"

Origin = Literal["measured", "virtual bench"]
P = ParamSpec("P")
R = TypeVar("R")
Text = Annotated[str, Field(min_length=1)]


class Table(BaseModel):
    """A table of a calibration file: frozen, no unknown keys, no NaN."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Value(Table):
    """A value with its standard uncertainty, its unit and where it is from.

    ``dof`` are the degrees of freedom of ``u``; left out, ``u`` counts as well known.
    """

    value: float
    u: float = Field(ge=0)
    unit: str = ""
    source: Text
    dof: float | None = Field(default=None, gt=0)

    def text(self) -> str:
        """Value and standard uncertainty as people read them, to two digits of the latter."""
        if self.u == 0.0:
            return f"{self.value:g} {self.unit}".rstrip()
        decimals = max(0, 1 - math.floor(math.log10(self.u)))
        return f"{self.value:.{decimals}f} +/- {self.u:.{decimals}f} {self.unit}".rstrip()


class Calibration(Table):
    """What all kinds of calibration have in common.

    Attributes
    ----------
    schema_ : str
        Name and version of the file's layout; ``schema`` in the file.
    kind : str
        What was calibrated: ``"dropper"``, ``"balance"`` and so on.
    name : str
        Lower case with hyphens, unique within the kind.
    version : int
        Counts up each time a calibration of that kind and name is made anew.
    date : date
        When it was measured.
    remind_after : date or None
        From when on one is reminded to repeat it.
    origin : {"measured", "virtual bench"}
        ``"virtual bench"`` marks computed data that nobody has measured yet.
    device, light : str
        The camera and the light it holds for; empty if that does not matter.
    method : str
        The method it holds for; empty for any.
    """

    schema_: Literal["huehold.calibration/1"] = Field(
        default="huehold.calibration/1", alias="schema"
    )
    kind: Text
    name: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)
    version: int = Field(default=1, ge=1)
    date: dt.date
    remind_after: dt.date | None = None
    origin: Origin = "measured"
    device: str = ""
    light: str = ""
    method: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.remind_after is not None and self.remind_after < self.date:
            raise ValueError("remind_after lies before the date")
        return self

    @property
    def ref(self) -> str:
        """How a run names it: ``"dropper/kitchen@2"``."""
        return f"{self.kind}/{self.name}@{self.version}"

    def age_days(self, today: dt.date) -> int:
        """Days since it was measured; negative if the clock was wrong then or is now."""
        return (today - self.date).days

    def reminder(self, today: dt.date) -> str:
        """Return a sentence if it is time to repeat it, or if its date cannot be; else ``""``."""
        if self.age_days(today) < 0:
            return (
                f"{self.ref} is dated {self.date}, which is still to come; check the date of this "
                "computer."
            )
        if self.remind_after is not None and today > self.remind_after:
            return (
                f"{self.ref} was measured on {self.date}, {self.age_days(today)} days ago; it was "
                f"to be repeated after {self.remind_after}."
            )
        return ""

    def summary(self) -> str:
        """One line that says what was found."""
        return self.note or self.kind


def remind_date(made: dt.date, days: int) -> dt.date:
    """Date after which one is reminded."""
    return made + dt.timedelta(days=days)


def checked(model: type[Calibration], data: object, where: str) -> Calibration:
    """Check plain data against the model of its kind.

    Raises
    ------
    InputError
        In one sentence, with every fault and its place.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise InputError(f"{where}: {faults(model, error)}") from error


def plainly(make: Callable[P, R]) -> Callable[P, R]:
    """Have a function that makes a calibration say in a sentence what its model refuses."""

    @functools.wraps(make)
    def tell(*args: P.args, **kwargs: P.kwargs) -> R:
        """Make it, and say what the model refuses."""
        try:
            return make(*args, **kwargs)
        except ValidationError as error:
            raise InputError(f"This cannot be kept: {faults(Table, error)}.") from error

    return tell


def faults(model: type[BaseModel], error: ValidationError) -> str:
    """Say what is wrong, each fault with its place, separated by semicolons."""
    found = error.errors()
    told = [_fault(model, fault) for fault in found[:5]]
    if len(found) > 5:
        told.append(f"and {len(found) - 5} more faults")
    return "; ".join(told)


def _fault(model: type[BaseModel], fault: Any) -> str:
    loc, kind = fault["loc"], fault["type"]
    if kind == "extra_forbidden":
        return _unknown_key(model, loc)
    if kind == "missing":
        return f"'{_place(loc)}' is missing"
    message = str(fault["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        return f"{_place(loc)}: {message}" if loc else message
    given = repr(fault["input"])
    shown = given if len(given) <= 60 else given[:57] + "..."
    return f"'{_place(loc)}' is {shown}: {message[0].lower()}{message[1:]}"


def _place(loc: tuple[str | int, ...]) -> str:
    text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc)
    return text.removeprefix(".")


def _unknown_key(model: type[BaseModel], loc: tuple[str | int, ...]) -> str:
    valid = _valid_keys(model, loc[:-1])
    near = difflib.get_close_matches(str(loc[-1]), valid, n=1, cutoff=0.4)
    where = f" in [{_place(loc[:-1])}]" if len(loc) > 1 else ""
    hint = f"the nearest valid key is '{near[0]}'" if near else f"valid are {', '.join(valid)}"
    return f"unknown key '{loc[-1]}'{where}; {hint}"


def _valid_keys(model: type[BaseModel], loc: tuple[str | int, ...]) -> list[str]:
    for part in loc:
        field = model.model_fields.get(part) if isinstance(part, str) else None
        model = (_table_in(field.annotation) if field is not None else None) or model
    return [field.alias or name for name, field in model.model_fields.items()]


def _table_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and not typing.get_args(annotation):
        return annotation if issubclass(annotation, BaseModel) else None
    found = (_table_in(part) for part in typing.get_args(annotation))
    return next((table for table in found if table is not None), None)
