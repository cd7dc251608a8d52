"""The hold: a small state machine that says when the end colour has come to stay."""

from __future__ import annotations

import enum
import math
from collections import deque
from dataclasses import dataclass, field
from statistics import median

from huehold.detection.axis import EndBand, Line
from huehold.detection.plane import middle
from huehold.detection.smoothing import Point
from huehold.detection.trend import is_drifting_back

__all__ = ["Hold", "HoldState", "HoldWatch"]

_ENTER_AFTER_S = 0.8  # in the band this long before a hold is said to start
_LEAVE_AFTER_S = 1.2  # below it this long before it is said to be broken
_COVER = 0.6  # share of the hold that must have been seen
_SETTLE_S = 2.0  # mixing right after the onset says nothing about drift
_AHEAD_S = 120.0  # a colour that leaves its band sooner than this at its pace is drifting back
_REOPEN_AFTER_S = 3.0  # a called endpoint is withdrawn only on a clear, lasting fade
_REOPEN_DEPTH = 0.1
_FEW_LOOKS = 3
_CLOUDY = 0.15  # turbidity from which solid is left
_CLEARED = 0.06  # fall of the turbidity over a hold that shows it dissolving
_CLEARED_MUCH = 0.1  # and one that a green at the very end cannot outlast
_RISE = 0.12  # of the way: more than wander, less than any drop that matters
_RISE_UNITS = 3.0
_JUDGE_EVERY_S = 0.5
_LOOKS_A_HOLD = 90
_LATERAL = 0.9  # spans off the line beyond which this is no colour of the liquid


class HoldState(enum.Enum):
    """Where the colour stands with respect to the end band."""

    AWAY = "away"
    ENTERING = "entering"
    HOLDING = "holding"
    COMPLETE = "complete"


@dataclass(slots=True)
class Hold:
    """One stay in the end band.

    Attributes
    ----------
    entered_s : float
        When the colour came into the end band and stayed.
    onset_s : float
        From when the hold is counted: the entry, or the last addition after it.
    seen_s : float
        Time since then that trusted observations cover.
    brought : bool
        Whether an addition brought the colour here.
    looks : deque of (time_s, colour, turbidity)
        The hold's course, thinned to about ninety looks a hold.
    """

    entered_s: float
    onset_s: float
    brought: bool
    seen_s: float = 0.0
    looks: deque[tuple[float, complex, float]] = field(default_factory=deque)

    def restart(self, time_s: float) -> None:
        """Count from a later moment, keeping what was seen since then."""
        last_s = self.looks[-1][0] if self.looks else time_s
        share = self.seen_s / max(last_s - self.onset_s, 1e-9) if self.looks else 0.0
        self.onset_s, self.seen_s = time_s, min(share, 1.0) * max(last_s - time_s, 0.0)
        while self.looks and self.looks[0][0] <= time_s:
            self.looks.popleft()

    def is_clearing(self) -> bool:
        """Tell whether the mixture is still cloudy, and clearing fast: solid is dissolving."""
        before, now = self._turbidities(3)
        return now > _CLOUDY and before - now > _CLEARED

    def cleared_from(self) -> float | None:
        """Return the turbidity at the beginning if much of it went under the held colour."""
        before, now = self._turbidities(6)
        return before if before - now > _CLEARED_MUCH else None

    def _turbidities(self, parts: int) -> tuple[float, float]:
        """Return the medians of the first and the last part of the hold; NaN if too few."""
        known = [u for _, _, u in self.looks if math.isfinite(u)]
        part = len(known) // parts
        if part < _FEW_LOOKS:
            return math.nan, math.nan
        return median(known[:part]), median(known[-part:])

    def rose_from_s(self, line: Line) -> float | None:
        """Return the last time from which the colour rose clearly, or None.

        A held colour stays or fades; it rises only because titrant was added or because
        the light changed, and from then on the hold must be counted anew.
        """
        least = max(_RISE, _RISE_UNITS / line.span)
        times = [t for t, _, _ in self.looks]
        places = [line.position(c) for _, c, _ in self.looks]
        rose_s, low, low_s = None, math.inf, 0.0
        for i in range(1, len(places) - 1):
            place = median(places[i - 1 : i + 2])  # a single look behind a hand is no low
            if place < low:
                low, low_s = place, times[i]
            elif place - low > least and low_s - self.onset_s > _SETTLE_S:
                rose_s, low = low_s, place
        return rose_s

    @property
    def colour(self) -> complex | None:
        """Median colour of the hold, or None if it was not looked at yet."""
        return middle([c for _, c, _ in self.looks]) if self.looks else None

    def turbidity(self, last_s: float) -> float:
        """Return the median turbidity of the last seconds; NaN if it was not usable."""
        if not self.looks:
            return math.nan
        now_s = self.looks[-1][0]
        known = [u for t, _, u in self.looks if now_s - t <= last_s and math.isfinite(u)]
        return median(known) if known else math.nan


class HoldWatch:
    """Follows the colour into and out of the end band.

    Parameters
    ----------
    hold_s : float
        How long the end colour must persist.
    heed_clearing : bool
        Whether a hold must wait while the mixture is clearing fast.
    """

    def __init__(self, hold_s: float, *, heed_clearing: bool) -> None:
        self._hold_s = hold_s
        self._heed_clearing = heed_clearing
        self._look_every_s = max(hold_s / _LOOKS_A_HOLD, 0.1)
        self.state = HoldState.AWAY
        self.hold: Hold | None = None
        self.drifting = False
        self.clearing = False
        self._since_s: float | None = None
        self._judged_s = -math.inf

    def outside(self, point: Point, line: Line, band: EndBand) -> bool | None:
        """Tell whether a colour is out of the end band; None between its two edges."""
        place = line.place(point.colour)
        if place.real < band.leave or abs(place.imag) > _LATERAL:
            return True
        if line.is_washed_out(point.colour):
            return True
        return False if place.real >= band.enter else None

    def enters(self, point: Point, line: Line, band: EndBand) -> bool:
        """Follow an entry; return whether the colour has now been inside long enough."""
        out = self.outside(point, line, band)
        if self.state is HoldState.AWAY:
            if out is False:
                self.state, self._since_s = HoldState.ENTERING, point.centre_s
            return False
        if out:
            self.away()
            return False
        return point.centre_s - self.entering_s >= _ENTER_AFTER_S

    @property
    def entering_s(self) -> float:
        """When the colour was first inside during the entry under way."""
        assert self._since_s is not None
        return self._since_s

    def start(self, onset_s: float, *, brought: bool) -> None:
        """Begin a hold."""
        self.hold = Hold(onset_s, onset_s, brought)
        self.state, self._since_s = HoldState.HOLDING, None
        self.drifting = self.clearing = False

    def away(self) -> None:
        """Give the hold up."""
        self.state, self.hold, self._since_s = HoldState.AWAY, None, None
        self.drifting = self.clearing = False

    def leaves(self, point: Point, line: Line, band: EndBand) -> float | None:
        """Follow a hold; return since when the colour has been out of the band, or None.

        A hold that is complete is left only by a deeper and longer fall along the line.
        """
        complete = self.state is HoldState.COMPLETE
        place = line.place(point.colour)
        if complete:
            out = place.real < band.leave - _REOPEN_DEPTH and abs(place.imag) <= _LATERAL
        else:
            out = bool(self.outside(point, line, band))
        if not out:
            self._since_s = None
            return None
        if self._since_s is None:
            self._since_s = point.centre_s
        after_s = _REOPEN_AFTER_S if complete else _LEAVE_AFTER_S
        return self._since_s if point.centre_s - self._since_s >= after_s else None

    def see(self, point: Point, turbidity: float, covered_s: float, *, calm: bool) -> None:
        """Add a trusted observation to the hold's record; its colour only if all is calm."""
        hold = self.hold
        if self.state is not HoldState.HOLDING or hold is None or point.time_s <= hold.onset_s:
            return
        hold.seen_s += min(covered_s, point.time_s - hold.onset_s)
        looks = hold.looks
        if not calm:
            return
        if looks and point.time_s - looks[-1][0] < self._look_every_s:
            return
        looks.append((point.time_s, point.colour, turbidity))
        while point.time_s - looks[0][0] > self._hold_s:
            looks.popleft()

    def completes(self, now_s: float, line: Line, band: EndBand) -> bool:
        """Tell whether the hold has lasted, was seen, and is not drifting back."""
        hold = self.hold
        if hold is None or self.state is not HoldState.HOLDING or not hold.brought:
            return False
        lasted_s = now_s - hold.onset_s
        if lasted_s < self._hold_s or self.seen_too_little(now_s) or self._since_s is not None:
            return False
        if now_s - self._judged_s < _JUDGE_EVERY_S:
            return False
        self._judged_s = now_s
        self.drifting = self._drifts(hold, line, band)
        self.clearing = self._heed_clearing and hold.is_clearing()
        return not self.drifting and not self.clearing

    def seen_too_little(self, now_s: float) -> bool:
        """Tell whether too small a share of the hold has been seen for it to count."""
        hold = self.hold
        return hold is not None and hold.seen_s < _COVER * (now_s - hold.onset_s)

    def complete(self) -> None:
        """Call the hold complete."""
        self.state = HoldState.COMPLETE

    def _drifts(self, hold: Hold, line: Line, band: EndBand) -> bool:
        settle_s = min(_SETTLE_S, 0.1 * self._hold_s)
        looks = [(t, c) for t, c, _ in hold.looks if t - hold.onset_s >= settle_s]
        return is_drifting_back(
            [t for t, _ in looks],
            [line.position(c) for _, c in looks],
            ahead_s=max(self._hold_s, _AHEAD_S),
            edge=band.leave,
        )
