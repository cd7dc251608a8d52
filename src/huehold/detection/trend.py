"""Whether a colour that holds is drifting back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["is_drifting_back", "projected", "theil_sen"]

_MOST = 48  # points of each half the pairwise slopes are taken from
_FEWEST = 4
_PACE = (0.4, 1.0)  # a fall may slow down by this much from half to half; it never grows
_LOW_SHARE = 0.1  # of the hold may lie between the two edges of the band
_REAL_FALL = 0.03  # falls of a half smaller than this say nothing about their pace

FloatArray = NDArray[np.float64]


def theil_sen(times_s: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return slope and level at the last time by the median of pairwise slopes.

    Parameters
    ----------
    times_s, values : ndarray of float, shape (n,)
        At least two points, times rising.

    Returns
    -------
    (float, float)
        Slope per second, and the median of the values carried to the last time along it.

    Notes
    -----
    Theil (1950) and Sen (1968): up to 29 % of the points may be wild.
    """
    i, j = np.triu_indices(len(times_s), k=1)
    slope = float(np.median((values[j] - values[i]) / (times_s[j] - times_s[i])))
    level = float(np.median(values + slope * (times_s[-1] - times_s)))
    return slope, level


def projected(times_s: FloatArray, values: FloatArray, ahead_s: float) -> float:
    """Return where the trend leads.

    Parameters
    ----------
    times_s, values : ndarray of float, shape (n,)
        At least eight points over the hold, times rising.
    ahead_s : float
        How far ahead to look, in seconds.

    Returns
    -------
    float
        The level at the end, less the fall that is to come.

    Notes
    -----
    The fall of the second half of the hold is carried on; where the first half fell too,
    at the pace at which it changed from half to half: a fall that slows down comes to an
    end (an exponential is carried on exactly). One that grows is carried on as it is: near
    the end the solid that takes up titrant runs out, and a colour that leaves its flat part
    falls faster for a while only because it is steeper there.
    """
    middle_s = 0.5 * (times_s[0] + times_s[-1])
    early, late = times_s <= middle_s, times_s > middle_s
    half_s = times_s[-1] - middle_s
    before = -theil_sen(*_thin(times_s[early], values[early]))[0] * half_s
    slope, level = theil_sen(*_thin(times_s[late], values[late]))
    fall = -slope * half_s
    if fall <= 0.0:
        return level
    pace = max(_PACE[0], min(_PACE[1], fall / before)) if before > _REAL_FALL else 1.0
    halves = ahead_s / half_s
    total = halves if abs(pace - 1.0) < 1e-6 else pace * (1.0 - pace**halves) / (1.0 - pace)
    return float(level - fall * total)


def is_drifting_back(
    times_s: Sequence[float], positions: Sequence[float], *, ahead_s: float, edge: float
) -> bool:
    """Tell whether the trend, carried ahead, leaves the end band.

    Parameters
    ----------
    times_s, positions : sequence of float, shape (n,)
        Positions on the start-to-end line over the hold.
    ahead_s : float
        How far ahead to look, in seconds.
    edge : float
        Position of the end band's edge.

    Returns
    -------
    bool
        True if it leads below the edge, or if the colour lay below it for more than a
        tenth of the hold; True with fewer than eight points, which are too few to say.
    """
    times = np.asarray(times_s, dtype=float)
    values = np.asarray(positions, dtype=float)
    if len(times) < 2 * _FEWEST:
        return True
    middle_s = 0.5 * (times[0] + times[-1])
    if min(int((times <= middle_s).sum()), int((times > middle_s).sum())) < _FEWEST:
        return True
    lowest = float(np.quantile(values, _LOW_SHARE))
    return min(lowest, projected(times, values, ahead_s)) < edge


def _thin(times_s: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    pick = np.unique(np.linspace(0, len(times_s) - 1, min(len(times_s), _MOST)).astype(int))
    return times_s[pick], values[pick]
