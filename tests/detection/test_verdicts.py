"""What runs come to: what must never be an endpoint first, then what must be one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from huehold.core import Verdict
from huehold.detection import Detector, Phase
from tests.detection.traces import (
    SETTINGS,
    Addition,
    Blind,
    colour_of,
    make,
    noted,
    observation,
    observe,
    run,
    titration,
)


def named(how: dict[str, object]) -> str:
    """A test's name without addresses, so that parallel workers agree on it."""
    return ", ".join(f"{key}={getattr(value, '__name__', value)}" for key, value in how.items())


def verdict(detector: Detector) -> Verdict:
    return detector.finish()


def kinds(detector: Detector) -> list[str]:
    return [event.kind for event in detector.events]


# --- nothing to conclude from -------------------------------------------------------------


def test_a_run_without_observations_is_unreadable() -> None:
    assert verdict(run([])).kind == "unreadable"


def test_a_single_observation_is_unreadable() -> None:
    assert verdict(run(make(titration(), 230.0)[:1])).kind == "unreadable"


@pytest.mark.parametrize(
    ("reason", "words"), [("dark", "dark"), ("no_vessel", "no vessel"), ("odd_thing", "odd thing")]
)
def test_a_run_that_is_never_trusted_is_unreadable_and_says_why(reason: str, words: str) -> None:
    trace = [replace(o, trust=0.05, reasons=(reason,)) for o in make(titration(), 230.0)]
    found = verdict(run(trace))
    assert found.kind == "unreadable"
    assert words in found.reasons[0]


def test_a_run_of_gaps_is_unreadable_and_says_that_frames_were_missing() -> None:
    trace = [o for o in make(titration(), 230.0) if o.time_s % 60.0 < 2.0]
    found = verdict(run(trace))
    assert found.kind == "unreadable"
    assert "frames were missing" in found.reasons[0]


def test_colours_that_are_not_numbers_are_never_used() -> None:
    trace = [replace(o, a=math.nan, b=math.nan) for o in make(titration(), 230.0)]
    assert verdict(run(trace)).kind == "unreadable"


def test_a_vessel_out_of_view_for_most_of_the_run_is_unreadable() -> None:
    trace = make(titration(None), 200.0, blinds=[Blind(20.0, 190.0, "no_vessel", 0.0)])
    assert verdict(run(trace)).kind == "unreadable"


# --- no start colour ----------------------------------------------------------------------


def test_a_mixture_green_from_the_first_frame_has_no_start_colour() -> None:
    found = verdict(run(make([Addition(-1.0, None)], 120.0)))
    assert found.kind == "no_start_colour"
    assert "from the start" in found.reasons[0]


def test_a_picture_that_stays_greenish_like_a_meadow_has_no_start_colour() -> None:
    times = np.arange(0.0, 90.0, 1 / 12)
    hue = np.radians(118.0 + 5.0 * np.sin(times / 3.0))
    lab = np.stack([50.0 + 0 * times, 28.0 * np.cos(hue), 28.0 * np.sin(hue)], axis=1)
    rng = np.random.default_rng(3)
    short = replace(SETTINGS, hold_s=5.0)
    assert verdict(run(observe(times, lab, rng), short)).kind == "no_start_colour"


def test_a_grey_scene_has_no_start_colour() -> None:
    times = np.arange(0.0, 90.0, 1 / 12)
    lab = np.tile([60.0, 0.3, 0.4], (len(times), 1))
    found = verdict(run(observe(times, lab, np.random.default_rng(1), noise=0.3)))
    assert found.kind == "no_start_colour"


# --- the start colour, but no endpoint ----------------------------------------------------


@pytest.mark.parametrize("half_s", [50.0, 58.0, 66.0])
def test_a_colour_that_holds_nearly_a_minute_and_fades_is_no_endpoint(half_s: float) -> None:
    detector = run(make([*titration(None), Addition(150.0, half_s)], 290.0))
    assert verdict(detector).kind == "not_reached"
    assert "endpoint" not in kinds(detector)


def test_fading_after_fifty_seconds_does_not_spoil_the_true_end() -> None:
    additions = [*titration(None), Addition(150.0, 50.0), Addition(230.0, None)]
    found = verdict(run(make(additions, 310.0)))
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(230.4, abs=0.3)


def test_a_hold_that_was_mostly_hidden_is_not_called_and_says_so() -> None:
    hands = [Blind(152.0 + 6.0 * n, 156.0 + 6.0 * n) for n in range(13)]
    found = verdict(run(make(titration(), 230.0, blinds=hands)))
    assert found.kind == "not_reached"
    assert any("hidden" in reason for reason in found.reasons)


def test_fade_backs_alone_never_reach_the_end() -> None:
    assert verdict(run(make(titration(None), 300.0))).kind == "not_reached"


def test_a_run_that_ends_within_the_hold_says_how_long_it_held() -> None:
    found = verdict(run(make(titration(), 195.0)))
    assert found.kind == "not_reached"
    assert found.hold_s == pytest.approx(44.6, abs=0.5)
    assert any("44." in text and "60 s" in text for text in found.warnings)


def test_holding_yellow_between_the_colours_is_no_endpoint() -> None:
    additions = [*titration(None), Addition(150.0, None, height=0.4)]
    assert verdict(run(make(additions, 330.0))).kind == "not_reached"


@pytest.mark.parametrize("length_s", [20.0, 60.0, 200.0])
def test_white_balance_drifting_to_green_is_no_endpoint(length_s: float) -> None:
    def drift(times: np.ndarray, lab: np.ndarray) -> np.ndarray:
        share = np.clip((times - 40.0) / length_s, 0.0, 1.0)[:, None]
        return lab + share * np.array([0.0, -50.0, -10.0])

    detector = run(make([], 400.0, change=drift))
    assert verdict(detector).kind == "not_reached"
    assert "endpoint" not in kinds(detector)


def test_exposure_steps_are_no_additions() -> None:
    detector = run(make([], 200.0, change=exposure_steps))
    assert verdict(detector).kind == "not_reached"
    assert "addition" not in kinds(detector)


@pytest.mark.parametrize("seed", range(8))
def test_cuts_between_random_scenes_never_give_an_endpoint(seed: int) -> None:
    rng = np.random.default_rng(seed)
    times = np.arange(0.0, 200.0, 1 / 12)
    scene = np.searchsorted(np.sort(rng.uniform(0.0, 200.0, 25)), times)
    hue, chroma = rng.uniform(0, 2 * np.pi, 26)[scene], rng.uniform(5, 60, 26)[scene]
    lightness = rng.uniform(20, 90, 26)[scene]
    lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)
    detector = run(observe(times, lab, rng), replace(SETTINGS, hold_s=30.0))
    assert verdict(detector).kind in ("not_reached", "unreadable", "no_start_colour")
    assert "endpoint" not in kinds(detector)


def test_an_endpoint_that_fades_after_all_is_taken_back() -> None:
    detector = run(make([*titration(None), Addition(150.0, 200.0)], 520.0))
    assert "endpoint" in kinds(detector)
    found = verdict(detector)
    assert found.kind == "not_reached"
    assert any("was not the endpoint" in text for text in found.warnings)


def test_a_hold_does_not_count_while_solid_is_dissolving_fast() -> None:
    def cloud(times: np.ndarray) -> np.ndarray:
        return np.clip(1.0 - (times - 150.0) / 140.0, 0.0, 1.0)

    early = run(make(titration(), 225.0, turbidity=cloud))
    assert verdict(early).kind == "not_reached"
    assert any("clearing" in text for text in verdict(early).reasons)
    assert verdict(run(make(titration(), 320.0, turbidity=cloud))).kind == "endpoint"


# --- endpoints ----------------------------------------------------------------------------


def exposure_steps(times: np.ndarray, lab: np.ndarray) -> np.ndarray:
    """Scale all light by 12 % up and down: a common factor on L* + 16, a* and b*."""
    factor = np.cbrt(1.0 + 0.12 * np.sign(np.sin(times / 7.3)))[:, None]
    foot = np.array([16.0, 0.0, 0.0])
    return (lab + foot) * factor - foot


def slow_tint(times: np.ndarray, lab: np.ndarray) -> np.ndarray:
    return lab + np.stack([0 * times, 4 * np.sin(times / 20), 6 * np.sin(times / 31)], axis=1)


@pytest.mark.parametrize(
    "faults",
    [
        {},
        {"noise": 4.0},
        {"pale": 0.25},
        {"pale": 0.2, "noise": 1.5},
        {"hue_shift_deg": -20.0},
        {"hue_shift_deg": 20.0},
        {"change": exposure_steps},
        {"change": slow_tint},
        {"jitter": 0.9},
        {"rate_hz": 2.0},
        {"rate_hz": 5.0},
        {"rate_hz": 30.0},
    ],
    ids=named,
)
def test_the_endpoint_is_called_with_its_onset(faults: dict[str, object]) -> None:
    found = verdict(run(make(titration(), 230.0, **faults)))  # type: ignore[arg-type]
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(150.35, abs=0.5)
    assert found.confirmed_s == pytest.approx(210.4, abs=1.0)


def test_hands_and_swirls_do_not_stop_the_endpoint() -> None:
    hands = [Blind(a.time_s - 1.2, a.time_s + 1.5) for a in titration()]
    later = [Blind(170.0, 174.0), Blind(185.0, 188.0, "moving", 0.35), Blind(200.0, 202.0)]
    found = verdict(run(make(titration(), 240.0, blinds=[*hands, *later])))
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(150.35, abs=1.0)


def test_readings_of_little_trust_help_to_place_an_onset_behind_a_swirl() -> None:
    swirl = [Blind(149.0, 153.5, "moving", 0.3, wrong_colour=False)]
    found = verdict(run(make(titration(), 240.0, blinds=swirl)))
    assert found.onset_s == pytest.approx(150.35, abs=0.4)


def test_a_blind_stretch_longer_than_allowed_starts_the_hold_anew() -> None:
    detector = run(make(titration(), 260.0, blinds=[Blind(170.0, 184.0)]))
    assert verdict(detector).confirmed_s == pytest.approx(244.2, abs=0.8)
    broken = [e for e in detector.events if e.kind == "hold_broken"][-1]
    assert broken.detail["reason"] == "blind"


def test_a_stretch_without_frames_is_blind_too() -> None:
    trace = [o for o in make(titration(), 260.0) if not 170.0 < o.time_s < 184.0]
    detector = run(trace)
    assert verdict(detector).confirmed_s == pytest.approx(244.2, abs=0.8)
    gap = next(e for e in detector.events if e.kind == "disturbance")
    assert gap.detail["kind"] == "gap"
    assert gap.end_s is not None
    assert gap.end_s - gap.time_s == pytest.approx(14.0, abs=0.3)


def test_a_start_colour_the_chart_does_not_know_is_accepted_when_steady() -> None:
    narrow = replace(SETTINGS, start_hue_deg=(60.0, 92.0))
    assert verdict(run(make(titration(), 230.0, hue_shift_deg=-10.0), narrow)).kind == "endpoint"


def test_bands_that_cross_zero_degrees_work() -> None:
    pink = replace(SETTINGS, start_hue_deg=(340.0, 92.0))
    assert verdict(run(make(titration(), 230.0), pink)).kind == "endpoint"


def test_an_indicator_that_turns_the_other_way_round_works() -> None:
    back = replace(SETTINGS, start_hue_deg=(102.0, 190.0), end_hue_deg=(25.0, 92.0))
    times = np.arange(0.0, 230.0, 1 / 12)
    place = np.where(times < 100.0, 1.0, 0.0)
    for dip_s in (20.0, 50.0):
        place[(times > dip_s) & (times < dip_s + 6.0)] = 0.0
    found = verdict(run(observe(times, colour_of(place), np.random.default_rng(2)), back))
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(100.0, abs=0.3)


# --- beyond, and warnings -----------------------------------------------------------------


def test_a_hue_far_beyond_the_band_is_an_overshoot() -> None:
    narrow = replace(SETTINGS, end_hue_deg=(96.0, 110.0))
    detector = run(make(titration(), 230.0), narrow)
    assert verdict(detector).kind == "overshoot"
    assert "too much titrant" in verdict(detector).reasons[0]
    assert detector.phase is Phase.OVERSHOOT


def test_titrant_added_after_the_endpoint_is_told_and_changes_nothing() -> None:
    detector = noted(make(titration(), 260.0), 160.0, 230.0)
    found = detector.finish()
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(150.35, abs=0.3)
    assert "overshoot" in kinds(detector)
    assert any("after the endpoint" in text for text in found.warnings)


@pytest.mark.parametrize(
    ("turbidity", "cleared", "words"),
    [(0.05, True, None), (0.7, False, "not cleared"), (math.nan, None, "could not be judged")],
)
def test_clearing_is_told_or_warned_about(
    turbidity: float, cleared: bool | None, words: str | None
) -> None:
    found = verdict(run(make(titration(), 230.0, turbidity=turbidity)))
    assert found.kind == "endpoint"
    assert found.cleared is cleared
    told = " ".join(found.warnings)
    assert (words is None and not told) or (words is not None and words in told)


def test_clearing_is_not_mentioned_where_it_is_not_expected() -> None:
    found = verdict(run(make(titration(), 230.0), replace(SETTINGS, clearing=False)))
    assert found.cleared is None
    assert found.warnings == ()


def test_an_end_without_any_fade_back_carries_a_warning() -> None:
    found = verdict(run(make([Addition(20.0, None)], 120.0, turbidity=0.0)))
    assert found.kind == "endpoint"
    assert any("No fade-back" in text for text in found.warnings)


def test_the_hue_of_the_verdict_is_that_of_the_colour_that_held() -> None:
    found = verdict(run(make(titration(), 230.0)))
    assert found.hue_deg == pytest.approx(124.0, abs=1.5)


def test_a_colour_too_pale_for_a_hue_reports_none() -> None:
    found = verdict(run(make(titration(), 230.0, pale=0.12, noise=0.2)))
    assert found.kind == "endpoint"
    assert found.hue_deg is None


def test_two_rates_agree() -> None:
    quick, slow = (verdict(run(make(titration(), 230.0, rate_hz=r))) for r in (12.0, 5.0))
    assert quick.kind == slow.kind == "endpoint"
    assert quick.onset_s == pytest.approx(slow.onset_s, abs=0.5)


def test_finishing_twice_gives_the_same_verdict_and_no_more_events() -> None:
    detector = run(make(titration(), 230.0))
    first, events = detector.finish(), detector.events
    assert detector.finish() is first
    assert detector.events == events
    assert detector.update(observation(500.0, 60.0, 20.0, 30.0)) == ()


@pytest.mark.parametrize("share", [0.0, 0.15, 0.3])
def test_a_colour_that_is_washed_out_is_no_endpoint(share: float) -> None:
    def bleach(times: np.ndarray, lab: np.ndarray) -> np.ndarray:
        left = np.where(times < 150.0, 1.0, share)[:, None]
        return lab * np.concatenate([np.ones_like(left), left, left], axis=1)

    detector = run(make(titration(None), 300.0, change=bleach))
    assert "endpoint" not in kinds(detector)


@pytest.mark.parametrize(("cloudy", "warned"), [(0.05, False), (0.3, True)])
def test_solid_that_dissolves_under_a_held_colour_is_warned_about(
    cloudy: float, warned: bool
) -> None:
    def turbidity(times: np.ndarray) -> np.ndarray:
        return np.where(times < 150.0, 0.8, cloudy * np.exp(-(times - 150.0) / 20.0))

    found = verdict(run(make(titration(), 230.0, turbidity=turbidity)))
    assert found.kind == "endpoint"
    assert any("cleared under" in text for text in found.warnings) is warned
