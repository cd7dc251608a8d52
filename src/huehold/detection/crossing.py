"""Looking back: when the colour rose through a level, to a fraction of a frame."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from huehold.detection.axis import Line
from huehold.detection.plane import Sample, middle

__all__ = ["crossing_s"]

_CLOSE_S = 0.6  # trusted readings nearer than this need no help from untrusted ones
_TELLING = 0.2  # trust from which an untrusted reading may still show the colour


def crossing_s(
    recent: Iterable[Sample],
    glimpses: Iterable[Sample],
    line: Line,
    level: float,
    *,
    since_s: float,
) -> float | None:
    """Return when the colour last rose through a level.

    Parameters
    ----------
    recent : iterable of Sample
        Trusted readings in time order.
    glimpses : iterable of Sample
        Untrusted readings in time order. They only help to find the moment between two
        trusted readings that lie far apart, as when the dropper was over the cup.
    line : Line
        The start-to-end line.
    level : float
        Position on it.
    since_s : float
        Readings before this time are not looked at, save the last of them.

    Returns
    -------
    float or None
        The time, by linear interpolation between medians of three readings; None if the
        readings never were below the level or never rose through it.
    """
    readings = _since(list(recent), since_s)
    places = _places(readings, line)
    for i in range(len(places) - 1, 0, -1):
        if places[i - 1] < level <= places[i]:
            before_s, after_s = readings[i - 1].time_s, readings[i].time_s
            share = (level - places[i - 1]) / (places[i] - places[i - 1])
            between_s = before_s + share * (after_s - before_s)
            if after_s - before_s <= _CLOSE_S:
                return between_s
            inside = [g for g in glimpses if before_s < g.time_s < after_s and _tells(g)]
            return _split_s(inside, line, level, between_s, before_s, after_s)
    return None


def _since(readings: Sequence[Sample], since_s: float) -> list[Sample]:
    first = next((i for i, s in enumerate(readings) if s.time_s >= since_s), len(readings))
    return list(readings[max(first - 1, 0) :])


def _places(readings: list[Sample], line: Line) -> list[float]:
    colours = [s.colour for s in readings]
    steady = list(colours)
    for i in range(1, len(colours) - 1):
        near = readings[i + 1].time_s - readings[i - 1].time_s <= 2.0 * _CLOSE_S
        if near:
            steady[i] = middle(colours[i - 1 : i + 2])
    return [line.position(c) for c in steady]


def _split_s(
    inside: list[Sample],
    line: Line,
    level: float,
    guess_s: float,
    before_s: float,
    after_s: float,
) -> float:
    """Return the time that best parts readings below the level from readings above it."""
    if len(inside) < 3:
        return guess_s
    above = [line.position(s.colour) >= level for s in inside]
    edges = [before_s, *(s.time_s for s in inside), after_s]
    wrong = sum(not up for up in above)  # all of them taken as after the crossing
    costs = [wrong]
    for up in above:
        wrong += 1 if up else -1
        costs.append(wrong)
    least = min(costs)
    best = [0.5 * (edges[i] + edges[i + 1]) for i, cost in enumerate(costs) if cost == least]
    return min(best, key=lambda t: abs(t - guess_s))


def _tells(glimpse: Sample) -> bool:
    return glimpse.trust >= _TELLING and math.isfinite(abs(glimpse.colour))
