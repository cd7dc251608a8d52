"""What is given for an assay: weighed, or read off labels."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from huehold.errors import UsageError
from huehold.methods.model import Basis
from huehold.stoichiometry.standardise import Standardisation
from huehold.stoichiometry.tolerances import AcceptanceRange
from huehold.stoichiometry.weighing import Balance

__all__ = ["Request"]

_TEXTS = ("claim", "tolerance", "country", "strength_basis", "reagent_strength_basis")


@dataclass(frozen=True)
class Request:
    """Everything that was given for one assay.

    Every mass may be a number of grams, text such as ``"5.22 g"`` or ``"5,22"``, or a pint
    quantity. What is None was not given.

    Attributes
    ----------
    sample_mass, titrant_mass : str, float or pint quantity
        Sample weighed, and titrant added when the end colour held.
    bracket_mass : str, float or pint quantity
        Mass of the last addition (also in drops, with `drop_mass`); 0.05 g if left out.
    strength : str, float or pint quantity
        Of the titrant, from its label: ``"5 %"``, ``"0.1 mol/L"``, ``"0.1 N"``.
    strength_basis : str
        Sense of a bare percentage: ``"per-100-mL"`` or ``"per-100-g"`` (or another basis).
    country : str
        Two letters; takes the sense of the label from that country's practice.
    standardisation : Standardisation
        In place of `strength`.
    density : str, float, pint quantity or Input
        Of the sample, in g/mL; see `huehold.stoichiometry.density.measured_density`.
    reagent_mass, reagent_strength, reagent_strength_basis
        Reagent added in excess, in a back titration.
    blank_mass
        Titrant that the same water and dye (or the same reagent) used without sample.
    tare_drift
        Reading of the empty balance at the end of the run.
    buoyancy : bool
        Correct both masses for the air's buoyancy.
    water_mass
        Water the sample was stirred into; sharpens the step from end colour to equivalence.
    end_ph : (float, float) or str
        pH read from the colour that held, with its standard uncertainty: ``"6.8 +/- 0.2"``.
    drop_mass : str, float, pint quantity or DropMass
        Of one calibrated drop.
    balance : Balance
        Readability 0.01 g if left out.
    claim : str
        Label claim: ``"1200 mg/15 mL"``.
    tolerance : str or AcceptanceRange
        ``"90-115 %"`` of the claim, or the name of a shipped range; the method's if left out.
    dose : str, float or pint quantity
        Portion to state the result for, or what a tablet weighs.

    Raises
    ------
    UsageError
        If what can only be text is something else.
    """

    sample_mass: object
    titrant_mass: object
    bracket_mass: object | None = None
    strength: object | None = None
    strength_basis: Basis | None = None
    country: str | None = None
    standardisation: Standardisation | None = None
    density: object | None = None
    reagent_mass: object | None = None
    reagent_strength: object | None = None
    reagent_strength_basis: Basis | None = None
    blank_mass: object | None = None
    tare_drift: object | None = None
    buoyancy: bool = False
    water_mass: object | None = None
    end_ph: object | None = None
    drop_mass: object | None = None
    balance: Balance = field(default_factory=Balance)
    claim: str | None = None
    tolerance: str | AcceptanceRange | None = None
    dose: object | None = None

    def __post_init__(self) -> None:
        for name in _TEXTS:
            value = getattr(self, name)
            if not isinstance(value, str | AcceptanceRange | None):
                raise UsageError(f"the {name.replace('_', ' ')} must be text, not {value!r}")

    def as_typed(self) -> dict[str, str]:
        """Return what was given, by name, as text."""
        given = {known.name: getattr(self, known.name) for known in fields(self)}
        return {
            name: str(getattr(value, "text", value))
            for name, value in given.items()
            if value is not None and value is not False
        }
