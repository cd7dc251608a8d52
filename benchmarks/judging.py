"""A virtual run's verdict held against what really happened; see `benchmarks.accuracy`.

The truth's end colour begins at a share of the way from start to end colour; within `DOUBT`
of it no eye can tell. What a run must come to follows from the truth alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.assays import Weighed
from huehold.core import Event, Verdict
from huehold.virtual.bench import Bench
from huehold.virtual.run import hue_turned
from huehold.virtual.titration import Recipe
from huehold.virtual.truth import Truth, last_entry

__all__ = ["DOUBT", "Outcome", "judge"]

SLACK_S = 4.0  # a hold that ends this near to what is asked may be called or not
TOLERANCE_S = 0.5  # an onset this much before an addition was still brought by it
PORTION_S = 1.5  # drops closer than this are one portion
DOUBT = 0.1  # of the way, either side of the truth's edge of the end colour
MIXING_S = 2.0  # right after an addition the well-mixed pH is not what is seen
_EDGES = (-DOUBT, -0.5 * DOUBT, 0.0, 0.5 * DOUBT, DOUBT)
_SEEN_S = (-1.0, 4.0)  # an addition told this long after its portion began is that portion

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """One run: what it should have come to, and what the detector said.

    `onset_error_s` is against the onset by the truth's own edge, `onset_off_s` against the
    nearest onset that an edge within `DOUBT` of it gives. `short_drops` says by how much the
    titrant of a premature call was too little, in drops (negative: it was enough).
    """

    seed: int
    hold_s: float
    duration_s: float
    expected: str
    at_rest_in_doubt: bool
    verdict: str
    false_endpoint: bool
    doubtful: bool
    premature: bool
    taken_back: bool
    short_drops: float | None
    brink: bool
    onset_error_s: float | None
    onset_off_s: float | None
    mass_error_g: float | None
    result_error_percent: float | None
    portions: int
    portions_seen: int
    additions_told: int
    weighed: Weighed | None
    said: str

    @property
    def due(self) -> bool:
        """Whether an endpoint must be called."""
        return self.expected == "endpoint"

    @property
    def missed(self) -> bool:
        """Whether an endpoint that was due was not called."""
        return self.due and self.verdict not in ("endpoint", "overshoot")

    @property
    def badness(self) -> float:
        """Order of the worst runs."""
        return (
            1e3 * self.false_endpoint
            + 3e2 * self.missed
            + 1e2 * self.doubtful
            + 50.0 * (self.premature and not self.taken_back)
            + abs(self.onset_off_s or 0.0)
            + 20.0 * abs(self.mass_error_g or 0.0)
        )


def judge(
    seed: int,
    bench: Bench,
    truth: Truth,
    hold_s: float,
    verdict: Verdict,
    events: Sequence[Event],
    weighed: Weighed | None = None,
) -> Outcome:
    """Hold a verdict against the truth.

    An endpoint is *false* if at any moment of its hold the colour was back beyond the doubt,
    and *doubtful* if it was back within it. It is *premature* if the end colour stood as long
    as the method asks, but went back later. It is *missed* if the end colour stood beyond
    doubt for the hold, with enough titrant in for it to stay there, and was not called.
    """
    calls = [e for e in events if e.kind in ("endpoint", "overshoot") and "onset_s" in e.detail]
    edge = _edge(bench, truth)
    lows = [_least_turned(bench, truth, _onset(e), e.time_s) for e in calls]
    early = [
        e
        for low, e in zip(lows, calls, strict=True)
        if low >= edge and _least_turned(bench, truth, e.time_s, math.inf) < edge
    ]
    false = any(low < edge - DOUBT for low in lows)
    real = truth.endpoint(hold_s)
    called = verdict.kind in ("endpoint", "overshoot") and not false
    onset_s = verdict.onset_s if called and real is not None else None
    mass_g = None if onset_s is None else _mass_g(truth, onset_s)
    expected, at_rest = _expected(bench, truth, hold_s)
    onsets = _onsets(bench, truth, hold_s)
    portions, seen = _portions_seen(truth, events)
    return Outcome(
        seed=seed,
        hold_s=hold_s,
        duration_s=truth.duration_s,
        expected=expected,
        at_rest_in_doubt=at_rest,
        verdict=verdict.kind,
        false_endpoint=false,
        doubtful=any(edge - DOUBT <= low < edge for low in lows),
        premature=bool(early),
        taken_back=not any(e.time_s == verdict.confirmed_s for e in early),
        short_drops=_short_drops(bench, truth, early),
        brink=_on_the_brink(bench, truth, hold_s, onsets),
        onset_error_s=None if onset_s is None or real is None else onset_s - real.onset_s,
        onset_off_s=None if onset_s is None else _nearest(onset_s, onsets),
        mass_error_g=None if mass_g is None or real is None else mass_g - real.mass_g,
        result_error_percent=_result_error_percent(truth, onset_s),
        portions=portions,
        portions_seen=seen,
        additions_told=sum(e.kind == "addition" for e in events),
        weighed=weighed,
        said=" ".join((*verdict.reasons, *verdict.warnings)),
    )


def _edge(bench: Bench, truth: Truth) -> float:
    """Return the share of the way at which the truth's end colour begins."""
    return float(hue_turned(bench, truth.turning_ph))


def _onset(call: Event) -> float:
    return float(call.detail["onset_s"] or 0.0)


def _least_turned(bench: Bench, truth: Truth, from_s: float, to_s: float) -> float:
    """Return the least share of the way the well-mixed colour had turned between two times."""
    inside = (truth.time_s >= from_s + MIXING_S) & (truth.time_s <= to_s)
    return float(hue_turned(bench, truth.ph[inside]).min()) if inside.any() else 1.0


def _short_drops(bench: Bench, truth: Truth, early: Sequence[Event]) -> float | None:
    """Return how many drops were missing at the first premature call."""
    if not early:
        return None
    return float((truth.turning_g - _mass_g(truth, _onset(early[0]))) / bench.drop_g)


# --- what a run must come to ----------------------------------------------------------------


def _expected(bench: Bench, truth: Truth, hold_s: float) -> tuple[str, bool]:
    """Say what the run must come to, "either" where two verdicts are right.

    And whether only the colour's place at rest, within the doubt, keeps an endpoint from
    being due.
    """
    if truth.onset_s is None or truth.held_s < hold_s - SLACK_S:
        return "not_reached", False
    from_s = max(truth.onset_s, truth.additions[-1].time_s)
    last = truth.time_s >= from_s + MIXING_S
    clearly = bool(np.all(hue_turned(bench, truth.ph[last]) > _edge(bench, truth) + DOUBT))
    enough = truth.added_g[-1] >= truth.turning_g
    long = truth.duration_s - from_s >= hold_s + SLACK_S
    if not (clearly and enough and long):
        return "either", False
    at_rest = not _rests_beyond_doubt(bench, truth)
    return "either" if at_rest else "endpoint", at_rest


def _rests_beyond_doubt(bench: Bench, truth: Truth) -> bool:
    """Tell whether the colour, all solid dissolved, comes to rest beyond the doubt.

    A colour still on its way to a place within it is drifting back, and whether it will stop
    in time is what no eye can tell.
    """
    ph = np.linspace(truth.turning_ph - 2.0, truth.turning_ph, 201)
    beyond = ph[hue_turned(bench, ph) > _edge(bench, truth) + DOUBT]
    return bool(truth.added_g[-1] >= Recipe(bench).titrant_for_ph(float(beyond[-1])))


def _onsets(bench: Bench, truth: Truth, hold_s: float) -> list[float]:
    """Onsets by all edges within the doubt; empty if the run has none by its own edge."""
    if truth.endpoint(hold_s) is None:
        return []
    turned, edge = hue_turned(bench, truth.ph), _edge(bench, truth)
    found = []
    for shift in _EDGES:
        entry = last_entry(truth.time_s, turned > edge + shift)
        onset_s = None if entry is None else float(truth.time_s[entry])
        other = replace(truth, onset_s=truth.onset_s if shift == 0.0 else onset_s).endpoint(hold_s)
        found.append(math.nan if other is None else other.onset_s)
    return found


def _nearest(onset_s: float, onsets: Sequence[float]) -> float:
    return min((onset_s - other for other in onsets if math.isfinite(other)), key=abs)


def _on_the_brink(bench: Bench, truth: Truth, hold_s: float, onsets: list[float]) -> bool:
    """Tell whether the onset depends on where the end colour is said to begin.

    Where a little more or less names another addition, the colour hung between the two;
    and a portion that starts the hold anew, but falls into the full end colour, changes
    nothing that can be seen. No figure for the onset is fair then.
    """
    real = truth.endpoint(hold_s)
    if real is None:
        return False
    turned = hue_turned(bench, truth.ph)
    before = float(np.interp(real.onset_s - 0.5, truth.time_s, turned))
    if real.onset_s > (truth.onset_s or 0.0) + 1.0 and before > _edge(bench, truth) + DOUBT:
        return True
    return not all(abs(onset_s - real.onset_s) <= 5.0 for onset_s in onsets)


# --- masses and additions -------------------------------------------------------------------


def _portions_seen(truth: Truth, events: Sequence[Event]) -> tuple[int, int]:
    """Count portions (drops in quick succession are one), and those told at their time."""
    portions: list[list[float]] = []
    for addition in truth.additions:
        if portions and addition.time_s - portions[-1][1] <= PORTION_S:
            portions[-1][1] = addition.time_s
        else:
            portions.append([addition.time_s, addition.time_s])
    told = sorted(e.time_s for e in events if e.kind == "addition")
    seen = 0
    for first_s, last_s in portions:
        near = [t for t in told if first_s + _SEEN_S[0] <= t <= last_s + _SEEN_S[1]]
        if near:
            told.remove(near[int(np.argmin(np.abs(np.array(near) - first_s)))])
            seen += 1
    return len(portions), seen


def _mass_g(truth: Truth, onset_s: float) -> float:
    """Return the true mass in the cup after the last addition up to an onset."""
    return sum(a.mass_g for a in truth.additions if a.time_s <= onset_s + TOLERANCE_S)


def _result_error_percent(truth: Truth, onset_s: float | None) -> float | None:
    """Error of the titrant from the balance's readings, at the middle of the bracket."""
    if onset_s is None:
        return None
    additions = [a.time_s for a in truth.additions]
    before = [t for t in additions if t <= onset_s + TOLERANCE_S]
    if not before:
        return None
    later = [t for t in additions if t > before[-1]]
    after_g = _last_reading(truth, before[-1], later[0] if later else math.inf)
    if after_g is None:
        return None
    middle_g = after_g - 0.5 * truth.additions[len(before) - 1].mass_g
    return 100.0 * (middle_g - truth.turning_g) / truth.turning_g


def _last_reading(truth: Truth, from_s: float, to_s: float) -> float | None:
    read = [r.mass_g for r in truth.readings if from_s <= r.time_s < to_s]
    return read[-1] if read else None
