"""Equilibria against textbook curves, solubility data and an independent package."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from huehold.errors import InputError
from huehold.virtual.equilibrium import Composition, Water, carbonate_total, saturated

PLAIN = {"activity": False, "pkw": 14.0}
KA_OPENSTAX = {"acetic": (-np.log10(1.8e-5),)}


@pytest.fixture(scope="module")
def water() -> Water:
    return Water(25.0)


def test_temperature_outside_the_constants_is_refused():
    with pytest.raises(InputError, match="outside 0 to 60"):
        Water(80.0)


@pytest.mark.parametrize("value", [-1e-3, np.nan, np.inf])
def test_senseless_totals_are_refused(water, value):
    with pytest.raises(InputError, match="total of acetic must be a finite number"):
        water.ph(Composition({"acetic": value}))


def test_a_ph_that_cannot_be_solved_is_one_sentence(water):
    with pytest.raises(InputError, match="No pH from -1 to 15 balances the charge"):
        water.ph(Composition(strong=-1e4))


def test_unknown_acid_is_refused(water):
    with pytest.raises(InputError, match="no acid called 'acetik'"):
        water.ph(Composition({"acetik": 0.1}))


def test_pure_water_is_neutral():
    """Half of pKw: 7.27 at 10, 7.00 at 25, 6.77 at 40 degrees."""
    for t, expected in ((10.0, 7.264), (25.0, 6.998), (40.0, 6.771)):
        assert float(Water(t).ph(Composition())) == pytest.approx(expected, abs=0.002)


def test_acetic_acid_curve_of_openstax():
    """OpenStax Chemistry, table 14.4: 25.00 mL of 0.100 mol/L with 0.100 mol/L NaOH."""
    ml = np.array([0, 5, 10, 15, 20, 24, 24.5, 24.9, 25, 25.1, 25.5, 26, 28, 30, 35, 40, 45, 50.0])
    published = [2.87, 4.14, 4.57, 4.92, 5.35, 6.13, 6.44, 7.14, 8.72, 10.30, 11.00, 11.29,
                 11.75, 11.96, 12.22, 12.36, 12.46, 12.52]  # fmt: skip
    mixed = Composition({"acetic": 2.5 / (25.0 + ml)}, {}, 0.1 * ml / (25.0 + ml))
    ph = Water(25.0, **PLAIN, pka=KA_OPENSTAX).ph(mixed)
    assert ph == pytest.approx(published, abs=0.0061)


def test_acetic_acid_curve_of_a_general_chemistry_text():
    """Table 19-6, 100.0 mL of 0.100 mol/L; its first point is 0.015 high (see check values)."""
    ml = np.array([20.0, 50.0, 75.0, 90.0, 95.0, 99.0, 100.0, 101.0, 110.0, 120.0])
    published = [4.14, 4.74, 5.22, 5.70, 6.02, 6.74, 8.72, 10.70, 11.68, 11.96]
    mixed = Composition({"acetic": 10.0 / (100.0 + ml)}, {}, 0.1 * ml / (100.0 + ml))
    ph = Water(25.0, **PLAIN, pka=KA_OPENSTAX).ph(mixed)
    assert ph == pytest.approx(published, abs=0.006)


@pytest.mark.parametrize(
    ("solid", "by_temperature"),
    [
        ("brucite", {10: 10.92, 20: 10.57, 25: 10.40, 30: 10.23, 40: 9.92}),
        ("portlandite", {10: 13.05, 20: 12.66, 25: 12.48, 30: 12.30, 40: 11.96}),
    ],
)
def test_saturated_hydroxides(solid, by_temperature):
    """Phreeqc 1.1.1 with minteq.v4.dat, CO2-free water (check values, section 2.3)."""
    for t, expected in by_temperature.items():
        assert saturated(Water(t), solid)[0] == pytest.approx(expected, abs=0.015)


def test_solubility_of_brucite_and_portlandite(water):
    """1.34e-4 and 0.0212 mol/kg at 25 degrees, the same source."""
    assert saturated(water, "brucite")[1] == pytest.approx(1.34e-4, rel=0.01)
    assert saturated(water, "portlandite")[1] == pytest.approx(0.0212, rel=0.01)


def test_course_of_ph_through_the_titration(water):
    """80 mg in 51 g of water (check values, section 2.4), acid added as such."""
    base = 0.080 / 58.319 / 0.051
    for phi, expected in ((0.10, 9.80), (0.50, 9.56), (0.90, 9.49), (0.99, 9.48)):
        held = saturated(water, "brucite", Composition({"acetic": 2.0 * base * phi}))[0]
        assert held == pytest.approx(expected, abs=0.02)
    phi = np.array([0.999, 1.000, 1.001, 1.005, 1.01, 1.02, 1.05, 1.10])
    past = water.ph(Composition({"acetic": 2.0 * base * phi}, {"magnesium": base}))
    assert past == pytest.approx([9.02, 8.30, 7.59, 6.90, 6.60, 6.30, 5.90, 5.60], abs=0.01)


@pytest.mark.parametrize(
    ("mg", "grams", "expected"),
    [
        (80.0, 51.0, [-0.10, -0.02, 0.03, 0.12, 0.40, 1.26, 3.99, 12.6]),
        (400.0, 105.0, [-0.06, -0.01, 0.03, 0.11, 0.35, 1.11, 3.51, 11.1]),
    ],
)
def test_overshoot_where_the_end_is_called(water, mg, grams, expected):
    """Percent of acid too much at pH 9.0 down to 5.5 (check values, section 2.4)."""
    base = mg / 58.319 / grams

    def overshoot(ph: float) -> float:
        def charge(phi: float) -> float:
            mixed = Composition({"acetic": 2.0 * base * phi}, {"magnesium": base})
            return float(water.speciate(ph, mixed).charge)

        return 100.0 * (brentq(charge, 0.9, 1.5) - 1.0)

    found = [overshoot(ph) for ph in np.arange(9.0, 5.4, -0.5)]
    assert found == pytest.approx(expected, abs=0.03, rel=0.01)


def test_ideal_overshoot_is_the_textbook_one():
    """100 * 10^(pKa - pH) percent without activities, hydrolysis and complexes."""
    plain = Water(25.0, **PLAIN, pka={"acetic": (4.756,)})
    for ph, expected in ((7.0, 0.57), (6.5, 1.80), (6.0, 5.70)):
        shares = plain.speciate(ph, Composition({"acetic": 1.0})).forms
        ratio = float(shares["acetic:0"] / shares["acetic:1"])
        assert 100.0 * ratio == pytest.approx(expected, abs=0.006)


concentration = st.floats(1e-9, 0.05)


@settings(max_examples=25, deadline=None)
@given(concentration, concentration, concentration, concentration, st.floats(0.0, 60.0))
def test_mass_and_charge_are_conserved(acetic, citric, carbonic, magnesium, t):
    totals = {"acetic": acetic, "citric": citric, "carbonic": carbonic}
    mixed = Composition(totals, {"magnesium": magnesium}, 0.3 * acetic)
    water = Water(t)
    ph = water.ph(mixed)
    found = water.speciate(ph, mixed)
    for name, total in {**totals, "magnesium": magnesium}.items():
        assert float(found.total(name)) == pytest.approx(total, rel=1e-9)
    assert all(np.all(value >= -1e-15) for value in found.forms.values())
    assert abs(float(found.charge)) <= 1e-9 * float(found.ionic_strength)


def test_charge_falls_as_ph_rises(water):
    mixed = Composition({"citric": 0.02, "carbonic": 0.002}, {"magnesium": 0.01}, 0.005)
    assert np.all(np.diff(water.speciate(np.linspace(0.0, 14.0, 141), mixed).charge) < 0.0)


def test_against_an_independent_package(water):
    """Phreeqc with minteq.v4.dat; it uses its own activity equations for some ions."""
    phreeqc = pytest.importorskip("phreeqc")
    engine = phreeqc.Phreeqc()
    engine.LoadBuiltInDatabase("minteq.v4.dat")
    engine.RunString(
        "SOLUTION 1\n pH 7 charge\n temp 25\n units mol/kgw\n"
        " Mg 0.01\n Acetate 0.02\n C(4) 0.001\n Na 0.001\n"
        "SELECTED_OUTPUT\n -reset false\n -pH true\nEND\n"
    )
    theirs = float(engine.GetSelectedOutputValue(1, 0))
    totals = {"acetic": 0.02, "carbonic": 0.001}
    ours = float(water.ph(Composition(totals, {"magnesium": 0.01}, 0.001)))
    assert ours == pytest.approx(theirs, abs=0.03)


def test_carbonate_of_tap_water_gives_back_its_ph(water):
    total = carbonate_total(water, 7.8, 2e-3)
    assert float(water.ph(Composition({"carbonic": total}, {}, 2e-3))) == pytest.approx(7.8)
    assert total == pytest.approx(2e-3, rel=0.06)


def test_contradicting_tap_water_is_refused(water):
    with pytest.raises(InputError, match=r"cannot have an alkalinity of only 0\.001 mmol/kg"):
        carbonate_total(water, 9.5, 1e-6)


def test_too_much_acid_for_the_solid_is_told(water):
    with pytest.raises(InputError, match="would dissolve; add less acid"):
        saturated(water, "brucite", Composition({"acetic": 20.0}))
