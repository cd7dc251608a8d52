"""Give each addition its mass from the readings of the cumulative mass.

A reading follows its addition: typed some seconds later, or written down at the moment of
the addition itself, which the camera may notice a little after. So a reading that shows
more mass than the one before, with no addition seen between, belongs to an addition seen
shortly after it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from huehold.core import Event, Reading

__all__ = [
    "AdditionMass",
    "Alignment",
    "addition_times",
    "align",
    "masses_of_additions",
    "rises",
]

EARLY_S = 2.0
_STREAM_S = 3.0
_SAME_G = 1e-9
_LEAST_RISE_G = 0.015  # a last digit that flickers is no titrant; the smallest drop is twice that


@dataclass(frozen=True, slots=True)
class AdditionMass:
    """One addition with what the readings say about it.

    Attributes
    ----------
    time_s : float
        When it was seen.
    mass_g : float or None
        Mass of this addition; None if the readings do not tell it apart.
    cumulative_g : float or None
        Titrant added up to and with it; None if it was not read before the next one.
    """

    time_s: float
    mass_g: float | None
    cumulative_g: float | None


@dataclass(frozen=True, slots=True)
class Alignment:
    """Readings set against additions.

    Attributes
    ----------
    readings : tuple of Reading
        In time order.
    additions_s : tuple of float
        Times of the additions in order.
    counts : tuple of int
        For each reading, how many additions its mass includes.
    unexplained : tuple of int
        Indices of readings that show more mass though no addition was seen.
    """

    readings: tuple[Reading, ...]
    additions_s: tuple[float, ...]
    counts: tuple[int, ...]
    unexplained: tuple[int, ...]

    def before(self, number: int) -> int | None:
        """Index of the last reading that includes fewer than `number` additions."""
        at = [i for i, count in enumerate(self.counts) if count < number]
        return at[-1] if at else None

    def settled(self, number: int) -> int | None:
        """Index of the reading that shows the mass after addition `number`, settled.

        Of several, the first that has come to rest: a balance that streams still climbs
        for a moment, and a rise long after is not this addition's.
        """
        group = [i for i, count in enumerate(self.counts) if count == number]
        before = self.before(number)
        start_g = 0.0 if before is None else self.readings[before].mass_g
        risen = [i for i in group if self.readings[i].mass_g > start_g + _SAME_G]
        for i in risen:
            if not self._climbs(i, group[-1]):
                return i
        return group[-1] if group else None

    def _climbs(self, index: int, last: int) -> bool:
        if index == last:
            return False
        now, then = self.readings[index], self.readings[index + 1]
        return then.mass_g > now.mass_g + _SAME_G and then.time_s - now.time_s <= _STREAM_S


def align(readings: Sequence[Reading], addition_times: Sequence[float]) -> Alignment:
    """Find out which additions each reading includes.

    Parameters
    ----------
    readings : sequence of Reading
        Cumulative masses in any order of arrival.
    addition_times : sequence of float
        When additions were seen, in seconds.
    """
    ordered = tuple(sorted(readings, key=lambda reading: reading.time_s))
    times = tuple(sorted(addition_times))
    counts: list[int] = []
    unexplained: list[int] = []
    included, last_g = 0, 0.0
    for index, reading in enumerate(ordered):
        rose = reading.mass_g > last_g + _SAME_G
        seen = bisect_right(times, reading.time_s)
        if rose and seen <= included and _follows(times, included, reading.time_s):
            included += 1
        elif rose and seen <= included:
            unexplained.append(index)
        included = max(included, seen)
        counts.append(included)
        last_g = reading.mass_g
    return Alignment(ordered, times, tuple(counts), tuple(unexplained))


def _follows(times: tuple[float, ...], number: int, time_s: float) -> bool:
    return number < len(times) and times[number] - time_s <= EARLY_S


def masses_of_additions(
    readings: Sequence[Reading], addition_times: Sequence[float]
) -> tuple[AdditionMass, ...]:
    """Mass of each addition as far as the readings tell it.

    Parameters
    ----------
    readings : sequence of Reading
        Cumulative masses; may be empty.
    addition_times : sequence of float
        When additions were seen, in seconds.

    Returns
    -------
    tuple of AdditionMass
        One per addition, in time order.
    """
    aligned = align(readings, addition_times)
    first = aligned.before(1)
    last_g: float | None = 0.0 if first is None else aligned.readings[first].mass_g
    found = []
    for number, time_s in enumerate(aligned.additions_s, start=1):
        index = aligned.settled(number)
        total = None if index is None else aligned.readings[index].mass_g
        mass = None if total is None or last_g is None else total - last_g
        found.append(AdditionMass(time_s, mass, total))
        last_g = total
    return tuple(found)


def addition_times(events: Iterable[Event]) -> tuple[list[float], list[float]]:
    """Return the times of all additions among events, and of those only a mass tells of."""
    told = [event for event in events if event.kind == "addition"]
    unseen = [event.time_s for event in told if event.detail.get("basis") == "noted"]
    return [event.time_s for event in told], unseen


def rises(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Return the readings that speak of titrant added since the one before, at rest.

    Parameters
    ----------
    readings : sequence of Reading
        Cumulative masses in any order of arrival; a stream that climbs counts once, where
        it has come to rest.
    """
    ordered = sorted(readings, key=lambda reading: reading.time_s)
    found: list[Reading] = []
    last_g = 0.0
    for reading, following in zip_longest(ordered, ordered[1:]):
        climbs = (
            following is not None
            and following.time_s - reading.time_s <= _STREAM_S
            and following.mass_g > reading.mass_g + _SAME_G
        )
        if not climbs and reading.mass_g - last_g > _LEAST_RISE_G:
            found.append(reading)
            last_g = reading.mass_g
    return tuple(found)
