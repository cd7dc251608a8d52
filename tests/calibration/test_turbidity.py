"""Turbidity: series that tell nothing, then shares found again."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.calibration.store import Store
from huehold.calibration.turbidity import calibrate
from huehold.errors import InputError

FACTS = {"name": "x", "made": date(2026, 11, 1)}


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ([], "lacks clear water"),
        ([(0.0, 0.1)], "lacks the fresh suspension"),
        ([(0.1, 0.1), (1.0, 0.9)], "lacks clear water"),
        ([(0.0, 0.5), (1.0, 0.55)], "cannot tell them apart"),
        ([(0.0, 0.9), (1.0, 0.1)], "cannot tell them apart"),
        ([(0.0, 0.1), (1.0, float("nan"))], "makes no sense"),
        ([(0.0, 0.1), (2.0, 0.9)], "makes no sense"),
    ],
)
def test_series_that_tell_nothing(pairs, words):
    with pytest.raises(InputError, match=words):
        calibrate(pairs, **FACTS)


def test_an_index_that_is_not_known():
    with pytest.raises(InputError, match="says nothing"):
        calibrate([(0.0, 0.0), (1.0, 1.0)], **FACTS).linear(float("nan"))


def test_two_points_are_a_straight_line_doubted_in_its_middle():
    made = calibrate([(0.0, 0.1), (1.0, 0.9)], **FACTS)
    share, u, believed = made.linear(0.5)
    assert (share, believed) == (pytest.approx(0.5), True)
    assert u > 0.1
    assert made.linear(0.1)[1] < 0.05


def test_a_dilution_series_is_straightened():
    # An index that saturates as light in a thick layer does: 1 - exp(-4 c).
    shares = np.linspace(0, 1, 9)
    made = calibrate([(s, 1 - np.exp(-4 * s)) for s in shares], **FACTS)
    for share in (0.05, 0.2, 0.33, 0.6):
        found, u, _ = made.linear(1 - np.exp(-4 * share))
        assert found == pytest.approx(share, abs=0.02)
        assert abs(found - share) < 3 * u


def test_where_it_saturates_it_is_not_believed():
    shares = np.linspace(0, 1, 9)
    made = calibrate([(s, 1 - np.exp(-8 * s)) for s in shares], **FACTS)
    low, high = made.believed
    assert low == 0.0
    assert 0.2 < high < 0.8
    assert made.linear(made.index[1])[2]
    assert not made.linear(made.index[-1])[2]
    assert made.linear(made.index[-2])[1] > 4 * made.linear(made.index[1])[1]


def test_noise_in_a_series_is_made_monotone(tmp_path):
    made = calibrate([(0, 0.05), (0.25, 0.42), (0.5, 0.40), (0.75, 0.7), (1, 0.9)], **FACTS)
    assert np.all(np.diff(made.index) > 0)
    assert made.share[0] == 0.0
    assert made.share[-1] == 1.0
    saved = Store(tmp_path).save(made)
    assert Store(tmp_path).get("turbidity/x") == saved


@given(
    st.lists(st.tuples(st.floats(0.01, 0.99), st.floats(0, 1)), max_size=8), st.floats(-0.5, 1.5)
)
def test_whatever_the_series_the_share_is_a_share(middle, index):
    made = calibrate([(0.0, 0.0), *middle, (1.0, 1.0)], **FACTS)
    share, u, _ = made.linear(index)
    assert 0.0 <= share <= 1.0
    assert np.isfinite(u)
    assert u >= 0.0
