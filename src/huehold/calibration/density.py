"""Density of the sample, from a marked cup or cylinder, or against water to the same mark."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Literal

from huehold.calibration.model import Calibration, Value, plainly, remind_date
from huehold.errors import InputError
from huehold.stoichiometry.density import density_input, measured_density, water_density
from huehold.stoichiometry.quantities import positive, read
from huehold.stoichiometry.uncertain import Input

__all__ = ["REMIND_DAYS", "DensityCalibration", "against_water", "by_volume"]

REMIND_DAYS = 60
_FILL_REL = 0.003  # filling a cup to its mark by eye, where a single fill shows no scatter


class DensityCalibration(Calibration):
    """Density of a sample; ``sample`` says of which bottle."""

    kind: Literal["density"] = "density"
    density: Value
    sample: str = ""

    def summary(self) -> str:
        """Say the density."""
        return f"{self.sample or 'the sample'}: {self.density.text()} ({self.density.source})"

    def as_input(self) -> Input:
        """Return what `huehold.stoichiometry.assay.assay` takes as ``density``."""
        source = f"calibration {self.ref}: {self.density.source}"
        dof = math.inf if self.density.dof is None else self.density.dof
        return Input.normal(
            "density of the sample", self.density.value, self.density.u, "g/mL", dof, source
        )


def by_volume(
    mass: object, volume: object, *, graduation: object = "1 mL", readability_g: float = 0.01,
    name: str, made: date, sample: str = "", method: str = "",
) -> DensityCalibration:  # fmt: skip
    """Density from the mass of a volume read at its mark.

    Parameters
    ----------
    mass, volume, graduation, readability_g
        As in `huehold.stoichiometry.density.measured_density`.
    name, made, sample, method
        Of the calibration.

    Raises
    ------
    InputError
        If a number makes no sense.
    """
    step = read(graduation, "mL", "the distance of two marks")
    positive(step, "the distance of two marks", "give it in millilitres, such as 0.5")
    found = measured_density(mass, volume, graduation=graduation, readability_g=readability_g)
    return _calibration(found.value, found.u, None, found.source, name, made, sample, method)


def against_water(
    masses_g: Sequence[float], water_masses_g: Sequence[float], *, celsius: float = 20.0,
    readability_g: float = 0.01, name: str, made: date, sample: str = "", method: str = "",
) -> DensityCalibration:  # fmt: skip
    """Density from what the sample and water weigh in the same cup, filled to the same mark.

    Parameters
    ----------
    masses_g, water_masses_g : sequence of float
        Net masses of one or more fills each.
    celsius : float
        Temperature of the water, 0 to 40.
    readability_g : float
        Of the balance.
    name, made, sample, method
        Of the calibration.

    Raises
    ------
    InputError
        If a number makes no sense.
    """
    if not 0.0 <= celsius <= 40.0:
        raise InputError(f"Water of {celsius:g} C is not expected here; give 0 to 40.")
    sample_g, u_sample = _fills(masses_g, "sample", readability_g)
    water_g, u_water = _fills(water_masses_g, "water", readability_g)
    water = float(water_density(celsius))
    value = sample_g / water_g * water
    u = value * math.hypot(u_sample, u_water)
    density_input(f"{value!r} +/- {u!r} g/mL", "density of the sample")  # refuses what cannot be
    fills = "1 fill" if len(masses_g) == 1 else f"{len(masses_g)} fills"
    source = (
        f"{fills} of {sample_g:.4g} g against {len(water_masses_g)} of water, "
        f"{water_g:.4g} g at {celsius:g} C"
    )
    fewest = min(len(masses_g), len(water_masses_g))
    dof = float(fewest - 1) if fewest > 1 else None
    return _calibration(value, u, dof, source, name, made, sample, method)


def _fills(masses_g: Sequence[float], what: str, readability_g: float) -> tuple[float, float]:
    """Mean of the fills and its relative standard uncertainty."""
    if not masses_g:
        raise InputError(f"No mass of the {what} was given; fill the cup to its mark and weigh it.")
    for mass in masses_g:
        positive(read(mass, "g", f"the mass of the {what}"), f"the mass of the {what}", "tare?")
    n = len(masses_g)
    mean = math.fsum(masses_g) / n
    scatter = math.sqrt(sum((m - mean) ** 2 for m in masses_g) / (n - 1)) if n > 1 else 0.0
    fill = max(scatter, _FILL_REL * mean if n < 3 else 0.0)
    return mean, math.hypot(readability_g / math.sqrt(6.0), fill) / math.sqrt(n) / mean


@plainly
def _calibration(
    value: float, u: float, dof: float | None, source: str, name: str, made: date, sample: str,
    method: str,
) -> DensityCalibration:  # fmt: skip
    return DensityCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS), method=method,
        density=Value(value=value, u=u, unit="g/mL", source=source, dof=dof), sample=sample,
    )  # fmt: skip
