"""The uncertainty to expect, what dominates it, and what would halve it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from huehold.planning.expected import Expected
from huehold.stoichiometry.assay import Settings, assay
from huehold.stoichiometry.assay_result import Assay
from huehold.stoichiometry.budget import BudgetRow
from huehold.stoichiometry.propagate import improvements
from huehold.stoichiometry.quantities import Typed

__all__ = ["COVERAGE_K", "Change", "Doubt", "doubt_of"]

COVERAGE_K = 2.0

_MOST_CHANGES = 4
_WORTH_PERCENT = 1.0
_ADVICE: Mapping[str, str] = MappingProxyType(
    {
        "strength of": "standardise it, or find a label with one more digit",
        "other solids": "weigh a measured volume of the sample (10 mL), give its density",
        "density of the sample": "weigh a larger measured volume of the sample",
        "density of": "weigh a measured volume of it",
        "last addition": "smaller drops (a finer tip, half drops off a glass rod) or more sample",
        "turning pH": "read the pH from the colour that held, or come closer with half drops",
        "titrant mass": "more sample, or a balance that reads finer",
        "sample mass": "more sample, or a balance that reads finer",
        "mass of": "more of it, or a balance that reads finer",
        "blank": "distilled water, or a blank of twice the water",
    }
)


@dataclass(frozen=True, slots=True)
class Change:
    """What one input's standard uncertainty must become for a goal to be met by it alone.

    Attributes
    ----------
    name, unit : str
    u_now : float
    u_needed : float or None
        None if it cannot do it alone.
    share_percent : float
        Of the variance now.
    advice : str
        How that may be had.
    """

    name: str
    unit: str
    u_now: float
    u_needed: float | None
    share_percent: float
    advice: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """The uncertainty of a planned result.

    Attributes
    ----------
    assay : Assay
        On the expected masses, without Monte Carlo.
    percent : float
        Relative expanded uncertainty (k = 2) in percent.
    wanted_percent : float or None
        What would do.
    dominant : tuple of BudgetRow
        The largest contributions first, until they make up 90 % of the variance.
    to_halve, to_reach : tuple of Change
        What would halve it, and what would reach the wanted uncertainty (empty if it is reached).
    together : tuple of Change
        If none can halve it alone: the fewest inputs that can together, each by the same factor.
    """

    assay: Assay
    percent: float
    wanted_percent: float | None
    dominant: tuple[BudgetRow, ...]
    to_halve: tuple[Change, ...]
    together: tuple[Change, ...]
    to_reach: tuple[Change, ...]

    @property
    def reached(self) -> bool | None:
        """Whether the wanted uncertainty is reached; None if none was wanted."""
        return None if self.wanted_percent is None else self.percent <= self.wanted_percent


def doubt_of(expected: Expected, refills: int = 0) -> Doubt:
    """Work out the assay on the expected masses and look at its budget.

    Parameters
    ----------
    expected : Expected
    refills : int
        How often the titrant's mass is made up of further differences of readings.
    """
    made = _assay(expected, refills)
    budget = made.propagation
    percent = 100.0 * COVERAGE_K * budget.u / abs(budget.value)
    wanted = expected.request.wanted_percent
    rows = sorted(budget.rows, key=lambda row: -row.share_percent)
    halve = _changes(made, budget.u / 2.0)
    goal = 0.0 if wanted is None else wanted / percent * budget.u
    reach = _changes(made, goal) if wanted is not None and percent > wanted else ()
    alone = any(change.u_needed is not None for change in halve)
    together = () if alone else _together(rows, budget.u / 2.0)
    return Doubt(made, percent, wanted, _dominant(rows), halve, together, reach)


def _assay(expected: Expected, refills: int) -> Assay:
    request = expected.request
    given = expected.arguments(expected.titrant_g)
    if refills:
        half = math.sqrt(3.0 * refills) * request.balance.difference_u_g
        given["titrant_mass"] = Typed(
            expected.titrant_g,
            "g",
            half,
            True,
            "1 refill" if refills == 1 else f"{refills} refills",
        )
    return assay(
        request.method,
        **given,
        claim=request.claim,
        dose=request.dose,
        settings=Settings(trials=False),
    )


def _dominant(rows: Sequence[BudgetRow]) -> tuple[BudgetRow, ...]:
    chosen: list[BudgetRow] = []
    for row in rows:
        if sum(r.share_percent for r in chosen) >= 90.0:
            break
        chosen.append(row)
    return tuple(chosen)


def _changes(made: Assay, goal: float) -> tuple[Change, ...]:
    """Return the inputs worth a change, the largest first, for the goal to be met by one alone."""
    share = {row.name: row.share_percent for row in made.propagation.rows}
    found = [
        Change(i.name, i.unit, i.u_now, i.u_needed, share[i.name], _advice(i.name))
        for i in improvements(made.propagation, goal)
        if share[i.name] >= _WORTH_PERCENT
    ]
    return tuple(found[:_MOST_CHANGES])


def _together(rows: Sequence[BudgetRow], goal: float) -> tuple[Change, ...]:
    """Return the fewest inputs that meet a goal if each becomes better by the same factor."""
    parts = [row.contribution**2 for row in rows]
    for count in range(1, len(rows) + 1):
        rest = sum(parts[count:])
        if rest < goal**2:
            factor = math.sqrt((goal**2 - rest) / sum(parts[:count]))
            return tuple(
                Change(r.name, r.unit, r.u, factor * r.u, r.share_percent, _advice(r.name))
                for r in rows[:count]
            )
    return ()


def _advice(name: str) -> str:
    return next(
        (text for start, text in _ADVICE.items() if name.startswith(start)), "know it better"
    )
