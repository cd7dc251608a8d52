"""Rounding by decimal digits, ties to even; results with their uncertainty."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.rounding import (
    round_half_even,
    significant,
    with_uncertainty,
)


@pytest.mark.parametrize("text", ["twelve", "", "1,5", "nan", "inf", "-Infinity"])
def test_text_that_is_no_finite_number_is_refused(text):
    with pytest.raises(InputError, match="is not a"):
        round_half_even(text, 1)


@pytest.mark.parametrize(("value", "U"), [(math.nan, 1.0), (1.0, math.inf), (1.0, -0.5)])
def test_results_that_make_no_sense_are_refused(value, U):
    with pytest.raises(InputError, match=r"finite|negative"):
        with_uncertainty(value, U, "mg")


def test_no_significant_digits_is_refused():
    with pytest.raises(UsageError, match="one or more"):
        significant("1.2", 0)


@pytest.mark.parametrize(
    ("text", "digits", "rounded"),
    [
        # ISO 80000-1 Annex B, rule A; ASTM E29
        ("12.25", 1, "12.2"),
        ("12.35", 1, "12.4"),
        ("1225", -1, "1220"),
        ("1235", -1, "1240"),
        # Annex A "Unit conversion and rounding criteria" of A112.18.1 / B125.1
        ("1.655", 2, "1.66"),
        ("1.625", 2, "1.62"),
        # by decimal digits, where binary rounding gives 12.3 and 2.67
        (12.35, 1, "12.4"),
        (2.675, 2, "2.68"),
        (Decimal("-0.5"), 0, "0"),
        ("-1.5", 0, "-2"),
        (3, 2, "3.00"),
    ],
)
def test_round_half_even(text, digits, rounded):
    assert f"{round_half_even(text, digits):f}" == rounded


@pytest.mark.parametrize(
    ("text", "digits", "rounded"),
    [
        ("9.96", 2, "10"), ("0.0996", 2, "0.10"), ("0.00014142", 2, "0.00014"),
        ("123456", 2, "120000"), ("0", 2, "0.0"), ("2.5", 1, "2"), ("3.5", 1, "4"),
    ],
)  # fmt: skip
def test_significant(text, digits, rounded):
    assert f"{significant(text, digits):f}" == rounded


@pytest.mark.parametrize(
    ("value", "U", "unit", "text"),
    [
        # JCGM 100, 7.2.6: two digits of the uncertainty, value to the same place. There:
        # 10.057 62 ohm with u 27 mohm is 10.058 ohm.
        (10.05762, 0.027, "ohm", "10.058 ± 0.027 ohm"),
        (1200.3, 16.2, "mg", "1200 ± 16 mg"),
        (0.102136, 0.000201, "mol/L", "0.10214 ± 0.00020 mol/L"),
        (1200.3, 9.96, "mg", "1200 ± 10 mg"),
        (123456, 1620, "mg", "123500 ± 1600 mg"),
        (3, 120, "mg", "0 ± 120 mg"),
        (-0.001, 0.2, "g", "0.00 ± 0.20 g"),
        (1.0e-5, 2.22e-7, "mol", "(1.000 ± 0.022) × 10⁻⁵ mol"),
        (1.23e9, 4e6, "", "(1.2300 ± 0.0040) × 10⁹"),
        (1200.0, 0.0, "mg", "1200 ± 0 mg"),
        (99.8, 1.3, "", "99.8 ± 1.3"),
    ],
)
def test_with_uncertainty(value, U, unit, text):
    assert with_uncertainty(value, U, unit) == text


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e5))
def test_a_result_reads_back_within_half_a_digit(value, U):
    text = with_uncertainty(value, U)
    shown, doubt = (Decimal(part) for part in text.split(" ± "))
    step = Decimal(10) ** (significant(U, 2).adjusted() - 1)
    assert abs(shown - Decimal(repr(value))) <= step / 2
    assert abs(doubt - Decimal(repr(U))) <= step / 2


@given(st.decimals(-1000, 1000, places=4), st.integers(-2, 3))
def test_rounding_twice_is_rounding_once(number, digits):
    once = round_half_even(number, digits)
    assert round_half_even(once, digits) == once
    assert abs(once - number) <= Decimal(10) ** -digits / 2
