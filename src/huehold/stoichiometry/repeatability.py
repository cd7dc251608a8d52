"""What replicates say about the budget, and what the budget says about their mean.

Runs of one bottle share the titrant's strength, the density and the balance: such parts do
not shrink with the number of runs. `combine` keeps the two kinds apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.replicates import (
    chance,
    check_not_negative,
    chi2_above,
    plain_values,
)

__all__ = ["Combined", "Repeatability", "against_budget", "combine"]


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter of the replicates against what the budget says it should be.

    Attributes
    ----------
    s : float
        Standard deviation seen.
    u_expected : float
        Standard uncertainty of one run from the inputs that vary between runs.
    ratio : float
        ``s / u_expected``.
    p_value : float
        Two-sided chance of a ratio this far from one.
    agrees : bool
        `p_value` is at least the level of the test.
    test : str
        ``"chi-square"``, or ``"F"`` if `u_expected` has finite degrees of freedom.
    text : str
        One sentence.
    """

    s: float
    u_expected: float
    ratio: float
    p_value: float
    agrees: bool
    test: str
    text: str


@dataclass(frozen=True, slots=True)
class Combined:
    """Mean of n runs with the part that averages out and the part that does not.

    Attributes
    ----------
    value, u, dof : float
        Mean, combined standard uncertainty, effective degrees of freedom (may be infinite).
    u_run, u_common : float
        Standard uncertainty of one run from what varies between runs, and of what all share.
    n : int
        Number of runs.
    """

    value: float
    u: float
    dof: float
    u_run: float
    u_common: float
    n: int


def against_budget(
    values: Sequence[float], u_expected: float, *, dof: float = math.inf, alpha: float = 0.05
) -> Repeatability:
    """Hold the scatter of replicates against the budget's repeatability.

    Parameters
    ----------
    values : sequence of float
        At least two replicates.
    u_expected : float
        Standard uncertainty of one run from the inputs that vary between runs alone, > 0
        (``budget.part(names)``).
    dof : float
        Its degrees of freedom; finite makes it an F test, infinite a chi-square test.
    alpha : float
        Level of the two-sided test, in (0, 0.5).

    Raises
    ------
    InputError
        If there are fewer than two replicates or `u_expected` is not positive.
    """
    x = plain_values(values, "")[0]
    if not (math.isfinite(u_expected) and u_expected > 0.0):
        raise InputError(
            f"The budget's uncertainty between runs must be above zero, not {u_expected!r}."
        )
    if not 0.0 < alpha < 0.5:
        raise UsageError(f"The level of a test must lie between 0 and 0.5, not {alpha!r}.")
    s = float(np.std(x, ddof=1))
    ratio = s / u_expected
    above = _ratio_above(ratio**2, x.size - 1, dof)
    p = min(1.0, 2.0 * min(above, 1.0 - above))
    agrees = p >= alpha
    test = "chi-square" if math.isinf(dof) else "F"
    text = _repeatability_text(ratio, p, agrees, x.size)
    return Repeatability(s, u_expected, ratio, p, agrees, test, text)


def combine(
    mean: float,
    n: int,
    u_run: float,
    u_common: float,
    *,
    dof_run: float = math.inf,
    dof_common: float = math.inf,
) -> Combined:
    """Give the mean of n runs its uncertainty.

    Parameters
    ----------
    mean : float
        Mean of the runs.
    n : int
        Number of runs, >= 1.
    u_run, u_common : float
        Standard uncertainty of one run from what varies between runs (the replicates' s, or the
        budget's part if `against_budget` agrees), and of what all runs share; each >= 0.
    dof_run, dof_common : float
        Their degrees of freedom (n - 1 for s).

    Returns
    -------
    Combined
        u^2 = u_run^2 / n + u_common^2, degrees of freedom after Welch and Satterthwaite
        (JCGM 100, G.2b).
    """
    if n < 1:
        raise UsageError(f"The number of runs must be one or more, not {n!r}.")
    if not min(dof_run, dof_common) > 0.0:
        raise UsageError("Degrees of freedom must be more than zero (n - 1 for n runs).")
    check_not_negative(u_run, "of one run")
    check_not_negative(u_common, "common to all runs")
    from_runs, shared = u_run**2 / n, u_common**2
    weight = from_runs**2 / dof_run + shared**2 / dof_common
    total = from_runs + shared
    dof = total**2 / weight if weight > 0.0 else math.inf
    u = math.hypot(u_run / math.sqrt(n), u_common)
    return Combined(mean, u, dof, u_run, u_common, n)


def _ratio_above(squared: float, dof: int, dof_expected: float) -> float:
    if math.isinf(dof_expected):
        return chi2_above(dof * squared, dof)
    from scipy import special

    return float(special.fdtrc(dof, dof_expected, squared))


def _repeatability_text(ratio: float, p: float, agrees: bool, n: int) -> str:
    figures = f"{ratio:.2f} times the budget's, {n} runs, {chance(p)}"
    if agrees:
        return f"The scatter between runs fits the budget ({figures})."
    if ratio > 1.0:
        return (
            f"The runs scatter more than the budget says ({figures}): a source is missing or too "
            "small in it."
        )
    return (
        f"The runs scatter less than the budget says ({figures}): it is too careful, or the runs "
        "were not independent."
    )
