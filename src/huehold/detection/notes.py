"""Typed or weighed additions, brought together with the ones that were seen."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

__all__ = ["Note", "Notes"]

_TYPED_LATER_S = 20.0  # a note may follow its addition by this much: the balance settles
_TYPED_BEFORE_S = 3.0  # or come this much before it is seen


@dataclass(frozen=True, slots=True)
class Note:
    """An addition as it was noted: when it fell, its mass if known, and when it was noted."""

    time_s: float
    mass_g: float | None
    noted_s: float

    def fits(self, seen_s: float) -> bool:
        """Tell whether a seen addition may be the one that was noted."""
        return self.time_s - _TYPED_BEFORE_S <= seen_s <= self.noted_s + _TYPED_BEFORE_S


class Notes:
    """Keeps notes that have no seen addition yet, and the last addition that has no note.

    A note speaks of all that was added since the note before it, so that one seen addition
    explains it; what was seen before the note before it never does.
    """

    def __init__(self) -> None:
        self._seen_s = -math.inf
        self._pending: deque[Note] = deque()

    def add(self, noted_s: float, mass_g: float | None, time_s: float | None = None) -> None:
        """Take a note; it is settled at once if an addition was seen since the one before.

        Parameters
        ----------
        noted_s : float
            When it was noted.
        mass_g : float or None
            Mass of the addition.
        time_s : float, optional
            When it fell, if that is known better.
        """
        if noted_s - self._seen_s > _TYPED_LATER_S:
            self._pending.append(Note(noted_s if time_s is None else time_s, mass_g, noted_s))
        self._seen_s = -math.inf

    def claim(self, seen_s: float) -> float | None:
        """Take a seen addition; return the mass noted for it shortly before, if any."""
        for note in self._pending:
            if note.fits(seen_s):
                self._pending.remove(note)
                return note.mass_g
        self._seen_s = seen_s
        return None

    def due(self, now_s: float) -> list[Note]:
        """Return and forget the notes that have waited long enough for a partner."""
        due = [note for note in self._pending if now_s - note.noted_s >= _TYPED_BEFORE_S]
        for note in due:
            self._pending.remove(note)
        return due
