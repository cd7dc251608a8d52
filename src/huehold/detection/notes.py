"""Typed or weighed additions, brought together with the ones that were seen."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

__all__ = ["Note", "Notes"]

_TYPED_BEFORE_S = 3.0  # a note may come this much before its addition is seen


@dataclass(frozen=True, slots=True)
class Note:
    """An addition as it was noted: when it fell, and when it was noted."""

    time_s: float
    noted_s: float

    def fits(self, seen_s: float) -> bool:
        """Tell whether a seen addition may be the one that was noted."""
        return self.time_s - _TYPED_BEFORE_S <= seen_s <= self.noted_s + _TYPED_BEFORE_S


class Notes:
    """Keeps notes that have no seen addition yet, and whether a seen addition has no note.

    A note speaks of all that was added since the note before it, so that one seen addition
    explains it, however late it is typed; what was seen before the note before it never does.
    """

    def __init__(self) -> None:
        self._seen = False
        self._pending: deque[Note] = deque()

    def add(self, noted_s: float, time_s: float) -> None:
        """Take a note; it is settled at once if an addition was seen since the one before.

        Parameters
        ----------
        noted_s : float
            When it was noted.
        time_s : float
            When it probably fell.
        """
        if not self._seen:
            self._pending.append(Note(time_s, noted_s))
        self._seen = False

    def claim(self, seen_s: float) -> None:
        """Take a seen addition, and settle the note made of it shortly before, if any."""
        for note in self._pending:
            if note.fits(seen_s):
                self._pending.remove(note)
                return
        self._seen = True

    def due(self, now_s: float) -> list[Note]:
        """Return and forget the notes that have waited long enough for a partner."""
        due = [note for note in self._pending if now_s - note.noted_s >= _TYPED_BEFORE_S]
        for note in due:
            self._pending.remove(note)
        return due
