"""The dropper: what is refused, then means and scatter."""

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.calibration.dropper import Weighing, calibrate
from huehold.calibration.guided import make
from huehold.calibration.guides import guide_of
from huehold.errors import InputError

MADE = date(2026, 11, 1)


def typed(text):
    """What people type for it, by the guide."""
    rows = guide_of("dropper").step("weighings").rows_of(text)
    return make("dropper", {"weighings": rows}, name="x", made=MADE).calibration


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "at least one must be given"),
        ("20", "is no weighing"),
        ("x:1", "is no count"),
        ("20:much", "mass"),
        ("0:0.95", "is no count"),
        ("20:0", "is zero"),
        ("20:-1", "negative"),
        ("20:95", "g a drop"),
        ("20:0.95,20:0.60", "was it miscounted"),
    ],
)
def test_weighings_that_make_no_sense(text, words):
    with pytest.raises(InputError, match=words):
        typed(text)


def test_none_at_all():
    with pytest.raises(InputError, match="at least 10 drops"):
        calibrate([], name="x", made=MADE)


def test_mean_and_standard_uncertainty_of_readings():
    # JCGM 100, 4.4.3: twenty readings, mean 100.145, s 1.489, s/sqrt(20) 0.333; here as
    # hundreds of milligrams for two drops each (values recomputed, document from memory).
    readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42,
        100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    made = calibrate(
        [Weighing(1, r / 1000) for r in readings], name="x", made=MADE, readability_g=1e-9
    )
    assert made.drop_mass.value * 1000 == pytest.approx(100.145, abs=1e-9)
    assert made.drop_mass.u * 1000 == pytest.approx(0.33292, abs=1e-5)
    assert made.scatter_g * 1000 == pytest.approx(1.48884, abs=1e-5)
    assert made.drop_mass.dof == 19


def test_one_weighing_rests_on_the_reading_alone():
    made = calibrate([Weighing(20, 0.96)], name="x", made=MADE)
    assert made.drop_mass.value == pytest.approx(0.048)
    # A difference of two readings to d: d / sqrt(6).
    assert made.drop_mass.u == pytest.approx(0.01 / math.sqrt(6) / 20)
    assert made.scatter_g is None


def test_an_official_dropper_is_within_its_limits():
    # USP 32, chapter 1101: water drops of 45 to 55 mg.
    made = typed("20:0.99,20:1.01,20:1.00")
    assert 0.045 < made.drop_mass.value < 0.055
    assert made.summary().startswith("one drop weighs 0.05")


def test_decimal_commas_and_units():
    assert typed("20:0,95; 10:480 mg") == typed("20:0.95,10:0.48")


@given(
    st.lists(st.tuples(st.integers(10, 60), st.floats(0.046, 0.054)), min_size=1, max_size=8),
    st.floats(0.001, 0.02),
)
def test_the_mean_lies_between_and_more_weighings_do_not_hurt(rows, readability):
    weighings = [Weighing(n, n * drop) for n, drop in rows]
    made = calibrate(weighings, name="x", made=MADE, readability_g=readability)
    drops = [drop for _, drop in rows]
    assert min(drops) - 1e-9 <= made.drop_mass.value <= max(drops) + 1e-9
    assert 0 < made.drop_mass.u < 0.02
