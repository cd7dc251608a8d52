"""The cup of a method in the virtual bench's words: its pH after any amount of titrant.

Species are recognised by their formulae. What the virtual bench cannot follow (redox, complexes
with an indicator of a metal) is told in words by `why_not`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from huehold.errors import InputError
from huehold.methods.model import Method
from huehold.planning.expected import Expected
from huehold.planning.waters import TapWater
from huehold.stoichiometry.formulae import molar_mass
from huehold.virtual import species
from huehold.virtual.equilibrium import Composition, Water, carbonate_total

__all__ = ["Cup", "cup_of", "end_ph_of", "why_not"]

FloatArray = NDArray[np.float64]

_ACIDS: Mapping[str, str] = MappingProxyType({"CH3COOH": "acetic", "C6H8O7": "citric"})
_STRONG: Mapping[str, int] = MappingProxyType({"HCl": -1, "NaOH": 1})
_HYDROXIDES: Mapping[str, str] = MappingProxyType({"Mg(OH)2": "brucite", "Ca(OH)2": "portlandite"})
_HYDROGEN_CARBONATES = ("NaHCO3", "HCO3^-")
_CARBONATES = ("CaCO3",)
_MOST_DISSOLVED = 1.0  # mol/kg, past anything a kitchen acid makes
_LOWEST_HELD_PH = 8.0  # what 1 mol/kg of the most soluble case would hold is above it
_BISECTIONS = 30
_ACTIVITY_ROUNDS = 5


@dataclass(frozen=True, slots=True)
class _Moles:
    """Totals in a cup, mol: weak acids, metals, and charge of ions that take no part."""

    acids: Mapping[str, FloatArray | float]
    metals: Mapping[str, FloatArray | float]
    strong: FloatArray | float


def why_not(method: Method) -> str:
    """Say why the virtual bench cannot follow a method's pH; empty if it can."""
    if method.endpoint.direction in ("redox", "complex"):
        kind = {"redox": "a redox reaction", "complex": "a metal complex"}
        return (
            f"{method.indicator.name} shows {kind[method.endpoint.direction]}, not pH, so no "
            "curve is drawn: the colour turns within the last drops"
        )
    known = {*_ACIDS, *_STRONG, *_HYDROXIDES, *_HYDROGEN_CARBONATES, *_CARBONATES}
    used = [method.titrant.species, method.sample.analyte]
    used += [method.reagent.species] if method.reagent else []
    missing = [formula for formula in used if formula not in known]
    if missing or method.titrant.species not in {*_ACIDS, *_STRONG}:
        return (
            f"The virtual bench has no equilibrium of {', '.join(missing or used[:1])}, so no "
            "curve of pH and colour is drawn"
        )
    return ""


def end_ph_of(method: Method) -> float | None:
    """PH at which the end colour is called, None if the method does not say."""
    indicator = method.indicator
    if indicator.end_ph is not None:
        return indicator.end_ph.value
    return None if indicator.turning_ph is None else sum(indicator.turning_ph) / 2.0


@dataclass(frozen=True)
class Cup:
    """What is in the cup, in moles, and what pH that gives.

    Attributes
    ----------
    method : Method
    analyte_mol, reagent_mol : float
        Of the sample, and of a reagent added in excess.
    titrant_mol_per_g : float
    sample_g, water_g : float
    tap : TapWater
    temperature_c : float
    """

    method: Method
    analyte_mol: float
    reagent_mol: float
    titrant_mol_per_g: float
    sample_g: float
    water_g: float
    tap: TapWater
    temperature_c: float

    @cached_property
    def water(self) -> Water:
        """Water at the cup's temperature."""
        return Water(self.temperature_c)

    @property
    def solid(self) -> str | None:
        """The hydroxide that may be left undissolved, None if there is none."""
        return _HYDROXIDES.get(self.method.sample.analyte)

    @property
    def acid(self) -> str | None:
        """The titrant's weak acid, None if it is another kind of titrant."""
        return _ACIDS.get(self.method.titrant.species)

    @property
    def adds_acid(self) -> bool:
        """Whether the titrant is an acid."""
        return self.method.titrant.species in _ACIDS or _STRONG[self.method.titrant.species] < 0

    @cached_property
    def _tap_carbonate_mol(self) -> float:
        alkalinity = self.tap.alkalinity_mmol_per_l / 1000.0
        boiled_out = self.method.reagent is not None  # by the acid added in excess
        if alkalinity == 0.0 or boiled_out:
            return 0.0
        total = carbonate_total(self.water, self.tap.ph, alkalinity)
        return total * self.water_g / 1000.0

    @property
    def tap_alkalinity_g(self) -> float:
        """Titrant that stands for all of the water's alkalinity, g."""
        return self._tap_alkalinity_mol / self.titrant_mol_per_g

    @property
    def _tap_alkalinity_mol(self) -> float:
        return self.tap.alkalinity_mmol_per_l * self.water_g * 1e-6

    def _kg(self, titrant_g: FloatArray | float, *, with_sample: bool) -> FloatArray:
        """Water in the cup, kg; what is not analyte or titrant counts as water."""
        analyte_g = self.analyte_mol * molar_mass(self.method.sample.analyte).value
        sample = max(self.sample_g - analyte_g, 0.0) if with_sample else 0.0
        share = self.titrant_mol_per_g * molar_mass(self.method.titrant.species).value
        titrant = np.asarray(titrant_g, dtype=float) * (1.0 - share)
        # A solution in excess is water for the most part: one mole to the litre or so.
        reagent = 1000.0 * self.reagent_mol if with_sample else 0.0
        return np.asarray((self.water_g + sample + reagent + titrant) / 1000.0)

    def _moles(self, titrant_g: FloatArray | float, *, with_sample: bool) -> _Moles:
        acids: dict[str, FloatArray | float] = {"carbonic": self._tap_carbonate_mol}
        metals: dict[str, FloatArray | float] = {}
        strong: FloatArray | float = self._tap_alkalinity_mol
        added = np.asarray(titrant_g, dtype=float) * self.titrant_mol_per_g
        parts = [(self.method.titrant.species, added)]
        if with_sample:
            parts.append((self.method.sample.analyte, np.asarray(self.analyte_mol)))
            if self.method.reagent is not None:
                parts.append((self.method.reagent.species, np.asarray(self.reagent_mol)))
        for formula, mol in parts:
            strong = _put(formula, mol, acids, metals, strong)
        return _Moles({k: v for k, v in acids.items() if np.any(v)}, metals, strong)

    def _composition(
        self, titrant_g: FloatArray | float, *, with_sample: bool = True
    ) -> Composition:
        moles = self._moles(titrant_g, with_sample=with_sample)
        kg = self._kg(titrant_g, with_sample=with_sample)
        return Composition(
            {name: mol / kg for name, mol in moles.acids.items()},
            {name: mol / kg for name, mol in moles.metals.items()},
            moles.strong / kg,
        )

    def settled(self, titrant_g: FloatArray) -> tuple[FloatArray, FloatArray]:
        """PH once all titrant has reacted, and the share of the solid that is left.

        Parameters
        ----------
        titrant_g : ndarray, shape (n,)
            Titrant in the cup, >= 0.

        Returns
        -------
        ph, left : ndarray, shape (n,)
        """
        full = self._composition(titrant_g)
        ph = self.water.ph(full)
        left = np.zeros_like(ph)
        if self.solid is None:
            return ph, left
        substance = species.solid(self.solid)
        free = self.water.speciate(ph, full).metal_activity[substance.metal]
        log_k = substance.log_k_at(self.temperature_c)
        over = np.flatnonzero(np.log10(np.maximum(free, 1e-300)) + 2.0 * ph > log_k)
        if len(over):
            ph[over], dissolved = self._held(titrant_g[over], ph[over], log_k)
            left[over] = np.clip(1.0 - dissolved / self.analyte_mol, 0.0, 1.0)
        return ph, left

    def _held(
        self, titrant_g: FloatArray, top: FloatArray, log_k: float
    ) -> tuple[FloatArray, FloatArray]:
        """PH that undissolved solid holds, by bisection, and what has dissolved (mol)."""
        full = self._composition(titrant_g)
        ((metal, _),) = full.metals.items()
        kg = self._kg(titrant_g, with_sample=True)
        low, high = np.full_like(top, _LOWEST_HELD_PH), top.copy()
        active = np.ones_like(top)  # activity over total of the metal, kept from round to round
        total = np.zeros_like(top)
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            for _ in range(_ACTIVITY_ROUNDS):
                total = np.minimum(10.0 ** (log_k - 2.0 * middle) / active, _MOST_DISSOLVED)
                mixed = Composition(full.acids, {metal: total}, full.strong)
                forms = self.water.speciate(middle, mixed)
                active = forms.metal_activity[metal] / total
            low = np.where(forms.charge > 0.0, middle, low)
            high = np.where(forms.charge > 0.0, high, middle)
        return 0.5 * (low + high), total * kg

    def blank_g(self, ph: float) -> float:
        """Titrant that brings the water alone to a pH; 0 if it is there by itself.

        Parameters
        ----------
        ph : float
            Where the end colour is called.
        """
        from scipy.optimize import brentq

        sign = 1.0 if self.adds_acid else -1.0

        def charge(titrant_g: float) -> float:
            """Return the charge at the pH called, positive while titrant is lacking."""
            mixed = self._composition(titrant_g, with_sample=False)
            return sign * float(self.water.speciate(ph, mixed).charge)

        if self.water_g == 0.0 or charge(0.0) <= 0.0:
            return 0.0
        top = 1.0
        while charge(top) > 0.0:
            top *= 2.0
            if top > 1e4:
                raise InputError(
                    f"No blank of this water reaches pH {ph:g}; check alkalinity and strength."
                )
        return float(brentq(charge, 0.0, top, xtol=1e-9))


def _put(
    formula: str,
    mol: FloatArray,
    acids: dict[str, FloatArray | float],
    metals: dict[str, FloatArray | float],
    strong: FloatArray | float,
) -> FloatArray | float:
    """Enter moles of a substance; returns the charge of ions that take no part."""
    if formula in _STRONG:
        return strong + _STRONG[formula] * mol
    if formula in _ACIDS:
        name = _ACIDS[formula]
        acids[name] = acids.get(name, 0.0) + mol
    elif formula in _HYDROXIDES:
        metals[species.solid(_HYDROXIDES[formula]).metal] = mol
    elif formula in _CARBONATES:  # dissolved in acid, its carbon dioxide boiled out
        metals["calcium"] = mol
    else:
        acids["carbonic"] = acids["carbonic"] + mol
        return strong + mol
    return strong


def cup_of(expected: Expected, tap: TapWater) -> Cup | None:
    """Set out the cup of expected masses, None if the virtual bench cannot follow the method."""
    method = expected.request.method
    if why_not(method):
        return None
    return Cup(
        method=method,
        analyte_mol=expected.amount_mmol / 1000.0,
        reagent_mol=expected.reagent_mol,
        titrant_mol_per_g=expected.titrant_mol_per_g,
        sample_g=expected.sample_g,
        water_g=expected.water_g,
        tap=tap,
        temperature_c=expected.request.temperature_c,
    )
