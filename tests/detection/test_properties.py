"""What must hold for any run at all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from huehold.core import Event, Observation
from huehold.detection import Detector
from tests.detection.traces import SETTINGS, Addition, Blind, make, run

QUICK = replace(SETTINGS, hold_s=12.0, max_blind_s=4.0)
KINDS = ("addition", "fade_back", "hold_started", "hold_broken", "endpoint", "overshoot")


@st.composite
def traces(draw: st.DrawFn) -> list[Observation]:
    """Runs of a minute: some additions, some trouble, any rate, gaps."""
    gaps = draw(st.lists(st.floats(2.0, 15.0), min_size=0, max_size=5))
    starts = 4.0 + np.cumsum(gaps)
    additions = [
        Addition(
            float(start),
            draw(st.none() | st.floats(1.0, 20.0)),
            height=draw(st.floats(0.2, 1.1)),
            rise_s=draw(st.floats(0.1, 3.0)),
        )
        for start in starts
    ]
    blinds = [
        Blind(start, start + length, draw(st.sampled_from(["hand", "moving", "dark"])), trust)
        for start, length, trust in draw(
            st.lists(
                st.tuples(st.floats(0.0, 55.0), st.floats(0.1, 8.0), st.floats(0.0, 0.9)),
                max_size=3,
            )
        )
    ]
    lost = draw(st.tuples(st.floats(0.0, 60.0), st.floats(0.0, 6.0)))
    trace = make(
        additions,
        60.0,
        rate_hz=draw(st.sampled_from([2.0, 4.0, 9.0])),
        seed=draw(st.integers(0, 99)),
        jitter=draw(st.floats(0.0, 1.0)),
        noise=draw(st.floats(0.0, 3.0)),
        blinds=blinds,
        pale=draw(st.floats(0.1, 1.2)),
    )
    return [o for o in trace if not lost[0] < o.time_s < lost[0] + lost[1]]


relaxed = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def fingerprint(detector: Detector, shift_s: float = 0.0) -> list[tuple[object, ...]]:
    def moved(time_s: float | None) -> float | None:
        return None if time_s is None else round(time_s - shift_s, 4)

    return [(e.kind, moved(e.time_s), moved(e.end_s), moved(e.told_s)) for e in detector.events]


@relaxed
@given(traces())
def test_what_update_returns_is_what_events_lists(trace: list[Observation]) -> None:
    detector = Detector(QUICK)
    told: list[Event] = []
    for seen in trace:
        told.extend(detector.update(seen))
    assert detector.events == tuple(told)
    detector.finish()
    late = detector.events[len(told) :]
    assert all(e.kind == "disturbance" for e in late)


@relaxed
@given(traces(), st.lists(st.integers(0, 400), max_size=5))
def test_repeated_and_late_observations_change_nothing(
    trace: list[Observation], again: list[int]
) -> None:
    doubled = list(trace)
    for place in again:
        index = place % len(doubled)
        doubled.insert(index + 1, replace(doubled[index], a=0.0, b=-40.0))
    assert fingerprint(run(doubled, QUICK)) == fingerprint(run(trace, QUICK))


@relaxed
@given(traces(), st.sampled_from([0.0, 17.0, 4096.0]))
def test_a_shift_in_time_shifts_everything(trace: list[Observation], shift_s: float) -> None:
    shifted = [replace(o, time_s=o.time_s + shift_s) for o in trace]
    assert fingerprint(run(shifted, QUICK), shift_s) == fingerprint(run(trace, QUICK))


@relaxed
@given(traces())
def test_times_are_in_order(trace: list[Observation]) -> None:
    events = run(trace, QUICK).events
    told = [e.told_s for e in events if e.told_s is not None]
    assert told == sorted(told)
    for event in events:
        assert event.told_s is not None
        assert trace[0].time_s <= event.time_s <= event.told_s
        assert event.end_s is None or event.time_s <= event.end_s <= event.told_s
    for kind in ("addition", "endpoint"):
        times = [e.time_s for e in events if e.kind == kind]
        assert times == sorted(times)


@relaxed
@given(traces())
def test_no_endpoint_without_a_trusted_hold_after_the_start_colour(
    trace: list[Observation],
) -> None:
    detector = run(trace, QUICK)
    for end in detector.events:
        if end.kind != "endpoint":
            continue
        onset_s = end.detail["onset_s"]
        assert isinstance(onset_s, float)
        assert end.time_s - onset_s >= QUICK.hold_s
        seen = [
            o for o in trace if onset_s <= o.time_s <= end.time_s and o.trust >= QUICK.min_trust
        ]
        assert max(np.diff([o.time_s for o in seen]), default=0.0) <= QUICK.max_blind_s
        green = np.mean([o.hue_deg > 92.0 for o in seen])
        assert green > 0.8
        before = [o for o in trace if o.time_s < onset_s and o.trust >= QUICK.min_trust]
        assert sum(o.hue_deg < 92.0 for o in before) >= 3


@relaxed
@given(traces())
def test_the_verdict_agrees_with_the_events(trace: list[Observation]) -> None:
    detector = run(trace, QUICK)
    found = detector.finish()
    calls = [e for e in detector.events if e.kind == "endpoint"]
    assert {e.kind for e in detector.events} <= {*KINDS, "disturbance"}
    assert found.reasons
    if found.kind == "endpoint":
        assert calls
        assert found.confirmed_s == calls[-1].time_s
        assert found.onset_s == calls[-1].detail["onset_s"]
    else:
        assert found.confirmed_s is None or found.kind == "overshoot"


def test_work_and_memory_for_an_observation_stay_bounded() -> None:
    detector = Detector(SETTINGS)
    for seen in make([Addition(20.0, None)], 1500.0, rate_hz=8.0):
        detector.update(seen)
    kept = (
        len(detector._smoother.recent),
        len(detector._smoother.glimpses),
        len(detector._finder._low),
        len(detector._forecaster._looks),
        len(detector._watch.hold.looks) if detector._watch.hold else 0,
    )
    assert max(kept) <= 300


@pytest.mark.parametrize("rate_hz", [2.0, 5.0, 12.0, 30.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_rate_of_observations_does_not_matter(rate_hz: float, seed: int) -> None:
    additions = [Addition(15.0, 4.0), Addition(26.0, 6.0), Addition(40.0, None)]
    found = run(make(additions, 75.0, rate_hz=rate_hz, seed=seed), QUICK).finish()
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(40.3, abs=0.5)
