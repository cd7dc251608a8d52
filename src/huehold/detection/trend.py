"""Whether a colour that holds is drifting back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["is_drifting_back", "theil_sen"]

_MOST = 60  # points the pairwise slopes are taken from
_LATE_S = 12.0  # the last part of the hold, looked at on its own
_LATE_SHARE = 1.0 / 3.0
_SIGNIFICANT = 3.0  # standard errors a late fall must exceed

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


def is_drifting_back(
    times_s: Sequence[float], positions: Sequence[float], *, ahead_s: float, leave: float
) -> bool:
    """Tell whether the trend, carried ahead, leaves the end band.

    Parameters
    ----------
    times_s, positions : sequence of float, shape (n,)
        Positions on the start-to-end line over the hold.
    ahead_s : float
        How far ahead to look, in seconds.
    leave : float
        Position below which the end colour is left.

    Returns
    -------
    bool
        True if the robust trend over the whole hold, or a significant fall over its last
        part, leads below `leave` within `ahead_s`; True with fewer than four points.
    """
    if len(times_s) < 4:
        return True
    times = np.asarray(times_s, dtype=float)
    values = np.asarray(positions, dtype=float)
    pick = np.unique(np.linspace(0, len(times) - 1, min(len(times), _MOST)).astype(int))
    slope, level = theil_sen(times[pick], values[pick])
    if level + min(slope, 0.0) * ahead_s < leave:
        return True
    span_s = times[-1] - times[0]
    late = times >= times[-1] - max(min(_LATE_S, span_s), _LATE_SHARE * span_s)
    return _falls(times[late], values[late], ahead_s, leave)


def _falls(times: FloatArray, values: FloatArray, ahead_s: float, leave: float) -> bool:
    if len(times) < 4:
        return False
    centred = times - times.mean()
    slope = float(centred @ values / (centred @ centred))
    rest = values - values.mean() - slope * centred
    error = float(np.sqrt(rest @ rest / (len(times) - 2) / (centred @ centred)))
    if slope >= -_SIGNIFICANT * error:
        return False
    return bool(values.mean() + slope * (centred[-1] + ahead_s) < leave)
