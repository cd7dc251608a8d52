"""Acceptance ranges: the shipped ones, and ranges of one's own."""

import math

import pytest

from huehold.errors import InputError
from huehold.stoichiometry.tolerances import AcceptanceRange, acceptance_range, acceptance_ranges


def test_an_unknown_range_is_refused_with_a_near_one():
    with pytest.raises(InputError, match="did you mean magnesium-hydroxide-suspension"):
        acceptance_range("magnesium-hydroxide-suspensions")
    with pytest.raises(InputError, match="there are magnesium-hydroxide-suspension, "):
        acceptance_range("zzz")


@pytest.mark.parametrize(
    "limits", [(110.0, 90.0), (90.0, 90.0), (-1.0, 5.0), (math.nan, 5.0), (1.0, math.nan)]
)
def test_limits_that_make_no_range_are_refused(limits):
    with pytest.raises(InputError, match="limits must be numbers"):
        AcceptanceRange("x", "", "", "label", *limits, "")


def test_an_unknown_basis_is_refused():
    with pytest.raises(InputError, match="of must be one of label"):
        AcceptanceRange("x", "", "", "moles", 1.0, 2.0, "")


@pytest.mark.parametrize("claim", [None, 0.0, -5.0, math.nan, math.inf])
def test_a_range_of_the_label_needs_a_claim(claim):
    with pytest.raises(InputError, match="needs the amount the label claims"):
        acceptance_range("magnesium-hydroxide-suspension").limits(claim)


@pytest.mark.parametrize(
    ("minus", "plus"), [(-1.0, 5.0), (101.0, 5.0), (0.0, 0.0), (5.0, math.nan)]
)
def test_a_tolerance_that_makes_no_range_is_refused(minus, plus):
    with pytest.raises(InputError, match="makes no range"):
        AcceptanceRange.percent_of_label(minus, plus)


@pytest.mark.parametrize(
    ("name", "of", "low", "high", "source"),
    [
        ("magnesium-hydroxide-suspension", "label", 90.0, 115.0, "USP 32"),
        ("magnesium-hydroxide-suspension-older", "mass_fraction", 7.0, 8.5, "older USP"),
        ("magnesia-tablets", "label", 93.0, 107.0, "USP 32"),
        ("calcium-carbonate-tablets", "label", 90.0, 110.0, "USP 35"),
        ("calcium-carbonate-tablets-other-uses", "label", 90.0, 115.0, "USP 35"),
        ("calcium-carbonate-suspension", "label", 90.0, 110.0, "USP 28"),
        ("vinegar-us", "g_per_100_mL", 4.0, math.inf, "525.825"),
        ("vinegar-germany", "g_per_100_mL", 5.0, 15.5, "ordinance"),
    ],
)
def test_shipped_ranges(name, of, low, high, source):
    # limits as read in the documents named in `source`
    shipped = acceptance_range(name)
    assert (shipped.of, shipped.low, shipped.high) == (of, low, high)
    assert source in shipped.source


def test_every_shipped_range_says_what_it_is_for_and_where_from():
    assert len(acceptance_ranges()) == 8
    for name, shipped in acceptance_ranges().items():
        assert shipped.name == name
        assert shipped.product
        assert shipped.substance
        assert shipped.source


def test_limits_are_worked_out_in_decimal_digits():
    # in binary 0.9 * 1.1 is 0.9900000000000001
    assert AcceptanceRange.percent_of_label(10, 15).limits(1.1) == (0.99, 1.265)
    assert acceptance_range("magnesium-hydroxide-suspension").limits(1200) == (1080.0, 1380.0)


def test_a_range_of_the_product_ignores_the_claim():
    assert acceptance_range("vinegar-us").limits() == (4.0, math.inf)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("magnesium-hydroxide-suspension", "90 to 115 % of the label claim"),
        ("vinegar-us", "at least 4 g/100 mL"),
        ("magnesium-hydroxide-suspension-older", "7 to 8.5 % w/w"),
    ],
)
def test_ranges_in_words(name, text):
    assert acceptance_range(name).text() == text
