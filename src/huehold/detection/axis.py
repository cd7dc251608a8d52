"""The run's own start-to-end line, learned from its start colour and its peaks.

A colour's *position* on the line is 0 at the start colour and 1 at the end colour. The
method's hue bands say where to look first; the run's start plateau and the colours right
after its additions say where the two colours really lie under this light and in this lot
of dye, and the band's edge follows.
"""

from __future__ import annotations

import cmath
import math
from collections import deque
from dataclasses import dataclass

from huehold.detection.plane import hue_deg, middle
from huehold.detection.settings import DetectorSettings, turn_deg

__all__ = ["AxisLearner", "EndBand", "Line"]

_PALE, _VIVID = 5.0, 10.0  # chroma between which the hue angle takes over
_WASHED_OUT = 0.35  # of the chroma the way has there: not this liquid, or not seen well
COLOURED = 8.0  # chroma in the plane from which the hue angle carries meaning
_PRIOR_CHROMA = 0.8  # of the start colour's, for an end colour not yet seen
_PEAKS = 10  # the latest peaks that speak about the end colour
_FARTHEST = 5  # and the farthest of the whole run, from when additions were large
_FULL = 0.75  # those that come this near to the farthest count: a small addition shows less
_MAX_SHIFT_DEG = 25.0  # light turns the end band along with the start colour, up to this
_MIN_SPAN = 6.0  # plane units between start and end colour that still can be told apart
_TURN_LIMIT_DEG = 50.0  # a peak further off the expected direction is something else
_PALE_WAY = 0.6  # of the start chroma: how far a peak must lie where hue cannot tell
_START_PULL = 0.2  # weight of a new start plateau
_START_TURN_DEG = 15.0  # the start colour may turn this far from where it was first seen
_ENTER = 0.62  # position of the band's edge where hue cannot tell
_ENTER_RANGE = (0.6, 0.66)  # once the run has shown its end colour
_ENTER_UNSEEN = 0.8
_ALIKE = 0.12  # of the way: the farthest peaks agree, so they have shown the full end colour
_HYSTERESIS = (0.06, 0.1)
_OUT_DEG = 5.0  # the end colour is left this far outside its hue band, or half the gap


@dataclass(frozen=True, slots=True)
class Line:
    """The way from start colour to end colour in the plane.

    Notes
    -----
    As the mixture clears, its chroma may double while its hue stays; along a straight line
    drawn when it was cloudy that looks like a change. Where start colour, end colour and
    the colour itself are chromatic enough, the position is therefore taken from the hue
    angle; near colourless it is taken along the straight line; between the two, by both.
    """

    start: complex
    end: complex

    def place(self, colour: complex) -> complex:
        """Return position along the way (real) and off the straight line (imaginary)."""
        straight = (colour - self.start) / (self.end - self.start)
        weight = hue_weight(min(abs(self.start), abs(self.end), abs(colour)))
        if weight == 0.0:
            return straight
        by_hue = self.by_hue(hue_deg(colour))
        return complex(weight * by_hue + (1.0 - weight) * straight.real, straight.imag)

    def by_hue(self, angle_deg: float) -> float:
        """Return the position of a hue angle: 0 at the start, 1 at the end colour's."""
        start_deg = hue_deg(self.start)
        way_deg = turn_deg(hue_deg(self.end) - start_deg)
        return turn_deg(angle_deg - start_deg) / way_deg if way_deg else 0.0

    def position(self, colour: complex) -> float:
        """Return the position along the way: 0 at the start, 1 at the end colour."""
        return self.place(colour).real

    def is_washed_out(self, colour: complex) -> bool:
        """Tell whether a colour has lost the chroma that the whole way has.

        From a vivid start to a vivid end the chroma stays; a colour without it lies between
        the two by plain geometry, but is glare, bleach or something else.
        """
        usual = min(abs(self.start), abs(self.end))
        return usual >= _VIVID and abs(colour) < _WASHED_OUT * usual

    @property
    def span(self) -> float:
        """Length of the way in plane units."""
        return abs(self.end - self.start)


def hue_weight(chroma: float) -> float:
    """Return how far the hue angle is believed at a chroma, 0 to 1."""
    return max(0.0, min(1.0, (chroma - _PALE) / (_VIVID - _PALE)))


@dataclass(frozen=True, slots=True)
class EndBand:
    """Positions at which the end colour is entered and left (lower: hysteresis)."""

    enter: float
    leave: float


class AxisLearner:
    """Keeps start colour, end colour and end band as the run teaches them.

    Parameters
    ----------
    settings : DetectorSettings
        The method's hue bands.
    """

    def __init__(self, settings: DetectorSettings) -> None:
        self._start_hues = settings.start_band
        self._end_hues = settings.end_band
        self._outside_deg = settings.gap_deg / 2.0
        self._up = settings.turns_up
        self._start: complex | None = None
        self._first_hue_deg = 0.0
        self._shift_deg = 0.0
        self._peaks: deque[complex] = deque(maxlen=_PEAKS)
        self._farthest: list[complex] = []
        self.line: Line | None = None
        self.band = EndBand(_ENTER, _ENTER - max(_HYSTERESIS))

    @property
    def learned(self) -> bool:
        """Whether a peak of this run has shown the end colour."""
        return bool(self._peaks)

    @property
    def shift_deg(self) -> float:
        """How far this light or dye turns the hues against the method's chart."""
        return self._shift_deg

    def learn_start(self, colour: complex) -> bool:
        """Take a start plateau; return whether it was accepted and the line changed."""
        if self._start is None:
            self._first_hue_deg = hue_deg(colour)
            self._start = colour
        elif abs(turn_deg(hue_deg(colour) - self._first_hue_deg)) > _START_TURN_DEG:
            return False
        else:
            self._start += _START_PULL * (colour - self._start)
        outside = self._start_hues.outside_deg(hue_deg(self._start))
        self._shift_deg = max(-_MAX_SHIFT_DEG, min(_MAX_SHIFT_DEG, outside))
        self._draw()
        return True

    def learn_peak(self, colour: complex) -> bool:
        """Take the colour right after an addition; return whether it taught something."""
        if self._start is None or not self._speaks_of_the_end(colour):
            return False
        self._peaks.append(colour)
        line = Line(self._start, self._prior_end(self._start))
        ranked = sorted([*self._farthest, colour], key=line.position)
        self._farthest = ranked[-_FARTHEST:]
        self._draw()
        return True

    def end_hue_outside_deg(self, colour: complex) -> float:
        """Return how far a colour's hue lies outside the shifted end band (signed)."""
        return self._end_hues.outside_deg(hue_deg(colour) - self._shift_deg)

    def _prior_end(self, start: complex) -> complex:
        angle = math.radians(self._end_hues.centre_deg + self._shift_deg)
        return cmath.rect(max(_PRIOR_CHROMA * abs(start), _MIN_SPAN), angle)

    def _speaks_of_the_end(self, colour: complex) -> bool:
        assert self._start is not None
        way = colour - self._start
        expected = self._prior_end(self._start) - self._start
        off_deg = abs(math.degrees(cmath.phase(way / expected))) if way else 180.0
        if abs(way) < _MIN_SPAN or off_deg > _TURN_LIMIT_DEG:
            return False
        if abs(colour) < _WASHED_OUT * abs(self._start):
            return False
        if abs(self._start) < _VIVID and abs(colour) < COLOURED:
            return abs(way) >= _PALE_WAY * abs(self._start)
        return abs(self.end_hue_outside_deg(colour)) <= self._outside_deg

    def _draw(self) -> None:
        assert self._start is not None
        self.line = Line(self._start, self._end(self._start))
        self.band = self._band(self.line)

    def _end(self, start: complex) -> complex:
        prior = self._prior_end(start)
        if not self._peaks:
            return prior
        line = Line(start, prior)
        farthest = max(line.position(peak) for peak in self._peaks)
        full = [peak for peak in self._peaks if line.position(peak) >= _FULL * farthest]
        return 0.5 * (middle(full) + middle(self._farthest))

    def _band(self, line: Line) -> EndBand:
        if min(abs(line.start), abs(line.end)) < COLOURED:
            return EndBand(_ENTER, _ENTER - max(_HYSTERESIS))
        highest = _ENTER_RANGE[1] if self.learned else _ENTER_UNSEEN
        enter = max(_ENTER_RANGE[0], min(highest, self._edge(line, 0.0)))
        if not self._shown(line):
            enter = max(enter, self._edge(line, self._outside_deg))  # never on the start's side
        leave = self._edge(line, min(_OUT_DEG, self._outside_deg))
        return EndBand(enter, enter - max(_HYSTERESIS[0], min(_HYSTERESIS[1], enter - leave)))

    def _shown(self, line: Line) -> bool:
        """Tell whether the run's own peaks say more about the end colour than the chart."""
        places = [line.position(colour) for colour in self._farthest]
        return len(places) == _FARTHEST and max(places) - min(places) < _ALIKE

    def _edge(self, line: Line, outside_deg: float) -> float:
        """Return the position of a hue that far outside the shifted end band."""
        band = self._end_hues
        near_deg = band.low_deg - outside_deg if self._up else band.high_deg + outside_deg
        near_deg += self._shift_deg
        ray = cmath.rect(1.0, math.radians(near_deg))
        across_way = (ray.conjugate() * (line.end - line.start)).imag
        if across_way == 0.0:
            return _ENTER
        straight = -(ray.conjugate() * line.start).imag / across_way
        weight = hue_weight(min(abs(line.start), abs(line.end)))
        return weight * line.by_hue(near_deg) + (1.0 - weight) * straight
