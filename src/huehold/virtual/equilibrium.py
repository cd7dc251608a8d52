"""Solution equilibrium: who is present in which form at a pH, and which pH balances the charge.

Charge balance with activity coefficients after Davies; weak acids, metal ions with their first
hydrolysis, and 1:1 complexes from `huehold.virtual.species`. Everything works on arrays of
solutions. Concentrations are molal; pH is minus the logarithm of the hydrogen ion's activity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.errors import InputError
from huehold.virtual import species

__all__ = ["Composition", "Speciation", "Water", "carbonate_total", "saturated"]

FloatArray = NDArray[np.float64]

_PH_LOW, _PH_HIGH = -1.0, 15.0
_ROUNDS = 80
_STRENGTH_LIMIT = 6.0  # mol/kg; good to about 0.5, and without sense past this


@dataclass(frozen=True, slots=True)
class Composition:
    """Totals per kilogram of water, arrays of one broadcast shape.

    Attributes
    ----------
    acids : mapping of str to array_like
        Total of each weak acid in all its forms, mol/kg, >= 0.
    metals : mapping of str to array_like
        Total of each metal ion in all its forms, mol/kg.
    strong : array_like
        Charge of ions that take no part (sodium counts +, chloride -), mol/kg.
    """

    acids: Mapping[str, ArrayLike] = field(default_factory=dict)
    metals: Mapping[str, ArrayLike] = field(default_factory=dict)
    strong: ArrayLike = 0.0


@dataclass(frozen=True, slots=True)
class Speciation:
    """Concentrations of all forms at a pH, mol/kg.

    Attributes
    ----------
    charge : ndarray
        Net charge of the solution, mol/kg; zero at the right pH.
    ionic_strength : ndarray
        Half the sum of molality times charge squared.
    forms : mapping of str to ndarray
        ``"acetic:0"`` is the form that lost no proton, ``"acetic:1"`` lost one;
        ``"magnesium"``, ``"magnesium:OH"``, ``"magnesium:acetic:0"`` with 0 protons;
        ``"H"`` and ``"OH"``.
    metal_activity : mapping of str to ndarray
        Activity of each free metal ion.
    """

    charge: FloatArray
    ionic_strength: FloatArray
    forms: Mapping[str, FloatArray]
    metal_activity: Mapping[str, FloatArray]

    def total(self, component: str) -> FloatArray:
        """Sum of all forms that hold a component (an acid or a metal), mol/kg."""
        return np.asarray(
            sum(value for name, value in self.forms.items() if component in name.split(":"))
        )


class Water:
    """Water at a temperature, in which equilibria are worked out.

    Parameters
    ----------
    temperature_c : float
        0 to 60 degrees Celsius.
    activity : bool
        Whether to correct with Davies' equation; textbook curves do not.
    pkw : float or None
        Ion product to use instead of the temperature's own.
    pka : mapping of str to sequence of float, optional
        Constants to use instead of the data file's, for named acids.
    """

    def __init__(
        self,
        temperature_c: float = 25.0,
        *,
        activity: bool = True,
        pkw: float | None = None,
        pka: Mapping[str, tuple[float, ...]] | None = None,
    ) -> None:
        if not 0.0 <= temperature_c <= 60.0:
            raise InputError(
                f"A temperature of {temperature_c} degrees Celsius is outside 0 to 60, "
                "the range of the constants."
            )
        self.temperature_c = temperature_c
        self.activity = activity
        self.pkw = species.pkw(temperature_c) if pkw is None else pkw
        self._pka = dict(pka or {})

    @cached_property
    def _davies_a(self) -> float:
        return species.davies_a(self.temperature_c) if self.activity else 0.0

    def log_gamma(self, ionic_strength: FloatArray) -> FloatArray:
        """Logarithm of the activity coefficient of a singly charged ion (Davies 1962)."""
        strength = np.minimum(ionic_strength, _STRENGTH_LIMIT)
        root = np.sqrt(strength)
        return np.asarray(-self._davies_a * (root / (1.0 + root) - 0.3 * strength))

    def acid_constants(self, name: str) -> tuple[float, ...]:
        """Constants (pKa) of an acid in this water."""
        if name in self._pka:
            return self._pka[name]
        return species.acid(name).pka_at(self.temperature_c)

    def speciate(self, ph: ArrayLike, composition: Composition) -> Speciation:
        """Distribute the totals over all forms at a given pH.

        Parameters
        ----------
        ph : array_like
            Broadcast with the totals.
        composition : Composition
            Totals, mol/kg.
        """
        p, totals = _broadcast(ph, composition)
        strength = np.full(p.shape, 1e-3)
        result = _distribute(self, p, totals, strength)
        slope = np.zeros(p.shape)
        for _ in range(_ROUNDS if self.activity else 0):
            gap = result.ionic_strength - strength
            if np.all(np.abs(gap) <= 1e-14 + 1e-11 * strength):
                break
            step = gap / (1.0 - slope)  # Wegstein: a fixed point by its own slope
            strength = np.maximum(strength + step, 0.0)
            before = result.ionic_strength
            result = _distribute(self, p, totals, strength)
            with np.errstate(divide="ignore", invalid="ignore"):
                slope = (result.ionic_strength - before) / step
            slope = np.clip(np.nan_to_num(slope, nan=0.0, posinf=0.0, neginf=0.0), -2.0, 0.7)
        return result

    def distribute(
        self, ph: ArrayLike, composition: Composition, ionic_strength: FloatArray
    ) -> Speciation:
        """Do the same as `speciate` with the activity coefficients of a given ionic strength."""
        p, totals = _broadcast(ph, composition)
        return _distribute(self, p, totals, ionic_strength)

    def ph(self, composition: Composition) -> FloatArray:
        """Find the pH that balances the charge, by Ridders' rule between -1 and 15.

        Raises
        ------
        InputError
            If totals are negative or no pH from -1 to 15 balances the charge.
        """
        _check_totals(composition)
        low, _ = _broadcast(_PH_LOW, composition)
        low = low.copy()
        high = np.full_like(low, _PH_HIGH)
        at_low = self.speciate(low, composition).charge
        at_high = self.speciate(high, composition).charge
        if np.any(at_low < 0.0) or np.any(at_high > 0.0):
            raise InputError(
                "No pH from -1 to 15 balances the charge of this solution; "
                "its strong ions or acids are too concentrated."
            )
        return self._root(low, high, at_low, at_high, composition)

    def _root(
        self,
        low: FloatArray,
        high: FloatArray,
        at_low: FloatArray,
        at_high: FloatArray,
        composition: Composition,
    ) -> FloatArray:
        """Root of the charge between brackets, on arrays, by Ridders' rule (1979)."""

        def charge(ph: FloatArray) -> FloatArray:
            """Return the charge in mol/kg at each pH."""
            return self.speciate(ph, composition).charge

        last = np.full_like(low, np.inf)
        for _ in range(_ROUNDS):
            middle = 0.5 * (low + high)
            at_middle = charge(middle)
            # The charge falls with pH: at_low >= 0 >= at_high, so the root is never imaginary.
            bend = np.sqrt(np.maximum(at_middle**2 - at_low * at_high, 1e-300))
            new = np.clip(middle + (middle - low) * at_middle / bend, low, high)
            at_new = charge(new)
            for ph, value in ((middle, at_middle), (new, at_new)):
                above = (value >= 0.0) & (ph > low)
                below = (value <= 0.0) & (ph < high)
                low, at_low = np.where(above, ph, low), np.where(above, value, at_low)
                high, at_high = np.where(below, ph, high), np.where(below, value, at_high)
            if np.all((high - low < 1e-13) | (np.abs(new - last) < 1e-13) | (at_new == 0.0)):
                break
            last = new
        return np.asarray(np.where(np.abs(at_low) < np.abs(at_high), low, high))


def carbonate_total(water: Water, ph: float, alkalinity: float) -> float:
    """Total carbonate of a water with an alkalinity and a pH, mol/kg.

    Parameters
    ----------
    water : Water
        Its temperature and constants.
    ph : float
        Its pH.
    alkalinity : float
        Equivalents of acid it takes to turn all carbonate into carbonic acid, mol/kg, >= 0.

    Raises
    ------
    InputError
        If the pH and the alkalinity contradict each other.
    """
    total = alkalinity
    for _ in range(20):  # the ionic strength, hence the shares, depends a little on the total
        mixed = water.speciate(ph, Composition({"carbonic": max(total, 1e-9)}, {}, alkalinity))
        share = mixed.forms["carbonic:1"] + 2.0 * mixed.forms["carbonic:2"]
        free = float(mixed.forms["H"] - mixed.forms["OH"])
        total = (alkalinity + free) / float(share) * max(total, 1e-9)
    if total < -1e-9:
        raise InputError(
            f"Water of pH {ph} cannot have an alkalinity of only {alkalinity * 1e3:g} mmol/kg; "
            "lower the pH or raise the alkalinity."
        )
    return max(total, 0.0)


def saturated(
    water: Water, solid: str, composition: Composition | None = None
) -> tuple[float, float]:
    """PH and dissolved metal of a solution in balance with a hydroxide.

    Parameters
    ----------
    water : Water
        Its temperature and constants.
    solid : str
        Name of the hydroxide.
    composition : Composition, optional
        What else is dissolved, without the solid's metal.

    Returns
    -------
    ph : float
    metal : float
        Total of the solid's metal dissolved, mol/kg.
    """
    from scipy.optimize import brentq

    substance = species.solid(solid)
    base = composition or Composition()
    log_k = substance.log_k_at(water.temperature_c)

    def with_metal(total: float) -> Composition:
        """Return the composition with so much of the metal, in mol/kg."""
        return Composition(base.acids, {**base.metals, substance.metal: total}, base.strong)

    def excess(log_total: float) -> float:
        """Return the logarithm of the saturation at a total metal of 10**log_total mol/kg."""
        mixed = with_metal(10.0**log_total)
        ph = water.ph(mixed)
        activity = water.speciate(ph, mixed).metal_activity[substance.metal]
        return float(np.log10(activity) + 2.0 * ph - log_k)

    if excess(0.0) < 0.0:
        raise InputError(
            f"More than 1 mol/kg of {substance.formula} would dissolve; add less acid."
        )
    total = 10.0 ** float(brentq(excess, -9.0, 0.0, xtol=1e-12))
    return float(water.ph(with_metal(total))), total


_Totals = tuple[dict[str, FloatArray], dict[str, FloatArray], FloatArray]


def _broadcast(ph: ArrayLike, composition: Composition) -> tuple[FloatArray, _Totals]:
    names = list(composition.acids), list(composition.metals)
    values = [*composition.acids.values(), *composition.metals.values()]
    p, strong, *rest = np.broadcast_arrays(
        np.asarray(ph, dtype=float),
        np.asarray(composition.strong, dtype=float),
        *(np.asarray(v, dtype=float) for v in values),
    )
    count = len(names[0])
    acids = dict(zip(names[0], rest[:count], strict=True))
    metals = dict(zip(names[1], rest[count:], strict=True))
    return p, (acids, metals, strong)


def _check_totals(composition: Composition) -> None:
    for name, value in [*composition.acids.items(), *composition.metals.items()]:
        if not np.all(np.isfinite(value)) or np.any(np.asarray(value) < 0.0):
            raise InputError(
                f"The total of {name} must be a finite number of mol/kg, not negative."
            )


def _distribute(water: Water, ph: FloatArray, totals: _Totals, strength: FloatArray) -> Speciation:
    """Forms at a pH with the activity coefficients of a given ionic strength."""
    acids, metals, strong = totals
    unit = water.log_gamma(strength)
    hydrogen = 10.0 ** (-ph - unit)
    hydroxide = 10.0 ** (ph - water.pkw - unit)
    forms: dict[str, FloatArray] = {"H": hydrogen, "OH": hydroxide}
    charges: dict[str, int] = {"H": 1, "OH": -1}
    ladders = {name: _ladder(water, name, ph, unit) for name in acids}
    hydrolysis = {name: _hydrolysis(water, name, ph, unit) for name in metals}
    bound = _bind(water, ph, unit, acids, metals, ladders, hydrolysis)
    for name, total in acids.items():
        taken = sum(c for (key, _), c in bound.items() if key[1] == name)
        top = species.acid(name).charge
        for lost, share in enumerate(ladders[name]):
            forms[f"{name}:{lost}"] = (total - taken) * share
            charges[f"{name}:{lost}"] = top - lost
    activity: dict[str, FloatArray] = {}
    for name, total in metals.items():
        taken = sum(c for (key, _), c in bound.items() if key[0] == name)
        ratio, charge = hydrolysis[name], species.metal(name).charge
        forms[name] = (total - taken) / (1.0 + ratio)
        forms[f"{name}:OH"] = forms[name] * ratio
        charges[name], charges[f"{name}:OH"] = charge, charge - 1
        activity[name] = forms[name] * 10.0 ** (charge**2 * unit)
    for (key, charge), concentration in bound.items():
        label = f"{key[0]}:{key[1]}:{key[2]}"
        forms[label], charges[label] = concentration, charge
    net = strong + sum(charges[name] * value for name, value in forms.items())
    squares = np.abs(strong) + sum(charges[name] ** 2 * value for name, value in forms.items())
    return Speciation(np.asarray(net), np.maximum(0.5 * squares, 0.0), forms, activity)


def _ladder(water: Water, name: str, ph: FloatArray, unit: FloatArray) -> list[FloatArray]:
    """Shares of an acid's forms, from no proton lost to all lost; they sum to one."""
    top = species.acid(name).charge
    power, powers = np.zeros_like(ph), [np.zeros_like(ph)]
    for lost, pka in enumerate(water.acid_constants(name), start=1):
        # concentrations: K over the hydrogen activity, times gamma of the form before over after
        before, after = (top - lost + 1) ** 2, (top - lost) ** 2
        power = power + ph - pka + (before - after) * unit
        powers.append(power)
    highest = np.maximum.reduce(powers)
    weights = [10.0 ** (p - highest) for p in powers]
    whole = sum(weights)
    return [np.asarray(w / whole) for w in weights]


def _hydrolysis(water: Water, name: str, ph: FloatArray, unit: FloatArray) -> FloatArray:
    """Ratio of MOH to free M, as concentrations."""
    ion = species.metal(name)
    shift = (ion.charge**2 - (ion.charge - 1) ** 2) * unit
    return np.asarray(10.0 ** (ph - ion.hydrolysis_pk_at(water.temperature_c) + shift))


_Bound = dict[tuple[tuple[str, str, int], int], FloatArray]


def _bind(
    water: Water,
    ph: FloatArray,
    unit: FloatArray,
    acids: dict[str, FloatArray],
    metals: dict[str, FloatArray],
    ladders: dict[str, list[FloatArray]],
    hydrolysis: dict[str, FloatArray],
) -> _Bound:
    """Concentrations of all complexes, by (metal, ligand, protons) and charge.

    For a metal and a ligand the sum of their complexes solves a quadratic; with several pairs
    the quadratics are solved in turn until nothing moves.
    """
    constants: dict[tuple[str, str], dict[tuple[tuple[str, str, int], int], FloatArray]] = {}
    for item in species.complexes():
        if item.metal in metals and item.ligand in acids:
            key, value = _conditional(water, item, ph, unit, ladders, hydrolysis)
            constants.setdefault((item.metal, item.ligand), {})[key] = value
    sums = {pair: np.zeros_like(ph) for pair in constants}
    for _ in range(_ROUNDS if len(sums) > 1 else 1):
        change = 0.0
        for pair, parts in constants.items():
            metal = metals[pair[0]] - _others(sums, pair, 0)
            ligand = acids[pair[1]] - _others(sums, pair, 1)
            new = _pair_total(sum(parts.values()), metal, ligand)
            change = max(change, float(np.max(np.abs(new - sums[pair]), initial=0.0)))
            sums[pair] = new
        if change < 1e-15:
            break
    bound: _Bound = {}
    for pair, parts in constants.items():
        whole = sum(parts.values())
        bound |= {key: sums[pair] * value / whole for key, value in parts.items()}
    return bound


def _others(
    sums: dict[tuple[str, str], FloatArray], pair: tuple[str, str], side: int
) -> FloatArray | float:
    return sum(
        (value for key, value in sums.items() if key != pair and key[side] == pair[side]), 0.0
    )


def _conditional(
    water: Water,
    item: species.Complex,
    ph: FloatArray,
    unit: FloatArray,
    ladders: dict[str, list[FloatArray]],
    hydrolysis: dict[str, FloatArray],
) -> tuple[tuple[tuple[str, str, int], int], FloatArray]:
    """Complex over (unbound metal times unbound ligand), both in all their forms."""
    ladder = ladders[item.ligand]
    bare = species.acid(item.ligand).charge - (len(ladder) - 1)
    ion = species.metal(item.metal).charge
    charge = ion + bare + item.protons
    log_k = species.shifted_log_k(item.log_k, item.dh_kj, water.temperature_c)
    shift = (ion**2 + bare**2 - charge**2) * unit
    value = 10.0 ** (log_k - item.protons * ph + shift)
    value = value * ladder[-1] / (1.0 + hydrolysis[item.metal])
    return ((item.metal, item.ligand, item.protons), charge), np.asarray(value)


def _pair_total(constant: ArrayLike, metal: FloatArray, ligand: FloatArray) -> FloatArray:
    """Solve c = K (m - c)(l - c) for the root under both totals, without cancellation."""
    k = np.asarray(constant, dtype=float)
    middle = 1.0 + k * (metal + ligand)
    root = np.sqrt(np.maximum(middle**2 - 4.0 * k**2 * metal * ligand, 0.0))
    return np.asarray(2.0 * k * metal * ligand / (middle + root))
