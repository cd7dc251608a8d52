"""Whether the colours seen are those of one indicator at all."""

from __future__ import annotations

from huehold.detection.axis import COLOURED
from huehold.detection.plane import chroma, hue_deg
from huehold.detection.settings import DetectorSettings, turn_deg

__all__ = ["Palette"]

_MARGIN_DEG = 20.0  # light and dye lots turn hues by this much and more only rarely
_OVERSHOT_DEG = 45.0  # too much titrant may take some indicators this far beyond the end band
_FOREIGN_SHARE = 0.1  # of the coloured time; a run of one liquid stays far below
_FOREIGN_LEAST_S = 2.0
_STEP_S = 0.5  # longer steps between readings count as this


class Palette:
    """Adds up the time with hues far from the bands, from between them and from overshoot.

    Parameters
    ----------
    settings : DetectorSettings
        The method's hue bands.
    """

    def __init__(self, settings: DetectorSettings) -> None:
        start, end = settings.start_band, settings.end_band
        margins = (_MARGIN_DEG, _OVERSHOT_DEG)
        below_deg, above_deg = margins if settings.turns_up else margins[::-1]
        low_deg = (start.low_deg if settings.turns_up else end.low_deg) - below_deg
        span_deg = start.width_deg + end.width_deg + settings.gap_deg
        self._reach_deg = 0.5 * (below_deg + span_deg + above_deg)
        self._middle_deg = low_deg + self._reach_deg
        self._coloured_s = 0.0
        self._foreign_s = 0.0
        self._last_s: float | None = None

    def add(self, time_s: float, colour: complex) -> None:
        """Take a trusted colour."""
        step_s = 0.0 if self._last_s is None else min(time_s - self._last_s, _STEP_S)
        self._last_s = time_s
        if chroma(colour) < COLOURED:
            return
        self._coloured_s += step_s
        if abs(turn_deg(hue_deg(colour) - self._middle_deg)) > self._reach_deg:
            self._foreign_s += step_s

    @property
    def foreign(self) -> bool:
        """Whether too much of what was seen is no colour of this indicator."""
        return self._foreign_s > max(_FOREIGN_LEAST_S, _FOREIGN_SHARE * self._coloured_s)
