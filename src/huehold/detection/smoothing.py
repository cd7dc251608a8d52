"""From single trusted readings to a steady colour, by time and not by count."""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

from huehold.detection.plane import Sample, middle, weighted_middle

__all__ = ["Point", "Smoother"]

_WINDOW_S = 0.8  # long enough to outvote a glint, short against a fade-back
_SPARSE_S = 2.3  # at low rates three readings may take this long
_ENOUGH = 3
_KEEP = 300  # single readings kept for looking back at an onset
_GAP_S = 1.7  # readings further apart than this are not averaged
_USUAL_S = 1.0 / 12.0  # what a reading stands for that has none before it
_NOISE_MEMORY_S = 6.0
_NOISE_STEP_S = 0.6  # only neighbours closer than this speak about noise
_SETTLED = 1.5  # plane units that colours may differ by and be the same
_STREAK_S = 0.4  # trusted for less than this amid untrusted readings: a mistake
_DIFF_TO_SD = 1.13  # mean absolute difference of two normal readings over their sd


class Point(NamedTuple):
    """A smoothed colour.

    Attributes
    ----------
    time_s : float
        Time of the newest reading in it.
    centre_s : float
        Time the colour stands for: the middle of its readings.
    colour : complex
        Colour in the plane.
    noise : float
        Standard deviation of the smoothed colour in the plane, from the readings' jitter.
    """

    time_s: float
    centre_s: float
    colour: complex
    noise: float


class _Span(NamedTuple):
    """A reading, and from when on it speaks for the colour."""

    from_s: float
    sample: Sample

    def within_s(self, start_s: float) -> float:
        """Time after `start_s` that the reading stands for."""
        return max(self.sample.time_s - max(self.from_s, start_s), 0.0)


class Smoother:
    """A running median over a window of time; keeps the last single readings.

    Attributes
    ----------
    recent, glimpses : deque of Sample
        The last trusted and the last untrusted readings, in time order, bounded.

    Notes
    -----
    A reading that agrees with the one before it counts by the time between the two, up to the
    window's length, so that a calm colour looked at once a second weighs as much as one looked
    at twelve times; one that does not agree counts as any other frame, so that a wild one gains
    nothing from a pause before it. A window most of which is untrusted gives no colour: the few
    trusted readings in it are more likely mistaken than sound. After a gap the window starts
    anew, so that a colour never mixes what was seen before the gap with what was seen after it.
    """

    def __init__(self) -> None:
        self._window: deque[_Span] = deque(maxlen=64)
        self._doubted: deque[_Span] = deque(maxlen=64)
        self.recent: deque[Sample] = deque(maxlen=_KEEP)
        self.glimpses: deque[Sample] = deque(maxlen=_KEEP)
        self._last: Sample | None = None
        self._streak_s: float | None = None
        self._point: Point | None = None
        self._noise = 0.6

    @property
    def settled(self) -> bool:
        """Whether the smoothed colour has caught up with the newest readings."""
        window, point = self._window, self._point
        if point is None or len(window) < _ENOUGH or window[-1].sample.time_s > point.time_s:
            return False
        newest = middle([span.sample.colour for span in list(window)[-_ENOUGH:]])
        return abs(newest - point.colour) <= max(_SETTLED, 3.0 * point.noise)

    def add(self, sample: Sample) -> Point | None:
        """Take a trusted reading; return the smoothed colour once there is enough."""
        window = self._window
        if window and sample.time_s - window[-1].sample.time_s > _GAP_S:
            window.clear()
        if window:
            self._learn_noise(window[-1].sample, sample)
        if self._streak_s is None:
            self._streak_s = sample.time_s
        window.append(self._span(sample))
        self.recent.append(sample)
        while window and sample.time_s - window[0].sample.time_s > _SPARSE_S:
            window.popleft()
        if len(window) < _ENOUGH:
            return None
        start_s = min(sample.time_s - _WINDOW_S, window[-_ENOUGH].from_s)
        while window[0].sample.time_s <= start_s:
            window.popleft()
        if self._mostly_untrusted(start_s):
            return None
        self._point = self._smooth(sample.time_s, start_s)
        return self._point

    def glimpse(self, sample: Sample) -> None:
        """Keep an untrusted reading: for looking back, and as a sign of trouble."""
        self._doubted.append(self._span(sample))
        self.glimpses.append(sample)
        window = self._window
        if self._streak_s is not None and window:
            short = sample.time_s - self._streak_s < _STREAK_S
            if short and self._mostly_untrusted(sample.time_s - _WINDOW_S):
                while window and window[-1].sample.time_s >= self._streak_s:
                    window.pop()
        self._streak_s = None

    def _span(self, sample: Sample) -> _Span:
        last, self._last = self._last, sample
        stands_s = _USUAL_S
        if last is not None:
            passed_s = sample.time_s - last.time_s
            alike = abs(sample.colour - last.colour) <= max(_SETTLED, 4.0 * self._noise)
            stands_s = min(passed_s, _WINDOW_S if alike else _USUAL_S)
        return _Span(sample.time_s - stands_s, sample)

    def _smooth(self, time_s: float, start_s: float) -> Point:
        window = self._window
        weights = [span.within_s(start_s) for span in window]
        centre_s = 0.5 * (max(window[0].from_s, start_s) + time_s)
        readings = sum(weights) ** 2 / sum(w * w for w in weights)
        noise = 1.25 * self._noise / readings**0.5
        colours = [span.sample.colour for span in window]
        return Point(time_s, centre_s, weighted_middle(colours, weights), noise)

    def _mostly_untrusted(self, start_s: float) -> bool:
        untrusted_s = sum(span.within_s(start_s) for span in self._doubted)
        return untrusted_s > sum(span.within_s(start_s) for span in self._window)

    def _learn_noise(self, before: Sample, now: Sample) -> None:
        apart_s = now.time_s - before.time_s
        if apart_s > _NOISE_STEP_S:
            return
        jitter = abs(now.colour - before.colour) / (2.0**0.5 * _DIFF_TO_SD)
        weight = min(apart_s / _NOISE_MEMORY_S, 0.5)
        self._noise += weight * (min(jitter, 5.0 * self._noise + 0.2) - self._noise)
        self._noise = max(self._noise, 0.05)
