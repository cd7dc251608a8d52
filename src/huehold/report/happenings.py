"""The run's events as reports need them: lists by kind, masses, the bracket."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from huehold.balance.additions import masses_of_additions
from huehold.balance.bracket import Bracket, additions_until, endpoint_bracket
from huehold.core import Event, EventKind
from huehold.errors import InputError
from huehold.run import Run

__all__ = [
    "Addition", "additions", "bracket", "broken_holds", "events_of", "hold_span", "onset_addition",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Addition:
    """One addition: its number from 1, when, and the masses as far as they are known."""

    number: int
    time_s: float
    mass_g: float | None
    cumulative_g: float | None


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
    """Return the titrant before and after the addition that brought the endpoint.

    It is the one the assay was computed with; None without an onset or masses that tell.
    """
    onset_s = run.verdict.onset_s
    if onset_s is None:
        return None
    try:
        return endpoint_bracket(run.readings, onset_s, run.events)
    except InputError:
        return None


def onset_addition(run: Run) -> int | None:
    """Return which addition brought the onset, from 1; None without onset or addition."""
    onset_s = run.verdict.onset_s
    if onset_s is None:
        return None
    return additions_until(onset_s, (e.time_s for e in events_of(run.events, "addition"))) or None


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
