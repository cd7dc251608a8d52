"""The colour ribbon: one thin column of the liquid's own pixels for each moment."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from huehold.core import Trace

__all__ = ["ribbon"]

_REACH_S: Final = 1.5
"""How long a column stands for the moments after it; beyond that the ribbon has a gap."""


def ribbon(
    trace: Trace, columns: int, rows: int, span_s: tuple[float, float] | None = None
) -> NDArray[np.uint8]:
    """Lay the observed strips side by side on an even time axis.

    Parameters
    ----------
    trace : Trace
        Observations; their strips are sRGB pixels along a line through the liquid.
    columns, rows : int
        Size of the ribbon in pixels, each at least 1.
    span_s : (float, float), optional
        Start and end of the time axis; the whole trace if not given.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 4)
        sRGB and opacity; opacity 0 where the liquid was not seen.
    """
    image = np.zeros((rows, columns, 4), np.uint8)
    kept = [i for i, strip in enumerate(trace.strip) if strip is not None and len(strip)]
    if not kept:
        return image
    times = np.asarray(trace.time_s[kept], dtype=np.float64)
    start_s, end_s = span_s or (float(trace.time_s[0]), float(trace.time_s[-1]))
    step_s = (end_s - start_s) / columns
    centres = start_s + np.arange(0.5, columns) * step_s
    chosen = _latest(times, centres + step_s / 2)
    reach = np.maximum(_REACH_S, 1.5 * step_s)
    for column, (moment, pick) in enumerate(zip(centres, chosen, strict=True)):
        if pick >= 0 and moment - times[pick] <= reach:
            image[:, column, :3] = _resampled(trace.strip[kept[pick]], rows)
            image[:, column, 3] = 255
    return image


def _latest(times: NDArray[np.float64], moments: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the index of the last time at or before each moment, -1 if there is none."""
    return np.searchsorted(times, moments, side="right") - 1


def _resampled(strip: NDArray[np.uint8] | None, rows: int) -> NDArray[np.uint8]:
    """Pick pixels of the strip, never mixing them: the ribbon shows what was there."""
    assert strip is not None
    return strip[np.arange(rows) * len(strip) // rows]
