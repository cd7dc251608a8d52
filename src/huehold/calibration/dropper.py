"""The dropper: mass of one drop, and how much drops differ, from weighings of counted drops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from pydantic import Field

from huehold.calibration.model import Calibration, Value, plainly, remind_date
from huehold.errors import InputError
from huehold.stoichiometry.dropper import DropMass, calibrate_dropper

__all__ = ["REMIND_DAYS", "DropperCalibration", "Weighing", "calibrate"]

REMIND_DAYS = 180
_MOST_OFF = 0.15  # USP 32, chapter 1101: a calibrated dropper errs by 15 % at most


@dataclass(frozen=True, slots=True)
class Weighing:
    """Mass in grams of a counted number of drops."""

    drops: int
    mass_g: float


class DropperCalibration(Calibration):
    """A calibrated dropper.

    ``drop_mass`` is the mean with its standard uncertainty; ``scatter_g`` the standard deviation
    of the mean drop between weighings; ``of_water`` whether the drops were of water, which drips
    in slightly other drops than vinegar.
    """

    kind: Literal["dropper"] = "dropper"
    drop_mass: Value
    scatter_g: float | None = Field(default=None, ge=0)
    weighings: int = Field(ge=1)
    liquid: str = ""

    def summary(self) -> str:
        """Say the mass of a drop."""
        return f"one drop weighs {self.drop_mass.text()} ({self.drop_mass.source})"

    def as_drop_mass(self) -> DropMass:
        """Return what `huehold.stoichiometry.assay.assay` takes as ``drop_mass``."""
        return DropMass(self.drop_mass.value, self.drop_mass.u, f"calibration {self.ref}")


@plainly
def calibrate(
    weighings: Sequence[Weighing],
    *,
    name: str,
    made: date,
    readability_g: float = 0.01,
    liquid: str = "",
) -> DropperCalibration:
    """Calibrate a dropper from one or more weighings.

    Parameters
    ----------
    weighings : sequence of Weighing
        They may differ in the number of drops; each counts by it.
    name : str
        Of the calibration.
    made : date
        When it was measured.
    readability_g : float
        Of the balance, > 0.
    liquid : str
        What was dripped.

    Raises
    ------
    InputError
        If a count or mass makes no sense, or the weighings contradict each other.
    """
    for one in weighings:
        calibrate_dropper([one.mass_g], one.drops, readability_g=readability_g)
    if not weighings:
        raise InputError("No weighing was given; weigh at least 10 drops, such as 20:0.95.")
    mean, u, scatter = _mean(weighings, readability_g)
    _check_agreement(weighings, mean, readability_g)
    counted = sum(w.drops for w in weighings)
    many = "1 weighing" if len(weighings) == 1 else f"{len(weighings)} weighings"
    source = f"{many}, {counted} drops in all"
    dof = float(len(weighings) - 1) if len(weighings) > 1 else None
    return DropperCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS),
        drop_mass=Value(value=mean, u=u, unit="g", source=source, dof=dof),
        scatter_g=scatter, weighings=len(weighings), liquid=liquid,
    )  # fmt: skip


def _mean(weighings: Sequence[Weighing], readability_g: float) -> tuple[float, float, float | None]:
    """Mean drop, its standard uncertainty, and the scatter of one drop's mean between weighings.

    Total mass over total count; the scatter is that of the weighings about it, each weighted by
    its count (JCGM 100, 4.2, for equal counts).
    """
    counted = sum(w.drops for w in weighings)
    mean = sum(w.mass_g for w in weighings) / counted
    n = len(weighings)
    u_reading = readability_g / math.sqrt(6.0) * math.sqrt(n) / counted
    if n < 2:
        return mean, u_reading, None
    squares = sum(w.drops * (w.mass_g / w.drops - mean) ** 2 for w in weighings)
    u_scatter = math.sqrt(squares / (n - 1) / counted)
    return mean, math.hypot(u_reading, u_scatter), u_scatter * math.sqrt(n)


def _check_agreement(weighings: Sequence[Weighing], mean: float, readability_g: float) -> None:
    for one in weighings:
        off = abs(one.mass_g - one.drops * mean)
        if off > max(_MOST_OFF * one.drops * mean, 2.0 * readability_g):
            raise InputError(
                f"{one.mass_g:g} g for {one.drops} drops makes {one.mass_g / one.drops:.4f} g a "
                f"drop, far from the mean of {mean:.4f} g; was it miscounted? Weigh again."
            )
