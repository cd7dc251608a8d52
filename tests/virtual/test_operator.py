"""A person titrates: habits, the whole run, and what it comes to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from huehold.errors import InputError
from huehold.virtual.bench import brisk_bench, kitchen_bench
from huehold.virtual.operator import (
    Balance,
    Operator,
    brisk_operator,
    careless_operator,
)
from huehold.virtual.run import hue_turned, run_bench, turning_ph

SEEDS = range(4)


@pytest.fixture(scope="module")
def kitchen_runs():
    return [run_bench(kitchen_bench(seed)) for seed in SEEDS]


@pytest.fixture(scope="module")
def brisk_runs():
    return [run_bench(brisk_bench(seed), brisk_operator(20.0)) for seed in range(8)]


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("reaction_s", 0.0, "must be greater than 0"),
        ("patience_s", -1.0, "must be greater than 0"),
        ("few", 0, "must be greater than 0"),
        ("hasty", 1.5, "a share is 0 to 1"),
        ("eye_sd", -0.1, "cannot be negative"),
        ("longest_s", float("inf"), "must be a finite number"),
    ],
)
def test_senseless_operators_are_refused(field, value, said):
    with pytest.raises(InputError, match=f"operator's {field} is .*{said}"):
        replace(Operator(), **{field: value})


@pytest.mark.parametrize("field", ["readability_g", "gain"])
def test_senseless_balances_are_refused(field):
    with pytest.raises(InputError, match="makes no sense"):
        replace(Balance(), **{field: 0.0})


def test_an_indicator_without_a_turn_is_refused():
    bench = replace(brisk_bench(), dyes={"methyl_red": 0.3})
    with pytest.raises(InputError, match=r"methyl_red\) hardly changes colour"):
        run_bench(bench, brisk_operator())


def test_an_indicator_of_something_else_is_refused():
    bench = replace(brisk_bench(), dyes={"starch_iodine": 0.3})
    with pytest.raises(InputError, match="starch_iodine shows pI, not pH"):
        run_bench(bench, brisk_operator())


def test_readings_are_on_the_display_step():
    rng = np.random.default_rng(1)
    shown = np.array([Balance().show(1.2345, 0.0, rng) for _ in range(200)])
    assert shown * 100.0 == pytest.approx(np.round(shown * 100.0), abs=1e-6)
    assert shown.mean() == pytest.approx(1.2345, abs=0.002)


def test_drift_creeps_into_readings():
    drifting = Balance(noise_g=0.0, drift_g_per_min=0.02)
    assert drifting.show(1.0, 600.0, np.random.default_rng(1)) == pytest.approx(1.2)


def test_turning_lies_between_the_two_colours():
    bench = kitchen_bench()
    middle = turning_ph(bench)
    assert 7.4 < middle < 8.5
    assert float(hue_turned(bench, middle)) == pytest.approx(0.6, abs=1e-3)
    assert hue_turned(bench, [9.5, 6.0]) == pytest.approx([0.0, 1.0], abs=1e-6)


def test_the_same_seed_gives_the_same_run():
    one, two = (run_bench(brisk_bench(3), brisk_operator()).to_json() for _ in range(2))
    assert one == two
    assert one != run_bench(brisk_bench(4), brisk_operator()).to_json()


def test_a_kitchen_run_takes_about_a_quarter_of_an_hour(kitchen_runs):
    assert all(600.0 < run.duration_s < 1300.0 for run in kitchen_runs)


def fade_backs(run) -> np.ndarray:
    """Lengths of the green stretches before the last."""
    green = (run.ph < run.turning_ph).astype(int)
    edges = np.flatnonzero(np.diff(green))
    return np.diff(run.time_s[edges])[::2]


def test_colour_goes_back_in_seconds_at_first_and_slowly_near_the_end(kitchen_runs):
    """The trade's observation (common practice, no source), to which the rate was set."""
    for run in kitchen_runs:
        lengths = fade_backs(run)
        assert np.all(lengths[:5] < 6.0)
        assert 10.0 < lengths[-8:].max() < 90.0


def test_the_end_holds_and_the_mass_is_right(kitchen_runs):
    for run in kitchen_runs:
        end = run.endpoint(60.0)
        assert end is not None
        assert end.mass_g == pytest.approx(run.turning_g, rel=0.006)
        assert run.undissolved_fraction[-1] < 0.005
        assert run.equivalence_g == pytest.approx(run.turning_g, rel=0.002)


def test_a_careful_person_slows_down(kitchen_runs):
    for run in kitchen_runs:
        kinds = [a.kind for a in run.additions]
        assert set(kinds[:10]) == {"squirt"}
        assert set(kinds[-5:]) == {"drop"}


def test_additions_add_up(kitchen_runs):
    for run in kitchen_runs:
        total = sum(a.mass_g for a in run.additions)
        assert run.added_g[-1] == pytest.approx(total, rel=1e-9)
        assert run.readings[-1].mass_g == pytest.approx(total, abs=0.02)
        assert np.all(np.diff(run.added_g) >= -1e-12)
        times = [a.time_s for a in run.additions]
        assert times == sorted(times)


def test_undissolved_solid_never_comes_back(kitchen_runs):
    for run in kitchen_runs:
        assert np.all(np.diff(run.undissolved_fraction) <= 1e-12)


def test_brisk_runs_are_short_and_hold(brisk_runs):
    for run in brisk_runs:
        assert 40.0 < run.duration_s < 180.0
        end = run.endpoint(20.0)
        assert end is not None
        assert end.mass_g == pytest.approx(run.turning_g, rel=0.025)


def test_a_dropper_is_over_the_cup_when_a_portion_falls(brisk_runs):
    for run in brisk_runs:
        droppers = [d for d in run.disturbances if d.kind == "dropper"]
        for a in run.additions:
            assert any(d.start_s <= a.time_s <= d.end_s for d in droppers)


def test_onset_is_the_last_crossing(kitchen_runs):
    for run in kitchen_runs:
        after = run.ph[run.time_s > run.onset_s + 0.1]
        assert np.all(after < run.turning_ph)
        just_before = run.ph[np.searchsorted(run.time_s, run.onset_s) - 1]
        assert just_before >= run.turning_ph


def test_giving_up_early_reaches_no_end():
    run = run_bench(brisk_bench(1), replace(brisk_operator(), stop_g=1.2))
    assert run.onset_s is None
    assert run.endpoint(20.0) is None
    assert run.held_s == 0.0
    late = run_bench(brisk_bench(1), replace(brisk_operator(), stop_s=15.0))
    assert late.duration_s < 20.0


def test_a_careless_person_errs_more():
    def spread(operator: Operator) -> float:
        runs = [run_bench(brisk_bench(seed), operator) for seed in range(6)]
        return max(abs(run.added_g[-1] / run.turning_g - 1.0) for run in runs)

    quick = brisk_operator()
    careless = replace(quick, hasty=0.5, reckless=0.3)
    assert spread(careless) > 2.0 * spread(quick)
    assert careless_operator().hasty > Operator().hasty


def test_evaporation_shows_on_the_balance_not_in_the_truth():
    bench = replace(brisk_bench(2), evaporation_g_per_min=0.2)
    run = run_bench(bench, brisk_operator())
    lost = 0.2 * run.readings[-1].time_s / 60.0
    assert run.readings[-1].mass_g == pytest.approx(run.added_g[-1] - lost, abs=0.02)
    whole = bench.water_g + bench.sample_g + run.added_g[-1] - 0.2 * run.duration_s / 60.0
    assert run.liquid_g[-1] == pytest.approx(whole, abs=1e-9)
