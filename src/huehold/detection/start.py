"""Noticing the start colour: a steady stretch in or near the method's start hues."""

from __future__ import annotations

from collections import deque

from huehold.detection.plane import chroma, hue_deg, middle
from huehold.detection.settings import DetectorSettings
from huehold.detection.smoothing import Point

__all__ = ["PlateauFinder"]

_LOOK_EVERY_S = 0.5
_STEADY_S = 2.0  # a plateau that fits the chart
_STEADY_UNFIT_S = 5.0  # one under a light that does not
_COVER = 0.75  # share of the stretch that must have points, taken at _LOOK_EVERY_S
_STRAY = 2.0  # plane units a plateau may wander, or
_STRAY_SHARE = 0.12  # this share of its chroma
_MIN_CHROMA = 4.0
_FIT_DEG = 12.0
_UNFIT_DEG = 35.0


class PlateauFinder:
    """Looks at the smoothed colour twice a second and returns plateaus of start colour.

    Parameters
    ----------
    settings : DetectorSettings
        The method's hue bands.
    """

    def __init__(self, settings: DetectorSettings) -> None:
        self._start_hues = settings.start_band
        self._end_hues = settings.end_band
        self._fit_deg = min(_FIT_DEG, settings.gap_deg / 3.0)
        self._looks: deque[Point] = deque(maxlen=round(_STEADY_UNFIT_S / _LOOK_EVERY_S) + 1)

    def add(self, point: Point) -> complex | None:
        """Take a smoothed colour; return the plateau's colour if there is one now."""
        looks = self._looks
        if looks and point.time_s - looks[-1].time_s < _LOOK_EVERY_S:
            return None
        looks.append(point)
        return self._plateau(_STEADY_S, fit=True) or self._plateau(_STEADY_UNFIT_S, fit=False)

    def restart(self) -> None:
        """Forget what was seen, as after an addition."""
        self._looks.clear()

    def _plateau(self, length_s: float, *, fit: bool) -> complex | None:
        now_s = self._looks[-1].time_s
        stretch = [p for p in self._looks if now_s - p.time_s <= length_s]
        seen_s = now_s - stretch[0].time_s + _LOOK_EVERY_S
        wanted = _COVER * length_s / _LOOK_EVERY_S
        if seen_s < length_s or len(stretch) < wanted:
            return None
        colour = middle([p.colour for p in stretch])
        if not self._is_start(colour, fit=fit) or not _steady(stretch, colour):
            return None
        return colour

    def _is_start(self, colour: complex, *, fit: bool) -> bool:
        if chroma(colour) < _MIN_CHROMA:
            return False
        away = abs(self._start_hues.outside_deg(hue_deg(colour)))
        if fit:
            return away <= self._fit_deg
        return away <= min(_UNFIT_DEG, 0.5 * abs(self._end_hues.outside_deg(hue_deg(colour))))


def _steady(stretch: list[Point], colour: complex) -> bool:
    noise = max(p.noise for p in stretch)
    limit = max(_STRAY, _STRAY_SHARE * chroma(colour), 4.0 * noise)
    return all(abs(p.colour - colour) <= limit for p in stretch)
