"""Strength from a label: what a percentage means, and figures that cannot be."""

import pytest

from huehold.errors import InputError, UsageError
from huehold.methods import load_method
from huehold.stoichiometry.steps import Chain, Factor, Symbol, Term, evaluate, units_left
from huehold.stoichiometry.strength import from_label

VINEGAR = load_method("magnesium-hydroxide-by-vinegar").titrant
HYDROXIDE = load_method("acetic-acid-in-vinegar").titrant
IODINE = load_method("ascorbic-acid-by-iodine").titrant


def mol_per_kg(carrier, given, **how):
    strength = from_label(carrier, given, **how)
    kilogram = Factor(Term(1000, "g", carrier.name), Term(1, "kg", carrier.name))
    chain = Chain(Symbol("c", "c"), (kilogram, *strength.factors))
    above, below = units_left(chain)
    assert (list(above), list(below)) == ([("mol", carrier.species)], [("kg", carrier.name)])
    return evaluate((chain,), {i.name: i.value for i in strength.inputs})["c"]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("50 %", r"was given as 50 %, but it is usually 2 to 15\.5 .*decimal point lost"),
        ("0.05", "a share typed for a percentage"),
        ("0 %", "is zero"),
        ("-5 %", "is negative"),
        ("nan", "not a finite number"),
        ("5 % v/v", "percent by volume is not used"),
        ("5 mL", "not a strength"),
        ("5 furlong", "is not a unit"),
        ("strong", "is not a number"),
    ],
)
def test_figures_that_cannot_be(given, words):
    with pytest.raises(InputError, match=words):
        from_label(VINEGAR, given)


def test_basis_that_contradicts_what_is_written():
    with pytest.raises(InputError, match="leave one of them out"):
        from_label(VINEGAR, "5 g/100 mL", basis="per-100-g")


def test_unknown_basis_and_country():
    with pytest.raises(UsageError, match="no basis"):
        from_label(VINEGAR, "5 %", basis="per-cup")
    with pytest.raises(UsageError, match="'ZZ' was not read; known are US, DE"):
        from_label(VINEGAR, "5 %", country="ZZ")


@pytest.mark.parametrize(
    ("label", "per_volume", "per_mass"),
    # check table 3.3 (FDA CPG 525.825; CRC densities): mol/kg in the two senses
    [("4 %", 0.66358, 0.66609), ("5 %", 0.82833, 0.83261), ("6 %", 0.99266, 0.99913)],
)
def test_two_senses_of_a_label(label, per_volume, per_mass):
    assert mol_per_kg(VINEGAR, label) == pytest.approx(per_volume, abs=5e-5)
    assert mol_per_kg(VINEGAR, label, basis="per-100-g") == pytest.approx(per_mass, abs=5e-5)


def test_difference_of_the_two_senses_is_shown():
    # check table 3.3: +0.52 % at 5 %
    (note,) = from_label(VINEGAR, "5 %", country="us").notes
    assert "US FDA" in note
    assert "0.52 % higher" in note
    (note,) = from_label(VINEGAR, "5 %", basis="per-100-g").notes
    assert "0.52 % lower" in note


@pytest.mark.parametrize("given", ["5.0 g/100 mL", "5.0 % w/v", "50 g/L", "50 grain", "5.0 %"])
def test_ways_to_write_one_strength(given):
    # grain strength is ten times g/100 mL (method sheet citing AOAC 930.35 J)
    assert mol_per_kg(VINEGAR, given) == pytest.approx(0.82833, abs=5e-5)


@pytest.mark.parametrize("given", ["0.1 mol/L", "0.1 M", "0.1 N", "100 mmol/L", "0,1 mol/L"])
def test_ways_to_write_a_molarity(given):
    assert mol_per_kg(HYDROXIDE, given) == pytest.approx(0.1 / 1.005)


def test_normality_needs_the_equivalents():
    # I2 takes two electrons: 0.01 N is 0.005 mol/L
    assert mol_per_kg(IODINE, "0.01 N") == pytest.approx(mol_per_kg(IODINE, "0.005 mol/L"))


def test_digits_of_the_label_set_the_doubt():
    coarse = from_label(VINEGAR, "5 %")
    assert coarse.inputs[0].u == pytest.approx(0.5 / 3**0.5)
    assert "type every digit" in coarse.warnings[0]
    fine = from_label(VINEGAR, "5.0 %")
    assert fine.inputs[0].u == pytest.approx(0.05 / 3**0.5)
    assert not fine.warnings
    assert from_label(VINEGAR, "5 ± 0.1 %").inputs[0].u == pytest.approx(0.1 / 3**0.5)
