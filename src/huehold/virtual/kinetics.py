"""A cup in which titrant spreads and undissolved solid reacts, step by step.

One length tells how far the particles have shrunk (see `huehold.virtual.particles`):

    d lost / dt = (1 / dissolution_s) * (1 + b sqrt(a_H)) / (1 + b sqrt(1e-7)) * (1 - omega)

with omega the saturation of the hydroxide. The shape follows the published law of brucite
(Palandri and Kharaka 2004: neutral and acid mechanism); its rate is orders of magnitude too slow
for a household suspension, so `dissolution_s` is set to what is seen on the bench: colour back
within seconds at first, tens of seconds to a minute near the end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.errors import InputError
from huehold.virtual.bench import Bench
from huehold.virtual.particles import ParticleSizes
from huehold.virtual.titration import PhTable, Recipe

__all__ = ["Beaker", "Sample", "dissolution_speed"]

FloatArray = NDArray[np.float64]

_TINY_LENGTH = 1e-9
_SLICE_G = 2e-3  # the table's row hardly changes over so little titrant
_PARTS = 3  # of a step while titrant is on its way
_ROOT_AT_7 = math.sqrt(1e-7)


@dataclass(frozen=True, slots=True)
class Sample:
    """The state of the cup at one moment.

    Attributes
    ----------
    time_s : float
        Time since the start.
    lost : float
        Length the particles have lost, in median radii.
    undissolved : float
        Fraction of the solid that is left.
    mixed_g, plume_g : float
        Titrant mixed into the liquid, and still on its way.
    plume_fraction : float
        Share of the surface where it is on its way.
    excess_mol : float
        Equivalents of acid in the mixed liquid beyond its base.
    ph : float
        pH of the mixed liquid.
    """

    time_s: float
    lost: float
    undissolved: float
    mixed_g: float
    plume_g: float
    plume_fraction: float
    excess_mol: float
    ph: float


def dissolution_speed(bench: Bench, ph: float, log_omega: float) -> float:
    """Length lost per second, in median radii; 0 at and past saturation."""
    if log_omega >= 0.0:
        return 0.0
    root = math.pow(10.0, -0.5 * ph)
    boost = (1.0 + bench.acid_boost * root) / (1.0 + bench.acid_boost * _ROOT_AT_7)
    return boost * (1.0 - math.pow(10.0, log_omega)) / bench.dissolution_s


class Beaker:
    """The cup of a bench, moved on in small steps.

    Parameters
    ----------
    bench : Bench
        What is in it.

    Notes
    -----
    A portion gives itself to the liquid with a first-order lag, exactly; within a step the
    shrinking is done with Heun's rule while acid is plentiful and with the implicit Euler rule,
    its root bracketed, where saturation makes it stiff. `tests` hold it to `solve_ivp`.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.recipe = Recipe(bench)
        self.table = PhTable(self.recipe)
        self.sizes = ParticleSizes(bench.size_sd)
        self.time_s = 0.0
        self.added_g = 0.0
        self.mixed_g = 0.0
        self.plume_g = 0.0
        self.swirled_until_s = -1.0
        self._plume_age = 0.0
        self._co2_mol = 0.0
        self._left_step, self._left = self.sizes.table
        self._start_kg = float(self.recipe.water_kg(0.0))
        self._kg_per_g = float(self.recipe.water_kg(1.0)) - self._start_kg
        self._log_k = self.recipe.solid.log_k_at(bench.temperature_c)
        self._slice = self.table.slice(0.0)
        self._slice_g = 0.0
        self._take_stock()
        self.lost = self._saturated_start()

    @property
    def evaporated_g(self) -> float:
        """Water lost to the air so far."""
        return self.bench.evaporation_g_per_min * self.time_s / 60.0

    def left(self, lost: float) -> float:
        """Fraction of the solid left after a length was lost."""
        position = lost / self._left_step
        node = int(position)
        if node >= len(self._left) - 1:
            return 0.0
        here = self._left[node]
        return here + (self._left[node + 1] - here) * (position - node)

    def add(self, mass_g: float) -> None:
        """Let a portion of titrant fall in, mass > 0."""
        if not mass_g > 0.0:
            raise InputError(f"A portion of {mass_g} g cannot be added; it must weigh something.")
        self.added_g += mass_g
        self.plume_g += mass_g
        self._plume_age = 0.0

    def swirl(self, duration_s: float) -> None:
        """Start to swirl the cup for some time."""
        self.swirled_until_s = max(self.swirled_until_s, self.time_s + duration_s)

    def step(self, step_s: float) -> None:
        """Move on by a step; 0.1 s or less follows every fade-back."""
        parts = _PARTS if self.plume_g > 0.0 else 1
        for _ in range(parts):
            self._part_step(step_s / parts)

    def _part_step(self, step_s: float) -> None:
        self._spread(step_s)
        self._co2_mol += self.bench.co2_uptake_mmol_per_min * step_s / 60e3
        if abs(self.mixed_g - self._slice_g) > _SLICE_G:
            self._slice, self._slice_g = self.table.slice(self.mixed_g), self.mixed_g
        self._take_stock()
        self.lost = self._advanced(step_s)
        self.time_s += step_s

    def sample(self) -> Sample:
        """Tell the state."""
        undissolved = self.left(self.lost)
        excess = self._acid_total() - 2.0 * self.recipe.solid_mol * (1.0 - undissolved)
        return Sample(
            time_s=self.time_s,
            lost=self.lost,
            undissolved=undissolved,
            mixed_g=self.mixed_g,
            plume_g=self.plume_g,
            plume_fraction=self._plume_fraction(),
            excess_mol=excess,
            ph=self._chemistry(excess)[0],
        )

    def plume_ph(self, samples: list[Sample]) -> FloatArray:
        """PH where titrant is on its way, shape (n,); that of the liquid where none is."""
        rows = np.array([(s.mixed_g, s.plume_g, s.plume_fraction, s.excess_mol) for s in samples])
        mixed, plume, share, excess = rows.T
        # As if the whole cup were as rich in titrant as the plume's part of it.
        rich = np.where(share > 0.0, plume / np.maximum(share, 1e-9), 0.0)
        strength = self.recipe.protons * self.recipe.acid_mol_per_g
        there = self.table.look_up(mixed + rich, excess + strength * rich)
        liquid = np.array([s.ph for s in samples])
        return np.where(share > 0.0, np.minimum(there, liquid), liquid)

    def _take_stock(self) -> None:
        self._acid_mol = self._acid_total()
        self._kg = self._start_kg + self._kg_per_g * self.mixed_g - self.evaporated_g / 1000.0

    def _acid_total(self) -> float:
        acid = self.recipe.protons * self.recipe.acid_mol_per_g * self.mixed_g
        # Carbon dioxide counts as one equivalent, as it does between pH 7.5 and 9.5.
        return acid + self._co2_mol - self.recipe.alkalinity_mol

    def _spread(self, step_s: float) -> None:
        if self.plume_g == 0.0:
            return
        swirled = self.time_s < self.swirled_until_s
        lag = self.bench.swirl_mixing_s if swirled else self.bench.mixing_s
        self._plume_age += step_s / lag
        moved = self.plume_g * -math.expm1(-step_s / lag)
        if self.plume_g - moved < 2e-5:
            moved = self.plume_g
        self.plume_g -= moved
        self.mixed_g += moved

    def _plume_fraction(self) -> float:
        if self.plume_g == 0.0:
            return 0.0
        first = self.bench.plume
        return first + max(0.6 - first, 0.0) * -math.expm1(-self._plume_age)

    def _chemistry(self, excess_mol: float) -> tuple[float, float]:
        """PH and log10 of metal activity over total, from the current slice."""
        centre, ph, share = self._slice
        scale, top, columns = self.table.columns
        u = math.asinh((excess_mol - centre) / scale)
        y = (u / top + 1.0) * 0.5 * (columns - 1)
        column = min(max(int(y), 0), columns - 2)
        rest = min(max(y - column, 0.0), 1.0)
        return (
            ph[column] + (ph[column + 1] - ph[column]) * rest,
            share[column] + (share[column + 1] - share[column]) * rest,
        )

    def _speed(self, lost: float) -> float:
        left = self.left(lost)
        if left <= 0.0:
            return 0.0
        dissolved = self.recipe.solid_mol * (1.0 - left)
        log_omega, ph = self._log_omega(dissolved)
        return dissolution_speed(self.bench, ph, log_omega)

    def _advanced(self, step_s: float) -> float:
        start = self.lost
        here = self._speed(start)
        reach = here * step_s
        if reach < _TINY_LENGTH:
            return start
        there = self._speed(start + reach)
        if there > 0.5 * here:
            return min(start + 0.5 * step_s * (here + there), self.sizes.largest)
        return self._implicit(start, step_s, reach, there)

    def _implicit(self, start: float, step_s: float, reach: float, there: float) -> float:
        """Root of gained = step * speed(start + gained), between 0 and `reach` (Illinois)."""
        low, high = 0.0, reach
        at_low, at_high = -reach, reach - step_s * there
        side = 0
        gained = high
        for _ in range(12):
            gained = low - at_low * (high - low) / (at_high - at_low)
            value = gained - step_s * self._speed(start + gained)
            if abs(value) < 1e-4 * reach + _TINY_LENGTH:
                break
            if value < 0.0:
                low, at_low = gained, value
                at_high = at_high * 0.5 if side == -1 else at_high
                side = -1
            else:
                high, at_high = gained, value
                at_low = at_low * 0.5 if side == 1 else at_low
                side = 1
        return start + gained

    def _log_omega(self, dissolved_mol: float) -> tuple[float, float]:
        """Saturation (log10) of the mixed liquid with some solid dissolved, and its pH."""
        ph, share = self._chemistry(self._acid_mol - 2.0 * dissolved_mol)
        metal = math.log10(max(dissolved_mol, 1e-12) / self._kg)
        return metal + share + 2.0 * ph - self._log_k, ph

    def _saturated_start(self) -> float:
        """Length lost when the suspension has saturated its water, before any titrant."""
        from scipy.optimize import brentq

        everything = self.recipe.solid_mol
        if self._log_omega(everything)[0] <= 0.0:
            raise InputError(
                f"All {self.bench.dose_mg:.1f} mg of the solid dissolve in this much water "
                "before any titrant; take more sample or less water."
            )
        dissolved = float(brentq(lambda mol: self._log_omega(mol)[0], 0.0, everything, xtol=1e-14))
        return self.sizes.lost_for(1.0 - dissolved / everything)
