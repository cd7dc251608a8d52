"""Constants at a temperature, against published tables."""

from __future__ import annotations

import pytest

from huehold.errors import InputError
from huehold.virtual import species


@pytest.mark.parametrize(
    ("find", "word"), [(species.acid, "acid"), (species.metal, "metal"), (species.solid, "solid")]
)
def test_unknown_names_are_refused_with_the_known_ones(find, word):
    with pytest.raises(InputError, match=rf"no {word}.* called 'unobtainium'; known are"):
        find("unobtainium")


@pytest.mark.parametrize(
    ("t", "expected"),
    [(0, 14.938), (5, 14.727), (10, 14.528), (15, 14.340), (20, 14.163), (25, 13.995),
     (30, 13.836), (35, 13.685), (40, 13.542)],
)  # fmt: skip
def test_pkw(t, expected):
    """CRC Handbook 2005, p. 8-79 (Marshall and Franck 1981)."""
    assert species.pkw(t) == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(("t", "kg_per_m3"), [(10, 999.7025), (20, 998.2072), (25, 997.0476)])
def test_density_of_water(t, kg_per_m3):
    """IAPWS-95."""
    assert species.water_density(t) * 1000.0 == pytest.approx(kg_per_m3, abs=0.005)


def test_davies_slope():
    """0.509 at 25 degrees, any text on electrolytes."""
    assert species.davies_a(25.0) == pytest.approx(0.509, abs=0.002)


def test_constants_at_the_reference_are_the_data():
    assert species.acid("acetic").pka_at(25.0) == pytest.approx((4.757,))
    assert species.acid("citric").pka_at(25.0) == pytest.approx((3.128, 4.761, 6.396))


def test_brucite_dissolves_less_when_warm():
    """Its dissolution in acid is exothermic: log K falls with temperature."""
    brucite = species.solid("brucite")
    assert brucite.log_k_at(10.0) > brucite.log_k_at(25.0) > brucite.log_k_at(40.0)


def test_carbonic_acid_moves_with_temperature():
    """pKa1 is 6.46 at 10 degrees and 6.29 at 40 (textbook tables, from memory)."""
    cold, warm = (species.acid("carbonic").pka_at(t)[0] for t in (10.0, 40.0))
    assert cold == pytest.approx(6.46, abs=0.03)
    assert warm == pytest.approx(6.29, abs=0.03)
