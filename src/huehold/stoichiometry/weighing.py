"""Masses read on a balance, their doubt, drift of its zero, and buoyancy of the air."""

from __future__ import annotations

import math
from dataclasses import dataclass

from huehold.errors import InputError
from huehold.stoichiometry.quantities import Typed, positive, read
from huehold.stoichiometry.uncertain import Input

__all__ = [
    "Balance",
    "balance_of",
    "buoyancy_input",
    "drift_input",
    "last_addition_input",
    "mass_input",
]

_AIR_KG_PER_M3 = (1.2, 0.03)
_WEIGHTS_KG_PER_M3 = 8000.0


@dataclass(frozen=True, slots=True)
class Balance:
    """What is known of the balance.

    Attributes
    ----------
    readability_g : float
        Its last digit, in grams.
    linearity_g : float
        Largest error of a reading beyond that, rectangular; counted for both readings of a
        difference, as in EURACHEM/CITAC guide CG 4, example A2.
    capacity_g : float or None
        Largest mass it takes; if not known, 100 000 times the readability.
    """

    readability_g: float = 0.01
    linearity_g: float = 0.0
    capacity_g: float | None = None

    def __post_init__(self) -> None:
        if not 0 < self.readability_g <= 1 or not 0 <= self.linearity_g <= 5:
            raise InputError(
                f"a balance that reads to {self.readability_g:g} g with an error of "
                f"{self.linearity_g:g} g cannot be used here; 0.01 g is usual"
            )

    @property
    def most_g(self) -> float:
        """Largest mass that can have been read."""
        return 1e5 * self.readability_g if self.capacity_g is None else self.capacity_g

    @property
    def difference_u_g(self) -> float:
        """Standard uncertainty of a difference of two readings."""
        return math.sqrt(self.readability_g**2 / 6.0 + 2.0 * self.linearity_g**2 / 3.0)

    def describe(self) -> str:
        """Say where the uncertainty of a difference comes from."""
        text = f"two readings to {self.readability_g:g} g"
        return text + (f", error +/- {self.linearity_g:g} g each" if self.linearity_g else "")


def balance_of(
    readability: object = None, linearity: object = None, capacity: object = None
) -> Balance:
    """Return the balance from what was typed; what was not, is as usual.

    Parameters
    ----------
    readability, linearity, capacity : str, float or pint quantity, optional
        Grams unless a unit is typed.

    Raises
    ------
    InputError
        If one cannot be read or makes no sense.
    """
    typed = {"readability": readability, "linearity": linearity, "capacity": capacity}
    given = {
        f"{name}_g": read(value, "g", f"the balance's {name}")
        for name, value in typed.items()
        if value is not None
    }
    if "capacity_g" in given:
        positive(given["capacity_g"], "the balance's capacity", "typo?")
    return Balance(**{name: one.value for name, one in given.items()})


def mass_input(name: str, given: Typed, balance: Balance, *, may_be_zero: bool = False) -> Input:
    """Turn a mass that is a difference of two readings into an input.

    Raises
    ------
    InputError
        If it is negative, zero where that makes no sense, smaller than the balance can tell, or
        above its capacity.
    """
    if not (may_be_zero and given.value == 0):
        positive(given, f"the {name}", "tare forgotten, or the readings exchanged?")
    if given.value > balance.most_g:
        raise InputError(
            f"the {name} of {given.value:g} g is more than a balance takes that reads to "
            f"{balance.readability_g:g} g ({balance.most_g:g} g); was it typed in milligrams, or "
            "the vessel weighed with it?"
        )
    if 0 < given.value < balance.readability_g:
        raise InputError(
            f"the {name} of {given.value:g} g is less than the balance can read "
            f"({balance.readability_g:g} g); grams typed as kilograms?"
        )
    return _difference(name, given, balance)


def last_addition_input(name: str, given: Typed, source: str) -> Input:
    """Half of the last addition, which is what was too much of it, rectangular over all."""
    positive(given, f"the {name}", "give the mass of the last drop, about 0.05 g")
    half = given.value / 2.0
    text = f"{source} of {given.value:g} g, in which the colour turned"
    return Input.rectangular(name, half, half, "g", text)


def drift_input(given: Typed) -> Input:
    """Shift of the balance's zero over the run, as found at its end, with half of it as doubt."""
    return Input.rectangular(
        "tare drift", given.value, abs(given.value) / 2.0, "g", f"zero found at {given.value:+g} g"
    )


def buoyancy_input(name: str, density_g_per_ml: float) -> Input:
    """Factor from a reading to a mass, for a balance adjusted with weights of 8.0 g/mL.

    Parameters
    ----------
    name : str
        Name of the input.
    density_g_per_ml : float
        Of what is weighed.
    """
    air, u_air = _AIR_KG_PER_M3
    per_air = 1.0 / (1000.0 * density_g_per_ml) - 1.0 / _WEIGHTS_KG_PER_M3
    value = (1.0 - air / _WEIGHTS_KG_PER_M3) / (1.0 - air / (1000.0 * density_g_per_ml))
    return Input.normal(name, value, u_air * per_air, "", source="air 1.20(3) kg/m3")


def _difference(name: str, given: Typed, balance: Balance) -> Input:
    source = f"{given.text}; {balance.describe()}"
    if given.stated:
        u = math.hypot(balance.difference_u_g, given.half_width / math.sqrt(3.0))
        return Input.normal(name, given.value, u, "g", source=source)
    if balance.linearity_g:
        return Input.normal(name, given.value, balance.difference_u_g, "g", source=source)
    return Input.triangular(name, given.value, balance.readability_g, "g", source)
