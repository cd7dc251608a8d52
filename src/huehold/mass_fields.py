"""What may be typed for the assay, for the options, the forms and the notebook alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

__all__ = ["BASES", "FIELDS", "Basis", "MassField"]

Basis = Literal["per-100-mL", "per-100-g", "mol/L", "mol/kg", "g/L", "N"]
BASES: tuple[Basis, ...] = get_args(Basis)
"""What the figure on a label may mean."""


@dataclass(frozen=True, slots=True)
class MassField:
    """Something that may be typed for the assay.

    Attributes
    ----------
    key : str
        Name in files and options.
    label : str
        What people read.
    example : str
        How it is typed.
    unit : str or None
        Unit assumed for a bare number; None if the text is read in another way.
    choices : tuple of str
        What it may be, if it is one of a few words.
    asked : {"always", "back", "never"}
        Whether a form asks for it: always, for back titrations, or left to those who know it.
    """

    key: str
    label: str
    example: str
    unit: str | None = None
    choices: tuple[str, ...] = ()
    asked: Literal["always", "back", "never"] = "always"


FIELDS: tuple[MassField, ...] = (
    MassField("sample_mass", "Sample mass", "5.22 g", "g"),
    MassField("titrant_mass", "Titrant mass at the endpoint", "16.56 g", "g"),
    MassField("bracket_mass", "Mass of the last addition", "0.05 g", "g"),
    MassField("drop_mass", "Mass of one calibrated drop", "0.048 g", "g", asked="never"),
    MassField("strength", "Titrant strength on the label", "5.0 %"),
    MassField("strength_basis", "What the label's figure means", "per-100-mL", choices=BASES),
    MassField("country", "Country whose sense of a label holds", "US", asked="never"),
    MassField("density", "Density of the sample", "1.044 g/mL", "g/mL"),
    MassField("reagent_mass", "Mass of the reagent in excess", "20.00 g", "g", asked="back"),
    MassField("reagent_strength", "Strength of that reagent", "0.5 mol/L", asked="back"),
    MassField("blank_mass", "Titrant mass of the blank", "0.05 g", "g"),
    MassField("water_mass", "Water added to the sample", "50 g", "g"),
    MassField("tare_drift", "Empty balance at the end", "0.01 g", asked="never"),
    MassField("end_ph", "pH of the colour that held", "6.8 +/- 0.2", asked="never"),
    MassField("claim", "Label claim", "1200 mg/15 mL"),
    MassField("tolerance", "Tolerance about the claim", "90-115 %"),
    MassField("dose", "Portion to state the result for", "15 mL"),
    MassField("readability", "Last digit of the balance", "0.01 g", "g"),
)
"""In the order they are asked for."""
