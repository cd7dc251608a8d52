"""Drops and their mass."""

import pytest

from huehold.errors import InputError
from huehold.stoichiometry.dropper import DropMass, calibrate_dropper, drops_in, mass_of


@pytest.mark.parametrize(("masses", "drops"), [(["1 g"], 0), ([], 20), (["-1 g"], 20)])
def test_counts_and_masses_that_make_no_sense(masses, drops):
    with pytest.raises(InputError):
        calibrate_dropper(masses, drops)


def test_a_drop_of_half_a_gram_is_miscounted():
    with pytest.raises(InputError, match=r"makes 0\.5 g a drop"):
        calibrate_dropper(["10 g"], 20)


def test_drops_without_a_drop_mass():
    with pytest.raises(InputError, match="mass of one drop as well"):
        mass_of("2 drops", None, "the last addition")


def test_official_dropper():
    # USP 32 <1101>: 45 to 55 mg a drop; 16.56 g of vinegar are 301 to 368 drops
    assert (drops_in(16.56, 0.055), drops_in(16.56, 0.045)) == (301, 368)


def test_calibration_from_three_weighings():
    drop = calibrate_dropper(["1.00 g", "1.02 g", "0.98 g"], 20)
    assert drop.value_g == pytest.approx(0.05)
    # scatter 0.001/sqrt(3) and reading 0.01/sqrt(6)/20/sqrt(3)
    assert drop.u_g == pytest.approx((0.000577**2 + 0.000118**2) ** 0.5, rel=1e-2)


def test_drops_become_grams():
    typed = mass_of("2 drops", DropMass(0.048, 0.001, ""), "the last addition")
    assert (typed.value, typed.unit) == (pytest.approx(0.096), "g")
    assert mass_of("50 mg", None, "x").value == pytest.approx(0.05)
