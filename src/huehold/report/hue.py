"""Hue on a straight axis: where to cut the circle, and where a line must break."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["LOW_CHROMA", "hue_cut", "lift", "with_breaks"]

FloatArray = NDArray[np.float64]

LOW_CHROMA: Final = 8.0
"""CIELAB chroma under which a hue is drawn grey: an error of one unit is 7 degrees there."""

_BIN_DEG: Final = 5
_BINS: Final = 360 // _BIN_DEG


def hue_cut(hue_deg: FloatArray, weight: FloatArray | None = None) -> float:
    """Choose where to cut the hue circle: in the middle of the widest unused sector.

    Parameters
    ----------
    hue_deg : ndarray, shape (n,)
        Hue angles in degrees; NaN is left out.
    weight : ndarray, shape (n,), optional
        How much each counts, such as the chroma; a few stray hues of little weight do
        not make a sector used.

    Returns
    -------
    float
        The cut in degrees in (-360, 360); the axis runs from it to a full turn above.
        0 if there is no hue at all.
    """
    weights = np.ones_like(hue_deg) if weight is None else np.nan_to_num(weight)
    seen = np.isfinite(hue_deg) & (weights > 0)
    if not seen.any():
        return 0.0
    bins = (hue_deg[seen] % 360.0 // _BIN_DEG).astype(int) % _BINS
    load = np.bincount(bins, weights[seen], minlength=_BINS)
    start, length = _widest_gap(load > 0.002 * load.sum())
    cut = (start + length / 2) * _BIN_DEG % 360.0
    return float(cut if cut < 180.0 else cut - 360.0)


def lift(hue_deg: FloatArray, cut_deg: float) -> FloatArray:
    """Write hue angles as values from the cut to a full turn above it."""
    return (hue_deg - cut_deg) % 360.0 + cut_deg


def with_breaks(time_s: FloatArray, *columns: FloatArray, gap_s: float) -> tuple[FloatArray, ...]:
    """Insert NaN where a line must not be drawn: over gaps in time and hue jumps.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times; returned first.
    *columns : ndarray, shape (n,)
        Values; the first is watched for jumps of more than 180.
    gap_s : float
        Longest time that may lie between neighbours on one line.
    """
    if len(time_s) < 2:
        return (time_s, *columns)
    jump = np.abs(np.diff(columns[0])) > 180.0
    at = np.flatnonzero(jump | (np.diff(time_s) > gap_s)) + 1
    return (np.insert(time_s, at, time_s[at]), *(np.insert(c, at, np.nan) for c in columns))


def _widest_gap(used: NDArray[np.bool_]) -> tuple[int, int]:
    """Return start and length of the longest run of unused bins on the circle."""
    doubled = np.concatenate([used, used])
    best, start, length = (0, 0), 0, 0
    for index, full in enumerate(doubled):
        length = 0 if full else length + 1
        start = index + 1 if full else start
        if length > best[1]:
            best = (start, min(length, len(used)))
    return best
