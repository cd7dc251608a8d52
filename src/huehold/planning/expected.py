"""The assay's own calculation turned round: which masses a content would give.

The steps that turn masses into a result are evaluated with a trial mass, and the trial is
corrected until the result is the content planned for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from huehold.errors import InputError
from huehold.planning.request import PlanRequest
from huehold.stoichiometry.claim import Claim, parse_claim, portion_of
from huehold.stoichiometry.reactions import mole_ratio
from huehold.stoichiometry.request import Request
from huehold.stoichiometry.scheme import build
from huehold.stoichiometry.steps import evaluate
from huehold.stoichiometry.tolerances import acceptance_range
from huehold.stoichiometry.weighing import Balance

__all__ = ["Expected", "Target", "target_of"]

_ROUNDS = 200
_CLOSE = 1e-11
_SPARE_REAGENT = 1.2
_REAGENT_STEP_G = 0.5
_NO_LIMIT_G = 1e6
_FINE_G = 1e-6


@dataclass(frozen=True, slots=True)
class Target:
    """The content a plan is made for.

    Attributes
    ----------
    claim : Claim or None
        The label claim; without one, `content` counts.
    content : float
        In the method's unit: the geometric middle of what is usual.
    low, high : float
        What may come instead, as shares of the target.
    """

    claim: Claim | None
    content: float
    low: float
    high: float


def target_of(request: PlanRequest) -> Target:
    """Read what content to plan for.

    Raises
    ------
    InputError
        If the claim or the dose cannot be read.
    """
    method = request.method
    low, high = method.result.expected
    middle = (max(low, 1e-6 * high) * high) ** 0.5
    if request.claim is None:
        return Target(None, middle, low / middle, high / middle)
    claim = parse_claim(request.claim, method, request.dose)
    limits = (90.0, 110.0)
    if method.dose is not None and method.dose.acceptance is not None:
        named = acceptance_range(method.dose.acceptance)
        if named.of == "label":
            limits = (named.low, named.high)
    return Target(claim, middle, limits[0] / 100.0, limits[1] / 100.0)


@dataclass(frozen=True)
class Expected:
    """Masses that belong together if the sample holds a share of the target.

    Parameters
    ----------
    request : PlanRequest
    target : Target
    sample_g, water_g : float
        Sample, and water it is put into.
    blank_g : float or None
        Reading of the blank; None if none is planned.
    reagent_g : float or None
        Reagent in excess, in a back titration.
    share : float
        What the sample holds, as a share of the target.
    """

    request: PlanRequest
    target: Target
    sample_g: float
    water_g: float
    blank_g: float | None = None
    reagent_g: float | None = None
    share: float = 1.0

    @cached_property
    def _solved(self) -> tuple[float, Mapping[str, float], str]:
        """Titrant reading, values of all steps, and the key of the equivalence."""
        least = (self.blank_g or 0.0) + self.request.drop_g
        titrant = least + 0.5 * self.request.drop_g
        for _ in range(_ROUNDS):
            values, key = self._evaluate(titrant)
            change = self._change(values, key)
            if abs(change) <= _CLOSE * titrant:
                return float(titrant), values, key
            titrant += change
            if titrant < least:
                break
        raise InputError(
            f"{self.sample_g:g} g of {self.request.method.sample.name} takes less than a drop "
            f"({self.request.drop_g:g} g) of {self.request.method.titrant.name}; take more sample, "
            "or dilute the titrant."
        )

    def _evaluate(self, titrant_g: float) -> tuple[dict[str, Any], str]:
        method = self.request.method
        portion = portion_of(method, self.request.dose)
        # Trial masses may be less than a real balance can read.
        fine = Balance(_FINE_G, 0.0, _NO_LIMIT_G)
        given = Request(**{**self.arguments(titrant_g), "balance": fine})
        sheet, equivalence = build(method, given, portion, self.target.claim)
        values = evaluate(sheet.steps, {i.name: i.value for i in sheet.inputs.values()})
        return values, equivalence.key

    def arguments(self, titrant_g: float) -> dict[str, Any]:
        """Arguments of an assay, those that stand for masses and labels."""
        request = self.request
        given = {
            "sample_mass": self.sample_g,
            "titrant_mass": titrant_g,
            "bracket_mass": request.drop_g,
            "strength": request.strength,
            "strength_basis": request.strength_basis,
            "country": request.country,
            "density": request.density,
            "blank_mass": self.blank_g,
            "water_mass": self.water_g or None,
            "reagent_mass": self.reagent_g,
            "reagent_strength": request.reagent_strength,
            # What is too much for the balance is the plan's matter: tare, refill, weigh the bottle.
            "balance": replace(request.balance, capacity_g=_NO_LIMIT_G),
        }
        return {name: value for name, value in given.items() if value is not None}

    def _change(self, values: Mapping[str, float], key: str) -> float:
        """How much more titrant the target would take, g."""
        if self.target.claim is not None:
            factor = 100.0 * self.share / values["percent_of_label"]
        else:
            factor = self.target.content * self.share / values["content"]
        if self.request.method.kind == "direct":
            return values[key] * (factor - 1.0)
        left = values[f"{self.request.method.sample.analyte} for what was left"]
        used = values["amount"] / 1000.0
        return values[key] * used * (1.0 - factor) / left

    @property
    def titrant_g(self) -> float:
        """What the balance should show when the end colour holds, g."""
        return self._solved[0]

    @property
    def equivalence_g(self) -> float:
        """Titrant that reacts with the sample alone (with what is left of a reagent), g."""
        return float(self._solved[1][self._solved[2]])

    @property
    def amount_mmol(self) -> float:
        """Analyte in the sample, mmol."""
        return float(self._solved[1]["amount"])

    @property
    def content(self) -> float:
        """Content in the method's unit."""
        return float(self._solved[1]["content"])

    @property
    def density_g_per_ml(self) -> float | None:
        """Density of the sample as the calculation takes it, None if it does not need one."""
        density = self._solved[1].get("density of the sample")
        return None if density is None else float(density)

    @property
    def titrant_mol_per_g(self) -> float:
        """Strength of the titrant in moles of what reacts in it per gram."""
        method, values = self.request.method, self._solved[1]
        meets = values["amount"] / 1000.0
        if method.kind == "back":
            meets = values[f"{method.sample.analyte} for what was left"]
        ratio = mole_ratio(method.parsed_reactions, method.titrant.path)
        return float(meets / ratio / self.equivalence_g)

    @property
    def reagent_mol(self) -> float:
        """Moles of the reagent added in excess; 0 in a direct titration."""
        method = self.request.method
        if method.reagent is None:
            return 0.0
        meets = self._solved[1][f"{method.sample.analyte} that all {method.reagent.name} would use"]
        return float(meets / mole_ratio(method.parsed_reactions, method.reagent.path))

    def enough_reagent_g(self) -> float | None:
        """Reagent that leaves a good rest even if the sample holds the most it may.

        Returns
        -------
        float or None
            Rounded up to half a gram; None in a direct titration.
        """
        method = self.request.method
        if method.reagent is None:
            return None
        trial = Expected(self.request, self.target, self.sample_g, self.water_g, None, 10.0)
        values, _ = trial._evaluate(2.0 * self.request.drop_g)
        per_g = values[f"{method.sample.analyte} that all {method.reagent.name} would use"] / 10.0
        wanted = trial._wanted_mol(values) * self.target.high * _SPARE_REAGENT
        steps = -(-wanted / per_g // _REAGENT_STEP_G)
        return float(steps * _REAGENT_STEP_G)

    def _wanted_mol(self, values: Mapping[str, float]) -> float:
        """Analyte in the sample at the target, mol; the content is proportional to it."""
        amount = values["amount"] / 1000.0
        if self.target.claim is not None:
            return amount * 100.0 * self.share / values["percent_of_label"]
        return amount * self.target.content * self.share / values["content"]
