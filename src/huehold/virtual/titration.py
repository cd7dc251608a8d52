"""The pH of a cup at any stage of a titration, from a table made once for a bench.

Two numbers tell the stage: the titrant mixed in, and how many equivalents of acid are in excess
of the base that has dissolved. At a given pH the excess follows without any root finding, so
the table is made from that side and then turned round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from huehold.errors import InputError
from huehold.virtual import species
from huehold.virtual.bench import Bench
from huehold.virtual.equilibrium import Composition, Water, carbonate_total

__all__ = ["PhTable", "Recipe"]

FloatArray = NDArray[np.float64]

_ROWS = 30
_PH_NODES = np.linspace(2.2, 13.4, 281)
_COLUMNS = 321
_CENTRE_PH = 8.2
_SCALE_MOL_PER_KG = 1e-6


@dataclass(frozen=True)
class Recipe:
    """A bench in moles: what is in the cup after some titrant.

    Parameters
    ----------
    bench : Bench
        The settings.
    """

    bench: Bench

    @cached_property
    def water(self) -> Water:
        """Water at the bench's temperature."""
        return Water(self.bench.temperature_c)

    @cached_property
    def solid(self) -> species.Solid:
        """The hydroxide."""
        return species.solid(self.bench.solid)

    @cached_property
    def acid(self) -> species.Acid:
        """The titrant's acid."""
        return species.acid(self.bench.acid)

    @cached_property
    def solid_mol(self) -> float:
        """Hydroxide in the sample, mol."""
        return self.bench.dose_mg / 1000.0 / self.solid.molar_mass

    @cached_property
    def alkalinity_mol(self) -> float:
        """Alkalinity of the water in the cup, mol."""
        return self.bench.alkalinity_mmol_per_kg * self.bench.water_g * 1e-6

    @cached_property
    def carbonate_mol(self) -> float:
        """Carbonate in all forms of the water in the cup, mol."""
        alkalinity = self.bench.alkalinity_mmol_per_kg * 1e-3
        if alkalinity == 0.0:
            return 0.0
        total = carbonate_total(self.water, self.bench.water_ph, alkalinity)
        return total * self.bench.water_g / 1000.0

    @cached_property
    def acid_mol_per_g(self) -> float:
        """Acid in a gram of titrant, mol."""
        return self.bench.acid_mol_per_kg / 1000.0

    @cached_property
    def protons(self) -> int:
        """Protons one molecule of acid gives up before pH 8."""
        constants = self.water.acid_constants(self.bench.acid)
        return max(sum(pka < _CENTRE_PH for pka in constants), 1)

    @cached_property
    def equivalence_g(self) -> float:
        """Titrant that neutralises the sample alone, g."""
        return 2.0 * self.solid_mol / (self.protons * self.acid_mol_per_g)

    def water_kg(self, titrant_g: FloatArray | float) -> FloatArray:
        """Water in the cup after some titrant, kg."""
        share = 1.0 - self.acid_mol_per_g * self.acid.molar_mass
        grams = self.bench.water_g + self.bench.sample_water_g
        return np.asarray((grams + share * np.asarray(titrant_g, dtype=float)) / 1000.0)

    def composition(
        self, titrant_g: FloatArray | float, dissolved_mol: FloatArray | float
    ) -> Composition:
        """Totals after some titrant with some of the solid dissolved."""
        kg = self.water_kg(titrant_g)
        acids = {self.bench.acid: np.asarray(titrant_g) * self.acid_mol_per_g / kg}
        if self.carbonate_mol > 0.0:
            before = acids.get("carbonic", 0.0)
            acids["carbonic"] = before + self.carbonate_mol / kg
        metals = {self.solid.metal: np.asarray(dissolved_mol) / kg}
        return Composition(acids, metals, self.alkalinity_mol / kg)

    def ph(self, titrant_g: FloatArray | float, dissolved_mol: FloatArray | float) -> FloatArray:
        """Exact pH with some titrant and some of the solid dissolved."""
        return self.water.ph(self.composition(titrant_g, dissolved_mol))

    def titrant_for_ph(self, ph: float, *, with_sample: bool = True) -> float:
        """Titrant that brings the cup, all solid dissolved, to a pH; negative if past it.

        Parameters
        ----------
        ph : float
            On the acid side of the hydroxide's plateau.
        with_sample : bool
            False asks for the water alone: the blank.
        """
        from scipy.optimize import brentq

        solid = self.solid_mol if with_sample else 0.0

        def charge(titrant: float) -> float:
            """Return the charge at the pH called with grams of titrant."""
            return float(self.water.speciate(ph, self.composition(titrant, solid)).charge)

        # A negative blank is extrapolated: the charge is linear in a little titrant.
        top = 3.0 * self.equivalence_g + 5.0
        if charge(0.0) < 0.0:
            return -charge(0.0) / ((charge(1e-3) - charge(0.0)) / 1e-3)
        if charge(top) > 0.0:
            raise InputError(
                f"pH {ph} is not reached with {top:.1f} g of this titrant; use a stronger acid."
            )
        return float(brentq(charge, 0.0, top, xtol=1e-12))


class PhTable:
    """Fast pH and saturation of a bench's cup.

    Parameters
    ----------
    recipe : Recipe
        The bench in moles.

    Notes
    -----
    Rows go with the titrant, columns with asinh of the excess beyond that at pH 8.2, so that
    the steep part of the curve is resolved to 1e-6 mol/kg.
    """

    def __init__(self, recipe: Recipe) -> None:
        self.recipe = recipe
        self.top_g = 2.5 * recipe.equivalence_g + 12.0 * recipe.bench.squirt_g
        self.titrant_g: FloatArray = self.top_g * np.linspace(0.0, 1.0, _ROWS) ** 3
        self.scale_mol = _SCALE_MOL_PER_KG * float(recipe.water_kg(0.0))
        excess, ph, share = self._inverse()
        self._lay(excess, ph, share)

    def _inverse(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Excess (mol), pH and log10 of metal activity over total, by row and pH node."""
        recipe = self.recipe
        titrant = self.titrant_g[:, None]
        kg = recipe.water_kg(titrant)
        ph = np.broadcast_to(_PH_NODES, (_ROWS, len(_PH_NODES)))
        metal = recipe.solid.metal
        total = np.zeros(ph.shape)
        strength = np.full(ph.shape, 1e-3)
        for _ in range(60):
            mixed = recipe.composition(titrant, total * kg)
            forms = recipe.water.distribute(ph, mixed, strength)
            hydrolysed = forms.forms[f"{metal}:OH"] / np.maximum(total, 1e-30)
            step = -forms.charge / (2.0 - np.clip(hydrolysed, 0.0, 1.0))
            change = np.abs(forms.ionic_strength - strength)
            total, strength = np.maximum(total + step, 0.0), forms.ionic_strength
            moved = np.abs(step) > 1e-11 + 1e-8 * total
            if not np.any((moved & (total > 0.0)) | (change > 1e-8 + 1e-6 * strength)):
                break
        activity = forms.metal_activity[metal]
        share = np.log10(np.maximum(activity, 1e-30) / np.maximum(total, 1e-30))
        excess = self.excess_mol(titrant, total * kg)
        return np.where(total > 0.0, excess, np.nan), ph, share

    def excess_mol(
        self, titrant_g: FloatArray | float, dissolved_mol: FloatArray | float
    ) -> FloatArray:
        """Equivalents of acid beyond those of dissolved base and alkalinity, mol."""
        recipe = self.recipe
        acid = recipe.protons * recipe.acid_mol_per_g * np.asarray(titrant_g)
        return np.asarray(acid - 2.0 * np.asarray(dissolved_mol) - recipe.alkalinity_mol)

    def _lay(self, excess: FloatArray, ph: FloatArray, share: FloatArray) -> None:
        """Turn the inverse table round onto an even grid of columns."""
        centre, rows_ph, rows_share = [], [], []
        widest = float(np.nanmax(np.abs(excess))) + self.recipe.alkalinity_mol
        self._u_top = math.asinh(2.0 * widest / self.scale_mol)
        grid = np.sinh(np.linspace(-self._u_top, self._u_top, _COLUMNS)) * self.scale_mol
        for row, e in enumerate(excess):
            known = np.isfinite(e)
            e_up, p_up = e[known][::-1], ph[row][known][::-1]
            middle = float(np.interp(-_CENTRE_PH, -p_up, e_up))
            centre.append(middle)
            rows_ph.append(np.interp(grid + middle, e_up, p_up))
            rows_share.append(np.interp(grid + middle, e_up, share[row][known][::-1]))
        self.centre_mol: FloatArray = np.array(centre)
        self.ph_grid: FloatArray = np.array(rows_ph)
        self.share_grid: FloatArray = np.array(rows_share)

    def look_up(self, titrant_g: FloatArray, excess_mol: FloatArray) -> FloatArray:
        """PH at many stages at once, shape of the inputs."""
        x = np.cbrt(np.clip(np.asarray(titrant_g) / self.top_g, 0.0, 1.0)) * (_ROWS - 1)
        row = np.minimum(x.astype(np.intp), _ROWS - 2)
        gap = self.titrant_g[row + 1] - self.titrant_g[row]
        part = np.clip((titrant_g - self.titrant_g[row]) / gap, 0.0, 1.0)
        centre = self.centre_mol[row] * (1 - part) + self.centre_mol[row + 1] * part
        u = np.arcsinh((excess_mol - centre) / self.scale_mol)
        y = np.clip((u / self._u_top + 1.0) * 0.5 * (_COLUMNS - 1), 0.0, _COLUMNS - 1.001)
        column = y.astype(np.intp)
        rest = y - column
        low = self.ph_grid[row, column] * (1 - rest) + self.ph_grid[row, column + 1] * rest
        high = self.ph_grid[row + 1, column] * (1 - rest) + self.ph_grid[row + 1, column + 1] * rest
        return np.asarray(low * (1 - part) + high * part)

    def slice(self, titrant_g: float) -> tuple[float, list[float], list[float]]:
        """One row for a fixed amount of titrant: centre (mol), pH and metal share by column."""
        x = min((max(titrant_g, 0.0) / self.top_g) ** (1.0 / 3.0), 1.0) * (_ROWS - 1)
        row = min(int(x), _ROWS - 2)
        gap = self.titrant_g[row + 1] - self.titrant_g[row]
        part = min(max((titrant_g - self.titrant_g[row]) / gap, 0.0), 1.0)
        mixed = [
            table[row] * (1.0 - part) + table[row + 1] * part
            for table in (self.ph_grid, self.share_grid)
        ]
        centre = self.centre_mol[row] * (1.0 - part) + self.centre_mol[row + 1] * part
        return float(centre), mixed[0].tolist(), mixed[1].tolist()

    @property
    def columns(self) -> tuple[float, float, int]:
        """Scale (mol), half-range of asinh, and number of columns of a slice."""
        return self.scale_mol, self._u_top, _COLUMNS
