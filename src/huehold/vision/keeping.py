"""Keeping hold of the vessel: find it, confirm it, follow it, notice when it is gone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.geometry import same_place
from huehold.vision.tracking import RingTracker
from huehold.vision.vessel import find_vessel

__all__ = ["Holding", "VesselKeeper"]

Picture = NDArray[np.uint8]
State = Literal["none", "searching", "held", "lost"]

_VOTES = 3  # findings that must agree before a vessel is believed
_AGAINST = 3  # findings that must disagree before it is given up or changed
_QUICK_S, _CALM_S, _IDLE_S = 0.25, 4.0, 0.5  # between searches: unsure, sure, nothing found
_CALMEST_S = 16.0  # between searches that keep agreeing, while the ring is well recognised
_WELL = 0.6  # likeness of the ring from which it is
_LOST_S, _COVERED_S = 1.5, 30.0  # without its ring: in free view, behind a hand
_FOLLOWED = 0.35  # likeness of the ring from which a step counts
_GAP_S = 2.0


@dataclass(frozen=True, slots=True)
class Holding:
    """Where the vessel is thought to be.

    Attributes
    ----------
    ellipse : Ellipse or None
        Outline of the liquid in pixels of the small picture.
    state : {"none", "searching", "held", "lost"}
        Nothing found yet; found but not confirmed; followed; gone.
    likeness : float
        How well the ring around it is recognised, up to 1.
    motion : float
        Shift since the previous frame in units of the smaller half axis.
    shift_px : tuple of float
        That shift in pixels of the small picture.
    """

    ellipse: Ellipse | None
    state: State
    likeness: float = 0.0
    motion: float = 0.0
    shift_px: tuple[float, float] = (0.0, 0.0)


class VesselKeeper:
    """Find and follow one vessel on small pictures in time order.

    Parameters
    ----------
    given : Ellipse or None
        Outline in pixels of the small picture when the user has said where it is; it is
        followed, but never sought elsewhere.
    """

    def __init__(self, given: Ellipse | None = None) -> None:
        self._given = given
        self._tracker: RingTracker | None = None
        self._votes = self._against = self._failures = 0
        self._rival: Ellipse | None = None
        self._ever_held = False
        self._next_check_s = -np.inf
        self._calm_s = _CALM_S
        self._seen_s = self._last_s = 0.0
        self._near: Ellipse | None = None

    def expect(self, place: Ellipse) -> None:
        """Search only near this outline of the cup, in pixels of the small picture."""
        self._near = place

    def look(self, image: Picture, time_s: float, *, covered: bool) -> Holding:
        """Look at the next picture; `covered` says a hand was over the vessel just before."""
        passed_s = time_s - self._last_s
        if self._tracker is not None and passed_s > _GAP_S:
            self._next_check_s = self._seen_s = time_s
        self._last_s = time_s
        if self._tracker is None:
            return self._search(image, time_s)
        step = self._tracker.step(image, min(passed_s, _GAP_S), learn=not covered)
        if step.likeness < _WELL:
            self._hurry(time_s)
        if step.likeness > _FOLLOWED:
            self._seen_s = time_s
        elif time_s - self._seen_s > self._patience_s(covered):
            return self._give_up(image)
        due = time_s >= self._next_check_s and not (covered and self._sure)
        if self._given is None and due:
            self._check(image, time_s)
        if self._tracker is None:
            return Holding(None, "lost" if self._ever_held else "none")
        minor = self._tracker.ellipse.semi_minor_px
        motion = float(np.hypot(*step.shift_px)) / minor if step.likeness > _FOLLOWED else 0.0
        return Holding(
            self._tracker.ellipse, "held" if self._sure else "searching", step.likeness, motion,
            step.shift_px,
        )  # fmt: skip

    @property
    def _sure(self) -> bool:
        return self._given is not None or self._votes >= _VOTES

    def _patience_s(self, covered: bool) -> float:
        if not self._sure:
            return _QUICK_S
        return _COVERED_S if covered else _LOST_S

    def _search(self, image: Picture, time_s: float) -> Holding:
        found = self._given
        if found is None and time_s >= self._next_check_s:
            candidate = find_vessel(image, self._near)
            found = candidate.ellipse if candidate else None
            self._failures = 0 if found else self._failures + 1
            self._next_check_s = time_s + (_QUICK_S if self._failures < 20 else _IDLE_S)
        if found is None:
            return Holding(None, "lost" if self._ever_held else "none")
        self._take(image, found)
        self._seen_s = time_s
        sure = self._given is not None
        self._ever_held |= sure
        return Holding(found, "held" if sure else "searching", 1.0)

    def _take(self, image: Picture, ellipse: Ellipse) -> None:
        self._tracker = RingTracker(image, ellipse)
        self._votes, self._against, self._rival = 1, 0, None

    def _give_up(self, image: Picture) -> Holding:
        if self._given is not None:
            assert self._tracker is not None
            self._tracker = RingTracker(image, self._tracker.ellipse)
            self._seen_s = self._last_s
            return Holding(self._tracker.ellipse, "held", 0.0)
        self._tracker, self._votes = None, 0
        return Holding(None, "lost" if self._ever_held else "none")

    def _check(self, image: Picture, time_s: float) -> None:
        """Ask the finder again: agree, correct a little, or after repeated dissent let go."""
        assert self._tracker is not None
        candidate = find_vessel(image, self._near)
        if candidate is not None and same_place(candidate.ellipse, self._tracker.ellipse, 0.2):
            self._agree(image, candidate.ellipse)
        else:
            self._disagree(image, candidate.ellipse if candidate else None)
        if self._votes < _VOTES or self._against > 0:
            self._calm_s = _CALM_S
            self._next_check_s = time_s + _QUICK_S
        else:
            self._next_check_s = time_s + self._calm_s
            self._calm_s = min(2.0 * self._calm_s, _CALMEST_S)

    def _hurry(self, time_s: float) -> None:
        """Search no later than when just found: the ring has changed its looks."""
        self._calm_s = _CALM_S
        self._next_check_s = min(self._next_check_s, time_s + _CALM_S)

    def _agree(self, image: Picture, found: Ellipse) -> None:
        assert self._tracker is not None
        self._votes, self._against, self._rival = self._votes + 1, 0, None
        self._ever_held |= self._votes >= _VOTES
        if not same_place(found, self._tracker.ellipse, 0.015):
            self._tracker = RingTracker(image, _between(self._tracker.ellipse, found, 0.35))

    def _disagree(self, image: Picture, found: Ellipse | None) -> None:
        sure = self._votes >= _VOTES
        if found is None:
            self._against += 0 if sure else 1
        elif sure and self._rival is not None and same_place(found, self._rival, 0.15):
            self._against += 1
        else:
            self._against = self._against + 1 if not sure else 1
        self._rival = found
        if self._against >= _AGAINST:
            self._tracker = None
            if found is not None:
                self._take(image, found)
                self._against = 0
            else:
                self._votes = 0


def _between(one: Ellipse, other: Ellipse, share: float) -> Ellipse:
    """Ellipse part of the way from one to another of about the same place."""

    def mix(a: float, b: float) -> float:
        """Return the number part of the way."""
        return a + share * (b - a)

    turn = (other.angle_deg - one.angle_deg + 90.0) % 180.0 - 90.0
    return Ellipse(
        mix(one.x_px, other.x_px),
        mix(one.y_px, other.y_px),
        mix(one.semi_major_px, other.semi_major_px),
        mix(one.semi_minor_px, other.semi_minor_px),
        (one.angle_deg + share * turn) % 180.0,
    )
