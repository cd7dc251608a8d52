"""Outlier tests against tables and exact values; they inform and remove nothing."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.outliers import dixon, dixon_critical, grubbs, grubbs_critical

# n: two-sided 5 %, two-sided 1 %, one-sided 5 %, one-sided 1 % (LibreTexts Appendix 7 for the
# two-sided columns, with its misprint at n = 7 set right; one-sided from the t formula)
GRUBBS = {
    3: (1.1543, 1.1547, 1.1531, 1.1546),
    4: (1.4813, 1.4963, 1.4625, 1.4925),
    5: (1.7150, 1.7637, 1.6714, 1.7489),
    6: (1.8871, 1.9728, 1.8221, 1.9442),
    7: (2.0200, 2.1391, 1.9381, 2.0973),
    8: (2.1266, 2.2744, 2.0317, 2.2208),
    9: (2.2150, 2.3868, 2.1096, 2.3231),
    10: (2.2900, 2.4821, 2.1761, 2.4097),
}

# n: 90, 95, 99 % two-tailed; Rorabacher, Anal. Chem. 63 (1991) 139, then exact
DIXON = {
    3: ((0.941, 0.970, 0.994), (0.9413, 0.9702, 0.9940)),
    4: ((0.765, 0.829, 0.926), (0.7655, 0.8298, 0.9207)),
    5: ((0.642, 0.710, 0.821), (0.6424, 0.7102, 0.8232)),
    6: ((0.560, 0.625, 0.740), (0.5624, 0.6275, 0.7427)),
    7: ((0.507, 0.568, 0.680), (0.5073, 0.5690, 0.6811)),
    8: ((0.468, 0.526, 0.634), (0.4671, 0.5256, 0.6336)),
    9: ((0.437, 0.493, 0.598), (0.4363, 0.4922, 0.5963)),
    10: ((0.412, 0.466, 0.568), (0.4119, 0.4656, 0.5661)),
}

KEEP = [1184.0, 1203.0, 1195.0, 1260.0]


@pytest.mark.parametrize("test", [grubbs, dixon])
@pytest.mark.parametrize(
    ("values", "message"),
    [
        ([1.0, 2.0], "three replicates or more, not 2"),
        ([], "three replicates or more, not 0"),
        ([1.0, 2.0, math.nan], "not a finite number"),
        ([3.0, 3.0, 3.0], "all 3 replicates are equal"),
    ],
)
def test_values_that_cannot_be_tested_are_refused(test, values, message):
    with pytest.raises(InputError, match=message):
        test(values)


@pytest.mark.parametrize("alpha", [0.0, 0.6, 5.0, math.nan])
def test_a_level_out_of_range_is_refused(alpha):
    with pytest.raises(UsageError, match=r"between 0 and 0\.5"):
        grubbs(KEEP, alpha=alpha)


def test_dixon_is_for_thirty_values_at_most():
    with pytest.raises(InputError, match="3 to 30 values, not 31"):
        dixon(list(range(31)))


@pytest.mark.parametrize("n", GRUBBS)
def test_grubbs_table(n):
    # A one-sided level is a two-sided one of twice the size.
    limits = [grubbs_critical(n, alpha) for alpha in (0.05, 0.01, 0.10, 0.02)]
    assert limits == pytest.approx(GRUBBS[n], abs=6e-5)


@pytest.mark.parametrize("n", DIXON)
def test_dixon_table(n):
    limits = [dixon_critical(n, alpha) for alpha in (0.10, 0.05, 0.01)]
    printed, exact = DIXON[n]
    assert limits == pytest.approx(exact, abs=6e-5)
    # the printed table is up to 0.003 off the exact values, 0.005 at n = 4, 99 %
    assert limits == pytest.approx(printed, abs=0.0055 if n == 4 else 0.0032)


def test_dixon_of_three_matches_its_closed_form():
    # F(R) = (3 / pi) (atan((2 R - 1) / sqrt 3) + pi / 6)
    q = dixon_critical(3, 0.05)
    below = 3 / math.pi * (math.atan((2 * q - 1) / math.sqrt(3)) + math.pi / 6)
    assert below == pytest.approx(0.975, abs=1e-6)


def test_four_replicates_one_high_is_kept():
    # 1184, 1203, 1195, 1260: G = 1.4599 (limit 1.4813), Q = 0.750 (limit 0.829): keep
    g, q = grubbs(KEEP), dixon(KEEP)
    assert g.statistic == pytest.approx(1.4599, abs=5e-5)
    assert q.statistic == pytest.approx(0.750, abs=5e-4)
    for test in (g, q):
        assert (test.index, test.value, test.conspicuous) == (3, 1260.0, False)
        assert "replicate 4 (1260) does not stand out" in test.text


@pytest.mark.parametrize(("values", "index"), [([10.0, 10.1, 10.2, 14.0, 9.9], 3),
                                               ([10.0, 10.1, 2.0, 10.2, 9.9], 2)])  # fmt: skip
def test_an_outlier_on_either_side_stands_out_and_is_kept(values, index):
    for test in (grubbs(values), dixon(values)):
        assert (test.index, test.conspicuous) == (index, True)
        assert "look for a cause" in test.text
    assert len(values) == 5


def test_normal_values_are_flagged_as_often_as_the_level_says():
    rng = np.random.default_rng(11)
    x = np.sort(rng.standard_normal((20_000, 5)), axis=1)
    gaps = np.maximum(x[:, 1] - x[:, 0], x[:, 4] - x[:, 3]) / (x[:, 4] - x[:, 0])
    # two sides of 2.5 % each; both at once cannot happen with Q above one half
    assert np.mean(gaps > dixon_critical(5)) == pytest.approx(0.05, abs=0.006)
    g = np.max(np.abs(x - x.mean(1, keepdims=True)), axis=1) / x.std(1, ddof=1)
    assert np.mean(g > grubbs_critical(5)) == pytest.approx(0.05, abs=0.006)


@given(st.lists(st.integers(-50, 50), min_size=3, max_size=8, unique=True), st.floats(0.1, 10.0))
def test_scale_and_shift_change_no_statistic(values, scale):
    moved = [scale * v + 7.0 for v in values]
    assert grubbs(moved).statistic == pytest.approx(grubbs(values).statistic)
