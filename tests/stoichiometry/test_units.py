"""Units: what may be converted, and what must not be mixed up."""

import pint
import pytest

from huehold.errors import InputError
from huehold.stoichiometry.units import convert, parse_unit, quantity


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("percent_ww", "percent_wv"),
        ("percent_wv", "percent_ww"),
        ("percent_vv", "percent_wv"),
        ("percent_vv", "percent_ww"),
        ("mol/L", "mol/kg"),
        ("eq/L", "mol/L"),
        ("drop", "g"),
        ("drop", "mL"),
    ],
)
def test_what_must_never_be_mixed_up(one, other):
    with pytest.raises(InputError, match="must be"):
        convert(quantity(5, one), other, "the strength")


def test_millilitres_for_grams_names_the_cause():
    with pytest.raises(InputError) as caught:
        convert(quantity(16.5, "mL"), "g", "the titrant mass")
    assert str(caught.value) == (
        "the titrant mass must be a mass in g, but 16.5 mL is a volume; weigh it (millilitres "
        "typed for grams?)"
    )


def test_unknown_unit_suggests_one():
    with pytest.raises(InputError, match="'mg/ml2' is not a unit; did you mean 'mg/mL'"):
        parse_unit("mg/ml2")


@pytest.mark.parametrize("text", ["", "5 g", "g/", "furlong"])
def test_what_is_no_unit(text):
    if text == "":
        assert str(parse_unit(text)) in {"", "dimensionless"}
        return
    with pytest.raises(InputError, match="is not a unit"):
        parse_unit(text)


@pytest.mark.parametrize(
    ("value", "unit", "wanted", "result"),
    [
        (5, "percent_wv", "g/L", 50),
        (5, "percent_ww", "mg/g", 50),
        (1200, "mg", "g", 1.2),
        (0.1, "mol/L", "mmol/mL", 0.1),
        (16.5, "ml", "L", 0.0165),
        (1, "oz", "g", 28.349523125),
    ],
)
def test_conversions(value, unit, wanted, result):
    assert convert(quantity(value, unit), wanted, "it").magnitude == pytest.approx(result)


def test_quantities_of_another_registry_are_taken():
    other = pint.UnitRegistry()
    assert convert(other.Quantity(5220, "mg"), "g", "it").magnitude == pytest.approx(5.22)
