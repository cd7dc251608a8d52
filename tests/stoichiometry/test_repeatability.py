"""Replicates against the budget, and the mean of runs that share a bottle."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.budget import coverage_factor
from huehold.stoichiometry.repeatability import against_budget, combine

RUNS = [1184.0, 1203.0, 1195.0]


@pytest.mark.parametrize("u", [0.0, -1.0, math.nan, math.inf])
def test_a_budget_without_repeatability_is_refused(u):
    with pytest.raises(InputError, match="between runs must be above zero"):
        against_budget(RUNS, u)


def test_one_run_is_refused():
    with pytest.raises(InputError, match="no scatter"):
        against_budget([1200.0], 5.0)


def test_a_level_out_of_range_is_refused():
    with pytest.raises(UsageError, match=r"between 0 and 0\.5"):
        against_budget(RUNS, 5.0, alpha=5.0)


def test_scatter_that_fits_the_budget():
    result = against_budget(RUNS, 9.0)
    assert result.agrees
    assert result.ratio == pytest.approx(9.5394 / 9.0, abs=1e-5)
    assert result.test == "chi-square"
    assert "fits the budget" in result.text


def test_scatter_far_beyond_the_budget_is_said():
    result = against_budget(RUNS, 2.0)
    chi2 = 2 * (9.5394 / 2.0) ** 2
    assert result.p_value == pytest.approx(2 * stats.chi2.sf(chi2, 2), rel=1e-3)
    assert not result.agrees
    assert "more than the budget says" in result.text


def test_scatter_far_below_the_budget_is_said():
    result = against_budget([1194.0, 1194.1, 1193.9, 1194.0], 9.0)
    assert not result.agrees
    assert "less than the budget says" in result.text


def test_an_expected_scatter_that_was_itself_measured_is_tested_by_f():
    result = against_budget(RUNS, 2.0, dof=4)
    assert result.test == "F"
    assert result.p_value == pytest.approx(2 * stats.f.sf((9.5394 / 2.0) ** 2, 2, 4), rel=1e-3)
    # Measured in five runs only, the same expectation is weaker evidence.
    assert result.p_value > against_budget(RUNS, 2.0).p_value


def test_budget_is_doubted_as_rarely_as_the_level_says():
    rng = np.random.default_rng(9)
    doubted = [not against_budget(3.0 * rng.standard_normal(4), 3.0).agrees for _ in range(2000)]
    assert np.mean(doubted) == pytest.approx(0.05, abs=0.015)


@pytest.mark.parametrize(
    ("options", "error"),
    [
        ({"n": 0}, UsageError),
        ({"u_run": -1.0}, InputError),
        ({"u_common": math.nan}, InputError),
        ({"dof_run": 0.0}, UsageError),
    ],
)
def test_means_that_make_no_sense_are_refused(options, error):
    with pytest.raises(error, match=r"one or more|zero or more|more than zero"):
        combine(**{"mean": 1200.0, "n": 3, "u_run": 9.0, "u_common": 7.0, **options})


def test_mean_of_three_runs_by_hand():
    # u^2 = 81/3 + 49 = 76; nu = 76^2 / (27^2 / 2)
    result = combine(1194.0, 3, 9.0, 7.0, dof_run=2.0)
    assert result.u == pytest.approx(math.sqrt(76))
    assert result.dof == pytest.approx(76**2 / (27**2 / 2))
    assert combine(1194.0, 3, 9.0, 7.0).dof == math.inf


@pytest.mark.parametrize(("u_run", "u_common"), [(9.0, 7.0), (9.0, 0.0), (2.0, 7.0)])
def test_intervals_of_three_runs_cover_as_often_as_they_say(u_run, u_common):
    rng = np.random.default_rng(21)
    runs = u_run * rng.standard_normal((3000, 3)) + u_common * rng.standard_normal((3000, 1))
    covered = []
    for run in runs:
        mean = combine(np.mean(run), 3, float(np.std(run, ddof=1)), u_common, dof_run=2)
        covered.append(abs(mean.value) <= coverage_factor(mean.dof) * mean.u)
    # Truncated degrees of freedom err on the careful side.
    assert 0.94 <= np.mean(covered) <= 0.98


@given(st.integers(1, 100), st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_more_runs_never_harm_and_never_beat_the_shared_part(n, u_run, u_common):
    fewer, more = (combine(0.0, k, u_run, u_common) for k in (n, n + 1))
    assert u_common * (1 - 1e-12) <= more.u <= fewer.u * (1 + 1e-12)
