"""Densities: water, acetic acid solutions, suspensions, and one measured with a cylinder."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from huehold.errors import InputError
from huehold.stoichiometry.quantities import Typed, positive, read
from huehold.stoichiometry.uncertain import Input

__all__ = [
    "ACETIC_ACID_20C",
    "acetic_acid_density",
    "acetic_acid_density_from_wv",
    "density_input",
    "measured_density",
    "suspension_density",
    "water_density",
]

ACETIC_ACID_20C = (
    (0.0, 0.9982), (1.0, 0.9996), (2.0, 1.0011), (3.0, 1.0025), (4.0, 1.0038), (5.0, 1.0052),
    (6.0, 1.0066), (8.0, 1.0093), (10.0, 1.0121), (16.0, 1.0201),
)  # fmt: skip
"""Mass percent and density in g/mL at 20 C (CRC Handbook, Concentrative properties; the last
by straight extension, for strong vinegars). Two other tables differ by up to 0.0003."""

ACETIC_ACID_U = 0.0003
_DENSITY_CAUSE = "mass and volume exchanged, or typed in kg/m3?"


def acetic_acid_density(mass_percent: Any) -> Any:
    """Density of acetic acid in water at 20 C in g/mL, interpolated.

    Parameters
    ----------
    mass_percent : float or ndarray
        0 to 16 g per 100 g; held at the ends beyond.
    """
    percent, density = np.array(ACETIC_ACID_20C).T
    return np.interp(mass_percent, percent, density)


def acetic_acid_density_from_wv(g_per_100_ml: Any) -> Any:
    """Density at 20 C in g/mL of acetic acid given in g per 100 mL, as labels of vinegar are.

    Parameters
    ----------
    g_per_100_ml : float or ndarray
        0 to 16.
    """
    percent, density = np.array(ACETIC_ACID_20C).T
    return np.interp(g_per_100_ml, percent * density, density)


def water_density(celsius: Any) -> Any:
    """Density of air-free water in g/mL at 101.325 kPa (Tanaka et al. 2001, CIPM).

    Parameters
    ----------
    celsius : float or ndarray
        0 to 40.
    """
    t = np.asarray(celsius, dtype=float)
    ratio = (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))
    return 0.99997495 * (1.0 - ratio)


def suspension_density(percent_ww: Any, solid_g_per_ml: float, water_g_per_ml: float) -> Any:
    """Density in g/mL of a solid in water, volumes taken as additive.

    Parameters
    ----------
    percent_ww : float or ndarray
        Of the solid, 0 to 100 g per 100 g.
    solid_g_per_ml, water_g_per_ml : float
        Densities of solid and water.
    """
    share = percent_ww / 100.0
    return 1.0 / (share / solid_g_per_ml + (1.0 - share) / water_g_per_ml)


def measured_density(
    mass: object,
    volume: object,
    *,
    graduation: object = "1 mL",
    readability_g: float = 0.01,
    name: str = "density of the sample",
) -> Input:
    """Density from the mass of a volume read on a cylinder or syringe.

    Parameters
    ----------
    mass, volume : str, float or pint quantity
        In grams and millilitres unless a unit is given.
    graduation : str, float or pint quantity
        Distance of two marks; a reading is good to half of it (triangular).
    readability_g : float
        Of the balance; the mass is the difference of two readings.
    name : str
        Name of the input.

    Returns
    -------
    Input
        In g/mL with its standard uncertainty.

    Raises
    ------
    InputError
        If a number is not above zero, a dimension is wrong, or the density is impossible.
    """
    grams = positive(read(mass, "g", "the mass for the density"), "the mass", "tare forgotten?")
    litres = read(volume, "mL", "the volume for the density")
    litres = positive(litres, "the volume for the density", "not read?")
    step = read(graduation, "mL", "the graduation")
    value = grams.value / litres.value
    u_mass = readability_g / math.sqrt(6.0) / grams.value
    u_volume = step.value / 2.0 / math.sqrt(6.0) / litres.value
    source = f"measured: {grams.value:g} g in {litres.value:g} mL, marks {step.value:g} mL apart"
    _plausible(value)
    return Input.normal(name, value, value * math.hypot(u_mass, u_volume), "g/mL", source=source)


def density_input(given: object, name: str) -> Input:
    """Density as typed: good to half its last digit, or to what follows +/-.

    Raises
    ------
    InputError
        If it is not a density, or not one of a liquid on a kitchen table.
    """
    typed = positive(read(given, "g/mL", f"the {name}"), f"the {name}", _DENSITY_CAUSE)
    _plausible(typed.value)
    return Input.rectangular(name, typed.value, typed.half_width, "g/mL", _typed_source(typed))


def _typed_source(typed: Typed) -> str:
    if typed.half_width == 0.0:
        return f"given: {typed.text}, taken as exact"
    how = "as stated" if typed.stated else "half its last digit"
    return f"given: {typed.text}, +/- {typed.half_width:g} {how}"


def _plausible(g_per_ml: float) -> None:
    if not 0.6 <= g_per_ml <= 2.5:
        raise InputError(
            f"a density of {g_per_ml:g} g/mL is not that of a household liquid ({_DENSITY_CAUSE})"
        )
