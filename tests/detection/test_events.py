"""What is told on the way: additions, fade-backs, holds, disturbances, phases, forecasts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from huehold.core import Event
from huehold.detection import Detector, Forecast, Phase
from tests.detection.traces import SETTINGS, Addition, Blind, make, noted, run, titration


def of(detector: Detector, kind: str) -> list[Event]:
    return [event for event in detector.events if event.kind == kind]


# --- additions ----------------------------------------------------------------------------


def test_nothing_added_nothing_told() -> None:
    detector = run(make([], 120.0, noise=1.5))
    assert detector.events == ()


def test_a_hand_that_adds_nothing_is_no_addition() -> None:
    hands = [Blind(t, t + 2.0) for t in (20.0, 40.0, 175.0)]
    detector = run(make(titration(), 230.0, blinds=hands))
    assert len(of(detector, "addition")) == len(titration())


@pytest.mark.parametrize("rate_hz", [3.0, 12.0, 25.0])
def test_every_addition_is_seen_at_its_time(rate_hz: float) -> None:
    seen = of(run(make(titration(), 230.0, rate_hz=rate_hz)), "addition")
    assert [e.detail["number"] for e in seen] == list(range(1, 9))
    for event, addition in zip(seen, titration(), strict=True):
        assert event.time_s == pytest.approx(addition.time_s, abs=0.3)


def test_a_small_rise_is_an_addition_only_where_a_dropper_was() -> None:
    """A drop into much solid turns the colour a little; so may the light."""
    small = [*titration(None)[:4], Addition(100.0, None, height=0.045)]
    bare = run(make(small, 120.0, noise=0.3))
    under_a_hand = run(make(small, 120.0, noise=0.3, blinds=[Blind(98.5, 100.6)]))
    assert len(of(bare, "addition")) == 4
    assert len(of(under_a_hand, "addition")) == 5
    assert of(under_a_hand, "addition")[-1].time_s == pytest.approx(100.0, abs=1.5)


def test_a_noted_addition_fell_under_the_hand_before_it() -> None:
    blind = [Blind(176.0, 178.0)]
    detector = noted(make(titration(), 280.0, blinds=blind), 160.0, 182.0)
    assert of(detector, "addition")[-1].detail["basis"] == "noted"
    assert of(detector, "addition")[-1].time_s == pytest.approx(178.0, abs=0.2)


def test_an_addition_comes_before_the_onset_it_brings() -> None:
    detector = run(make(titration(), 230.0, blinds=[Blind(148.8, 151.6)]))
    onset_s = detector.finish().onset_s
    last = of(detector, "addition")[-1]
    assert onset_s is not None
    assert last.time_s <= onset_s


@pytest.mark.parametrize("typed_s", [(28.0, 31.0), (31.0,), (58.0,)])
def test_what_is_noted_joins_the_additions_that_were_seen(typed_s: tuple[float, ...]) -> None:
    detector = noted(make(titration(), 60.0), *typed_s)
    assert [e.detail["basis"] for e in of(detector, "addition")] == ["seen"] * 4


def test_an_addition_only_noted_is_told_and_breaks_the_hold() -> None:
    detector = noted(make(titration(), 280.0), 160.0, 180.0)
    found = detector.finish()
    last = of(detector, "addition")[-1]
    assert last.detail["basis"] == "noted"
    assert last.time_s == pytest.approx(180.0, abs=0.1)
    assert of(detector, "hold_broken")[-1].detail["reason"] == "addition"
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(180.0, abs=0.1)
    assert found.confirmed_s == pytest.approx(240.1, abs=0.6)
    assert any("anywhere between" in text for text in found.warnings)


def test_titrant_added_while_the_colour_goes_back_moves_the_onset() -> None:
    additions = [*titration(None), Addition(150.0, 40.0), Addition(186.0, None)]
    found = run(make(additions, 260.0)).finish()
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(186.2, abs=0.5)


# --- fade-backs ---------------------------------------------------------------------------


def test_every_fade_back_is_told_with_peak_and_end() -> None:
    backs = of(run(make(titration(), 230.0)), "fade_back")
    growing = titration(None)
    assert len(backs) == len(growing)
    for event, addition in zip(backs, growing, strict=True):
        assert addition.half_s is not None
        assert event.end_s is not None
        assert addition.time_s < event.time_s < event.end_s
        assert event.end_s == pytest.approx(addition.time_s + addition.half_s, abs=1.0)


def test_the_last_addition_has_no_fade_back() -> None:
    backs = of(run(make(titration(), 230.0)), "fade_back")
    assert all(event.time_s < 150.0 for event in backs)


# --- holds --------------------------------------------------------------------------------


def test_holds_start_and_break_in_turn() -> None:
    turns = [
        e.kind
        for e in run(make(titration(), 230.0)).events
        if e.kind in ("hold_started", "hold_broken", "endpoint")
    ]
    assert turns[-2:] == ["hold_started", "endpoint"]
    assert turns[:-1:2] == ["hold_started"] * len(turns[:-1:2])
    assert turns[1:-1:2] == ["hold_broken"] * len(turns[1:-1:2])


def test_the_endpoint_is_told_within_a_fifth_of_a_second_of_the_hold() -> None:
    end = of(run(make(titration(), 230.0)), "endpoint")[0]
    onset_s = end.detail["onset_s"]
    assert isinstance(onset_s, float)
    assert 0.0 <= end.time_s - onset_s - SETTINGS.hold_s <= 0.2


@pytest.mark.parametrize("hold_s", [10.0, 30.0, 120.0])
def test_the_hold_is_the_methods(hold_s: float) -> None:
    found = run(make(titration(), 300.0), replace(SETTINGS, hold_s=hold_s)).finish()
    confirmed_s = found.confirmed_s
    assert confirmed_s is not None
    if hold_s >= 30.0:
        assert confirmed_s == pytest.approx(150.35 + hold_s, abs=0.8)


# --- disturbances -------------------------------------------------------------------------


def test_a_disturbance_is_told_once_with_its_main_reason() -> None:
    blinds = [Blind(30.0, 33.0, "hand"), Blind(33.0, 34.0, "moving", 0.3)]
    told = of(run(make([], 60.0, blinds=blinds)), "disturbance")
    assert len(told) == 1
    assert told[0].detail["kind"] == "hand"
    assert told[0].time_s == pytest.approx(30.0, abs=0.15)
    assert told[0].end_s == pytest.approx(34.0, abs=0.15)


def test_a_single_bad_frame_is_no_disturbance() -> None:
    trace = make([], 60.0)
    trace[300] = replace(trace[300], trust=0.0, reasons=("glare",))
    assert of(run(trace), "disturbance") == []


def test_a_disturbance_open_at_the_end_is_told_by_finish() -> None:
    told = of(run(make([], 60.0, blinds=[Blind(50.0, 99.0, "dark")])), "disturbance")
    assert [e.detail["kind"] for e in told] == ["dark"]


# --- live display -------------------------------------------------------------------------


def test_phases_follow_the_run() -> None:
    seen: list[Phase] = []
    detector = Detector(SETTINGS)
    for observation in make(titration(), 230.0, blinds=[Blind(170.0, 182.0)]):
        detector.update(observation)
        if not seen or seen[-1] is not detector.phase:
            seen.append(detector.phase)
    assert seen[:3] == [Phase.WAITING, Phase.START, Phase.FADING]
    assert Phase.BLIND in seen
    assert Phase.HOLDING in seen


def test_the_hold_progress_counts_up_and_the_phase_ends_at_the_endpoint() -> None:
    detector = Detector(SETTINGS)
    for observation in make(titration(), 230.0):
        detector.update(observation)
        if observation.time_s > 190.0:
            since_s = observation.time_s - 150.35
            assert detector.hold_progress_s == pytest.approx(since_s, abs=0.3)
    assert detector.phase is Phase.ENDPOINT
    assert detector.forecast is None


def forecast_at(when_s: float, trace_seed: int = 1) -> Forecast | None:
    detector = Detector(SETTINGS)
    for observation in make(titration(), when_s, seed=trace_seed):
        detector.update(observation)
    return detector.forecast


def test_there_is_no_forecast_before_the_first_addition() -> None:
    assert forecast_at(9.0) is None


def test_a_visible_fall_is_forecast_to_fade_back_about_when_it_does() -> None:
    told = [forecast_at(127.0, trace_seed=seed) for seed in range(7)]
    assert all(one is not None and one.label == "likely to fade back" for one in told)
    fades_s = [one.fades_back_in_s for one in told if one is not None and one.fades_back_in_s]
    assert len(fades_s) == 7  # added at 112 s, half gone at 132 s
    assert np.median(fades_s) == pytest.approx(4.0, abs=2.0)


def test_a_colour_that_outlasts_all_before_is_likely_to_hold() -> None:
    forecast = forecast_at(205.0)
    assert forecast is not None
    assert forecast.will_hold > 0.8
    assert forecast.label == "likely to hold"


def test_right_after_an_addition_it_is_too_early_or_likely_to_fade() -> None:
    forecast = forecast_at(24.0)
    assert forecast is not None
    assert forecast.will_hold < 0.5


def test_additions_left_are_estimated_from_growing_fade_backs() -> None:
    # Surface goes with what is left: after seven of ten additions the eleventh holds.
    left = np.arange(10, 3, -1)
    lasts = 30.0 * left ** (-2.0 / 3.0)
    times = 10.0 + np.concatenate([[0.0], np.cumsum(lasts[:-1] + 8.0)])
    additions = [Addition(float(t), float(s)) for t, s in zip(times, lasts, strict=True)]
    detector = run(make(additions, float(times[-1] + lasts[-1] + 6.0)))
    forecast = detector.forecast
    assert forecast is not None
    assert forecast.additions_left is not None
    assert forecast.additions_left_low is not None
    assert forecast.additions_left_high is not None
    assert forecast.additions_left_low <= 4.0 <= forecast.additions_left_high
    assert forecast.additions_left == pytest.approx(4.0, abs=1.0)
