"""Presentation stamps to seconds, and which frames are worth converting.

Time is what the container's stamps say, counted from the first frame. Stamps that repeat
or run backwards belong to broken or spliced recordings; such frames are left out, and a
lasting jump backwards is joined on with a warning. Gaps stay gaps.
"""

from __future__ import annotations

import math
from collections import deque
from fractions import Fraction
from statistics import median

from huehold.errors import InputError

__all__ = ["StampClock", "Thinner"]

_JUMP_FRAMES = 8
_RECENT = 15
_GAP_S = 1.0
_LEAP_S = 900.0


class StampClock:
    """Turns presentation stamps into strictly increasing seconds from the first frame.

    Parameters
    ----------
    name : str
        File name for messages.
    by_order : bool
        The stamps come from the order of decoding because the container has no others.
    origin : Fraction or None
        Stamp in seconds of the first frame, if that one is not to be delivered itself.

    Attributes
    ----------
    warnings : list of str
        What had to be mended so far, ready to be read out at the end.
    """

    def __init__(
        self, name: str, *, by_order: bool = False, origin: Fraction | None = None
    ) -> None:
        self._name = name
        self._by_order = by_order
        self._shift = origin
        self._last: Fraction | None = None
        self._steps: deque[Fraction] = deque(maxlen=_RECENT)
        self._odd_in_a_row = 0
        self._left_out = 0
        self._derived = 0
        self._joins: list[float] = []
        self._gaps: list[tuple[Fraction, Fraction]] = []

    def seconds(self, stamp: int | None, time_base: Fraction | None) -> float | None:
        """Time of the next frame in presentation order.

        Parameters
        ----------
        stamp : int or None
            Presentation stamp in units of `time_base`; None if the frame has none.
        time_base : Fraction or None
            Seconds per unit.

        Returns
        -------
        float or None
            Seconds from the first frame; None if the frame must be left out because its
            stamp is not later than the one before.

        Raises
        ------
        InputError
            If the very first frame has no stamp.
        """
        at = self._place(stamp, time_base)
        if self._odd(at):
            self._odd_in_a_row += 1
            if self._odd_in_a_row < _JUMP_FRAMES:
                self._left_out += 1
                return None
            at = self._join(at)
        self._accept(at)
        return float(at)

    def _odd(self, at: Fraction) -> bool:
        """Whether a stamp is not later than the last, or leaps so far that it may be damaged."""
        last = self._last
        return last is not None and (float(at) <= float(last) or at - last > _LEAP_S)

    def _place(self, stamp: int | None, time_base: Fraction | None) -> Fraction:
        if stamp is None or time_base is None:
            return self._guess()
        absolute = stamp * time_base
        if self._shift is None or (self._last is None and self._astray(absolute)):
            self._shift = absolute
        return absolute - self._shift

    def _astray(self, first: Fraction) -> bool:
        """Whether the origin cannot be right, seen from the first frame delivered."""
        return self._shift is not None and not 0 <= first - self._shift <= _LEAP_S

    def _guess(self) -> Fraction:
        if self._last is None:
            raise InputError(
                f"{self._name} carries no times for its pictures, so nothing can be timed; "
                "put it into an MP4 or Matroska file with the camera's own times."
            )
        self._derived += 1
        return self._last + self._step()

    def _step(self) -> Fraction:
        return median(self._steps) if self._steps else Fraction(1, 30)

    def _join(self, at: Fraction) -> Fraction:
        """Accept a lasting change of the clock: a leap ahead as it is, a jump back joined on."""
        assert self._last is not None
        assert self._shift is not None
        self._left_out -= _JUMP_FRAMES - 1
        if at > self._last:
            return at
        joined = self._last + _JUMP_FRAMES * self._step()
        self._shift -= joined - at
        self._joins.append(float(self._last))
        return joined

    def _accept(self, at: Fraction) -> None:
        if self._last is not None:
            step = at - self._last
            if step > _GAP_S and step > 5 * self._step():
                self._gaps.append((step, self._last))
            self._steps.append(step)
        self._last = at
        self._odd_in_a_row = 0

    @property
    def warnings(self) -> list[str]:
        """Sentences about what was mended."""
        said = []
        if self._left_out:
            said.append(
                f"{_count(self._left_out, 'frame')} carried a time not later than the frame "
                "before, or far ahead, and were left out."
            )
        if self._by_order:
            said.append(
                "The recording is an AVI file, which does not state when reordered pictures are "
                "shown; times were taken from the order in which they come."
            )
        elif self._derived:
            said.append(
                f"{_count(self._derived, 'frame')} carried no time; theirs was taken from the "
                "usual distance between frames."
            )
        if self._gaps:
            length, start = max(self._gaps)
            said.append(
                f"The recording has {_count(len(self._gaps), 'gap')} without pictures; the longest "
                f"lasts {float(length):.1f} s from {float(start):.1f} s."
            )
        said += [
            f"The recording's clock jumps back after {at:.1f} s (spliced or restarted); what "
            "follows was joined on, and times after it are not certain."
            for at in self._joins[:3]
        ]
        if len(self._joins) > 3:
            said.append(f"The clock jumps back {len(self._joins)} times in all.")
        return said


class Thinner:
    """Chooses the first frame near each tick of a steady clock.

    Each tick (a multiple of ``1 / rate_hz``) owns the half interval on either side of it,
    and the first frame to fall there is taken. Frames at or below the rate all pass, even
    when their stamps are rounded; no state reaches further than the last tick, so a pass
    that starts in the middle picks the same frames.

    Parameters
    ----------
    rate_hz : float
        Frames wanted per second; infinite to take all.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._tick: float | None = None

    def wants(self, time_s: float) -> bool:
        """Whether the frame at `time_s` is to be analysed; call in time order."""
        if math.isinf(self._rate_hz):
            return True
        tick = math.floor(time_s * self._rate_hz + 0.5)
        if tick == self._tick:
            return False
        self._tick = tick
        return True


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
