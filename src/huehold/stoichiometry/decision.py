"""The decision: the result conforms, does not conform, or cannot be told.

Conformity probability and guard bands after JCGM 106:2012 (clauses 7 and 8): a result
conforms when the probability that the true value lies within the limits is at least
1 - risk, does not conform when it is at most the risk, and cannot be told in between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.propagate import coverage_factor
from huehold.stoichiometry.rounding import with_uncertainty

__all__ = ["Decision", "Outcome", "conformity_probability", "decide"]

Outcome = Literal["conforms", "does_not_conform", "cannot_tell"]


@dataclass(frozen=True, slots=True)
class Decision:
    """What can be said about a result and its limits.

    Attributes
    ----------
    outcome : {"conforms", "does_not_conform", "cannot_tell"}
        The decision.
    value, u : float
        Result and standard uncertainty, in `unit`.
    lower, upper : float or None
        Limits, inclusive; None where there is none.
    risk : float
        Largest accepted probability of a wrong statement, either way.
    probability : float
        Probability that the true value lies within the limits.
    guard_band : float
        Width kept from each limit, one-sided: quantile(1 - risk) times `u`.
    accept_low, accept_high : float or None
        Ends of the acceptance interval: limits moved inwards by the guard band; None where
        there is no limit, or both None if `u` is too large for any value to be accepted.
    u_needed : float or None
        Standard uncertainty that would tell if the value stayed; None if it can be told
        already, or the value lies on a limit, where none would.
    runs_needed : int or None
        Number of runs that would tell, if runs alone can.
    sentence : str
        The decision for people.
    remedy : str
        What would tell; empty if it can be told.
    """

    outcome: Outcome
    value: float
    u: float
    lower: float | None
    upper: float | None
    risk: float
    probability: float
    guard_band: float
    accept_low: float | None
    accept_high: float | None
    u_needed: float | None
    runs_needed: int | None
    sentence: str
    remedy: str


def decide(
    value: float,
    u: float,
    lower: float | None,
    upper: float | None,
    *,
    risk: float = 0.05,
    dof: float = math.inf,
    unit: str = "",
    u_run: float | None = None,
    runs: int = 1,
    expanded: float | None = None,
) -> Decision:
    """Decide whether a result conforms to limits.

    Parameters
    ----------
    value, u : float
        Result and its combined standard uncertainty, same unit as the limits.
    lower, upper : float or None
        Limits, inclusive; None (or infinite) where there is none, at least one given.
    risk : float
        Largest accepted probability of a wrong statement, in (0, 0.5).
    dof : float
        Effective degrees of freedom of `u`.
    unit : str
        For the sentence.
    u_run : float or None
        Part of the uncertainty that varies between runs, for one run; lets the decision say
        how many runs would tell.
    runs : int
        Number of runs behind `value`.
    expanded : float or None
        Expanded uncertainty as the result is stated with, for the sentence; from `u` and `dof`
        if not given.

    Raises
    ------
    InputError
        If a number is not finite, `u` is negative, or the limits are in the wrong order.
    UsageError
        If `risk`, `dof` or `runs` is out of range, no limit is given, or `u_run` is larger than
        `u` allows.
    """
    case = _Case(value, u, *_limits(lower, upper), risk, dof, unit, u_run, runs, expanded)
    _check(case)
    return _decision(case)


def _decision(case: _Case) -> Decision:
    """Decide a case that makes sense."""
    value, u, risk = case.value, case.u, case.risk
    probability = conformity_probability(value, u, case.low, case.high, dof=case.dof)
    outcome = _outcome(probability, risk)
    guard = _one_sided(risk, case.dof) * u
    accept_low, accept_high = _acceptance(case, guard)
    needed = _u_needed(case) if outcome == "cannot_tell" else None
    more = _runs_needed(case, needed)
    return Decision(
        outcome=outcome,
        value=value,
        u=u,
        lower=_known(case.low),
        upper=_known(case.high),
        risk=risk,
        probability=probability,
        guard_band=guard,
        accept_low=accept_low,
        accept_high=accept_high,
        u_needed=needed,
        runs_needed=more,
        sentence=_sentence(case, outcome, probability),
        remedy=_remedy(case, needed, more) if outcome == "cannot_tell" else "",
    )


def conformity_probability(
    value: float, u: float, lower: float, upper: float, *, dof: float = math.inf
) -> float:
    """Probability that the true value lies within limits (JCGM 106, 7.2).

    Parameters
    ----------
    value, u : float
        Result and standard uncertainty; with `u` zero, 1 within or on the limits and 0 outside.
    lower, upper : float
        Limits; may be infinite.
    dof : float
        Degrees of freedom of `u`; the scaled and shifted t distribution if finite.
    """
    if u == 0.0:
        return 1.0 if lower <= value <= upper else 0.0
    if _nearer_lower(value, lower, upper):
        return _below((value - lower) / u, dof) - _below((value - upper) / u, dof)
    return _below((upper - value) / u, dof) - _below((lower - value) / u, dof)


@dataclass(frozen=True, slots=True)
class _Case:
    """What is to be decided; infinite where there is no limit."""

    value: float
    u: float
    low: float
    high: float
    risk: float
    dof: float
    unit: str
    u_run: float | None
    runs: int
    expanded: float | None = None


def _nearer_lower(value: float, lower: float, upper: float) -> bool:
    # Chooses the form that subtracts small tails, so that a tiny probability keeps its digits.
    if math.isinf(lower) or math.isinf(upper):
        return math.isinf(upper)
    return value <= 0.5 * (lower + upper)


def _limits(lower: float | None, upper: float | None) -> tuple[float, float]:
    low = -math.inf if lower is None else float(lower)
    high = math.inf if upper is None else float(upper)
    if math.isinf(low) and math.isinf(high):
        raise UsageError("A decision needs at least one limit.")
    if not low < high:
        raise InputError(f"The lower limit ({low:g}) must be below the upper one ({high:g}).")
    return low, high


def _check(case: _Case) -> None:
    if not math.isfinite(case.value):
        raise InputError(f"The result to decide on is no finite number ({case.value!r}).")
    if not (math.isfinite(case.u) and case.u >= 0.0):
        raise InputError(
            f"The standard uncertainty must be zero or more and finite, not {case.u!r}."
        )
    if not 0.0 < case.risk < 0.5:
        hint = f"; for {case.risk:g} % write {case.risk / 100:g}" if 0.5 <= case.risk < 50 else ""
        raise UsageError(f"The risk must lie between 0 and 0.5, not {case.risk!r}{hint}.")
    if not case.dof > 0.0:
        raise UsageError(f"Degrees of freedom must be more than zero, not {case.dof!r}.")
    if case.runs < 1:
        raise UsageError(f"The number of runs must be one or more, not {case.runs!r}.")
    if case.u_run is not None and not 0.0 <= _run_variance(case) <= case.u**2 * (1.0 + 1e-9):
        raise UsageError(
            f"The part that varies between runs ({case.u_run:g} for one run) does not fit a "
            f"combined uncertainty of {case.u:g} over {case.runs} runs."
        )


def _run_variance(case: _Case) -> float:
    u_run = case.u_run or 0.0
    return math.copysign(u_run**2, u_run) / case.runs


def _below(x: float, dof: float) -> float:
    from scipy import special

    return float(special.ndtr(x) if math.isinf(dof) else special.stdtr(dof, x))


def _one_sided(risk: float, dof: float) -> float:
    from scipy import special

    return float(-special.ndtri(risk) if math.isinf(dof) else -special.stdtrit(dof, risk))


def _outcome(probability: float, risk: float) -> Outcome:
    if probability >= 1.0 - risk:
        return "conforms"
    return "does_not_conform" if probability <= risk else "cannot_tell"


def _acceptance(case: _Case, guard: float) -> tuple[float | None, float | None]:
    """Return the ends of the acceptance interval; None twice if nothing is left of it."""
    low, high = case.low + guard, case.high - guard
    return (_known(low), _known(high)) if low <= high else (None, None)


def _u_needed(case: _Case) -> float | None:
    distance = min(abs(case.value - case.low), abs(case.high - case.value))
    if distance == 0.0:
        return None
    largest = distance / _one_sided(case.risk, case.dof)
    if not case.low < case.value < case.high:
        return largest

    def spare(u: float) -> float:
        """Return by how much the conformity probability at `u` exceeds what is asked for."""
        p = conformity_probability(case.value, u, case.low, case.high, dof=case.dof)
        return p - (1.0 - case.risk)

    smallest = distance / _one_sided(case.risk / 2.0, case.dof)
    if spare(largest) >= 0.0 or spare(smallest) <= 0.0:
        return largest if spare(largest) >= 0.0 else smallest
    from scipy.optimize import brentq

    return float(brentq(spare, smallest, largest, rtol=1e-10))


def _runs_needed(case: _Case, needed: float | None) -> int | None:
    if needed is None or not case.u_run:
        return None
    room = needed**2 - max(case.u**2 - _run_variance(case), 0.0)
    if room <= 0.0:
        return None
    return max(math.ceil(case.u_run**2 / room - 1e-9), case.runs + 1)


def _known(limit: float) -> float | None:
    return limit if math.isfinite(limit) else None


def _percent(probability: float) -> str:
    if probability > 0.999:
        return "more than 99.9 %"
    if probability < 0.001:
        return "less than 0.1 %"
    return f"{100.0 * probability:.1f} %"


def _range(case: _Case) -> str:
    if math.isinf(case.high):
        text = f"at least {case.low:g}"
    elif math.isinf(case.low):
        text = f"at most {case.high:g}"
    else:
        text = f"{case.low:g} to {case.high:g}"
    return f"{text} {case.unit}".rstrip()


def _sentence(case: _Case, outcome: Outcome, probability: float) -> str:
    usual = coverage_factor(case.dof, 0.95) * case.u
    U = usual if case.expanded is None else case.expanded
    result = with_uncertainty(case.value, U, case.unit)
    chance = f"probability that the true value is within: {_percent(probability)}"
    if outcome == "conforms":
        asked = f"{100 * (1 - case.risk):g} % asked for"
        return f"{result} conforms to {_range(case)} ({chance}; {asked})."
    if outcome == "does_not_conform":
        return f"{result} does not conform to {_range(case)} ({chance})."
    return f"Whether {result} conforms to {_range(case)} cannot be told ({chance})."


def _remedy(case: _Case, needed: float | None, more: int | None) -> str:
    if needed is None:
        return "The result lies on a limit: no improvement would tell while it stays there."
    ask = f"A standard uncertainty of {needed:.2g} {case.unit}".rstrip()
    text = f"{ask} instead of {case.u:.2g} would tell if the result stayed where it is"
    if more is not None:
        return f"{text}: {more} runs instead of {case.runs}."
    if case.u_run is None:
        return f"{text}."
    return f"{text}; more runs alone do not reach it, since all runs share the rest."
