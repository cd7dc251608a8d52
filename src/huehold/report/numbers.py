"""Numbers made fit for files: rounded sensibly, null where nothing is known, never NaN."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, is_dataclass
from typing import Any, Final

__all__ = ["DECIMALS", "DIGITS", "number", "numbers", "plain"]

DIGITS: Final = 7
"""Significant digits of numbers in files: more than any balance or clock here has."""

DECIMALS: Final = {
    "time_s": 4,
    "hue_deg": 2,
    "chroma": 2,
    "lightness": 2,
    "turbidity": 4,
    "trust": 3,
    "a": 2,
    "b": 2,
    "hue_sd_deg": 2,
}
"""Decimals of the columns of a trace in files."""


def number(value: float | None, digits: int = 3) -> float | None:
    """Round a number for a file; NaN, infinities and None become None.

    Parameters
    ----------
    value : float or None
        Any number, numpy's included.
    digits : int
        Decimals kept.
    """
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def numbers(values: Iterable[float], digits: int = 3) -> list[float | None]:
    """Round a column of numbers as `number` does."""
    return [number(value, digits) for value in values]


def plain(value: Any) -> Any:
    """Turn a value into what JSON can hold: `DIGITS` significant digits, never NaN.

    Parameters
    ----------
    value : object
        Mappings, sequences, dataclasses, numbers and texts, nested as they like;
        anything else is written as its text.
    """
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float) or hasattr(value, "__float__"):
        return _rounded(float(value))
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    return str(value)


def _rounded(value: float) -> float | None:
    return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
