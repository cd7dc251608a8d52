"""From masses to a result that stands up: the assay.

`assay` reads what was given, builds the steps, evaluates them, and adds what an analyst asks
for: a budget by the law of propagation, Monte Carlo beside it, expanded uncertainty, the
decision against the label claim, the working. The result can be recomputed from its own file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from huehold.errors import InputError, UsageError
from huehold.methods.loader import load_method
from huehold.methods.model import Basis, Method
from huehold.stoichiometry.assay_result import SCHEMA, SEED, Assay, Result, Settings
from huehold.stoichiometry.budget import Budget
from huehold.stoichiometry.claim import Claim, parse_claim, parse_tolerance, portion_of
from huehold.stoichiometry.decision import Decision, decide
from huehold.stoichiometry.equivalence import Equivalence
from huehold.stoichiometry.montecarlo import Agreement, MonteCarlo, compare, monte_carlo
from huehold.stoichiometry.plausible import check_amount, check_claim, check_content, check_titrant
from huehold.stoichiometry.propagate import propagate
from huehold.stoichiometry.scheme import Request, build
from huehold.stoichiometry.standardise import Standardisation
from huehold.stoichiometry.steps import Step, evaluate, names_used, needed
from huehold.stoichiometry.tolerances import AcceptanceRange, acceptance_range
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.weighing import Balance
from huehold.stoichiometry.worksheet import Output

__all__ = ["SCHEMA", "SEED", "Assay", "Result", "Settings", "assay", "finish"]


def assay(
    method: Method | str | Path,
    *,
    sample_mass: object,
    titrant_mass: object,
    bracket_mass: object | None = None,
    strength: object | None = None,
    strength_basis: Basis | None = None,
    country: str | None = None,
    standardisation: Standardisation | None = None,
    density: object | None = None,
    reagent_mass: object | None = None,
    reagent_strength: object | None = None,
    reagent_strength_basis: Basis | None = None,
    blank_mass: object | None = None,
    tare_drift: object | None = None,
    buoyancy: bool = False,
    water_mass: object | None = None,
    end_ph: object | None = None,
    drop_mass: object | None = None,
    balance: Balance | None = None,
    claim: str | None = None,
    tolerance: str | AcceptanceRange | None = None,
    dose: object | None = None,
    settings: Settings | None = None,
) -> Assay:
    """Turn the masses of a titration into a result.

    Every mass may be a number of grams, text such as ``"5.22 g"`` or ``"5,22"``, or a pint
    quantity.

    Parameters
    ----------
    method : Method, str or Path
        A method, the name of a shipped one, or a file.
    sample_mass, titrant_mass : str, float or pint quantity
        Sample weighed, and titrant added when the end colour held.
    bracket_mass : str, float or pint quantity, optional
        Mass of the last addition (also in drops, with `drop_mass`); 0.05 g if left out.
    strength : str, float or pint quantity, optional
        Of the titrant, from its label: ``"5 %"``, ``"0.1 mol/L"``, ``"0.1 N"``.
    strength_basis : str, optional
        Sense of a bare percentage: ``"per-100-mL"`` or ``"per-100-g"`` (or another basis).
    country : str, optional
        Two letters; takes the sense of the label from that country's practice.
    standardisation : Standardisation, optional
        In place of `strength`.
    density : str, float, pint quantity or Input, optional
        Of the sample, in g/mL; see `huehold.stoichiometry.density.measured_density`.
    reagent_mass, reagent_strength, reagent_strength_basis : optional
        Reagent added in excess, in a back titration.
    blank_mass : optional
        Titrant that the same water and dye (or the same reagent) used without sample.
    tare_drift : optional
        Reading of the empty balance at the end of the run.
    buoyancy : bool
        Correct both masses for the air's buoyancy.
    water_mass : optional
        Water the sample was stirred into; sharpens the step from end colour to equivalence.
    end_ph : (float, float) or str, optional
        pH read from the colour that held, with its standard uncertainty: ``"6.8 +/- 0.2"``.
    drop_mass : str, float, pint quantity or DropMass, optional
        Of one calibrated drop.
    balance : Balance, optional
        Readability 0.01 g if left out.
    claim : str, optional
        Label claim: ``"1200 mg/15 mL"``.
    tolerance : str or AcceptanceRange, optional
        ``"90-115 %"`` of the claim, or the name of a shipped range; the method's if left out.
    dose : str, float or pint quantity, optional
        Portion to state the result for, or what a tablet weighs.
    settings : Settings, optional
        Coverage, risk, Monte Carlo.

    Returns
    -------
    Assay

    Raises
    ------
    InputError
        If an input cannot be read or makes no sense; one sentence with the likely cause.
    UsageError
        If inputs are missing or contradict each other.
    """
    chosen = method if isinstance(method, Method) else load_method(method)
    given = {k: v for k, v in locals().items() if v is not None and v is not False}
    _check_given(given)
    names = {f.name for f in fields(Request)} - {"balance"}
    request = Request(
        **{name: given[name] for name in names & given.keys()}, balance=balance or Balance()
    )
    parsed = parse_claim(claim, chosen, dose) if claim is not None else None
    sheet, equivalence = build(chosen, request, portion_of(chosen, dose), parsed)
    if parsed is not None and parsed.note:
        sheet.notes.append(parsed.note)
    return finish(
        chosen,
        _as_typed(given),
        tuple(sheet.inputs.values()),
        tuple(sheet.steps),
        tuple(sheet.outputs),
        settings or Settings(),
        equivalence,
        claim or "",
        _limits(chosen, parsed, tolerance),
        tuple(sheet.notes),
        tuple(sheet.warnings),
    )


def finish(
    method: Method,
    given: Mapping[str, str],
    inputs: tuple[Input, ...],
    steps: tuple[Step, ...],
    outputs: tuple[Output, ...],
    settings: Settings,
    equivalence: Equivalence,
    claim_text: str,
    limits: AcceptanceRange | None,
    notes: tuple[str, ...],
    warnings: tuple[str, ...],
) -> Assay:
    """Evaluate a calculation that was set up, with uncertainty and decision."""
    values = evaluate(steps, {item.name: item.value for item in inputs})
    check_titrant(method, values[equivalence.key])
    check_amount(method, values["amount"])
    unit = next(o.unit for o in outputs if o.key == "content")
    unusual = check_content(method, values["content"], unit)
    if "percent_of_label" in values:
        unusual += check_claim(method, values["content"], values["percent_of_label"], claim_text)
    budgets = {o.key: propagate(_model(steps, o.key), _used(steps, inputs, o.key)) for o in outputs}
    results = {o.key: _result(o, budgets[o.key], settings.coverage) for o in outputs}
    trials, agreement = _trials(steps, inputs, budgets["content"], settings)
    if trials is not None and agreement is not None and not agreement.ok:
        results = {
            key: _by_trials(result, steps, inputs, trials, settings)
            for key, result in results.items()
        }
    share = budgets.get("percent_of_label")
    return Assay(
        method=method,
        given=given,
        inputs=inputs,
        steps=steps,
        outputs=outputs,
        settings=settings,
        results=results,
        values={key: float(value) for key, value in values.items()},
        propagation=budgets["content"],
        trials=trials,
        agreement=agreement,
        claim_text=claim_text,
        limits=limits,
        conformity=_decide(share, results.get("percent_of_label"), limits, settings),
        equivalence=equivalence,
        notes=notes,
        warnings=tuple(dict.fromkeys((*warnings, *unusual))),
    )


def _model(steps: tuple[Step, ...], key: str) -> Any:
    chosen = needed(steps, key)
    return lambda values: evaluate(chosen, values)[key]


def _used(steps: tuple[Step, ...], inputs: tuple[Input, ...], key: str) -> tuple[Input, ...]:
    wanted = names_used(needed(steps, key))
    return tuple(item for item in inputs if item.name in wanted)


def _result(output: Output, budget: Budget, coverage: float) -> Result:
    expanded = budget.expanded(coverage)
    return Result(
        output.key, output.label, budget.value, budget.u, expanded.U, expanded.k, coverage,
        output.unit, output.pint_unit,
    )  # fmt: skip


def _trials(
    steps: tuple[Step, ...], inputs: tuple[Input, ...], budget: Budget, settings: Settings
) -> tuple[MonteCarlo | None, Agreement | None]:
    if not settings.trials or budget.u == 0.0:
        return None, None
    used = _used(steps, inputs, "content")
    trials = monte_carlo(
        _model(steps, "content"), used, coverage=settings.coverage, seed=settings.seed
    )
    return trials, compare(budget, trials)


def _by_trials(
    result: Result,
    steps: tuple[Step, ...],
    inputs: tuple[Input, ...],
    content: MonteCarlo,
    settings: Settings,
) -> Result:
    """State a result with the interval of Monte Carlo, as JCGM 101 (8.1) asks for.

    The first-order interval is not valid when the two disagree. The interval is stated as a
    symmetric one that holds both of its ends.
    """
    found = content
    if result.key != "content":
        used = _used(steps, inputs, result.key)
        model = _model(steps, result.key)
        found = monte_carlo(model, used, coverage=settings.coverage, seed=settings.seed)
    half_width = max(found.high - result.value, result.value - found.low)
    return replace(result, U=half_width, k=half_width / result.u)


def _decide(
    share: Budget | None,
    stated: Result | None,
    limits: AcceptanceRange | None,
    settings: Settings,
) -> Decision | None:
    if share is None or limits is None:
        return None
    return decide(
        share.value, share.u, limits.low, limits.high, risk=settings.risk, dof=share.dof, unit="%",
        expanded=stated.U if stated is not None else None,
    )  # fmt: skip


def _check_given(given: Mapping[str, object]) -> None:
    for name in ("sample_mass", "titrant_mass"):
        if name not in given:
            raise UsageError(f"the {name.replace('_', ' ')} is needed, in grams")
    for name in ("claim", "tolerance", "country", "strength_basis", "reagent_strength_basis"):
        if not isinstance(given.get(name, ""), str | AcceptanceRange):
            raise UsageError(f"the {name.replace('_', ' ')} must be text, not {given[name]!r}")


def _limits(
    method: Method, claim: Claim | None, tolerance: str | AcceptanceRange | None
) -> AcceptanceRange | None:
    if claim is None:
        if tolerance is not None:
            raise UsageError("a tolerance needs a label claim to be held against; give --claim")
        return None
    if isinstance(tolerance, AcceptanceRange):
        chosen = tolerance
    elif tolerance is not None:
        chosen = parse_tolerance(tolerance)
    elif method.dose is not None and method.dose.acceptance is not None:
        chosen = acceptance_range(method.dose.acceptance)
    else:
        return None
    if chosen.of != "label":
        raise InputError(f"the range {chosen.name} is not of the label claim ({chosen.text()})")
    return chosen


def _as_typed(given: Mapping[str, object]) -> dict[str, str]:
    shown = {}
    for name, value in given.items():
        if isinstance(value, Method):
            shown[name] = value.name
        elif name not in {"settings", "chosen"}:
            shown[name] = str(getattr(value, "text", value))
    return shown
