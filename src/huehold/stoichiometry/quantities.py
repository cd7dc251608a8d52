"""Numbers and quantities as people type them: decimal commas, units, a stated doubt."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

from huehold.errors import InputError
from huehold.stoichiometry.units import convert, quantity

__all__ = ["Typed", "positive", "read", "read_number"]

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)*|[.,]\d+)(?:[eE][+-]?\d+)?"
_TYPED = re.compile(rf"^\s*({_NUMBER})\s*(?:(?:±|\+/-|\+-)\s*({_NUMBER}))?\s*(.*?)\s*$")
_EXAMPLES = {"g": "5.22 g", "mL": "10 mL", "g/mL": "1.044", None: "5.0 %"}
_NOT_NUMBERS = {"nan", "inf", "-inf", "+inf", "infinity", "-infinity"}


@dataclass(frozen=True, slots=True)
class Typed:
    """A number as it was given, with the doubt that its last digit or a +/- states.

    Attributes
    ----------
    value : float
        In `unit`.
    unit : str
        Empty if none was given.
    half_width : float
        Half a step of the last digit given, or what was typed after ``+/-``.
    stated : bool
        Whether the half width was typed.
    text : str
        What was given.
    """

    value: float
    unit: str
    half_width: float
    stated: bool
    text: str

    def to(self, unit: str, what: str) -> Typed:
        """Convert value and half width; a missing unit is taken to be `unit`."""
        if not self.unit:
            return replace(self, unit=unit)
        value = convert(quantity(self.value, self.unit), unit, what).magnitude
        half = convert(quantity(self.half_width, self.unit), unit, what).magnitude
        return replace(self, value=value, half_width=half, unit=unit)


def read_number(text: str, what: str) -> float:
    """Read a plain number; a decimal comma is accepted.

    Raises
    ------
    InputError
        If it is not a finite number, or a comma could mean a thousand.
    """
    typed = _from_text(text, what, "5.0")
    if typed.unit:
        raise InputError(f"{what}: '{text}' should be a number without a unit")
    return typed.value


def read(given: object, unit: str | None, what: str) -> Typed:
    """Read what was given as a quantity of a unit.

    Parameters
    ----------
    given : str, float, int, pint quantity or Typed
        Text such as ``"5.22 g"``, ``"5,22"`` or ``"5.0 +/- 0.1 %"``. A plain number is taken
        to be in `unit`; it carries no digits, so its half width is zero.
    unit : str or None
        The unit wanted; None keeps the one typed.
    what : str
        What it is, for the message, such as ``"the sample mass"``.

    Raises
    ------
    InputError
        If it is not a finite number, the unit is unknown or of the wrong dimension.
    """
    typed = _typed(given, what, _EXAMPLES.get(unit, "5.0"))
    return typed if unit is None else typed.to(unit, what)


def positive(typed: Typed, what: str, cause: str) -> Typed:
    """Pass a number above zero on; else say what is wrong and its likely cause.

    Raises
    ------
    InputError
        If it is zero or negative.
    """
    if typed.value > 0:
        return typed
    size = "zero" if typed.value == 0 else f"negative ({typed.value:g} {typed.unit})"
    raise InputError(f"{what} is {size}; it must be above zero ({cause})")


def _typed(given: object, what: str, example: str) -> Typed:
    if isinstance(given, Typed):
        return given
    if isinstance(given, str):
        return _from_text(given, what, example)
    if isinstance(given, bool) or given is None:
        raise InputError(f"{what} must be a number with a unit, not {given!r}")
    if hasattr(given, "magnitude") and hasattr(given, "units"):  # pint, of any registry
        value = _finite(float(given.magnitude), what)
        return Typed(value, str(given.units), 0.0, False, str(given))
    try:
        value = float(given)  # type: ignore[arg-type]
    except (TypeError, ValueError) as error:
        raise InputError(f"{what} must be a number with a unit, not {given!r}") from error
    return Typed(_finite(value, what), "", 0.0, False, repr(value))


def _from_text(text: str, what: str, example: str) -> Typed:
    if text.strip().lower() in _NOT_NUMBERS:
        raise InputError(f"{what} is '{text.strip()}', which is not a finite number")
    match = _TYPED.match(text)
    if match is None:
        raise InputError(f"{what}: '{text}' is not a number; write for example {example}")
    number, doubt, unit = match.groups()
    value = _finite(_decimal(number, what), what)
    half = _decimal(doubt, what) if doubt else _half_digit(number)
    if half < 0:
        raise InputError(f"{what}: the uncertainty after +/- in '{text}' must not be negative")
    return Typed(value, unit, half, doubt is not None, text.strip())


def _finite(value: float, what: str) -> float:
    if not math.isfinite(value):
        raise InputError(f"{what} is {value}, which is not a finite number")
    return value


def _decimal(text: str, what: str) -> float:
    commas, points = text.count(","), text.count(".")
    if commas + points > 1 or (commas == 1 and re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text)):
        raise InputError(
            f"{what}: in '{text}' it is not clear whether the comma or point marks thousands or "
            "decimals; write the number with one decimal point and no thousands mark"
        )
    return float(text.replace(",", "."))


def _half_digit(text: str) -> float:
    mantissa, _, exponent = text.lower().replace(",", ".").partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5 * float(10.0 ** (int(exponent or 0) - decimals))
