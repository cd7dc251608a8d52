"""Label claims and tolerances as people type them."""

import pytest

from huehold.errors import InputError
from huehold.methods import load_method
from huehold.stoichiometry.claim import parse_claim, parse_tolerance, portion_of

MAGNESIA = load_method("magnesium-hydroxide-by-vinegar")
TABLET = load_method("calcium-carbonate-antacid")
VINEGAR = load_method("acetic-acid-in-vinegar")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1200 mg", "names no portion"),
        ("1200/15 mL", "cannot be read"),
        ("0 mg/15 mL", "is zero"),
        ("1200 mL/15 mL", "must be a mass"),
        ("1200 mg/15 s", "must be a volume or a mass"),
        ("8 %", "does not say percent of what"),
        ("1200 mg Na/15 mL", "the result is of Mg"),
        ("500 mg per tablet", "give what it weighs"),
        ("1,200 mg/15 mL", "not clear whether"),
    ],
)
def test_claims_that_cannot_be_read(text, words):
    with pytest.raises(InputError, match=words):
        parse_claim(text, MAGNESIA)


@pytest.mark.parametrize("text", ["115-90 %", "90 %", "0.9-1.15", "-", "90-90"])
def test_tolerances_that_make_no_range(text):
    with pytest.raises(InputError):
        parse_tolerance(text)


@pytest.mark.parametrize("text", ["1200 mg/15 mL", "1200 mg per 15 mL", "1,2 g/15 mL"])
def test_claim_per_portion(text):
    claim = parse_claim(text, MAGNESIA)
    assert claim.amount_mg == pytest.approx(1200)
    assert (claim.portion.amount, claim.portion.unit) == (15, "mL")


def test_claim_per_millilitre():
    claim = parse_claim("80 mg/mL", MAGNESIA)
    assert (claim.amount_mg, claim.portion.amount) == (80, 1)


def test_claim_of_magnesium_itself():
    # US Drug Facts labels: 1200 mg of the hydroxide and 500 mg of Mg per 15 mL are one product
    claim = parse_claim("500.1 mg Mg/15 mL", MAGNESIA)
    assert claim.amount_mg == pytest.approx(1200, abs=0.5)
    assert "500.1 mg Mg on the label" in claim.note


def test_claim_per_tablet_with_its_mass():
    claim = parse_claim("500 mg per tablet", TABLET, "1.30 g")
    assert (claim.portion.amount, claim.portion.unit, claim.portion.name) == (1.3, "g", "tablet")


def test_percentages():
    assert parse_claim("5 %", VINEGAR).amount_mg == 5000
    assert parse_claim("8 % w/w", MAGNESIA).portion.unit == "g"
    assert parse_claim("8 % w/v", MAGNESIA).portion.unit == "mL"


@pytest.mark.parametrize("text", ["90-115 %", "90 - 115%", "90 to 115 %", "90 %-115 %", "90–115"])
def test_tolerance(text):
    found = parse_tolerance(text)
    assert (found.low, found.high) == (90, 115)


def test_tolerance_by_name():
    assert parse_tolerance("magnesia-tablets").low == 93


def test_portion_of_the_method_or_as_given():
    assert portion_of(MAGNESIA).amount == 15
    assert portion_of(MAGNESIA, "1 fl oz").amount == pytest.approx(29.57, abs=0.01)
    assert portion_of(TABLET) is None
