"""What stands on the virtual bench: sample, water, titrant, dye, kinetics and seed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from huehold.errors import InputError
from huehold.virtual.checks import demand_finite
from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics

__all__ = ["Bench", "brisk_bench", "kitchen_bench"]


@dataclass(frozen=True, slots=True)
class Bench:
    """A sample and everything it meets, one value each.

    Mass of a drop (0.045 to 0.055 g for water, USP 32 <1101>), strength, density and constants
    have sources (docs/virtual_bench.md). Scatter of drops, squirts, mixing times and plume are
    invented; the pace of dissolution is set to the trade's observation: common practice, no source.

    Attributes
    ----------
    sample_g : float
        Mass of suspension taken, > 0.
    content_mg_per_ml : float
        Active solid in the suspension, > 0.
    density_g_per_ml : float
        Density of the suspension, > 0.
    solid : str
        Its solid, a hydroxide from the data file (``"brucite"``, ``"portlandite"``).
    water_g : float
        Water the sample is put into, >= 0.
    temperature_c : float
        Of everything, 0 to 60.
    alkalinity_mmol_per_kg : float
        Of the water, as from hydrogen carbonate in balance with its pH, >= 0.
    water_ph : float
        pH of that water, 5 to 10; sets its dissolved carbonate.
    acid : str
        Acid of the titrant, from the data file.
    acid_mol_per_kg : float
        Its strength in moles of acid per kilogram of titrant, > 0.
    drop_g, drop_sd_g : float
        Mass of a drop and its scatter from drop to drop, > 0 and >= 0.
    squirt_g, squirt_sd_g : float
        The same for a squirt.
    dyes : mapping of str to float
        Doses at the start (absorbance per cm), see `LiquidOptics`.
    dye_lot : float
        Factor on all doses, > 0.
    dye_fade_per_min : float
        First-order loss of the dyes, >= 0.
    depth_mm : float
        Depth of the liquid at the start, > 0.
    dissolution_s : float
        Time in which a particle of median radius would dissolve at pH 7 far from saturation;
        the trade's pace is about 300 to 600 s, tests take 20 to 60 s.
    acid_boost : float
        How much faster than the plain part hydrogen ions make it: the factor before the root of
        their activity (3200 in the published law of brucite).
    size_sd : float
        Standard deviation of the logarithm of the radius, by mass; 0 is all alike.
    mixing_s : float
        Time constant with which a portion spreads through the resting liquid, > 0.
    swirl_mixing_s : float
        The same while it is swirled.
    plume : float
        Share of the surface a drop takes at once, 0 to 1.
    co2_uptake_mmol_per_min : float
        Carbon dioxide taken from the air, >= 0.
    evaporation_g_per_min : float
        Water lost, >= 0.
    seed : int
        Of everything random in the run, >= 0.
    """

    sample_g: float = 5.22
    content_mg_per_ml: float = 80.0
    density_g_per_ml: float = 1.0444
    solid: str = "brucite"
    water_g: float = 100.0
    temperature_c: float = 22.0
    alkalinity_mmol_per_kg: float = 0.5
    water_ph: float = 7.8
    acid: str = "acetic"
    acid_mol_per_kg: float = 0.8283
    drop_g: float = 0.048
    drop_sd_g: float = 0.003
    squirt_g: float = 0.42
    squirt_sd_g: float = 0.06
    dyes: Mapping[str, float] = field(default_factory=lambda: dict(KITCHEN_DYES))
    dye_lot: float = 1.0
    dye_fade_per_min: float = 0.0
    depth_mm: float = 25.0
    dissolution_s: float = 550.0
    acid_boost: float = 3200.0
    size_sd: float = 0.2
    mixing_s: float = 1.6
    swirl_mixing_s: float = 0.5
    plume: float = 0.06
    co2_uptake_mmol_per_min: float = 0.0
    evaporation_g_per_min: float = 0.0
    seed: int = 0

    def __post_init__(self) -> None:
        demand_finite("bench", self)
        for name in _POSITIVE:
            self._demand(name, getattr(self, name) > 0.0, "must be greater than 0")
        for name in _NOT_NEGATIVE:
            self._demand(name, getattr(self, name) >= 0.0, "cannot be negative")
        self._demand("temperature_c", 0.0 <= self.temperature_c <= 60.0, "must be 0 to 60")
        self._demand("water_ph", 5.0 <= self.water_ph <= 10.0, "must be 5 to 10")
        self._demand(
            "acid_mol_per_kg", self.acid_mol_per_kg <= _STRONGEST, f"cannot be over {_STRONGEST}"
        )
        self._demand("plume", 0.0 <= self.plume <= 1.0, "must be 0 to 1")
        share = self.content_mg_per_ml / 1000.0 / self.density_g_per_ml
        self._demand("content_mg_per_ml", share < 1.0, "is more than the suspension weighs")

    def _demand(self, name: str, holds: bool, rule: str) -> None:
        if not holds:
            raise InputError(f"The bench's {name} is {getattr(self, name)}; it {rule}.")

    @property
    def dose_mg(self) -> float:
        """Active solid in the sample, mg."""
        return self.sample_g / self.density_g_per_ml * self.content_mg_per_ml

    @property
    def sample_water_g(self) -> float:
        """Water that came with the suspension, g."""
        return self.sample_g - self.dose_mg / 1000.0

    @property
    def dye_doses(self) -> dict[str, float]:
        """Doses with the lot's factor."""
        return {name: dose * self.dye_lot for name, dose in self.dyes.items()}

    def optics(self, illuminant: str = "D65", *, precipitation: bool = False) -> LiquidOptics:
        """Set up the optics of its liquid under a light."""
        return LiquidOptics(self.dye_doses, self.depth_mm, illuminant, precipitation=precipitation)

    def plain(self) -> dict[str, Any]:
        """All settings as plain values."""
        values = {part.name: getattr(self, part.name) for part in fields(self)}
        values["dyes"] = dict(self.dyes)
        return values


_STRONGEST = 20.0  # mol/kg; acetic acid without any water has 16.7
_POSITIVE = (
    "sample_g",
    "content_mg_per_ml",
    "density_g_per_ml",
    "acid_mol_per_kg",
    "drop_g",
    "squirt_g",
    "dye_lot",
    "depth_mm",
    "dissolution_s",
    "mixing_s",
    "swirl_mixing_s",
)
_NOT_NEGATIVE = (
    "water_g",
    "alkalinity_mmol_per_kg",
    "drop_sd_g",
    "squirt_sd_g",
    "dye_fade_per_min",
    "acid_boost",
    "size_sd",
    "co2_uptake_mmol_per_min",
    "evaporation_g_per_min",
    "seed",
)


def kitchen_bench(seed: int = 0) -> Bench:
    """Set out a 5 mL dose in a cup of tap water: about a quarter of an hour."""
    return Bench(seed=seed)


def brisk_bench(seed: int = 0) -> Bench:
    """Set out a seventh of that dose with quick particles: one to two minutes, for tests."""
    return Bench(
        sample_g=0.80,
        water_g=100.0,
        alkalinity_mmol_per_kg=0.5,
        squirt_g=0.5,
        dissolution_s=45.0,
        mixing_s=0.7,
        swirl_mixing_s=0.35,
        seed=seed,
    )
