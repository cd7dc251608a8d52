"""Replicates of one quantity: mean and scatter, weighted mean, pooled scatter, trend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from huehold.errors import InputError
from huehold.stoichiometry.propagate import coverage_factor
from huehold.stoichiometry.uncertain import FloatArray

__all__ = [
    "Pooled",
    "Summary",
    "Trend",
    "Weighted",
    "pooled",
    "summarise",
    "trend",
    "weighted",
]


@dataclass(frozen=True, slots=True)
class Weighted:
    """Weighted mean of replicates with unequal uncertainties.

    Attributes
    ----------
    mean, u : float
        Weighted mean and its standard uncertainty: the larger of `u_internal` and
        `u_external`, with the part common to all runs added.
    u_internal : float
        From the stated uncertainties, 1 / sqrt(sum 1/u^2).
    u_external : float
        From the scatter, Birge ratio times `u_internal`.
    birge : float
        Birge ratio, sqrt(chi^2 / (n - 1)); near one when scatter and statements agree.
    p_value : float
        Chance of a chi^2 this large if the stated uncertainties hold.
    consistent : bool
        `p_value` is at least 0.05.
    text : str
        One sentence.
    """

    mean: float
    u: float
    u_internal: float
    u_external: float
    birge: float
    p_value: float
    consistent: bool
    text: str


@dataclass(frozen=True, slots=True)
class Trend:
    """Straight line through the replicates in the order they were run.

    Attributes
    ----------
    slope, u_slope : float
        Change per run, or per unit of the times given, and its standard uncertainty.
    t, p_value : float or None
        Student's t of the slope with n - 2 degrees of freedom, and its two-sided chance; t is
        None if the points lie on a straight line exactly.
    significant : bool
        `p_value` is below 0.05.
    text : str
        One sentence.
    """

    slope: float
    u_slope: float
    t: float | None
    p_value: float
    significant: bool
    text: str


@dataclass(frozen=True, slots=True)
class Summary:
    """Replicates in a few figures.

    Attributes
    ----------
    values : tuple of float
        The replicates in their order, in `unit`.
    unit : str
        As given or read from the quantities.
    n, dof : int
        Number of replicates, and n - 1.
    mean, s : float
        Mean and sample standard deviation.
    rsd_percent : float or None
        100 s / |mean|; None if the mean is zero.
    u_mean : float
        s / sqrt(n).
    k, half_width, low, high, coverage : float
        Student's t, and the confidence interval of the mean.
    weighted : Weighted or None
        If uncertainties were given.
    trend : Trend or None
        With three replicates or more.
    """

    values: tuple[float, ...]
    unit: str
    n: int
    dof: int
    mean: float
    s: float
    rsd_percent: float | None
    u_mean: float
    k: float
    half_width: float
    low: float
    high: float
    coverage: float
    weighted: Weighted | None
    trend: Trend | None


@dataclass(frozen=True, slots=True)
class Pooled:
    """Standard deviation pooled over groups, and its degrees of freedom."""

    s: float
    dof: int


def summarise(
    values: Sequence[Any],
    us: Sequence[float] | None = None,
    *,
    unit: str = "",
    u_common: float = 0.0,
    coverage: float = 0.95,
) -> Summary:
    """Summarise replicates of one quantity.

    Parameters
    ----------
    values : sequence of float or of pint.Quantity
        At least two. Quantities are converted to the unit of the first.
    us : sequence of float, optional
        Standard uncertainty of each, > 0, in the unit of the values, without the part common to
        all runs; gives the weighted mean.
    unit : str
        Unit of plain numbers, for the report.
    u_common : float
        Standard uncertainty common to all runs, added to the weighted mean's.
    coverage : float
        Confidence level of the interval of the mean.

    Raises
    ------
    InputError
        If there are fewer than two replicates, one is not finite, or their units do not fit.
    """
    x, unit = plain_values(values, unit)
    n = x.size
    mean, s = float(np.mean(x)), float(np.std(x, ddof=1))
    k = coverage_factor(n - 1.0, coverage)
    half = k * s / math.sqrt(n)
    return Summary(
        values=tuple(x.tolist()),
        unit=unit,
        n=n,
        dof=n - 1,
        mean=mean,
        s=s,
        rsd_percent=100.0 * s / abs(mean) if mean else None,
        u_mean=s / math.sqrt(n),
        k=k,
        half_width=half,
        low=mean - half,
        high=mean + half,
        coverage=coverage,
        weighted=None if us is None else weighted(x.tolist(), us, u_common=u_common),
        trend=trend(x.tolist()) if n >= 3 else None,
    )


def pooled(groups: Sequence[Sequence[float]]) -> Pooled:
    """Pool the scatter of several groups of replicates, each about its own mean.

    Parameters
    ----------
    groups : sequence of sequences of float
        Groups of one value carry no scatter and are passed over.

    Raises
    ------
    InputError
        If no group has two replicates or more.
    """
    arrays = [plain_values(group, "")[0] for group in groups if len(group) > 1]
    dof = sum(x.size - 1 for x in arrays)
    if not dof:
        raise InputError("To pool scatter, at least one group needs two replicates or more.")
    squares = sum(float(np.sum((x - np.mean(x)) ** 2)) for x in arrays)
    return Pooled(math.sqrt(squares / dof), dof)


def weighted(values: Sequence[float], us: Sequence[float], *, u_common: float = 0.0) -> Weighted:
    """Combine replicates by the inverse squares of their uncertainties.

    Parameters
    ----------
    values, us : sequence of float
        Replicates and the standard uncertainties, > 0, that are independent between them.
    u_common : float
        Standard uncertainty common to all, >= 0; added in quadrature, never averaged down.

    Raises
    ------
    InputError
        If the numbers of values and uncertainties differ, or an uncertainty is not positive.

    Notes
    -----
    Where the replicates scatter more than they should (Birge ratio above one; R. T. Birge,
    Phys. Rev. 40 (1932) 207) the uncertainty is widened by that ratio, never narrowed.
    """
    x, u = plain_values(values, "")[0], np.asarray(us, dtype=float)
    if u.shape != x.shape:
        raise InputError(f"{x.size} replicates need {x.size} uncertainties, not {u.size}.")
    if not np.all(np.isfinite(u) & (u > 0.0)):
        raise InputError("Each replicate's standard uncertainty must be finite and above zero.")
    check_not_negative(u_common, "common to all runs")
    weight = 1.0 / u**2
    mean = float(np.sum(weight * x) / np.sum(weight))
    internal = 1.0 / math.sqrt(float(np.sum(weight)))
    chi2 = float(np.sum(weight * (x - mean) ** 2))
    birge = math.sqrt(chi2 / (x.size - 1))
    p = chi2_above(chi2, x.size - 1)
    total = math.hypot(internal * max(1.0, birge), u_common)
    text = _weighted_text(birge, p)
    return Weighted(mean, total, internal, birge * internal, birge, p, p >= 0.05, text)


def trend(values: Sequence[float], times: Sequence[float] | None = None) -> Trend:
    """Test for a drift over the replicates (is the vinegar evaporating?).

    Parameters
    ----------
    values : sequence of float
        At least three, in the order they were run.
    times : sequence of float, optional
        When, in any unit; the run's number if left out.

    Raises
    ------
    InputError
        If there are fewer than three replicates, or the times do not fit.
    """
    y = plain_values(values, "")[0]
    x = np.arange(1.0, y.size + 1.0) if times is None else np.asarray(times, dtype=float)
    if y.size < 3:
        raise InputError(f"A trend needs three replicates or more, not {y.size}.")
    if x.shape != y.shape or not np.all(np.isfinite(x)) or np.ptp(x) == 0.0:
        raise InputError("The times of the replicates must be finite, differ, and be one for each.")
    dx = x - np.mean(x)
    slope = float(dx @ y / (dx @ dx))
    rest = y - np.mean(y) - slope * dx
    u_slope = math.sqrt(float(rest @ rest) / (y.size - 2) / float(dx @ dx))
    t, p = _slope_test(slope, u_slope, y.size - 2, float(np.max(np.abs(y)) / np.ptp(x)))
    return Trend(slope, u_slope, t, p, p < 0.05, _trend_text(slope, p, times is None))


def plain_values(values: Sequence[Any], unit: str) -> tuple[FloatArray, str]:
    """Return replicates as plain numbers, shape (n,), and their unit.

    Parameters
    ----------
    values : sequence of numbers or quantities
        At least two; quantities are converted to the unit of the first.
    unit : str
        Unit of plain numbers.

    Raises
    ------
    InputError
        If they are no finite numbers, too few, or of several kinds.
    """
    quantities = [hasattr(v, "magnitude") and hasattr(v, "units") for v in values]
    if any(quantities):
        if not all(quantities):
            raise InputError("Some replicates carry a unit and others do not; give it to all.")
        unit = f"{values[0].units:~}"
        values = [_converted(v, values[0]) for v in values]
    try:
        x = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"The replicates must be numbers, not {list(values)!r}.") from None
    if x.ndim != 1 or x.size < 2:
        raise InputError(
            f"{x.size} replicate has no scatter; run at least two, or rely on the budget alone."
        )
    if not np.all(np.isfinite(x)):
        raise InputError(f"Replicate {int(np.argmin(np.isfinite(x))) + 1} is not a finite number.")
    return x, unit


def _converted(quantity: Any, first: Any) -> float:
    if not quantity.is_compatible_with(first.units):
        raise InputError(
            f"Replicates must be of one kind: {quantity.units} cannot be put beside {first.units}."
        )
    return float(quantity.to(first.units).magnitude)


def check_not_negative(u: float, what: str) -> None:
    """Refuse a standard uncertainty that is negative or not finite.

    Raises
    ------
    InputError
        Naming it by `what`.
    """
    if not (math.isfinite(u) and u >= 0.0):
        raise InputError(f"The uncertainty {what} must be zero or more and finite, not {u!r}.")


def chi2_above(chi2: float, dof: int) -> float:
    """Return the chance that chi-squared with `dof` degrees of freedom exceeds `chi2`."""
    from scipy import special

    return float(special.chdtrc(dof, chi2))


def _slope_test(slope: float, u: float, dof: int, size: float) -> tuple[float | None, float]:
    # Residuals of rounding size mean an exact line, level or not.
    if u <= 1e-13 * size:
        return None, 0.0 if abs(slope) > 1e-12 * size else 1.0
    t = slope / u
    return t, _t_outside(t, dof)


def _t_outside(t: float, dof: int) -> float:
    from scipy import special

    return 2.0 * float(special.stdtr(dof, -abs(t)))


def chance(p: float) -> str:
    """Return a chance as text."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}"


def _weighted_text(birge: float, p: float) -> str:
    figures = f"Birge ratio {birge:.2f}, {chance(p)}"
    if p < 0.05:
        return (
            "The replicates scatter more than their uncertainties allow; the uncertainty of the "
            f"weighted mean was widened ({figures})."
        )
    return f"The replicates agree within their uncertainties ({figures})."


def _trend_text(slope: float, p: float, per_run: bool) -> str:
    step = "run" if per_run else "unit of time"
    if p >= 0.05:
        return f"No drift over the replicates can be told ({chance(p)})."
    way = "rise" if slope > 0.0 else "fall"
    return (
        f"The results {way} by {abs(slope):.3g} per {step} ({chance(p)}): something changes "
        "between runs, such as titrant evaporating, suspension settling or a balance drifting."
    )
