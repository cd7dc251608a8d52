"""Seeing additions: steps of the colour towards the end colour.

A portion of titrant turns the mixture towards the end colour within a second or two. The
finder watches the rise of the position above its lowest value of the last seconds; when
it is clearly more than noise an addition is told, and when the rise is over its peak is.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from huehold.detection.axis import Line
from huehold.detection.crossing import crossing_s
from huehold.detection.smoothing import Point, Smoother

__all__ = ["HIGHER", "AdditionFinder", "Peak", "Step"]

_LOOK_BACK_S = 3.0  # slower rises are drift or mixing, not an addition
_ACROSS_GAP_S = 60.0  # a rise across a blind stretch up to this long still counts
_MIN_STEP = 0.06  # of the start-to-end line
_MIN_STEP_UNITS = 2.5  # plane units: coded video wanders slowly by about one
_MIN_STEP_NOISE = 5.0  # in standard deviations of the smoothed position
_DOUBLE = 2.0
_HALF = 0.5
_HAND_S = 5.0  # a rise this soon after something was over the vessel: the dropper, likely
_NOTED_AFTER_S = 10.0  # and a mass noted this soon after one belongs to what it did
HIGHER = 0.02  # of the way: a rise by less, on a plateau, is no new maximum
_PEAK_OVER_S = 1.0  # no new maximum for this long: the rise is over
_SAME_PORTION_S = 1.5  # a rise this soon after a peak still belongs to it,
_SAME_BEGAN_S = 3.0  # if that peak's own rise began this shortly before
_CALM_S = 0.8  # the smoothed colour is free of an untrusted reading after this
_TROUBLE_S = 10.0  # trouble that lasts longer is how this run looks
_FOOT = 0.3  # share of the step at which it is said to begin


@dataclass(frozen=True, slots=True)
class Step:
    """The beginning of an addition.

    Attributes
    ----------
    time_s : float
        When the colour began to rise.
    base : complex
        Colour before it.
    """

    time_s: float
    base: complex


@dataclass(frozen=True, slots=True)
class Peak:
    """The end of the rise an addition brought: its beginning, and its highest colour."""

    step: Step
    time_s: float
    colour: complex


class AdditionFinder:
    """Tells steps and their peaks from smoothed colours."""

    def __init__(self) -> None:
        self._low: deque[Point] = deque(maxlen=256)
        self._step: Step | None = None
        self._peak: Point | None = None
        self._last: Peak | None = None
        self._hand_s = -math.inf
        self._trouble_from_s = -math.inf
        self._trouble_last_s = -math.inf

    @property
    def rising(self) -> bool:
        """Whether an addition's rise is going on."""
        return self._step is not None

    def trouble(self, time_s: float) -> None:
        """Note an untrusted reading.

        Until the view has been calm again, colours may show a rise above what was seen
        before the trouble, but a dip among them is no base to rise from.
        """
        if time_s - self._trouble_last_s > _CALM_S:
            self._trouble_from_s = time_s
        self._trouble_last_s = time_s

    def hand(self, time_s: float) -> None:
        """Note that something was over the vessel: a dropper makes an addition likely."""
        self._hand_s = time_s

    def likely_s(self, noted_s: float) -> float:
        """Return when an addition that was noted fell.

        Under the hand that was last over the vessel, or when the view was last troubled, as by
        swirling; if neither was lately, when it was noted.
        """
        for at_s in (self._hand_s, self._trouble_from_s):
            if 0.0 <= noted_s - at_s <= _NOTED_AFTER_S:
                return at_s
        return noted_s

    def add(
        self, point: Point, line: Line, seen: Smoother, *, end_colour: float
    ) -> Step | Peak | None:
        """Take a smoothed colour.

        Parameters
        ----------
        point : Point
            The newest smoothed colour.
        line : Line
            The start-to-end line as it is known now.
        seen : Smoother
            Holds the last single readings, to find the foot of a step.
        end_colour : float
            Position from which the end colour is there already: a step from there must
            be twice as high, for the slow wander of a video's colour to stay below it.

        Returns
        -------
        Step, Peak or None
            What could be told with this point.
        """
        if self._step is not None:
            return self._follow(point, line)
        base = self._base(point)
        self._remember(point, line)
        if base is None:
            return None
        foot = line.position(base.colour)
        rise = line.position(point.colour) - foot
        if rise < self._least_rise(point, line, foot >= end_colour):
            return None
        return self._begin(point, base, rise, line, seen)

    def _least_rise(self, point: Point, line: Line, at_end: bool) -> float:
        """Return the rise that counts: a smaller one where a hand was just there."""
        clear = max(_MIN_STEP_NOISE * point.noise, _MIN_STEP_UNITS) / line.span
        least = max(_MIN_STEP, clear) * (_DOUBLE if at_end else 1.0)
        gone_s = point.time_s - self._hand_s
        return least * (_HALF if _CALM_S < gone_s < _HAND_S else 1.0)

    def _begin(
        self, point: Point, base: Point, rise: float, line: Line, seen: Smoother
    ) -> Step | None:
        foot = line.position(base.colour) + _FOOT * rise
        time_s = crossing_s(seen.recent, seen.glimpses, line, foot, since_s=base.centre_s - 1.0)
        step = Step(point.centre_s if time_s is None else time_s, base.colour)
        last = self._last
        same = (
            last is not None
            and step.time_s - last.time_s < _SAME_PORTION_S
            and step.time_s - last.step.time_s < _SAME_BEGAN_S
        )
        self._step, self._peak = step, point
        return None if same else step

    def _follow(self, point: Point, line: Line) -> Peak | None:
        assert self._step is not None
        assert self._peak is not None
        if line.position(point.colour) > line.position(self._peak.colour) + HIGHER:
            self._peak = point
        if point.time_s - self._peak.time_s < _PEAK_OVER_S:
            return None
        peak = Peak(self._step, self._peak.centre_s, self._peak.colour)
        self._step, self._last = None, peak
        self._low.clear()
        self._low.append(point)
        return peak

    def _base(self, point: Point) -> Point | None:
        low = self._low
        if not low or point.time_s - low[-1].time_s > _ACROSS_GAP_S:
            return None
        return low[0]

    def in_trouble(self, time_s: float) -> bool:
        """Tell whether a colour at this time may still show what disturbed the view."""
        calm = time_s - self._trouble_last_s > _CALM_S
        return not calm and time_s - self._trouble_from_s < _TROUBLE_S

    def _remember(self, point: Point, line: Line) -> None:
        """Keep points in time order with rising positions: the first is the lowest."""
        if self.in_trouble(point.time_s) and self._low:
            return
        low, here = self._low, line.position(point.colour)
        while low and line.position(low[-1].colour) >= here:
            low.pop()
        low.append(point)
        while len(low) > 1 and point.time_s - low[0].time_s > _LOOK_BACK_S:
            low.popleft()
