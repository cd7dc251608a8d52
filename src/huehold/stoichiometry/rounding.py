"""Rounding once, at the end, and by the decimal digits people see.

Ties go to the even digit (ISO 80000-1:2009 Annex B, rule A; ASTM E29). Work is done on decimal
text: a binary float such as 12.35 lies just below the tie that its text shows.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal, InvalidOperation

from huehold.errors import InputError, UsageError

__all__ = ["round_half_even", "significant", "with_uncertainty"]

_WIDE = Context(prec=60)
_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_PLAIN_EXPONENTS = range(-4, 7)

Number = str | Decimal | int | float


def round_half_even(number: Number, digits: int) -> Decimal:
    """Round to a number of decimal places; a tie goes to the even last digit.

    Parameters
    ----------
    number : str, Decimal, int or float
        Text and Decimal are taken digit by digit; a float as its shortest decimal text, so
        12.35 means 12.35.
    digits : int
        Decimal places; negative for tens, hundreds: -1 rounds 1225 to 1220.

    Returns
    -------
    Decimal
        With exactly that many decimal places.

    Raises
    ------
    InputError
        If `number` is no finite number.
    """
    return _at_exponent(_decimal(number), -digits)


def significant(number: Number, digits: int) -> Decimal:
    """Round to a number of significant digits; a tie goes to the even last digit.

    Parameters
    ----------
    number : str, Decimal, int or float
        As in `round_half_even`.
    digits : int
        Significant digits, >= 1. Kept after a carry: 9.96 to two digits is 10.

    Raises
    ------
    InputError
        If `number` is no finite number.
    UsageError
        If `digits` is less than one.
    """
    if digits < 1:
        raise UsageError(f"Significant digits must be one or more, not {digits!r}.")
    exact = _decimal(number)
    if exact == 0:
        return _at_exponent(exact, 1 - digits)
    rounded = _at_exponent(exact, exact.adjusted() - digits + 1)
    return _at_exponent(rounded, rounded.adjusted() - digits + 1)


def with_uncertainty(value: float, U: float, unit: str = "", *, digits: int = 2) -> str:
    """Write a result with its uncertainty, as ``1200 ± 16 mg``.

    The uncertainty keeps two significant digits and the value ends at the same decimal place
    (JCGM 100, 7.2.6). Very small or large results are written with a power of ten.

    Parameters
    ----------
    value, U : float
        Result and (usually expanded) uncertainty, in the same unit; `U` >= 0.
    unit : str
        Appended after a space; may be empty.
    digits : int
        Significant digits of the uncertainty.

    Raises
    ------
    InputError
        If a number is not finite, or `U` is negative.
    """
    result, doubt = _decimal(value), _decimal(U)
    if doubt < 0:
        raise InputError(f"An uncertainty cannot be negative ({U:g} {unit}).".replace(" )", ")"))
    if doubt == 0:
        return f"{significant(result, 6).normalize(_WIDE):f} ± 0 {unit}".rstrip()
    doubt = significant(doubt, digits)
    last = doubt.adjusted() - digits + 1
    result = _at_exponent(result, last)
    power = max(result.adjusted() if result else doubt.adjusted(), doubt.adjusted())
    if power in _PLAIN_EXPONENTS:
        return f"{_plain(result)} ± {_plain(doubt)} {unit}".rstrip()
    pair = f"({_plain(result.scaleb(-power))} ± {_plain(doubt.scaleb(-power))})"
    return f"{pair} × 10{str(power).translate(_SUPERSCRIPT)} {unit}".rstrip()


def _decimal(number: Number) -> Decimal:
    text = repr(float(number)) if isinstance(number, float) else number
    try:
        exact = Decimal(text)
    except InvalidOperation:
        raise InputError(f"{number!r} is not a number.") from None
    if not exact.is_finite():
        raise InputError(f"{number!r} is not a finite number.")
    return exact


def _at_exponent(number: Decimal, exponent: int) -> Decimal:
    unit = Decimal((0, (1,), exponent))
    rounded = number.quantize(unit, rounding=ROUND_HALF_EVEN, context=_WIDE)
    return rounded if rounded else abs(rounded)


def _plain(number: Decimal) -> str:
    return f"{number:f}"
