"""From the pH of the end colour to the excess of titrant, against published equilibria."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.stoichiometry.endpoint_ph import (
    acid_analyte_error,
    acid_titrant_error,
    acid_titrant_excess_g,
    combine_with_colour,
    davies_log_gamma,
)

# 80 mg Mg(OH)2 in 51 g of water: acid needed in mol/kg
NEEDED = 2 * 0.080 / 58.32 / 0.051


def magnesium(ph):
    return acid_titrant_error(ph, 4.757, NEEDED, cation_charge=2, complex_log_k=1.27)


@pytest.mark.parametrize(
    ("ph", "percent"),
    # check table 2.4: PHREEQC 3.8.6 with minteq.v4, 80 mg in 51 g of water
    [(8.0, 0.03), (7.5, 0.12), (7.0, 0.40), (6.5, 1.26), (6.0, 3.99), (5.5, 12.6)],
)
def test_magnesium_hydroxide_by_acetic_acid(ph, percent):
    assert 100 * magnesium(ph) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(("mg", "water", "percent"), [(400, 105, 0.35), (1200, 14.4, 0.26)])
def test_other_amounts_at_ph_7(mg, water, percent):
    # same table; the last is at an ionic strength of 4 mol/kg, far beyond the activity model
    needed = 2 * mg / 58.32 / water
    found = acid_titrant_error(7.0, 4.757, needed, cation_charge=2, complex_log_k=1.27)
    assert 100 * found == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize(
    ("ml", "ph"),
    # OpenStax Chemistry, Table 14.4: 25.00 mL of 0.100 mol/L acetic acid, mL of 0.100 mol/L NaOH
    [(25.0, 8.72), (25.1, 10.30), (25.5, 11.00), (26.0, 11.29), (30.0, 11.96), (50.0, 12.52)],
)
def test_acetic_acid_by_sodium_hydroxide(ml, ph):
    pka = -np.log10(1.8e-5)
    total_l = (25.0 + ml) / 1000
    error = acid_analyte_error(ph, (pka,), 0.0025 / total_l)
    # at 25.1 mL and beyond a hundredth of pH is 2 % of the excess, and pKw there is 14.00
    assert 25.0 * (1 + error) == pytest.approx(ml, rel=3e-3 + 0.035 * abs(ml / 25 - 1))


def test_citric_acid_loses_three_protons():
    error = acid_analyte_error(np.array([3.0, 8.2, 9.0]), (3.128, 4.761, 6.396), 0.01)
    assert error[0] < -0.7
    assert error[1] == pytest.approx(-0.005, abs=0.002)
    assert abs(error[2]) < 0.0015


def test_davies_coefficient():
    # Davies equation at I = 0.1 mol/kg: gamma(1) 0.78, gamma(2) 0.37 (textbook values)
    assert 10 ** davies_log_gamma(1, 0.1) == pytest.approx(0.78, abs=0.005)
    assert 10 ** davies_log_gamma(2, 0.1) == pytest.approx(0.37, abs=0.005)


@given(st.floats(4.5, 8.0), st.floats(0.01, 0.2))
def test_more_acid_colour_means_more_excess(ph, step):
    assert magnesium(ph) > magnesium(ph + step)


def excess(ph):
    return acid_titrant_excess_g(2.04, ph, 0.8283, 51.0, 4.757, 2, 1.27)


def test_colour_the_last_drop_cannot_have_brought_is_not_used():
    evidence = combine_with_colour(excess, 0.05, (7.4, 0.35), (5.0, 0.1))
    assert not evidence.agree
    assert evidence.excess_g == evidence.bracket_g
    assert evidence.gain == 1


def test_without_knowledge_of_colour_the_bracket_remains():
    evidence = combine_with_colour(excess, 0.05, (7.4, 0.1), (7.0, 100.0))
    assert evidence.bracket_u_g == pytest.approx(0.05 / 12**0.5, rel=0.01)
    assert evidence.u_g == pytest.approx(evidence.bracket_u_g, rel=0.01)


def test_colour_tells_how_much_of_the_drop_was_too_much():
    true_excess_g = 0.03
    grid = np.linspace(5, 9, 4001)
    ph = float(grid[np.argmin(np.abs(excess(grid) - true_excess_g))])
    evidence = combine_with_colour(excess, 0.05, (7.4, 0.35), (ph, 0.1))
    assert evidence.excess_g == pytest.approx(true_excess_g, abs=2 * evidence.u_g)
    assert evidence.gain > 2


def test_coverage_of_the_combined_estimate():
    """Over simulated runs the combined estimate is unbiased and its u is the real scatter."""
    rng = np.random.default_rng(7)
    scores, errors, plain = [], [], []
    for _ in range(150):
        turn = rng.normal(7.4, 0.2)
        true = float(excess(turn)) + rng.uniform(0, 0.05)
        grid = np.linspace(4.5, 9.5, 2001)
        seen = float(np.interp(-true, -excess(grid), grid)) + rng.normal(0, 0.15)
        found = combine_with_colour(excess, 0.05, (7.4, 0.2), (seen, 0.15))
        errors.append(found.excess_g - true)
        plain.append(found.bracket_g - true)
        scores.append(errors[-1] / found.u_g)
    assert abs(np.mean(scores)) < 0.25
    assert 0.8 < np.std(scores) < 1.2
    assert np.std(errors) < 0.7 * np.std(plain)
