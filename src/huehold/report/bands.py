"""The method's start and end colours as bands on a hue axis, and the axis' limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from huehold.core import TRUSTED, Trace
from huehold.methods import Method
from huehold.report.hue import FloatArray, hue_cut, lift

__all__ = ["HueAxis", "HueBand", "hue_axis", "in_band", "trusted"]

_LEAST_SPAN_DEG = 60.0
_MARGIN_DEG = 8.0


@dataclass(frozen=True, slots=True)
class HueBand:
    """A named colour of the method on the axis: ``role`` is start or end."""

    name: str
    role: str
    low_deg: float
    high_deg: float


@dataclass(frozen=True, slots=True)
class HueAxis:
    """A straight hue axis: the cut, the limits shown, and the method's bands.

    Values on it may leave 0 to 360; a label is the value modulo 360.
    """

    cut_deg: float
    low_deg: float
    high_deg: float
    bands: tuple[HueBand, ...]


def trusted(trace: Trace) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Say which observations may be used: trust of at least 0.5 and a hue."""
    return (trace.trust >= TRUSTED) & np.isfinite(trace.hue_deg)


def in_band(hue_deg: float, band_deg: tuple[float, float] | None) -> bool:
    """Say whether a hue lies in a band [low, high], which may run through 0."""
    if band_deg is None:
        return False
    return (hue_deg - band_deg[0]) % 360.0 <= (band_deg[1] - band_deg[0]) % 360.0


def hue_axis(trace: Trace, method: Method) -> HueAxis:
    """Lay out the hue axis of a run.

    Parameters
    ----------
    trace : Trace
        Observations; those that are trusted and have chroma choose the cut.
    method : Method
        Its indicator names the colours; a colourless one has no band.
    """
    usable = trusted(trace)
    colours = _colours(method)
    inside = [np.linspace(low, low + (high - low) % 360.0, 9) for _, _, low, high in colours]
    hues = np.concatenate([trace.hue_deg[usable], *inside])
    weight = np.concatenate([trace.chroma[usable], *(np.full(9, 40.0) for _ in inside)])
    cut = hue_cut(hues, weight)
    bands = tuple(_band(colour, cut) for colour in colours)
    low, high = _limits(lift(hues, cut), weight, bands)
    return HueAxis(cut, low, high, bands)


def _colours(method: Method) -> list[tuple[str, str, float, float]]:
    """List name, role, low and high of the colours that have a hue."""
    indicator = method.indicator
    return [
        (colour.name, role, *colour.hue_deg)
        for role, colour in (("start", indicator.start), ("end", indicator.end))
        if colour.hue_deg is not None
    ]


def _band(colour: tuple[str, str, float, float], cut_deg: float) -> HueBand:
    name, role, low, high = colour
    start = float(lift(np.array(low), cut_deg))
    return HueBand(name, role, start, start + (high - low) % 360.0)


def _limits(
    lifted: FloatArray, weight: FloatArray, bands: tuple[HueBand, ...]
) -> tuple[float, float]:
    strong = lifted[weight >= np.median(weight) / 4] if len(lifted) else np.array([0.0, 360.0])
    ends = [*np.percentile(strong, [0.3, 99.7])]
    ends += [edge for band in bands for edge in (band.low_deg, band.high_deg)]
    low, high = float(min(ends)) - _MARGIN_DEG, float(max(ends)) + _MARGIN_DEG
    spare = max(0.0, _LEAST_SPAN_DEG - (high - low)) / 2
    return low - spare, high + spare
