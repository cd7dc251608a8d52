"""Fade-backs: the end colour, seen after an addition, going back."""

from __future__ import annotations

from dataclasses import dataclass

from huehold.detection.additions import Peak, Step
from huehold.detection.axis import EndBand, Line
from huehold.detection.smoothing import Point

__all__ = ["FadeBack", "FadeBackWatch"]

_BACK_AFTER_S = 0.5  # below the level this long before the colour is said to be back
_ENOUGH = 0.3  # of the way: a fall that counts when the next addition cuts it short
_HIGH = 0.5  # a peak below this position did not show the end colour


@dataclass(frozen=True, slots=True)
class FadeBack:
    """One fade-back.

    Attributes
    ----------
    step_s : float
        When the addition began.
    peak_s : float
        When the colour stood nearest to the end colour.
    back_s : float
        When it had gone half the way back and had left the end band, or the next addition
        if the colour had clearly fallen until then.
    """

    step_s: float
    peak_s: float
    back_s: float


class FadeBackWatch:
    """Follows the colour from a peak down."""

    def __init__(self) -> None:
        self.peak: Peak | None = None
        self._below_s: float | None = None
        self._fallen = 0.0  # share of the way from the peak to the colour before the addition

    @property
    def fading(self) -> bool:
        """Whether a peak is being followed."""
        return self.peak is not None

    @property
    def falling(self) -> bool:
        """Whether the colour has clearly begun to go back from the peak."""
        return self.peak is not None and self._fallen >= _ENOUGH

    def start(self, peak: Peak) -> None:
        """Follow a new peak."""
        self.peak, self._below_s, self._fallen = peak, None, 0.0

    def interrupt(self, step: Step, line: Line) -> FadeBack | None:
        """Follow no longer, as a new addition begins; return what had faded by then.

        The person may add again before the colour is quite back.
        """
        peak, self.peak, self._below_s = self.peak, None, None
        if peak is None:
            return None
        top = line.position(peak.colour)
        if top < _HIGH or top - line.position(step.base) < _ENOUGH:
            return None
        return FadeBack(peak.step.time_s, peak.time_s, max(step.time_s, peak.time_s))

    def add(self, point: Point, line: Line, band: EndBand) -> FadeBack | None:
        """Take a smoothed colour; return the fade-back when it is complete."""
        peak = self.peak
        if peak is None:
            return None
        top, here = line.position(peak.colour), line.position(point.colour)
        if here > top:
            self.peak = Peak(peak.step, point.centre_s, point.colour)
            return None
        base = line.position(peak.step.base)
        self._fallen = (top - here) / max(top - base, 1e-6)
        half = 0.5 * (top + base)
        if here >= min(half, band.leave):
            self._below_s = None
            return None
        if self._below_s is None:
            self._below_s = point.centre_s
        if point.centre_s - self._below_s < _BACK_AFTER_S:
            return None
        back = FadeBack(peak.step.time_s, peak.time_s, self._below_s)
        self.peak, self._below_s = None, None
        return back if top >= _HIGH else None
