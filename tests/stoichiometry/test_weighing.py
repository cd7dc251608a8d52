"""Masses read on a balance."""

import pytest

from huehold.errors import InputError
from huehold.stoichiometry.quantities import read
from huehold.stoichiometry.weighing import (
    Balance,
    buoyancy_input,
    drift_input,
    last_addition_input,
    mass_input,
)


def grams(text):
    return read(text, "g", "m")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("0 g", "tare forgotten"),
        ("-1 g", "readings exchanged"),
        ("0.001 g", "less than the balance can read"),
        ("5 kg", "more than a balance takes"),
    ],
)
def test_masses_no_balance_can_have_read(text, words):
    with pytest.raises(InputError, match=words):
        mass_input("sample mass", grams(text), Balance())


def test_sample_heavier_than_the_balance():
    with pytest.raises(InputError, match=r"more than a balance takes that reads to 0.01 g \(200 g"):
        mass_input("sample mass", grams("250 g"), Balance(capacity_g=200))


@pytest.mark.parametrize("readability", [0, -0.01, 5])
def test_balance_that_cannot_be(readability):
    with pytest.raises(InputError, match="cannot be used"):
        Balance(readability_g=readability)


def test_difference_of_two_readings():
    # check table 9: 0.01/sqrt(6) = 0.0041 g; with +/- 0.01 g linearity counted twice 0.0082 more
    assert mass_input("m", grams("5.22 g"), Balance()).u == pytest.approx(0.0041, abs=5e-5)
    both = Balance(linearity_g=0.01).difference_u_g
    assert both == pytest.approx((0.00408**2 + 0.00816**2) ** 0.5, rel=1e-3)


def test_linearity_of_eurachem_example_a2():
    # EURACHEM/CITAC CG 4, A2: +/- 0.15 mg rectangular, counted twice: 0.12 mg
    u = Balance(readability_g=1e-9, linearity_g=0.00015).difference_u_g
    assert u == pytest.approx(0.0001225, rel=1e-3)


def test_half_of_the_last_addition():
    item = last_addition_input("last addition", grams("0.05 g"), "half")
    assert (item.value, item.u) == (0.025, pytest.approx(0.05 / 12**0.5))


def test_drift_is_taken_off_with_half_of_it_as_doubt():
    item = drift_input(grams("-0.02 g"))
    assert (item.value, item.u) == (-0.02, pytest.approx(0.01 / 3**0.5))


@pytest.mark.parametrize(("density", "factor"), [(1.0052, 1.00105), (1.0444, 1.00100)])
def test_buoyancy_of_vinegar_and_suspension(density, factor):
    # check table 4.1: air 1.2 kg/m3, weights 8.0 g/mL
    assert buoyancy_input("b", density).value == pytest.approx(factor, abs=6e-6)
