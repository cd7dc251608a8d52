"""Strength of the titrant against a weighed standard."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from huehold.calibration.model import Calibration, Value, plainly, remind_date
from huehold.errors import InputError
from huehold.methods.model import Method
from huehold.stoichiometry.propagate import propagate
from huehold.stoichiometry.standardise import Standardisation, from_standard
from huehold.stoichiometry.steps import evaluate
from huehold.stoichiometry.weighing import Balance

__all__ = ["REMIND_DAYS", "TitrantCalibration", "calibrate"]

REMIND_DAYS = 30


class TitrantCalibration(Calibration):
    """A standardised titrant: what was weighed, and the strength that follows in mol/kg.

    A run that uses it computes the strength anew from the masses, so that its working shows how.
    """

    kind: Literal["titrant"] = "titrant"
    titrant: str = ""
    standard: str = Field(min_length=1)
    standard_mass: str = Field(min_length=1)
    titrant_mass: str = Field(min_length=1)
    last_addition: str = "0.05 +/- 0 g"
    assay: str | None = None
    strength: Value

    def summary(self) -> str:
        """Say the strength."""
        return f"{self.titrant or 'the titrant'}: {self.strength.text()} ({self.strength.source})"

    def as_standardisation(self) -> Standardisation:
        """Return what `huehold.stoichiometry.assay.assay` takes as ``standardisation``."""
        return Standardisation(
            self.standard, self.standard_mass, self.titrant_mass, self.last_addition, self.assay
        )


@plainly
def calibrate(
    method: Method,
    given: Standardisation,
    *,
    name: str,
    made: date,
    balance: Balance | None = None,
    titrant: str = "",
) -> TitrantCalibration:
    """Compute the strength of a method's titrant from a standardisation.

    Parameters
    ----------
    method : Method
        Names the standards that suit its titrant.
    given : Standardisation
        What was weighed.
    name, made
        Of the calibration.
    balance : Balance, optional
        Readability 0.01 g if left out.
    titrant : str
        Which bottle.

    Raises
    ------
    InputError
        If a mass or the assay makes no sense.
    UsageError
        If the method has no such standard.
    """
    found = from_standard(method, given, balance or Balance())
    key = f"strength of {method.titrant.name}"
    budget = propagate(lambda values: evaluate(found.steps, values)[key], found.inputs)
    if not budget.value > 0.0:
        raise InputError(
            f"The strength comes out as {budget.value:.4g} mol/kg; were the masses of the standard "
            "and the titrant exchanged, or the last addition typed too large?"
        )
    return TitrantCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS), method=method.name,
        titrant=titrant or method.titrant.name, standard=given.standard,
        standard_mass=str(given.standard_mass), titrant_mass=str(given.titrant_mass),
        last_addition=str(given.last_addition),
        assay=None if given.assay is None else str(given.assay),
        strength=Value(
            value=budget.value, u=budget.u, unit="mol/kg",
            source=f"{given.standard_mass} of {given.standard} took {given.titrant_mass}",
        ),
    )  # fmt: skip
