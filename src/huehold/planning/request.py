"""What is known before a titration: the method, the balance, the dropper, the label, the cup."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, get_args

from huehold.errors import InputError, UsageError
from huehold.methods.model import Basis, Method
from huehold.stoichiometry.weighing import Balance

__all__ = ["PlanRequest", "WaterKind", "Weighing"]

WaterKind = Literal["tap", "distilled", "boiled"]
Weighing = Literal["cup", "bottle"]

_POSITIVE = ("drop_g", "squirt_g", "sample_g", "cup_ml", "dropper_g", "wanted_percent")
_NOT_NEGATIVE = ("water_g", "cup_g", "alkalinity_mmol_per_l")
_LARGEST = 1e5
_DROP_G = (0.005, 0.2)


@dataclass(frozen=True)
class PlanRequest:
    """Everything a plan is made from.

    Attributes
    ----------
    method : Method
    balance : Balance
        Readability, linearity and capacity.
    drop_g : float
        Mass of a drop, 0.005 to 0.2 g.
    squirt_g : float or None
        Mass of a squirt, more than a drop; eight drops if None.
    claim, dose : str or None
        Label claim such as ``"1200 mg/15 mL"``, and the portion (what a tablet weighs).
    strength, strength_basis, country : str or None
        Of the titrant, as for an assay: ``"5.0 +/- 0.1 %"``.
    density : str or None
        Of the sample, in g/mL.
    reagent_strength : str or None
        Of the reagent in excess, in a back titration.
    sample_g, water_g : float or None
        To plan with these instead of choosing them.
    water : str
        ``"tap"``, ``"distilled"`` or ``"boiled"``.
    alkalinity_mmol_per_l : float or None
        Of that water; by its kind if None.
    wanted_percent : float or None
        Largest relative expanded uncertainty (k = 2) that would do, in percent.
    cup_ml, cup_g : float
        What the cup holds, and what it weighs empty.
    dropper_g : float or None
        How much titrant the dropper or its bottle holds.
    weighing : str
        ``"cup"`` if the cup stands on the balance, ``"bottle"`` if the titrant's bottle is weighed.
    temperature_c : float
        Of everything, 5 to 40.

    Raises
    ------
    InputError
        If a number is not finite, negative, or out of its range.
    UsageError
        If a word is not one of the choices.
    """

    method: Method
    balance: Balance = field(default_factory=Balance)
    drop_g: float = 0.05
    squirt_g: float | None = None
    claim: str | None = None
    dose: str | None = None
    strength: str | None = None
    strength_basis: Basis | None = None
    country: str | None = None
    density: str | None = None
    reagent_strength: str | None = None
    sample_g: float | None = None
    water_g: float | None = None
    water: WaterKind = "tap"
    alkalinity_mmol_per_l: float | None = None
    wanted_percent: float | None = None
    cup_ml: float = 250.0
    cup_g: float = 0.0
    dropper_g: float | None = None
    weighing: Weighing = "cup"
    temperature_c: float = 22.0

    def __post_init__(self) -> None:
        for name in (*_POSITIVE, *_NOT_NEGATIVE, "temperature_c"):
            self._check(name)
        if not _DROP_G[0] <= self.drop_g <= _DROP_G[1]:
            raise InputError(
                f"A drop of {self.drop_g:g} g is not what a dropper gives (0.01 to 0.13 g); weigh "
                "20 drops and divide by 20."
            )
        if self.squirt < self.drop_g:
            raise InputError(
                f"A squirt of {self.squirt:g} g is less than a drop of {self.drop_g:g} g; "
                "exchange the two."
            )
        if not 5.0 <= self.temperature_c <= 40.0:
            raise InputError(f"The temperature is {self.temperature_c:g} C; it must be 5 to 40 C.")
        self._check_words()

    def _check(self, name: str) -> None:
        value = getattr(self, name)
        if value is None:
            return
        said = name.rpartition("_")[0].replace("_mmol_per", "").replace("_", " ")
        if not math.isfinite(value) or abs(value) > _LARGEST:
            raise InputError(
                f"The {said} is {value}; it must be a number people can weigh or pour."
            )
        if name in _POSITIVE and value <= 0.0:
            raise InputError(f"The {said} is {value:g}; it must be above zero.")
        if name in _NOT_NEGATIVE and value < 0.0:
            raise InputError(f"The {said} is {value:g}; it cannot be negative.")

    def _check_words(self) -> None:
        for said, kinds, given in (
            ("water", WaterKind, self.water),
            ("way of weighing", Weighing, self.weighing),
        ):
            if given not in get_args(kinds):
                known = ", ".join(get_args(kinds))
                raise UsageError(f"There is no {said} '{given}'; choose one of {known}.")

    @property
    def squirt(self) -> float:
        """Mass of a squirt, g."""
        return 8.0 * self.drop_g if self.squirt_g is None else self.squirt_g
