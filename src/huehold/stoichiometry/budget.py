"""The uncertainty budget: a result, its standard uncertainty and where it comes from."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from huehold.errors import UsageError
from huehold.stoichiometry.uncertain import Correlations, FloatArray, Kind

__all__ = ["Budget", "BudgetRow", "Expanded", "coverage_factor", "effective_dof"]

_NO_CORRELATIONS: Correlations = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of a budget.

    Attributes
    ----------
    name, value, unit, u, kind, source
        As in the `Input`.
    sensitivity : float
        Partial derivative of the result by this input, with its sign.
    contribution : float
        ``|sensitivity| * u``, in the unit of the result.
    share_percent : float
        Share of the result's variance in percent. Shares sum to 100 (to 0 if the result has
        no uncertainty). A correlated input carries half of each covariance it is part of, so
        its share may be negative.
    """

    name: str
    value: float
    unit: str
    u: float
    sensitivity: float
    contribution: float
    share_percent: float
    kind: Kind
    source: str
    distribution: str = "normal"
    dof: float = math.inf


@dataclass(frozen=True, slots=True)
class Expanded:
    """Expanded uncertainty ``U = k u`` for a stated coverage probability.

    Attributes
    ----------
    U : float
        Half width of the interval, in the unit of the result.
    k : float
        Coverage factor.
    coverage : float
        Coverage probability, 0 to 1.
    dof : float
        Degrees of freedom `k` was taken for; infinite for the normal distribution.
    """

    U: float
    k: float
    coverage: float
    dof: float


@dataclass(frozen=True, slots=True)
class Budget:
    """A result, its combined standard uncertainty and where it comes from.

    Attributes
    ----------
    value, u : float
        Result and combined standard uncertainty, in the unit of the model's result.
    dof : float
        Effective degrees of freedom, not truncated; infinite if all inputs' are.
    rows : tuple of BudgetRow
        In the order of the inputs.
    correlations : mapping of (name, name) to float
        As given to `propagate`.
    """

    value: float
    u: float
    dof: float
    rows: tuple[BudgetRow, ...]
    correlations: Correlations = field(default_factory=lambda: _NO_CORRELATIONS)

    def expanded(self, coverage: float = 0.95) -> Expanded:
        """Expand to a coverage probability (JCGM 100, G.4.1, G.6.4).

        Raises
        ------
        UsageError
            If `coverage` is not between 0 and 1.
        """
        k = coverage_factor(self.dof, coverage)
        return Expanded(k * self.u, k, coverage, _usable_dof(self.dof))

    def part(self, names: Collection[str]) -> tuple[float, float]:
        """Give the standard uncertainty from some inputs alone, and its degrees of freedom.

        Parameters
        ----------
        names : collection of str
            For instance the inputs that vary between runs, or those all runs share.

        Raises
        ------
        UsageError
            If a name is no input of the budget.
        """
        known = {row.name: row for row in self.rows}
        for name in names:
            if name not in known:
                raise UsageError(f"{name} is no input of this budget ({', '.join(known)}).")
        rows = [row for row in self.rows if row.name in names]
        matrix = _matrix_of(rows, self.correlations)
        signed = np.array([row.sensitivity * row.u for row in rows])
        u = math.sqrt(max(float(signed @ matrix @ signed), 0.0))
        return u, effective_dof(signed, matrix, np.array([row.dof for row in rows]))

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; infinite degrees of freedom become None."""
        return {
            "value": self.value,
            "u": self.u,
            "dof": _finite_or_none(self.dof),
            "rows": [asdict(row) | {"dof": _finite_or_none(row.dof)} for row in self.rows],
            "correlations": [[a, b, r] for (a, b), r in self.correlations.items()],
        }


def coverage_factor(dof: float, coverage: float = 0.95) -> float:
    """Two-sided quantile of Student's t, or of the normal distribution for infinite `dof`.

    Parameters
    ----------
    dof : float
        Degrees of freedom, > 0. Rounded to a tenth (JCGM 100 G.4.1 writes 19.0 for 18.999),
        then truncated to an integer as G.4.1 asks; values below one are used as they are.
    coverage : float
        Coverage probability, in (0, 1).

    Raises
    ------
    UsageError
        If `coverage` is not between 0 and 1, or `dof` not above zero.
    """
    from scipy import special

    if not dof > 0.0:
        raise UsageError(f"Degrees of freedom must be more than zero, not {dof!r}.")
    if not 0.0 < coverage < 1.0:
        hint = f"; for {coverage:g} % write {coverage / 100:g}" if 1.0 <= coverage < 100.0 else ""
        raise UsageError(f"Coverage must lie between 0 and 1, not {coverage!r}{hint}.")
    p = 0.5 + 0.5 * coverage
    if math.isinf(dof):
        return float(special.ndtri(p))
    return float(special.stdtrit(_usable_dof(dof), p))


def effective_dof(signed: FloatArray, matrix: FloatArray, dof: FloatArray) -> float:
    """Effective degrees of freedom after Welch and Satterthwaite (JCGM 100, G.2b).

    Parameters
    ----------
    signed : ndarray of float64, shape (n,)
        Sensitivity times standard uncertainty of each input.
    matrix : ndarray of float64, shape (n, n)
        Correlation coefficients. Inputs they tie together enter as one term.
    dof : ndarray of float64, shape (n,)
        Degrees of freedom, > 0; may be infinite.

    Returns
    -------
    float
        Infinite if no input with finite degrees of freedom contributes.
    """
    total = 0.0
    weight = 0.0
    for group in _groups(matrix):
        part = signed[group]
        variance = max(float(part @ matrix[np.ix_(group, group)] @ part), 0.0)
        total += variance
        moving = dof[group][part != 0.0]
        if moving.size:
            weight += variance**2 / float(np.min(moving))
    return total**2 / weight if weight > 0.0 else math.inf


def _groups(matrix: FloatArray) -> list[list[int]]:
    """Gather inputs that are tied by correlations, directly or through others."""
    left = set(range(len(matrix)))
    groups = []
    while left:
        group, edge = set(), {min(left)}
        while edge:
            group |= edge
            edge = {int(j) for i in edge for j in np.flatnonzero(matrix[i])} - group
        groups.append(sorted(group))
        left -= group
    return groups


def _matrix_of(rows: Sequence[BudgetRow], correlations: Correlations) -> FloatArray:
    index = {row.name: position for position, row in enumerate(rows)}
    matrix = np.eye(len(rows))
    for (first, second), r in correlations.items():
        if first in index and second in index:
            matrix[index[first], index[second]] = matrix[index[second], index[first]] = r
    return matrix


def _usable_dof(dof: float) -> float:
    if math.isinf(dof) or dof < 1.0:
        return dof
    return float(math.floor(round(dof, 1)))


def _finite_or_none(number: float) -> float | None:
    return number if math.isfinite(number) else None
