"""The run's events as reports need them: lists by kind, masses, the bracket."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from huehold.core import Event, EventKind, Reading
from huehold.run import Run

__all__ = ["Addition", "Bracket", "additions", "bracket", "events_of", "hold_span", "titrant_g"]


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
    start_s, end_s : float
        The addition that brought the endpoint, and the onset.
    before_g, after_g : float or None
        Titrant before and after that addition.
    """

    start_s: float
    end_s: float
    before_g: float | None
    after_g: float | None


def events_of(events: Iterable[Event], kind: EventKind) -> list[Event]:
    """Return the events of one kind, in their order."""
    return [event for event in events if event.kind == kind]


def additions(run: Run) -> list[Addition]:
    """List the additions, numbered, and give them what masses are known.

    The masses an event carries go first; where it has none, the reading between it and
    the next addition is taken.
    """
    found = events_of(run.events, "addition")
    ends = [event.time_s for event in found[1:]] + [float("inf")]
    listed: list[Addition] = []
    start_s = found[0].time_s if found else 0.0
    before: float | None = _reading_between(run.readings, float("-inf"), start_s) or 0.0
    for index, (event, end_s) in enumerate(zip(found, ends, strict=False), start=1):
        total = _detail(event, "cumulative_g")
        if total is None:
            total = _reading_between(run.readings, event.time_s, end_s)
        mass = _detail(event, "mass_g")
        if mass is None and total is not None and before is not None:
            mass = total - before
        listed.append(Addition(index, event.time_s, mass, total))
        before = total
    return listed


def bracket(run: Run) -> Bracket | None:
    """Return the bracket of the onset, or None if there was no onset or no addition."""
    onset_s = run.verdict.onset_s
    if onset_s is None:
        return None
    earlier = [addition for addition in additions(run) if addition.time_s <= onset_s]
    if not earlier:
        return None
    last = earlier[-1]
    return Bracket(last.time_s, onset_s, _before(earlier), last.cumulative_g)


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


def titrant_g(run: Run) -> float | None:
    """Return the titrant's mass at the endpoint, else the last one that was read."""
    found = bracket(run)
    if found is not None and found.after_g is not None:
        return found.after_g
    return run.readings[-1].mass_g if run.readings else None


def _before(earlier: list[Addition]) -> float | None:
    last = earlier[-1]
    if last.cumulative_g is not None and last.mass_g is not None:
        return last.cumulative_g - last.mass_g
    return earlier[-2].cumulative_g if len(earlier) > 1 else None


def _detail(event: Event, key: str) -> float | None:
    value = event.detail.get(key)
    return float(value) if isinstance(value, int | float) else None


def _reading_between(readings: tuple[Reading, ...], start_s: float, end_s: float) -> float | None:
    inside = [reading.mass_g for reading in readings if start_s <= reading.time_s < end_s]
    return inside[-1] if inside else None
