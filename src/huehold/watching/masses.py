"""The titrant masses typed in a live run, as they stand, with their earlier versions kept."""

from __future__ import annotations

from huehold.core import Reading
from huehold.errors import HueholdError
from huehold.masses import read_mass
from huehold.notebook import MassEntry
from huehold.watching.keeper import Keeper

__all__ = ["TypedMasses"]


class TypedMasses:
    """Entries in the order they were typed; each goes to the notebook at once.

    Parameters
    ----------
    keeper : Keeper
        Writes each down.
    """

    def __init__(self, keeper: Keeper) -> None:
        self._keeper = keeper
        self._entries: list[MassEntry] = []

    def __bool__(self) -> bool:
        return bool(self._entries)

    def add(self, text: str, now_s: float, typed: str | None, time_s: float | None) -> MassEntry:
        """Write down a cumulative titrant mass.

        Parameters
        ----------
        text : str
            The mass, in grams unless stated.
        now_s : float
            The present time.
        typed : str or None
            What was really typed, where the mass was worked out from it.
        time_s : float or None
            When it was typed, if earlier than now; not before the newest entry.

        Raises
        ------
        InputError
            If it is no mass, or falls below the one before it.
        """
        mass_g = read_mass(text, previous_g=self._last_g())
        newest_s = max((entry.time_s for entry in self._entries), default=0.0)
        at_s = now_s if time_s is None else min(max(time_s, newest_s), now_s)
        number = 1 + max((entry.entry for entry in self._entries), default=0)
        entry = self._keeper.add_mass(at_s, mass_g, typed or text, number)
        self._entries.append(entry)
        return entry

    def edit(self, number: int, text: str) -> MassEntry:
        """Give an entry another mass.

        Raises
        ------
        HueholdError
            If there is no such entry, or `text` is no mass.
        """
        old = self._entry(number)
        return self._put(self._keeper.edit_mass(old, read_mass(text), text, struck=False))

    def strike(self, number: int) -> MassEntry:
        """Take an entry back.

        Raises
        ------
        HueholdError
            If there is no such entry.
        """
        old = self._entry(number)
        return self._put(self._keeper.edit_mass(old, old.mass_g, old.typed, struck=True))

    def adopt(self, entries: tuple[MassEntry, ...]) -> None:
        """Take over the entries of an interrupted run that goes on."""
        self._entries = list(entries)

    def entries(self) -> tuple[MassEntry, ...]:
        """Return the entries, those struck out included, as the notebook has them."""
        return tuple(map(self._keeper.as_written, self._entries))

    def readings(self) -> tuple[Reading, ...]:
        """Return the masses that stand, as readings in time order."""
        found = [Reading(e.time_s, e.mass_g, e.source) for e in self._entries if not e.struck]
        return tuple(sorted(found, key=lambda reading: reading.time_s))

    def _entry(self, number: int) -> MassEntry:
        for entry in self._entries:
            if entry.entry == number:
                return entry
        raise HueholdError(f"There is no mass entry {number} in this run.")

    def _put(self, changed: MassEntry) -> MassEntry:
        self._entries = [changed if e.entry == changed.entry else e for e in self._entries]
        return changed

    def _last_g(self) -> float | None:
        standing = [entry.mass_g for entry in self._entries if not entry.struck]
        return standing[-1] if standing else None
