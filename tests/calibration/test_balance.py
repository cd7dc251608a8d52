"""Balance and coins: wrong input, verdicts against published masses, statistics."""

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.calibration.balance import (
    additivity_error,
    calibrate,
    check,
    check_weight,
    repeatability,
)
from huehold.calibration.coins import coin, list_coins
from huehold.errors import InputError, UsageError

MADE = date(2026, 11, 1)


def made(**facts):
    return calibrate(name="x", made=MADE, **{"readability_g": 0.01, **facts})


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("us-5-cent", UsageError, "did you mean 'us-5-cents'"),
        ("shilling", UsageError, "There is no coin"),
        ("0 x us-5-cents", InputError, "counts no coin"),
        ("0 g", InputError, "makes no sense"),
        ("5 mL", InputError, "check weight"),
    ],
)
def test_check_weights_that_are_none(text, error, words):
    with pytest.raises(error, match=words):
        check_weight(text)


def test_one_reading_tells_no_repeatability():
    with pytest.raises(InputError, match="at least twice"):
        made(repeated_g=[5.0])


def test_drift_needs_two_moments():
    for zeros in ([(0.0, 0.0)], [(1.0, 0.0), (1.0, 0.01)]):
        with pytest.raises(InputError, match="two different minutes"):
            made(zeros=zeros)


def test_readings_that_are_no_numbers():
    with pytest.raises(InputError, match="not a finite number"):
        made(repeated_g=[5.0, math.nan])


def test_a_us_five_cent_coin_reading_5_25_g_is_outside():
    # 31 USC 5113 as quoted: 5.000 +/- 0.194 g.
    wrong = check(check_weight("us-5-cents"), 5.25)
    assert not wrong.inside
    assert "outside 5.000 +/- 0.194 g" in wrong.verdict()


@pytest.mark.parametrize(
    ("weight", "reading", "inside"),
    [
        ("us-5-cents", 5.194, True),
        ("us-5-cents", 5.195, False),
        ("us-5-cents", 4.806, True),
        ("us-25-cents", 5.443, True),  # 5.443 to 5.897 g in a collectors' forum
        ("us-25-cents", 5.442, False),
        ("us-25-cents", 5.897, True),
        ("20 +/- 0.01 g", 20.01, True),
        ("20 +/- 0.01 g", 20.02, False),
    ],
)
def test_verdicts_at_the_limits(weight, reading, inside):
    assert check(check_weight(weight), reading).inside is inside


def test_ten_coins_average_down():
    # 0.194 / sqrt(10) = 0.06 g for the mean of ten, if they are independent.
    ten = check_weight("10 x us-5-cents")
    assert ten.nominal_g == pytest.approx(50.0)
    assert ten.tolerance_g / 10 == pytest.approx(0.06, abs=0.002)


def test_coins_without_a_tolerance_say_so():
    euro = check_weight("euro-1")
    assert euro.nominal_g == 7.5
    assert "no tolerance was found, 2 % is assumed" in euro.source
    assert euro.tolerance_g == pytest.approx(0.15)


@pytest.mark.parametrize(
    # US Mint, Coin Specifications; Regulation (EC) 975/98; Royal Mint figures.
    ("key", "mass_g"),
    [("us-1-cent", 2.5), ("us-10-cents", 2.268), ("us-1-dollar", 8.1), ("euro-50-cents", 7.8),
     ("euro-2", 8.5), ("uk-1p", 3.56), ("uk-2-pounds", 12.0)],
)  # fmt: skip
def test_masses_of_coins(key, mass_g):
    assert coin(key).mass_g == mass_g


def test_every_coin_has_a_source_and_a_key_of_its_own():
    assert len({c.key for c in list_coins()}) == len(list_coins()) >= 20
    assert all(c.source and c.mass_g > 1 for c in list_coins())


def test_repeatability_of_published_readings():
    # JCGM 100, 4.4.3 (from memory; data and results agree on recomputation).
    readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42,
        100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    mean, s = repeatability(readings)
    assert mean == pytest.approx(100.145, abs=5e-4)
    assert s == pytest.approx(1.489, abs=5e-4)
    mean, s = repeatability([1184, 1203, 1195])
    assert (round(mean, 1), round(s, 4)) == (1194.0, 9.5394)


def test_linearity_without_any_known_mass():
    assert additivity_error([5.01, 7.49], 12.53) == pytest.approx(0.03)
    found = made(together=[([5.01, 7.49], 12.53), ([5.0, 5.0], 10.0)])
    assert found.linearity_g == pytest.approx(0.03)


def test_a_common_factor_is_no_error_of_linearity():
    checks = [check(check_weight(f"{m} +/- 0.001 g"), 1.02 * m) for m in (5.0, 10.0, 50.0)]
    found = made(checks=checks)
    assert found.scale_error_rel == pytest.approx(0.02)
    assert found.linearity_g == pytest.approx(0.0, abs=1e-9)
    assert "+2.0 % off" in found.summary()


def test_loose_coins_put_nothing_down_to_the_balance():
    checks = [check(check_weight("us-5-cents"), r) for r in (4.95, 5.05)]
    assert made(checks=checks).linearity_g == 0.0


def test_drift_is_a_slope():
    found = made(zeros=[(0, 0.0), (5, 0.01), (10, 0.02)])
    assert found.drift_g_per_min == pytest.approx(0.002)


def test_what_the_budget_gets():
    plain = made(repeated_g=[5.0, 5.0, 5.0]).as_balance()
    # Two readings to 0.01 g: d / sqrt(6) = 0.0041 g.
    assert plain.difference_u_g == pytest.approx(0.0041, abs=5e-5)
    found = made(repeated_g=[5.00, 5.03, 5.01, 4.98], together=[([5, 5], 10.01)])
    s = float(np.std([5.00, 5.03, 5.01, 4.98], ddof=1))
    # Two readings: 2 s^2 in all (rounding included) and twice the linearity (CG 4, example A2).
    assert found.as_balance().difference_u_g == pytest.approx(
        math.sqrt(2 * s**2 + 2 * 0.01**2 / 3), rel=1e-6
    )


@given(
    st.lists(st.floats(1, 100), min_size=2, max_size=10),
    st.floats(0.001, 0.1),
    st.floats(0, 0.05),
)
def test_more_error_never_makes_it_surer(readings, readability, error):
    base = made(readability_g=readability, repeated_g=[5.0, 5.0])
    worse = made(readability_g=readability, repeated_g=[5.0, 5.0], together=[([1, 1], 2 + error)])
    assert worse.as_balance().difference_u_g >= base.as_balance().difference_u_g - 1e-12
    assert made(repeated_g=readings).repeatability_g >= 0
