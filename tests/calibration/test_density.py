"""Density of the sample: refusals, then against published densities."""

from datetime import date

import pytest

from huehold.calibration.density import against_water, by_volume
from huehold.errors import InputError

FACTS = {"name": "x", "made": date(2026, 11, 1)}


@pytest.mark.parametrize(
    ("masses", "water", "more", "words"),
    [
        ([], [100.0], {}, "No mass of the sample"),
        ([104.0], [], {}, "No mass of the water"),
        ([0.0], [100.0], {}, "zero"),
        ([104.0], [-1.0], {}, "negative"),
        ([10.4], [104.0], {}, "not that of a household liquid"),
        ([104.0], [100.0], {"celsius": 80}, "not expected here"),
    ],
)
def test_fills_that_make_no_sense(masses, water, more, words):
    with pytest.raises(InputError, match=words):
        against_water(masses, water, **more, **FACTS)


def test_a_volume_that_makes_no_sense():
    with pytest.raises(InputError, match="not that of a household liquid"):
        by_volume("104.4 g", "10 mL", **FACTS)


@pytest.mark.parametrize("graduation", ["0 mL", "-5 mL", "1 g"])
def test_marks_that_make_no_sense(graduation):
    with pytest.raises(InputError, match="distance of two marks"):
        by_volume("10.44 g", "10 mL", graduation=graduation, **FACTS)


def test_water_against_water_is_water():
    # Tanaka et al. 2001: 998.2067 kg/m3 at 20 C, 997.0470 at 25 C.
    for celsius, density in ((20.0, 0.9982067), (25.0, 0.9970470)):
        made = against_water([100.0], [100.0], celsius=celsius, **FACTS)
        assert made.density.value == pytest.approx(density, abs=2e-6)


def test_a_suspension_against_water():
    # An 80 mg/mL suspension has 1.0441 to 1.0445 g/mL (additive volumes).
    made = against_water([104.63, 104.60, 104.66], [100.01, 99.98, 100.00], **FACTS)
    assert made.density.value == pytest.approx(1.0444, abs=0.001)
    assert 0.0001 < made.density.u < 0.003
    assert made.density.dof == 2


def test_a_single_fill_is_doubted_more_than_three():
    one = against_water([104.6], [100.0], **FACTS)
    three = against_water([104.6, 104.61, 104.59], [100.0, 100.01, 99.99], **FACTS)
    assert one.density.u > 2 * three.density.u


def test_by_volume_as_the_assay_has_it():
    made = by_volume("10.44 g", "10.0 mL", graduation="0.5 mL", **FACTS)
    assert made.density.value == pytest.approx(1.044)
    given = made.as_input()
    assert (given.name, given.unit) == ("density of the sample", "g/mL")
    assert given.u == made.density.u
