"""From masses to a result that stands up: the assay.

`assay` reads what was given, builds the steps, evaluates them, and adds what an analyst asks
for: a budget by the law of propagation, Monte Carlo beside it, expanded uncertainty, the
decision against the label claim, the working. The result can be recomputed from its own file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from huehold.errors import InputError, UsageError
from huehold.methods.loader import load_method
from huehold.methods.model import Method
from huehold.stoichiometry.assay_result import SCHEMA, SEED, Assay, Result, Settings
from huehold.stoichiometry.budget import Budget
from huehold.stoichiometry.claim import Claim, parse_claim, parse_tolerance, portion_of
from huehold.stoichiometry.decision import Decision, decide
from huehold.stoichiometry.equivalence import Equivalence
from huehold.stoichiometry.montecarlo import Agreement, MonteCarlo, compare, monte_carlo
from huehold.stoichiometry.plausible import check_amount, check_claim, check_content, check_titrant
from huehold.stoichiometry.propagate import propagate
from huehold.stoichiometry.request import Request
from huehold.stoichiometry.scheme import build
from huehold.stoichiometry.steps import Step, evaluate, names_used, needed
from huehold.stoichiometry.tolerances import AcceptanceRange, acceptance_range
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.worksheet import Output

__all__ = ["SCHEMA", "SEED", "Assay", "Request", "Result", "Settings", "assay", "finish"]


def assay(
    method: Method | str | Path,
    request: Request | None = None,
    *,
    settings: Settings | None = None,
    **given: Any,
) -> Assay:
    """Turn the masses of a titration into a result.

    Parameters
    ----------
    method : Method, str or Path
        A method, the name of a shipped one, or a file.
    request : Request, optional
        What was weighed and read off labels.
    settings : Settings, optional
        Coverage, risk, Monte Carlo.
    **given
        In place of `request`, its attributes by name; None leaves one out.

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
    asked = _request(request, given)
    chosen = method if isinstance(method, Method) else load_method(method)
    claim = parse_claim(asked.claim, chosen, asked.dose) if asked.claim is not None else None
    sheet, equivalence = build(chosen, asked, portion_of(chosen, asked.dose), claim)
    if claim is not None and claim.note:
        sheet.notes.append(claim.note)
    return finish(
        chosen,
        {"method": chosen.name if isinstance(method, Method) else str(method), **asked.as_typed()},
        tuple(sheet.inputs.values()),
        tuple(sheet.steps),
        tuple(sheet.outputs),
        settings or Settings(),
        equivalence,
        asked.claim or "",
        _limits(chosen, claim, asked.tolerance),
        tuple(sheet.notes),
        tuple(sheet.warnings),
    )


def _request(request: Request | None, given: Mapping[str, Any]) -> Request:
    """Return what was given, whichever way it was."""
    known = {name: value for name, value in given.items() if value is not None}
    if request is None:
        missing = [name for name in ("sample_mass", "titrant_mass") if name not in known]
        if missing:
            raise UsageError(f"the {missing[0].replace('_', ' ')} is needed, in grams")
        return Request(**known)
    if known:
        raise UsageError(f"give {', '.join(known)} in the request, not beside it")
    return request


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
