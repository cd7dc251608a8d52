"""Reductions over channels and samples, several times faster than the general ones.

A frame asks for some dozens of medians of a few thousand values; in the general functions
most of the time goes into preparations.
"""

from __future__ import annotations

import math
from typing import TypeVar, cast

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "count",
    "largest",
    "median_of",
    "planes",
    "quantile_of",
    "share_after",
    "smallest",
    "total",
]

Values = TypeVar("Values", NDArray[np.uint8], NDArray[np.float32], NDArray[np.float64])
_USUAL_HZ = 12.0
Numbers = NDArray[np.uint8] | NDArray[np.float32] | NDArray[np.float64]


def largest(picture: Values) -> Values:
    """Largest of the three channels, shape (..., 3) to (...)."""
    return np.maximum(np.maximum(picture[..., 0], picture[..., 1]), picture[..., 2])


def smallest(picture: Values) -> Values:
    """Smallest of the three channels, shape (..., 3) to (...)."""
    return np.minimum(np.minimum(picture[..., 0], picture[..., 1]), picture[..., 2])


def total(picture: Values) -> Values:
    """Sum of the three channels, shape (..., 3) to (...); not for 8-bit values."""
    return picture[..., 0] + picture[..., 1] + picture[..., 2]


def planes(picture: Values) -> tuple[Values, Values, Values]:
    """Return the three channels, each in one piece: further work on them is quicker."""
    red, green, blue = cv2.split(picture)
    return cast("tuple[Values, Values, Values]", (red, green, blue))


def count(flags: NDArray[np.bool_]) -> int:
    """How many flags are set."""
    return int(np.count_nonzero(flags))


def median_of(values: Numbers) -> float:
    """Median of a row of numbers, shape (n,), n > 0, none of them NaN."""
    half = len(values) // 2
    ordered = np.partition(values, half)
    upper = float(ordered[half])
    return upper if len(values) % 2 else 0.5 * (upper + float(ordered[:half].max()))


def quantile_of(values: Numbers, share: float) -> float:
    """Value below which a share of a row of numbers lies; the nearest one that occurs."""
    at = round(share * (len(values) - 1))
    return float(np.partition(values, at)[at])


def share_after(share: float, passed_s: float) -> float:
    """Weight of a new value in a running mean that takes a share at the usual rate.

    What is kept of the past then goes by time, however often frames come.

    Parameters
    ----------
    share : float
        Weight of a new value at twelve frames a second.
    passed_s : float
        Seconds since the value before; negative counts as none.
    """
    return 1.0 - math.pow(1.0 - share, _USUAL_HZ * max(passed_s, 0.0))
