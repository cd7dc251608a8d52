"""Numbers as people type them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError
from huehold.stoichiometry.quantities import positive, read, read_number
from huehold.stoichiometry.units import quantity


@pytest.mark.parametrize("text", ["nan", "inf", "-Infinity", "NaN"])
def test_not_finite_as_text(text):
    with pytest.raises(InputError, match="not a finite number"):
        read(text, "g", "the sample mass")


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_not_finite_as_number(value):
    with pytest.raises(InputError, match=r"the sample mass is .* not a finite number"):
        read(value, "g", "the sample mass")


@pytest.mark.parametrize("text", ["1,200", "1,234.5", "1.234,5", "1,2,3", "12,345 g"])
def test_a_comma_that_could_mean_thousands_is_asked_about(text):
    with pytest.raises(InputError, match="not clear whether"):
        read(text, "g", "the sample mass")


@pytest.mark.parametrize("given", ["five", "", "g", None, True, [5]])
def test_what_is_no_number(given):
    with pytest.raises(InputError, match="the sample mass"):
        read(given, "g", "the sample mass")


def test_wrong_dimension_is_one_sentence():
    with pytest.raises(InputError, match=r"a mass in g, but 5\.22 mL is a volume"):
        read("5.22 mL", "g", "the sample mass")


def test_zero_and_negative_name_a_cause():
    with pytest.raises(InputError, match=r"is zero; .*tare forgotten"):
        positive(read("0 g", "g", "m"), "m", "tare forgotten?")
    with pytest.raises(InputError, match=r"is negative \(-2 g\)"):
        positive(read("-2 g", "g", "m"), "m", "tare forgotten?")


def test_negative_doubt():
    with pytest.raises(InputError, match="must not be negative"):
        read("5 +/- -1 g", "g", "m")


@pytest.mark.parametrize(
    ("text", "value", "half"),
    [
        ("5.22 g", 5.22, 0.005),
        ("5,22 g", 5.22, 0.005),
        ("0,650", 0.65, 0.0005),
        ("5", 5.0, 0.5),
        ("5.0", 5.0, 0.05),
        ("5220 mg", 5.22, 0.0005),
        ("5.2e0 g", 5.2, 0.05),
        ("5.0 ± 0.1 g", 5.0, 0.1),
        ("5.0 +/- 0.1 g", 5.0, 0.1),
        (".5 g", 0.5, 0.05),
    ],
)
def test_value_and_the_doubt_of_its_last_digit(text, value, half):
    typed = read(text, "g", "m")
    assert typed.value == pytest.approx(value)
    assert typed.half_width == pytest.approx(half)


def test_plain_numbers_and_quantities_are_exact():
    assert read(5.22, "g", "m").half_width == 0
    assert read(quantity(5220, "mg"), "g", "m").value == pytest.approx(5.22)


def test_number_with_a_unit_where_none_belongs():
    with pytest.raises(InputError, match="without a unit"):
        read_number("5 g", "the count")
    assert read_number("0,5", "the count") == 0.5


@given(st.floats(1e-3, 1e3), st.sampled_from([("g", 1.0), ("mg", 1e-3), ("kg", 1e3)]))
def test_the_unit_changes_nothing(value, unit):
    name, factor = unit
    assert read(f"{value / factor!r} {name}", "g", "m").value == pytest.approx(value)
