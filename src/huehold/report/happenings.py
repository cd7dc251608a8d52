"""The run's events as reports need them: lists by kind, masses, the bracket."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from huehold.balance.additions import addition_times, masses_of_additions
from huehold.balance.bracket import titrant_bracket
from huehold.core import Event, EventKind
from huehold.errors import InputError
from huehold.run import Run

__all__ = ["Addition", "Bracket", "additions", "bracket", "broken_holds", "events_of", "hold_span"]

_ONSET_SLACK_S: Final = 1.0
"""An addition may be noticed so long after the onset it brought."""


@dataclass(frozen=True, slots=True)
class Addition:
    """One addition: its number from 1, when, and the masses as far as they are known."""

    number: int
    time_s: float
    mass_g: float | None
    cumulative_g: float | None


@dataclass(frozen=True, slots=True)
class Bracket:
    """What the equivalence point lies between.

    Attributes
    ----------
    number : int
        Which addition brought the endpoint, from 1.
    start_s, end_s : float
        That addition, and the onset.
    before_g, after_g : float or None
        Titrant before and after that addition.
    """

    number: int
    start_s: float
    end_s: float
    before_g: float | None
    after_g: float | None


def events_of(events: Iterable[Event], kind: EventKind) -> list[Event]:
    """Return the events of one kind, in their order."""
    return [event for event in events if event.kind == kind]


def additions(run: Run) -> list[Addition]:
    """List the additions, numbered, and give them what masses are known.

    The masses an event carries go first; without any, the readings are set against the
    additions.
    """
    found = events_of(run.events, "addition")
    times = [event.time_s for event in found]
    carried = [(_detail(event, "mass_g"), _detail(event, "cumulative_g")) for event in found]
    if all(masses == (None, None) for masses in carried):
        read = masses_of_additions(run.readings, times)
        carried = [(addition.mass_g, addition.cumulative_g) for addition in read]
    return [
        Addition(index, time_s, *masses)
        for index, (time_s, masses) in enumerate(zip(times, carried, strict=True), start=1)
    ]


def bracket(run: Run) -> Bracket | None:
    """Return the bracket of the onset, or None if there was no onset or no addition."""
    onset_s = run.verdict.onset_s
    if onset_s is None:
        return None
    times = [event.time_s for event in events_of(run.events, "addition")]
    earlier = [time_s for time_s in times if time_s <= onset_s + _ONSET_SLACK_S]
    if not earlier:
        return None
    try:
        _, unseen = addition_times(run.events)
        masses = titrant_bracket(run.readings, onset_s, times, unseen_s=unseen)
    except InputError:  # no reading belongs to the endpoint: the bracket is one in time only
        return Bracket(len(earlier), earlier[-1], onset_s, None, None)
    return Bracket(len(earlier), earlier[-1], onset_s, masses.before_g, masses.after_g)


def broken_holds(run: Run) -> list[tuple[float, float]]:
    """Return start and end of each hold that was broken, in time order."""
    found: list[tuple[float, float]] = []
    started_s: float | None = None
    for event in run.events:
        if event.kind == "hold_started":
            started_s = event.time_s
        elif event.kind == "hold_broken":
            found.append((event.time_s if started_s is None else started_s, event.time_s))
            started_s = None
    return found


def hold_span(run: Run) -> tuple[float, float] | None:
    """Return start and end of the hold that stood at the end of the run, if one did."""
    verdict = run.verdict
    if verdict.onset_s is None:
        return None
    if verdict.confirmed_s is not None:
        return verdict.onset_s, verdict.confirmed_s
    if verdict.hold_s is None:
        return None
    return verdict.onset_s, verdict.onset_s + verdict.hold_s


def _detail(event: Event, key: str) -> float | None:
    value = event.detail.get(key)
    return float(value) if isinstance(value, int | float) else None
