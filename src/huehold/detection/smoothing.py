"""From single trusted readings to a steady colour, by time and not by count."""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

from huehold.detection.plane import Sample, middle

__all__ = ["Point", "Smoother"]

_WINDOW_S = 0.8  # long enough to outvote a glint, short against a fade-back
_SPARSE_S = 1.6  # at low rates three readings may take this long
_ENOUGH = 3
_KEEP = 300  # single readings kept for looking back at an onset
_GAP_S = 1.7  # readings further apart than this are not averaged
_NOISE_MEMORY_S = 6.0
_NOISE_STEP_S = 0.6  # only neighbours closer than this speak about noise
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


class Smoother:
    """A running median over a window of time; keeps the last single readings.

    Attributes
    ----------
    recent, glimpses : deque of Sample
        The last trusted and the last untrusted readings, in time order, bounded.

    Notes
    -----
    A window in which most readings are untrusted gives no colour: the few trusted ones in it
    are more likely mistaken than sound. After a gap the window starts anew, so that a colour
    never mixes what was seen before the gap with what was seen after it.
    """

    def __init__(self) -> None:
        self._window: deque[Sample] = deque(maxlen=64)
        self.recent: deque[Sample] = deque(maxlen=_KEEP)
        self.glimpses: deque[Sample] = deque(maxlen=_KEEP)
        self._streak_s: float | None = None
        self._noise = 0.6

    def add(self, sample: Sample) -> Point | None:
        """Take a trusted reading; return the smoothed colour once there is enough."""
        window = self._window
        if window and sample.time_s - window[-1].time_s > _GAP_S:
            window.clear()
        if window:
            self._learn_noise(window[-1], sample)
        if self._streak_s is None:
            self._streak_s = sample.time_s
        window.append(sample)
        self.recent.append(sample)
        self._forget(sample.time_s)
        if len(window) < _ENOUGH or self._mostly_untrusted(sample.time_s):
            return None
        centre_s = 0.5 * (window[0].time_s + sample.time_s)
        noise = 1.25 * self._noise / len(window) ** 0.5
        return Point(sample.time_s, centre_s, middle([s.colour for s in window]), noise)

    def glimpse(self, sample: Sample) -> None:
        """Keep an untrusted reading: for looking back, and as a sign of trouble."""
        self.glimpses.append(sample)
        window = self._window
        if self._streak_s is not None and window:
            short = sample.time_s - self._streak_s < _STREAK_S
            if short and self._mostly_untrusted(sample.time_s):
                while window and window[-1].time_s >= self._streak_s:
                    window.pop()
        self._streak_s = None

    def _mostly_untrusted(self, now_s: float) -> bool:
        span_s = max(now_s - self._window[0].time_s, _WINDOW_S)
        untrusted = 0
        for glimpse in reversed(self.glimpses):
            if now_s - glimpse.time_s > span_s:
                break
            untrusted += 1
        return untrusted > len(self._window)

    def _forget(self, now_s: float) -> None:
        window = self._window
        while len(window) > _ENOUGH and now_s - window[0].time_s > _WINDOW_S:
            window.popleft()
        while window and now_s - window[0].time_s > _SPARSE_S:
            window.popleft()

    def _learn_noise(self, before: Sample, now: Sample) -> None:
        apart_s = now.time_s - before.time_s
        if apart_s > _NOISE_STEP_S:
            return
        jitter = abs(now.colour - before.colour) / (2.0**0.5 * _DIFF_TO_SD)
        weight = min(apart_s / _NOISE_MEMORY_S, 0.5)
        self._noise += weight * (min(jitter, 5.0 * self._noise + 0.2) - self._noise)
        self._noise = max(self._noise, 0.05)
