"""The law of propagation of uncertainty: a model and its inputs to a budget.

First order, JCGM 100:2008 clause 5 with correlations (5.2.2) and effective degrees of
freedom after Welch and Satterthwaite (G.4). Monte Carlo (`huehold.stoichiometry.montecarlo`)
says whether first order is good enough.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.budget import (
    Budget,
    BudgetRow,
    Expanded,
    coverage_factor,
    effective_dof,
)
from huehold.stoichiometry.uncertain import Correlations, Input, correlation_matrix

__all__ = [
    "Budget",
    "BudgetRow",
    "Expanded",
    "Improvement",
    "Model",
    "coverage_factor",
    "improvements",
    "propagate",
]

Model = Callable[[Mapping[str, Any]], Any]
"""Takes values by input name (floats, or arrays of trials of equal shape), gives the result."""

_NO_CORRELATIONS: Correlations = MappingProxyType({})
# Best relative step of a five-point central difference: eps^(1/5).
_STEP: float = float(np.finfo(float).eps) ** 0.2
_SMALLEST_STEP = 1e-8


@dataclass(frozen=True, slots=True)
class Improvement:
    """What one input's uncertainty must become for the result to reach a target.

    Attributes
    ----------
    name, unit : str
        The input.
    u_now : float
        Its standard uncertainty now.
    u_needed : float or None
        The largest standard uncertainty that reaches the target with all else unchanged;
        None if the target is not reachable through this input alone.
    text : str
        The same as a sentence.
    """

    name: str
    unit: str
    u_now: float
    u_needed: float | None
    text: str


def propagate(
    model: Model, inputs: Sequence[Input], correlations: Correlations = _NO_CORRELATIONS
) -> Budget:
    """Propagate the inputs' uncertainties through a model, first order.

    Parameters
    ----------
    model : callable
        Takes a mapping of input name to float, returns a float. Smooth near the inputs'
        values; derivatives are five-point central differences.
    inputs : sequence of Input
        At least one.
    correlations : mapping of (name, name) to float, optional
        Correlation coefficients of pairs.

    Returns
    -------
    Budget

    Raises
    ------
    InputError
        If the model gives no finite number at or beside the inputs' values, or the
        correlations are impossible.
    UsageError
        If there are no inputs, or names do not fit.

    Notes
    -----
    u_c^2 = sum_ij c_i c_j u_i u_j r_ij (JCGM 100, eq. 16). Effective degrees of freedom follow
    G.2b for independent inputs. For correlated ones the guide gives no formula: each group of
    inputs tied by correlations enters as one term with the smallest degrees of freedom in it.
    """
    if not inputs:
        raise UsageError("A budget needs at least one input.")
    matrix = correlation_matrix(inputs, correlations)
    centre = {item.name: item.value for item in inputs}
    value = _evaluate(model, centre)
    slopes = np.array([_slope(model, centre, item) for item in inputs])
    signed = slopes * np.array([item.u for item in inputs])
    terms = signed * (matrix @ signed)
    variance = max(float(np.sum(terms)), 0.0)
    shares = 100.0 * terms / variance if variance > 0.0 else np.zeros(len(inputs))
    return Budget(
        value=value,
        u=math.sqrt(variance),
        dof=effective_dof(signed, matrix, np.array([item.dof for item in inputs])),
        rows=tuple(map(_row, inputs, slopes.tolist(), shares.tolist())),
        correlations=MappingProxyType(dict(correlations)),
    )


def improvements(budget: Budget, target: float) -> tuple[Improvement, ...]:
    """Tell what each input's uncertainty must become, alone, to reach a target.

    Parameters
    ----------
    budget : Budget
        As it is now.
    target : float
        Wanted combined standard uncertainty, > 0, in the unit of the result; half of
        ``budget.u`` answers "what would halve it".

    Returns
    -------
    tuple of Improvement
        One for each input, the largest contribution first.

    Raises
    ------
    UsageError
        If `target` is not a positive number.
    """
    if not (math.isfinite(target) and target > 0.0):
        raise UsageError(f"The uncertainty to reach must be more than zero, not {target!r}.")
    order = sorted(budget.rows, key=lambda row: row.contribution, reverse=True)
    return tuple(_improvement(budget, row, target) for row in order)


def _row(item: Input, slope: float, share: float) -> BudgetRow:
    return BudgetRow(
        item.name, item.value, item.unit, item.u, slope, abs(slope) * item.u, share,
        item.kind, item.source, item.distribution, item.dof,
    )  # fmt: skip


def _evaluate(model: Model, values: Mapping[str, float]) -> float:
    with np.errstate(all="ignore"):
        try:
            result = float(model(values))
        except (ArithmeticError, ValueError) as error:
            raise InputError(f"The result cannot be computed ({error}) at {_at(values)}.") from None
    if not math.isfinite(result):
        raise InputError(f"The result is not a finite number at {_at(values)}.")
    return result


def _at(values: Mapping[str, float]) -> str:
    return ", ".join(f"{name} = {value:g}" for name, value in values.items())


def _slope(model: Model, centre: Mapping[str, float], item: Input) -> float:
    h = _step(item)

    def at(steps: int) -> float:
        """Return the model so many steps off in this input."""
        return _evaluate(model, {**centre, item.name: item.value + steps * h})

    return (8.0 * (at(1) - at(-1)) - (at(2) - at(-2))) / (12.0 * h)


def _step(item: Input) -> float:
    # Within the input's own uncertainty, but never so small that rounding drowns the difference.
    size = max(abs(item.value), item.u) or 1.0
    if item.u == 0.0:
        return _STEP * size
    return max(min(item.u, _STEP * size), _SMALLEST_STEP * size)


def _improvement(budget: Budget, row: BudgetRow, target: float) -> Improvement:
    needed = _u_needed(budget, row, target)
    if needed is None:
        text = f"{row.name}: not reachable alone, even if it were exactly known."
    elif needed >= row.u:
        text = f"{row.name}: the target is reached already."
    else:
        text = (
            f"{row.name}: u from {row.u:.2g} to {needed:.2g} {row.unit}".rstrip()
            + f" ({row.u / needed:.3g} times better)."
            if needed > 0.0
            else f"{row.name}: would have to be exactly known."
        )
    return Improvement(row.name, row.unit, row.u, needed, text)


def _u_needed(budget: Budget, row: BudgetRow, target: float) -> float | None:
    """Largest u in [0, row.u] with a u^2 + b u + c <= target^2, all else fixed."""
    if budget.u <= target:
        return row.u
    signed = {r.name: r.sensitivity * r.u for r in budget.rows}
    cross = sum(
        r * signed[other]
        for pair, r in budget.correlations.items()
        if row.name in pair
        for other in pair
        if other != row.name
    )
    a = row.sensitivity**2
    b = 2.0 * row.sensitivity * cross
    c = budget.u**2 - a * row.u**2 - b * row.u - target**2
    root = b * b - 4.0 * a * c
    if a == 0.0 or root < 0.0:
        return None
    u = (-b + math.sqrt(root)) / (2.0 * a)
    # A root above the present u would be reached by knowing this input worse: no improvement.
    return u if 0.0 <= u <= row.u else None
