"""Fade-backs: the end colour, seen after an addition, going back."""

from __future__ import annotations

from dataclasses import dataclass

from huehold.detection.additions import HIGHER, Peak, Step
from huehold.detection.axis import EndBand, Line
from huehold.detection.smoothing import Point

__all__ = ["FadeBack", "FadeBackWatch"]

_BACK_AFTER_S = 0.5  # below the level this long before the colour is said to be back
_ENOUGH = 0.3  # of the way: a fall that counts when the next addition cuts it short
_BACK = 0.85  # of the way: as good as back
_TAIL_S = 6.0  # a colour that creeps on longer, once half back, is as good as back, too
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


@dataclass(slots=True)
class _Tail:
    """How far a colour has gone back: positions of peak and base, the share, the half time."""

    top: float
    base: float
    fallen: float
    half_s: float | None = None


class FadeBackWatch:
    """Follows the colour from a peak down."""

    def __init__(self) -> None:
        self.peak: Peak | None = None
        self._below_s: float | None = None
        self._tail: _Tail | None = None

    @property
    def fading(self) -> bool:
        """Whether a peak is being followed."""
        return self.peak is not None

    @property
    def falling(self) -> bool:
        """Whether the colour has clearly begun to go back from the peak and is not back yet."""
        return self._tail is not None and _ENOUGH <= self._tail.fallen < _BACK

    def start(self, peak: Peak) -> None:
        """Follow a new peak."""
        self.peak, self._below_s, self._tail = peak, None, None

    def interrupt(self, step: Step, line: Line) -> FadeBack | None:
        """Follow no longer, as a new addition begins; return what had faded by then.

        The person may add again before the colour is quite back.
        """
        peak, self.peak, self._below_s, self._tail = self.peak, None, None, None
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
            self._follow_tail(point, line)
            return None
        top, here = line.position(peak.colour), line.position(point.colour)
        if here > top + HIGHER:
            self.peak = Peak(peak.step, point.centre_s, point.colour)
            self._tail = None
            return None
        base = line.position(peak.step.base)
        self._tail = _Tail(top, base, (top - here) / max(top - base, 1e-6))
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

    def _follow_tail(self, point: Point, line: Line) -> None:
        """Follow the colour on, after a fade-back is told, until it is as good as back."""
        tail = self._tail
        if tail is None:
            return
        tail.half_s = point.time_s if tail.half_s is None else tail.half_s
        tail.fallen = (tail.top - line.position(point.colour)) / max(tail.top - tail.base, 1e-6)
        if tail.fallen >= _BACK or point.time_s - tail.half_s > _TAIL_S:
            self._tail = None
