"""Replicates: summary, weighted mean, pooling, trend."""

import math
import statistics

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError
from huehold.stoichiometry.replicates import pooled, summarise, trend, weighted

UREG = pint.UnitRegistry()
RUNS = [1184.0, 1203.0, 1195.0]


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ([1200.0], "1 replicate has no scatter; run at least two"),
        ([], "0 replicate has no scatter"),
        ([1200.0, math.nan], "Replicate 2 is not a finite number"),
        (["1200", "about 1190"], "must be numbers, not"),
        ([1200.0, None], "Replicate 2 is not a finite number"),
        ([1200.0 * UREG.mg, 5.0 * UREG.mL], "milliliter cannot be put beside milligram"),
        ([1200.0 * UREG.mg, 1190.0], "Some replicates carry a unit and others do not"),
    ],
)
def test_replicates_that_do_not_fit_are_refused(values, message):
    with pytest.raises(InputError, match=message):
        summarise(values)


def test_three_replicates():
    # mean 1194.0, s 9.5394, s/sqrt(3) 5.5076, 95 % half width 23.70 (t 4.3027), RSD 0.799 %
    summary = summarise(RUNS, unit="mg")
    assert (summary.n, summary.dof, summary.unit) == (3, 2, "mg")
    assert summary.mean == pytest.approx(1194.0)
    assert summary.s == pytest.approx(9.5394, abs=5e-5)
    assert summary.u_mean == pytest.approx(5.5076, abs=5e-5)
    assert summary.k == pytest.approx(4.3027, abs=5e-5)
    assert summary.half_width == pytest.approx(23.70, abs=5e-3)
    assert summary.rsd_percent == pytest.approx(0.799, abs=5e-4)
    assert (summary.low, summary.high) == pytest.approx((1170.30, 1217.70), abs=5e-3)


def test_quantities_are_brought_to_the_unit_of_the_first():
    summary = summarise([1184 * UREG.mg, 1.203 * UREG.g, 1195 * UREG.mg])
    assert summary.values == pytest.approx(RUNS)
    assert summary.unit == "mg"


def test_a_mean_of_zero_has_no_relative_scatter():
    assert summarise([-1.0, 1.0]).rsd_percent is None


def test_two_replicates_have_no_trend():
    assert summarise([1.0, 2.0]).trend is None


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=12))
def test_summary_agrees_with_the_standard_library(values):
    summary = summarise(values)
    assert summary.mean == pytest.approx(statistics.fmean(values), abs=1e-9)
    assert summary.s == pytest.approx(statistics.stdev(values), rel=1e-9, abs=1e-9)


@given(st.lists(st.floats(1.0, 100.0), min_size=2, max_size=6), st.floats(0.01, 100.0))
def test_summary_scales_with_the_unit(values, factor):
    plain, scaled = summarise(values), summarise([v * factor for v in values])
    assert scaled.half_width == pytest.approx(plain.half_width * factor, rel=1e-6, abs=1e-9)


# ---- weighted mean ----


@pytest.mark.parametrize(
    ("us", "message"),
    [
        ([1.0, 1.0], "3 replicates need 3 uncertainties, not 2"),
        ([1.0, 1.0, 0.0], "finite and above zero"),
        ([1.0, 1.0, math.nan], "finite and above zero"),
        ([1.0, -1.0, 1.0], "finite and above zero"),
    ],
)
def test_uncertainties_that_do_not_fit_are_refused(us, message):
    with pytest.raises(InputError, match=message):
        weighted(RUNS, us)


def test_a_negative_common_part_is_refused():
    with pytest.raises(InputError, match="common to all runs must be zero or more"):
        weighted(RUNS, [1.0] * 3, u_common=-1.0)


def test_weighted_mean_by_hand():
    # weights 1, 1/4: mean (10 + 13/4) / 1.25 = 10.6, u_int sqrt(1/1.25), chi2 0.36 + 5.76/4 = 1.8
    result = weighted([10.0, 13.0], [1.0, 2.0])
    assert result.mean == pytest.approx(10.6)
    assert result.u_internal == pytest.approx(math.sqrt(0.8))
    assert result.birge == pytest.approx(math.sqrt(1.8))
    assert result.u == pytest.approx(math.sqrt(0.8 * 1.8))
    # chi-square with one degree of freedom is a squared normal deviate
    assert result.p_value == pytest.approx(math.erfc(math.sqrt(1.8 / 2)))
    assert result.consistent


def test_equal_uncertainties_give_the_plain_mean():
    result = weighted(RUNS, [20.0] * 3)
    assert result.mean == pytest.approx(1194.0)
    # 20 / sqrt(3), not narrowed although the runs scatter by 9.5 only
    assert result.u == pytest.approx(20.0 / math.sqrt(3))


def test_runs_that_disagree_widen_the_uncertainty_and_it_is_said():
    result = weighted([1100.0, 1203.0, 1195.0], [5.0, 5.0, 5.0])
    assert not result.consistent
    assert result.u == pytest.approx(result.u_external)
    assert result.u > 5 * result.u_internal
    assert "scatter more than their uncertainties allow" in result.text


@given(st.integers(2, 50))
def test_the_common_part_does_not_average_out(n):
    values = [1200.0 + (-1) ** i for i in range(n)]
    assert weighted(values, [4.0] * n, u_common=7.0).u >= 7.0


def test_summary_carries_the_weighted_mean():
    summary = summarise(RUNS, [10.0, 10.0, 5.0], u_common=8.0)
    assert summary.weighted == weighted(RUNS, [10.0, 10.0, 5.0], u_common=8.0)


# ---- pooling ----


def test_groups_of_one_cannot_be_pooled():
    with pytest.raises(InputError, match="at least one group needs two replicates"):
        pooled([[1.0], [2.0]])


def test_pooled_by_hand():
    # sums of squares 2 and 2 about the means 2 and 11, degrees of freedom 2 and 1
    result = pooled([[1.0, 2.0, 3.0], [10.0, 12.0], [99.0]])
    assert result.dof == 3
    assert result.s == pytest.approx(math.sqrt(4 / 3))


# ---- trend ----


@pytest.mark.parametrize(
    ("values", "times", "message"),
    [
        ([1.0, 2.0], None, "three replicates or more, not 2"),
        (RUNS, [1.0, 2.0], "one for each"),
        (RUNS, [1.0, 1.0, 1.0], "differ"),
        (RUNS, [1.0, 2.0, math.nan], "finite"),
    ],
)
def test_trends_that_cannot_be_told_are_refused(values, times, message):
    with pytest.raises(InputError, match=message):
        trend(values, times)


def test_trend_agrees_with_scipy():
    from scipy import stats

    y = [1190.0, 1196.0, 1194.0, 1203.0, 1207.0]
    x = [0.0, 10.0, 25.0, 31.0, 47.0]
    line = stats.linregress(x, y)
    result = trend(y, x)
    assert result.slope == pytest.approx(line.slope)
    assert result.u_slope == pytest.approx(line.stderr)
    assert result.p_value == pytest.approx(line.pvalue)
    assert result.significant
    assert f"rise by {line.slope:.3g} per unit of time" in result.text


def test_falling_results_are_told_and_steady_ones_are_not():
    falling = trend([1210.0, 1204.0, 1199.0, 1192.0])
    assert falling.significant
    assert "fall by 5.9 per run" in falling.text
    steady = trend(RUNS)
    assert not steady.significant
    assert "No drift" in steady.text


@pytest.mark.parametrize(("values", "significant"), [([1.0, 2.0, 3.0], True), ([0.1] * 7, False)])
def test_points_on_a_line_exactly(values, significant):
    result = trend(values)
    assert result.t is None
    assert result.significant is significant


def test_no_drift_is_claimed_as_rarely_as_the_level_says():
    rng = np.random.default_rng(4)
    found = [trend(rng.standard_normal(5)).significant for _ in range(2000)]
    assert np.mean(found) == pytest.approx(0.05, abs=0.015)
