"""Formulae and molar masses against published and independent values."""

import molmass
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError
from huehold.stoichiometry.formulae import molar_mass, parse_formula

# CIAAW 2021 intervals, element mid-points propagated (check table 1.2): value and u
TABLE = [
    ("Mg(OH)2", 58.32025, 0.0010),
    ("CH3COOH", 60.05190, 0.0013),
    ("NaHCO3", 84.00654, 0.0009),
    ("Na2CO3", 105.98834, 0.0009),
    ("CaCO3", 100.08680, 0.0025),
    ("Ca(OH)2", 74.09275, 0.0024),
    ("NaOH", 39.99714, 0.0002),
    ("HCl", 36.45947, 0.0032),
    ("C6H8O7", 192.12320, 0.0038),
    ("C6H8O7.H2O", 210.13855, 0.0039),
    ("C6H8O6", 176.12380, 0.0038),
    ("I2", 253.80894, 0.00003),
    ("C8H5KO4", 204.22057, 0.0047),
    ("H2SO4", 98.08105, 0.0050),
]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("mg(oh)2", "begin with a capital"),
        ("Mg(OH2", "bracket"),
        ("Xx2", "no element 'Xx'"),
        ("", "not a chemical formula"),
        ("CuSO4.", "ends in a dot"),
        ("2+2", "not a chemical formula"),
    ],
)
def test_what_is_no_formula_is_refused_with_its_cause(text, words):
    with pytest.raises(InputError, match=words):
        parse_formula(text)


@pytest.mark.parametrize(("text", "value", "u"), TABLE)
def test_molar_masses_of_the_ciaaw_intervals(text, value, u):
    mass = molar_mass(text)
    assert mass.value == pytest.approx(value, abs=1.5e-5)
    assert mass.u == pytest.approx(u, abs=6e-5 if u > 1e-4 else 5e-6)  # printed to 1e-4, 1e-5


@pytest.mark.parametrize("text", [row[0] for row in TABLE if "." not in row[0]])
def test_molar_masses_against_molmass(text):
    # an independent package; other choices within the natural intervals differ by up to 8e-5
    assert molar_mass(text).value == pytest.approx(molmass.Formula(text).mass, rel=1e-4)


def test_molar_mass_of_magnesium_hydroxide_as_the_pharmacopoeia_prints_it():
    # USP 29 and 32, Milk of Magnesia: 58.32
    assert molar_mass("Mg(OH)2").value == pytest.approx(58.32, abs=0.003)


@pytest.mark.parametrize(
    ("text", "charge"),
    [("S2O3^2-", -2), ("Mg^2+", 2), ("I^-", -1), ("Mg{2+}", 2), ("H^+", 1), ("CO3^{2-}", -2)],
)
def test_charges(text, charge):
    assert parse_formula(text).charge == charge


@pytest.mark.parametrize("text", ["Na2CO3.10H2O", "Na2CO3·10H2O", "Na2CO3*10H2O"])
def test_hydrates_however_the_dot_is_written(text):
    atoms = parse_formula(text).atoms
    assert (atoms["H"], atoms["O"], atoms["Na"]) == (20, 13, 2)


def test_state_marks_are_dropped():
    assert parse_formula("Mg(OH)2(s)") == parse_formula("Mg(OH)2")


@given(st.integers(1, 20), st.integers(1, 20))
def test_mass_is_the_sum_of_the_parts(n, m):
    whole = molar_mass(f"C{n}H{m}").value
    assert whole == pytest.approx(n * molar_mass("C").value + m * molar_mass("H").value)
