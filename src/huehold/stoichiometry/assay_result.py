"""The assay as it is handed on: a result with everything it stands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from huehold.methods.model import Method
from huehold.stoichiometry.budget import Budget, BudgetRow
from huehold.stoichiometry.decision import Decision
from huehold.stoichiometry.equivalence import Equivalence
from huehold.stoichiometry.montecarlo import Agreement, MonteCarlo
from huehold.stoichiometry.rounding import with_uncertainty
from huehold.stoichiometry.steps import Chain, Step, needed
from huehold.stoichiometry.tolerances import AcceptanceRange
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.working import Working, work_out
from huehold.stoichiometry.worksheet import Output

if TYPE_CHECKING:
    from huehold.stoichiometry.units import Quantity

__all__ = ["SCHEMA", "SEED", "Assay", "Result", "Settings"]

SCHEMA = "huehold.assay/1"
SEED = 20080101  # of Monte Carlo, so that a result can be repeated to the last digit


@dataclass(frozen=True, slots=True)
class Result:
    """One figure of an assay with its uncertainty.

    Attributes
    ----------
    key, label : str
        ``"content"``, ``"content_ww"``, ``"amount"``, ``"dose"`` or ``"percent_of_label"``, and
        what people call it.
    value, u, U : float
        Best estimate, standard and expanded uncertainty, unrounded, in `unit`.
    k, coverage : float
        Coverage factor and probability.
    unit, pint_unit : str
        As printed, and as pint reads it.
    """

    key: str
    label: str
    value: float
    u: float
    U: float
    k: float
    coverage: float
    unit: str
    pint_unit: str

    @property
    def text(self) -> str:
        """The result rounded once, with its expanded uncertainty."""
        return with_uncertainty(self.value, self.U, self.unit)

    @property
    def quantity(self) -> Quantity:
        """The value as a pint quantity."""
        from huehold.stoichiometry.units import quantity

        return quantity(self.value, self.pint_unit)


@dataclass(frozen=True, slots=True)
class Settings:
    """How the result is stated and decided on."""

    coverage: float = 0.95
    risk: float = 0.05
    trials: bool = True
    seed: int = SEED


@dataclass(frozen=True)
class Assay:
    """A result with everything it stands on.

    Attributes
    ----------
    method : Method
    given : mapping of str to str
        What was given, as typed.
    inputs : tuple of Input
        Every input with value, uncertainty and source.
    steps : tuple of Step
        The calculation.
    outputs : tuple of Output
    results : mapping of str to Result
        By key; ``results["content"]`` is the method's own way to state it.
    propagation : Budget
        Of the content, by the law of propagation.
    trials : MonteCarlo or None
    agreement : Agreement or None
        Whether the two agree.
    claim_text : str
        The label claim as typed; empty without one.
    limits : AcceptanceRange or None
        What the share of the claim is held against.
    conformity : Decision or None
    equivalence : Equivalence
    notes, warnings : tuple of str
        Sentences to read beside the result.
    """

    method: Method
    given: Mapping[str, str]
    inputs: tuple[Input, ...]
    steps: tuple[Step, ...]
    outputs: tuple[Output, ...]
    settings: Settings
    results: Mapping[str, Result]
    values: Mapping[str, float]
    propagation: Budget
    trials: MonteCarlo | None
    agreement: Agreement | None
    claim_text: str
    limits: AcceptanceRange | None
    conformity: Decision | None
    equivalence: Equivalence
    notes: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def content(self) -> Quantity:
        """Content in the method's unit."""
        return self.results["content"].quantity

    @property
    def amount(self) -> Quantity:
        """Amount of analyte in the sample."""
        return self.results["amount"].quantity

    @property
    def percent_of_label(self) -> float | None:
        """Share of the label claim in percent, or None without a claim."""
        found = self.results.get("percent_of_label")
        return found.value if found else None

    @property
    def budget(self) -> tuple[BudgetRow, ...]:
        """Rows of the content's budget."""
        return self.propagation.rows

    @property
    def main(self) -> Result:
        """The figure to show first: the dose if there is one, else the content."""
        return self.results.get("dose") or self.results["content"]

    @property
    def decision(self) -> str:
        """The decision against the label claim in words; empty without a claim."""
        if self.conformity is None:
            return ""
        return f"{self.conformity.sentence} {self.conformity.remedy}".strip()

    @property
    def summary(self) -> tuple[tuple[str, str], ...]:
        """Label and text of every result, the main one first."""
        ordered = sorted(self.results.values(), key=lambda r: r.key != self.main.key)
        name = self.method.sample.analyte_name
        lines = [(f"{name[:1].upper()}{name[1:]}, {ordered[0].label}", ordered[0].text)]
        lines += [(r.label[:1].upper() + r.label[1:], r.text) for r in ordered[1:]]
        lines.append(("Coverage", f"{100 * self.settings.coverage:g} %, k = {self.main.k:.3g}"))
        lines.append(("Equivalence", self.equivalence.text))
        if self.agreement is not None:
            lines.append(("Monte Carlo", self.agreement.text))
        return tuple(lines)

    @property
    def working(self) -> Working:
        """The working, as text, Markdown and HTML."""
        last = "percent_of_label" if "percent_of_label" in self.results else self.main.key
        steps = needed(self.steps, last)
        rounded = self.main.text
        if last != self.main.key:
            rounded += f", {self.results[last].text} of the label claim"
        return work_out(steps, self.values, _reactions_used(self), rounded)

    def to_json(self) -> dict[str, Any]:
        """Plain values: every input with its source, the steps, and what came out."""
        from huehold.stoichiometry.assay_file import to_plain

        return to_plain(self)

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> Assay:
        """Compute a result again from its own file.

        Parameters
        ----------
        data : mapping
            As `to_json` gives it. Only inputs, steps, limits and settings are used; what came
            out is computed anew.

        Raises
        ------
        InputError
            If it is not such a file.
        """
        from huehold.stoichiometry.assay_file import from_plain

        return from_plain(data)


def _reactions_used(assay: Assay) -> tuple[str, ...]:
    """Return the reactions whose species stand in the chains."""
    factors = [f for s in assay.steps if isinstance(s, Chain) for f in s.factors]
    terms = [t for f in factors for t in (f.over, f.under) if t and t.unit == "mol"]
    species = {term.of for term in terms}
    return tuple(
        r.text for r in assay.method.parsed_reactions if len(species & r.coefficients.keys()) >= 2
    )
