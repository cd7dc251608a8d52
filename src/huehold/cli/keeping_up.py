"""Whether this machine keeps up with a recording that is played faster than it was made."""

from __future__ import annotations

from collections import deque

from huehold.capture.live import LiveSource
from huehold.core import Frame
from huehold.watching import Moment

__all__ = ["KeepingUp"]

_LOOKED_AT = 60  # frames: long enough for a slow start to pass
_LEAST_HZ = 6.0  # looks a second of the recording, under which changes are missed
_GOOD_HZ = 10.0


class KeepingUp:
    """A listener that warns once when too few frames of a second are looked at.

    Parameters
    ----------
    source : LiveSource
        What is played; the warning joins its others, and so the run's.
    speed : float
        How many times faster than it was recorded.
    """

    def __init__(self, source: LiveSource, speed: float) -> None:
        self._source = source
        self._speed = speed
        self._times_s: deque[float] = deque(maxlen=_LOOKED_AT)
        self._warned = False

    def __call__(self, moment: Moment, frame: Frame | None) -> None:
        """Note a frame that was looked at."""
        if frame is None or self._warned:
            return
        self._times_s.append(frame.time_s)
        span_s = self._times_s[-1] - self._times_s[0]
        if len(self._times_s) < _LOOKED_AT or span_s <= 0.0:
            return
        rate_hz = (_LOOKED_AT - 1) / span_s
        if rate_hz < _LEAST_HZ:
            self._warned = True
            self._source.warnings.append(_too_fast(self._speed, rate_hz))


def _too_fast(speed: float, rate_hz: float) -> str:
    bearable = speed * rate_hz / _GOOD_HZ
    slower = f"play it with --speed {int(bearable)}, or " if bearable >= 1.0 else ""
    return (
        f"This machine cannot keep up with --speed {speed:g}: it looks at {rate_hz:.1f} pictures "
        "of each second of the recording and skips the rest, so changes may be missed; "
        f"{slower}use `huehold review`, which waits for every picture."
    )
