"""Densities against published tables."""

import pytest

from huehold.errors import InputError
from huehold.stoichiometry.density import (
    acetic_acid_density,
    acetic_acid_density_from_wv,
    density_input,
    measured_density,
    suspension_density,
    water_density,
)


@pytest.mark.parametrize("given", [("5 g", "0 mL"), ("0 g", "5 mL"), ("-5 g", "5 mL")])
def test_measured_density_of_nothing(given):
    with pytest.raises(InputError):
        measured_density(*given)


def test_mass_and_volume_exchanged():
    with pytest.raises(InputError, match="not that of a household liquid"):
        measured_density("10 g", "1.04 mL")
    with pytest.raises(InputError, match="must be a mass"):
        measured_density("10 mL", "10.44 g")


def test_density_in_kilograms_per_cubic_metre_without_its_unit():
    with pytest.raises(InputError, match="typed in kg/m3"):
        density_input("1044", "density of the sample")


@pytest.mark.parametrize(
    ("celsius", "expected"),
    # Tanaka et al. 2001 (CIPM), kg/m3
    [(10, 999.7027), (15, 999.1026), (20, 998.2067), (25, 997.0470), (30, 995.6488)],
)
def test_water(celsius, expected):
    assert 1000 * water_density(celsius) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize(("percent", "expected"), [(1, 0.9996), (5, 1.0052), (10, 1.0121)])
def test_acetic_acid(percent, expected):
    # CRC Handbook, Concentrative properties, 20 C
    assert acetic_acid_density(percent) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("label", "density"),
    # check table 3.3, interpolated in the CRC column
    [(4, 1.00378), (5, 1.00516), (6, 1.00653)],
)
def test_acetic_acid_by_its_label(label, density):
    assert acetic_acid_density_from_wv(label) == pytest.approx(density, abs=2e-5)


def test_suspension_of_80_mg_per_ml():
    # additive volumes, solid 2.34 to 2.368 g/mL: 1.0441 to 1.0445 (check table 4.1)
    assert 1.0440 < suspension_density(8.0 / 1.0443, 2.35, 0.9982) < 1.0446


def test_measured_density_and_its_doubt():
    found = measured_density("10.44 g", "10.0 mL", graduation="0.2 mL", readability_g=0.01)
    assert found.value == pytest.approx(1.044)
    # 0.1 mL triangular over 10 mL is 0.41 %, 0.01 g in two readings 0.04 %
    assert found.u == pytest.approx(1.044 * 0.0041, rel=0.02)
