"""Cheap looks at a recording: what its packets say, and single pictures about a second apart.

A picture that stands alone (a key frame) costs a small part of what all pictures cost.
`layout_of` reads the packets without decoding; `ProbePlan` chooses the moments to look at;
`Gate` lets only the packets through that are needed for them.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from huehold.core import Frame

__all__ = ["Gate", "Layout", "Look", "ProbePlan", "layout_of"]

_APART_S = 1.1  # moments are at most about this far apart
_GAP_S = 1.0  # as in a full reading: longer steps are gaps to be told
_MISSING_S = 1.0
_WORTH = 0.55  # share of the recording decoded for the moments, above which nothing is won
_FEWEST = 8
_ASIDE = 3  # every so many looks, the picture after the key frame is taken
_NEXT = 1.2  # frame periods that it may come after the key frame


@dataclass(frozen=True, slots=True)
class Layout:
    """What the packets of a recording say.

    Attributes
    ----------
    keys_s : tuple of float
        Times of the key frames, in order.
    pictures : int
        Number of packets with a picture.
    end_s : float
        Time of the last picture.
    even : bool
        Whether every packet is stamped, each stamp occurs once, and no step is a gap.
    """

    keys_s: tuple[float, ...]
    pictures: int
    end_s: float
    even: bool

    @property
    def period_s(self) -> float:
        """Mean time from one picture to the next."""
        return self.end_s / max(self.pictures - 1, 1)


def layout_of(packets: Iterable[Any], time_base: Fraction, origin: Fraction) -> Layout:
    """Read a recording's layout from its packets.

    Parameters
    ----------
    packets : iterable of av.Packet
        All packets of the stream, in any order.
    time_base, origin : Fraction
        Seconds per unit of the stamps, and the stamp of time zero in seconds.
    """
    stamps: list[int] = []
    keys: list[int] = []
    stamped = True
    for packet in packets:
        if packet.size == 0:
            continue
        if packet.pts is None or packet.is_corrupt:
            stamped = False
            continue
        stamps.append(packet.pts)
        if packet.is_keyframe:
            keys.append(packet.pts)
    stamps.sort()
    widest = max((b - a for a, b in pairwise(stamps)), default=0)
    distinct = all(a < b for a, b in pairwise(stamps))

    def seconds(stamp: int) -> float:
        """Return a stamp in seconds from the first picture."""
        return float(stamp * time_base - origin)

    return Layout(
        keys_s=tuple(t for t in map(seconds, sorted(keys)) if t >= 0.0),
        pictures=len(stamps),
        end_s=seconds(stamps[-1]) if stamps else 0.0,
        even=stamped and distinct and bool(stamps) and widest * time_base <= _GAP_S,
    )


@dataclass(frozen=True, slots=True)
class Look:
    """A single picture that stands for the time up to the next look."""

    frame: Frame
    next_s: float


class ProbePlan:
    """Moments to look at, about a second apart, so that little has to be decoded for them.

    Parameters
    ----------
    layout : Layout
    from_s : float
        Time before which there is nothing to look at.

    Attributes
    ----------
    moments_s : list of float
        Times from which on a picture is looked at.
    share : float
        Share of the recording that must be decoded for them.

    Notes
    -----
    Every third look takes the picture after the key frame, so that a light that flickers in
    step with the key frames does not go unnoticed.
    """

    def __init__(self, layout: Layout, *, from_s: float = 0.0) -> None:
        self.period_s = layout.period_s
        self.moments_s: list[float] = []
        self._anchors: list[float] = []
        self._until_s: list[float] = []
        anchors = [key for key in _anchors(layout.keys_s) if key >= from_s]
        for start_s, end_s in pairwise([*anchors, layout.end_s + self.period_s]):
            self._add(start_s, end_s)
        decoded_s = sum(u - a for a, u in zip(self._anchors, self._until_s, strict=True))
        self.share = decoded_s / layout.end_s if layout.end_s > 0.0 else 1.0

    @property
    def worth_it(self) -> bool:
        """Whether looking at the moments is much cheaper than reading everything."""
        return len(self.moments_s) >= _FEWEST and self.share <= _WORTH

    def _add(self, start_s: float, end_s: float) -> None:
        count = max(1, math.ceil((end_s - start_s) / _APART_S - 1e-9))
        step_s = (end_s - start_s) / count
        first = len(self.moments_s)
        self.moments_s += [start_s + i * step_s for i in range(count)]
        self._anchors.append(start_s)
        aside_s = _NEXT * self.period_s if self._steps_aside(first + count - 1) else 0.0
        self._until_s.append(start_s + (count - 1) * step_s + aside_s)

    def _steps_aside(self, moment: int) -> bool:
        return moment % _ASIDE == _ASIDE - 1

    def until_s(self, key_s: float) -> float | None:
        """How far to decode from this key frame; None if it is passed over."""
        at = bisect_right(self._anchors, key_s + 1e-6) - 1
        if at < 0 or abs(self._anchors[at] - key_s) > 1e-6:
            return None
        return self._until_s[at]

    def looks(self, timed: Iterable[tuple[float, Any]]) -> Iterator[tuple[float, Any, float]]:
        """Sort decoded pictures, in time order, into the moments; keep one for each.

        Parameters
        ----------
        timed : iterable of (float, picture)

        Yields
        ------
        (float, picture, float)
            Time and picture of a look, and the beginning of the next moment.
        """
        moment = -1
        kept: tuple[float, Any] | None = None
        for time_s, picture in timed:
            now = bisect_right(self.moments_s, time_s + 1e-6) - 1
            if now != moment:
                if kept is not None:
                    yield *kept, self._next_s(moment)
                moment, kept, spare = now, None, self._steps_aside(now)
            if now >= 0 and (kept is None or spare):
                spare = spare and kept is None
                kept = (time_s, picture)
        if kept is not None:
            yield *kept, math.inf

    def _next_s(self, moment: int) -> float:
        after = moment + 1
        return self.moments_s[after] if after < len(self.moments_s) else math.inf


def _anchors(keys_s: tuple[float, ...]) -> list[float]:
    """Key frames to begin at: as few as possible, not much over a second apart."""
    anchors: list[float] = []
    for this_s, next_s in pairwise([*keys_s, math.inf]):
        if not anchors or next_s - anchors[-1] > _APART_S:
            anchors.append(this_s)
    return anchors


class Gate:
    """Says packet by packet, in the order of decoding, whether it is needed.

    Parameters
    ----------
    plan : ProbePlan
    time_base, origin : Fraction
        Seconds per unit of the stamps, and the stamp of time zero in seconds.
    """

    def __init__(self, plan: ProbePlan, time_base: Fraction, origin: Fraction) -> None:
        self._plan = plan
        self._scale, self._origin = float(time_base), float(origin)
        self._base, self._zero = time_base, origin
        self._key = -math.inf
        self._until_s = -math.inf
        self._passed = 0

    def __call__(self, packet: Any) -> bool:
        """Whether the decoder must see this packet."""
        if packet.pts is None:
            return False
        if packet.is_keyframe:
            until_s = self._plan.until_s(float(packet.pts * self._base - self._zero))
            if until_s is not None:
                self._key, self._until_s, self._passed = packet.pts, until_s, 0
                return True
        if packet.pts < self._key or self._until_s == -math.inf:
            return False  # shown before the key frame, built on what was left out
        if self._key * self._scale - self._origin >= self._until_s - 1e-6:
            return False  # the key frame is all there is to see
        self._passed += 1
        order = packet.dts if packet.dts is not None else packet.pts
        return self._passed == 1 or order * self._scale - self._origin <= self._until_s
