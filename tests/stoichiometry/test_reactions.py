"""Reactions: balance of atoms and charge, mole ratios, limiting and excess."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError
from huehold.stoichiometry.reactions import limiting, mole_ratio, parse_reaction

NEUTRALISATION = "Mg(OH)2 + 2 CH3COOH -> Mg(CH3COO)2 + 2 H2O"


def test_missing_atoms_are_counted():
    with pytest.raises(InputError, match="H 2 on the left and 3 on the right"):
        parse_reaction("2 HCl -> H3Cl2")


def test_missing_charge_is_counted():
    message = r"charge \-2 on the left and \-3 on the right"
    with pytest.raises(InputError, match=message):
        parse_reaction("I2 + S2O3^2- -> I2 + S2O3^3-")


@pytest.mark.parametrize("text", ["Mg(OH)2 + HCl", "-> H2O", "A -> B -> C", ""])
def test_what_is_no_reaction(text):
    with pytest.raises(InputError):
        parse_reaction(text)


def test_species_without_a_reaction():
    with pytest.raises(InputError, match="no reaction has both HCl and Mg"):
        mole_ratio([parse_reaction(NEUTRALISATION)], ["HCl", "Mg(OH)2"])


@pytest.mark.parametrize("arrow", ["->", "=", "→", "<=>"])
def test_arrows(arrow):
    assert parse_reaction(NEUTRALISATION.replace("->", arrow)).reactants == {
        "Mg(OH)2": 1,
        "CH3COOH": 2,
    }


def test_coefficients_may_touch_or_be_fractions():
    assert parse_reaction("1/2Mg(OH)2 + CH3COOH = 1/2 Mg(CH3COO)2 + H2O").reactants == {
        "Mg(OH)2": 0.5,
        "CH3COOH": 1,
    }


def test_chain_through_iodine():
    # ClO- + 2 I- + 2 H+ -> I2; I2 + 2 S2O3^2-: half a mole of hypochlorite for one thiosulfate
    reactions = [
        parse_reaction("ClO^- + 2 I^- + 2 H^+ -> Cl^- + I2 + H2O"),
        parse_reaction("I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-"),
    ]
    assert mole_ratio(reactions, ["S2O3^2-", "I2", "ClO^-"]) == 0.5


@given(st.floats(0, 10), st.floats(0, 10))
def test_limiting_reactant_leaves_nothing_of_itself(base, acid):
    found = limiting(parse_reaction(NEUTRALISATION), {"Mg(OH)2": base, "CH3COOH": acid})
    assert found.excess_mol[found.species] == pytest.approx(0, abs=1e-12)
    assert min(found.excess_mol.values()) >= -1e-12
    assert found.extent_mol == pytest.approx(min(base, acid / 2))


@pytest.mark.parametrize("amount", [-1.0, math.nan, math.inf])
def test_amounts_that_make_no_sense(amount):
    with pytest.raises(InputError, match="must be zero or more"):
        limiting(parse_reaction(NEUTRALISATION), {"Mg(OH)2": amount, "CH3COOH": 1.0})


def test_amount_that_is_missing():
    with pytest.raises(InputError, match="no amount was given for CH3COOH"):
        limiting(parse_reaction(NEUTRALISATION), {"Mg(OH)2": 1.0})
