"""What a method file may say: one titration as data, checked when it is read.

Every table of the file is a model here; a key that is not listed is an error. The same
models are what the rest of the program reads, so they are frozen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Literal, ParamSpec, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from huehold.errors import InputError, UsageError
from huehold.mass_fields import Basis
from huehold.stoichiometry.formulae import parse_formula
from huehold.stoichiometry.reactions import Reaction, mole_ratio, parse_reaction
from huehold.stoichiometry.tolerances import acceptance_range

__all__ = [
    "CAUTIONS",
    "Basis",
    "Colour",
    "Dose",
    "Endpoint",
    "Equilibrium",
    "Indicator",
    "Measured",
    "Method",
    "Portion",
    "Result",
    "Sample",
    "Solution",
    "Standard",
    "Strength",
]

Kind = Literal["direct", "back"]
ResultUnit = Literal["mg/mL", "g/100 mL", "mg/100 mL", "g/L", "mg/L", "mmol/L", "mg/g", "%"]
Angle = Annotated[float, Field(ge=0, le=360)]
Text = Annotated[str, Field(min_length=1)]
P = ParamSpec("P")
R = TypeVar("R")


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Measured(_Table):
    """A value with its standard uncertainty and where it is from."""

    value: float
    u: float = Field(ge=0)
    source: Text


class Colour(_Table):
    """A colour of the indicator, in words and as a band of CIELAB hue angles.

    ``hue_deg`` is [low, high] in degrees; low > high means the band runs through 0. Left out,
    the colour is colourless: it has no hue to follow, and only a low chroma tells it.
    """

    name: Text
    hue_deg: tuple[Angle, Angle] | None = None

    @property
    def colourless(self) -> bool:
        """Whether the colour is colourless, so that it has no hue."""
        return self.hue_deg is None


class Equilibrium(_Table):
    """How the pH at which the colour turns is related to too much or too little titrant.

    ``acid-titrant``: a base is titrated with the weak acid of these pKa.
    ``acid-analyte``: an acid of these pKa is titrated with a strong base.
    ``other_g`` is between what the water and sample in the vessel usually weigh, in grams.
    """

    kind: Literal["acid-titrant", "acid-analyte"]
    pka: tuple[float, ...] = Field(min_length=1, max_length=9)
    cation_charge: Literal[1, 2] = 1
    complex_log_k: float | None = None
    other_g: tuple[float, float] = (10.0, 100.0)
    source: Text

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.kind == "acid-titrant" and len(self.pka) != 1:
            raise ValueError("an acid-titrant has one pka; name the one of the proton that reacts")
        low, high = self.other_g
        if not 0 < low < high:
            raise ValueError("other_g must be [low, high] in grams with 0 < low < high")
        return self


class Indicator(_Table):
    """The indicator: its two colours and the pH at which the end colour is called."""

    name: Text
    start: Colour
    end: Colour
    turning_ph: tuple[float, float] | None = None
    end_ph: Measured | None = None
    equilibrium: Equilibrium | None = None
    note: str = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.start.colourless and self.end.colourless:
            raise ValueError("start and end cannot both be colourless; give one a hue_deg")
        if self.equilibrium is not None and self.end_ph is None:
            raise ValueError("an equilibrium needs end_ph, the pH at which the end is called")
        if self.turning_ph is not None and self.turning_ph[0] >= self.turning_ph[1]:
            raise ValueError("turning_ph must be [low, high] with low below high")
        return self

    def hue_bands(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return the hue bands of start and end colour, for who follows the hue.

        Raises
        ------
        UsageError
            If one of them is colourless, so that there is no hue to follow.
        """
        if self.start.hue_deg is None or self.end.hue_deg is None:
            side, colour = ("start", self.start) if self.start.colourless else ("end", self.end)
            raise UsageError(
                f"the {side} colour of {self.name} is {colour.name}: it has no hue a camera could "
                "follow; watch the endpoint by eye and use 'huehold compute' for the result"
            )
        return self.start.hue_deg, self.end.hue_deg


CAUTIONS: tuple[str, ...] = (
    "Wear eye protection and keep acids and bases off skin and out of reach of children.",
    "Do not drink or taste anything that was titrated; discard it and wash the cups well.",
    "This is a kitchen measurement: do not use it for dosing or for any medical decision.",
    "Follow local codes, and leave work that needs a licence to licensed practice.",
)
"""They hold for every titration and stand wherever a result does."""


class Endpoint(_Table):
    """When the end colour counts."""

    direction: Literal["base-to-acid", "acid-to-base", "redox", "complex"]
    hold_s: float = Field(gt=0, le=600)
    clearing: bool
    max_blind_s: float = Field(gt=0)


class Sample(_Table):
    """What is titrated and what is sought in it."""

    name: Text
    analyte: Text
    analyte_name: Text
    state: Literal["liquid", "solid"] = "liquid"
    density_g_per_ml: Measured | None = None
    solid_density_g_per_ml: float | None = Field(default=None, gt=0)


class Strength(_Table):
    """The usual strength of a solution; outside [low, high] a typed figure is refused."""

    basis: Basis
    low: float = Field(gt=0)
    high: float = Field(gt=0)
    typical: float = Field(gt=0)
    note: str = ""


class Solution(_Table):
    """A titrant, or the reagent added in known excess in a back titration.

    What it is, the species in it that reacts, and the way from that to the analyte.
    """

    name: Text
    species: Text
    path: tuple[Text, ...] = Field(min_length=2)
    equivalents: float = Field(default=1, gt=0)
    density: Literal["acetic-acid"] | Measured
    strength: Strength


class Standard(_Table):
    """A weighed substance against which the titrant can be standardised."""

    name: Text
    formula: Text
    path: tuple[Text, ...] = Field(min_length=2)
    assay_percent: Measured
    note: str = ""


class Portion(_Table):
    """How many of one species stand for one of the analyte when a result is expressed as it."""

    formula: Text
    per_analyte: float = Field(default=1, gt=0)


class Result(_Table):
    """How the content is stated, what is usual, and what cannot be."""

    unit: ResultUnit
    expressed_as: Portion | None = None
    expected: tuple[float, float]
    possible_max: float = Field(gt=0)

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        low, high = self.expected
        if not 0 <= low < high <= self.possible_max:
            raise ValueError("expected must be [low, high] with 0 <= low < high <= possible_max")
        return self


class Dose(_Table):
    """The portion a label speaks of, and the shipped acceptance range that fits the product."""

    name: Text
    amount: Text | None = None
    unit: Literal["mg", "g"] = "mg"
    acceptance: str | None = None

    @field_validator("acceptance")
    @classmethod
    def _known(cls, name: str | None) -> str | None:
        if name is not None:
            _as_value_error(acceptance_range, name)
        return name


class Method(_Table):
    """One titration as data.

    Attributes
    ----------
    name : str
        Short name, lower case with hyphens; what ``--method`` takes.
    kind : {"direct", "back"}
        Whether the titrant meets the analyte or the rest of a reagent added in excess.
    indicator, endpoint : Indicator, Endpoint
        What the camera's part of the program reads.
    """

    schema_: Literal["huehold.method/1"] = Field(alias="schema")
    name: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")
    title: Text
    summary: Text
    kind: Kind = "direct"
    reactions: tuple[Text, ...] = Field(min_length=1)
    sample: Sample
    titrant: Solution
    reagent: Solution | None = None
    standards: tuple[Standard, ...] = ()
    indicator: Indicator
    endpoint: Endpoint
    result: Result
    dose: Dose | None = None
    procedure: tuple[Text, ...] = Field(min_length=1)
    interferences: tuple[Text, ...] = Field(min_length=1)
    cautions: tuple[Text, ...] = Field(min_length=1)
    sources: tuple[Text, ...] = Field(min_length=1)

    @field_validator("reactions")
    @classmethod
    def _balanced(cls, texts: tuple[str, ...]) -> tuple[str, ...]:
        for text in texts:
            _as_value_error(parse_reaction, text)
        return texts

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.kind == "back") != (self.reagent is not None):
            raise ValueError("a back titration needs a [reagent], a direct one must not have it")
        _as_value_error(parse_formula, self.sample.analyte)
        for standard in self.standards:
            _as_value_error(parse_formula, standard.formula)
            self._check_path(standard.name, standard.path, standard.formula, self.titrant.species)
        carriers = [self.titrant]
        if self.reagent is not None:
            carriers.append(self.reagent)
        for carrier in carriers:
            self._check_path(carrier.name, carrier.path, carrier.species, self.sample.analyte)
        return self

    def _check_path(self, owner: str, path: tuple[str, ...], first: str, last: str) -> None:
        if path[0] != first or path[-1] != last:
            raise ValueError(
                f"the path of {owner} must run from {first} to {last}, not from {path[0]} "
                f"to {path[-1]}"
            )
        ratio = _as_value_error(mole_ratio, self.parsed_reactions, path)
        if not math.isfinite(ratio):
            raise ValueError(f"the path of {owner} has no finite mole ratio")

    @property
    def all_cautions(self) -> tuple[str, ...]:
        """Those of every titration, then the method's own."""
        return (*CAUTIONS, *self.cautions)

    @property
    def parsed_reactions(self) -> tuple[Reaction, ...]:
        """The reactions, read and balanced."""
        return tuple(parse_reaction(text) for text in self.reactions)

    @property
    def expressed_as(self) -> Portion:
        """The species the result is expressed as; the analyte itself unless stated."""
        return self.result.expressed_as or Portion(formula=self.sample.analyte)


def _as_value_error(call: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
    # pydantic gathers ValueError with the place in the file, InputError would pass through it
    try:
        return call(*args, **kwargs)
    except InputError as error:
        raise ValueError(str(error)) from error
