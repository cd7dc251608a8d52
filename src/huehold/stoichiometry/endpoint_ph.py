"""From the pH at which the end colour appears to the excess of titrant behind it.

A base titrated with a weak acid HA (a magnesium hydroxide suspension with vinegar): past the
equivalence point the mixture is a buffer of the acetate formed and the acid in excess. With
``z`` the charge of the cation, ``c`` its concentration, the charge balance (MOH+ neglected,
which counts only above pH 9) gives for the fraction of titrant too much

    e = ([HA] + [H+] - [OH-]) / (z c),   [HA] = [A-] 10^(pKa - pH) gamma_A,

where [A-] is what the complex MA+ leaves free. Without activities and complex this is the
ideal 10^(pKa - pH). An acid titrated with a strong base: the mean number of protons lost at
that pH against the full number. All functions take floats or arrays, at 25 C.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "PKW",
    "ColourEvidence",
    "acid_analyte_error",
    "acid_analyte_excess_g",
    "acid_titrant_error",
    "acid_titrant_excess_g",
    "combine_with_colour",
    "davies_log_gamma",
]

PKW = 13.995
"""Ionic product of water at 25 C (IAPWS 2007 release; CRC Handbook)."""

_DEBYE_A = 0.509


def davies_log_gamma(charge: int, ionic_strength: Any) -> Any:
    """Logarithm of the activity coefficient of an ion (Davies 1962), to about 0.5 mol/kg.

    Parameters
    ----------
    charge : int
        In elementary charges.
    ionic_strength : float or ndarray
        In mol/kg, >= 0.
    """
    root = np.sqrt(ionic_strength)
    return -_DEBYE_A * charge**2 * (root / (1.0 + root) - 0.3 * ionic_strength)


def acid_titrant_error(
    ph: Any,
    pka: float,
    equivalents_mol_per_kg: Any,
    *,
    cation_charge: int = 1,
    complex_log_k: float | None = None,
) -> Any:
    """Fraction of weak-acid titrant too much (negative: too little) at a pH.

    Parameters
    ----------
    ph : float or ndarray
        At which the end colour appears.
    pka : float
        Thermodynamic pKa of the acid.
    equivalents_mol_per_kg : float or ndarray
        Acid needed by the base, in mol per kg of mixture, > 0.
    cation_charge : int
        1 or 2.
    complex_log_k : float, optional
        log K of M + A = MA at zero ionic strength.
    """
    total = np.asarray(equivalents_mol_per_kg, dtype=float)
    metal = total / cation_charge
    bound = np.zeros_like(metal)
    strength = 0.5 * (cation_charge**2 * metal + total)
    for _ in range(4):
        log_one = davies_log_gamma(1, strength)
        if complex_log_k is not None:
            bound = _bound(metal, total, complex_log_k, cation_charge, log_one)
            free = (cation_charge**2 * (metal - bound), total - bound)
            strength = 0.5 * (free[0] + free[1] + (cation_charge - 1) ** 2 * bound)
    log_one = davies_log_gamma(1, strength)
    ph = np.asarray(ph, dtype=float)
    acid = (total - bound) * 10.0 ** (pka - ph + log_one)
    water = (10.0**-ph - 10.0 ** (ph - PKW)) * 10.0**-log_one
    return (acid + water) / total


def acid_analyte_error(ph: Any, pka: tuple[float, ...], equivalents_mol_per_kg: Any) -> Any:
    """Fraction of strong base too much (negative: too little) when an acid is titrated.

    Parameters
    ----------
    ph : float or ndarray
        At which the end colour appears.
    pka : tuple of float
        Of every proton that is titrated, in falling strength of the acid.
    equivalents_mol_per_kg : float or ndarray
        Base needed, in mol per kg of mixture, > 0.
    """
    ph = np.asarray(ph, dtype=float)
    weight: Any = np.ones_like(ph)
    total, lost, exponent = weight, np.zeros_like(ph), np.zeros_like(ph)
    for k, constant in enumerate(pka, start=1):
        exponent = exponent + ph - constant
        weight = 10.0**exponent
        total, lost = total + weight, lost + k * weight
    water = (10.0 ** (ph - PKW) - 10.0**-ph) / np.asarray(equivalents_mol_per_kg, dtype=float)
    return lost / total / len(pka) - 1.0 + water


def acid_titrant_excess_g(
    mass_g: Any,
    ph: Any,
    strength_mol_per_kg: Any,
    other_g: Any,
    pka: float,
    cation_charge: float,
    complex_log_k: float,
) -> Any:
    """Titrant beyond equivalence when the end colour appears, in grams.

    Parameters
    ----------
    mass_g, strength_mol_per_kg : float or ndarray
        Titrant at the appearance of the end colour, and its strength.
    ph : float or ndarray
    other_g : float or ndarray
        Mass of what else is in the vessel (water and sample), > 0.
    pka, cation_charge, complex_log_k
        As in `acid_titrant_error`; a complex constant of -99 stands for none.
    """
    equivalents = mass_g * strength_mol_per_kg / (mass_g + other_g)
    error = acid_titrant_error(
        ph,
        pka,
        equivalents,
        cation_charge=int(cation_charge),
        complex_log_k=None if complex_log_k <= _NO_COMPLEX else complex_log_k,
    )
    return mass_g * error / (1.0 + error)


def acid_analyte_excess_g(
    mass_g: Any, ph: Any, strength_mol_per_kg: Any, other_g: Any, **pka: float
) -> Any:
    """Strong base beyond equivalence when the end colour appears, in grams.

    Parameters
    ----------
    mass_g, ph, strength_mol_per_kg, other_g
        As in `acid_titrant_excess_g`.
    **pka : float
        ``pka1``, ``pka2`` and so on.
    """
    equivalents = mass_g * strength_mol_per_kg / (mass_g + other_g)
    error = acid_analyte_error(ph, tuple(pka[key] for key in sorted(pka)), equivalents)
    return mass_g * error / (1.0 + error)


@dataclass(frozen=True, slots=True)
class ColourEvidence:
    """What the colour at the end adds to what the last addition says.

    Attributes
    ----------
    excess_g, u_g : float
        Titrant beyond equivalence at the end reading, by both together.
    bracket_g, bracket_u_g : float
        The same by the last addition (and the turning pH) alone.
    gain : float
        ``bracket_u_g / u_g``: how many times better, 1 or more as a rule.
    agree : bool
        False if the colour speaks of an excess the last addition could not have brought.
    """

    excess_g: float
    u_g: float
    bracket_g: float
    bracket_u_g: float
    gain: float
    agree: bool


def combine_with_colour(
    excess_of_ph: Callable[[NDArray[np.float64]], Any],
    last_addition_g: float,
    turning: tuple[float, float],
    seen: tuple[float, float],
) -> ColourEvidence:
    """Join the bracket of the last addition with the pH its colour shows.

    Before the last addition the end colour did not hold, so the excess at the end reading is
    that at the turning pH plus anything up to one addition, all equally likely; the colour seen
    weighs these with a normal density in pH (Bayes' theorem, by quadrature).

    Parameters
    ----------
    excess_of_ph : callable
        Excess of titrant in grams for an array of pH.
    last_addition_g : float
        Mass of the addition that brought the end colour, > 0.
    turning, seen : (float, float)
        pH at which the end colour appears, and pH read from the colour that held, each with
        its standard uncertainty.
    """
    grid = np.linspace(2.0, 12.0, 4001)
    excess = np.asarray(excess_of_ph(grid), dtype=float)
    order = np.argsort(excess)
    excess, ph = excess[order], grid[order]
    thresholds = excess_of_ph(turning[0] + turning[1] * _normal_points())
    prior = np.mean(
        (excess[:, None] >= thresholds) & (excess[:, None] <= thresholds + last_addition_g), axis=1
    )
    likelihood = np.exp(-0.5 * ((ph - seen[0]) / seen[1]) ** 2)
    before, after = _moments(excess, prior), _moments(excess, prior * likelihood)
    best = float(np.max((prior > 0) * likelihood))
    agree = best > math.exp(-0.5 * 3.0**2)
    if not agree:
        after = before
    return ColourEvidence(*after, *before, before[1] / after[1], agree)


_NO_COMPLEX = -99.0


def _bound(metal: Any, ligand: Any, log_k: float, charge: int, log_one: Any) -> Any:
    """Concentration of MA by its quadratic, the constant brought to this ionic strength."""
    shift = charge**2 + 1 - (charge - 1) ** 2
    k = 10.0 ** (log_k + shift * log_one)
    b = metal + ligand + 1.0 / k
    return 0.5 * (b - np.sqrt(b * b - 4.0 * metal * ligand))


def _normal_points() -> NDArray[np.float64]:
    from statistics import NormalDist

    standard = NormalDist()
    return np.array([standard.inv_cdf((i + 0.5) / 101) for i in range(101)])


def _moments(x: NDArray[np.float64], density: NDArray[np.float64]) -> tuple[float, float]:
    norm = float(np.trapezoid(density, x))
    mean = float(np.trapezoid(density * x, x)) / norm
    variance = float(np.trapezoid(density * (x - mean) ** 2, x)) / norm
    return mean, math.sqrt(max(variance, 0.0))
