"""Propagation of distributions by Monte Carlo (JCGM 101:2008), and the check of first order.

The number of trials grows until mean, standard uncertainty and both ends of the interval are
stable to the number of digits asked for (the adaptive procedure, 7.9).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.propagate import Budget, Model
from huehold.stoichiometry.rounding import round_half_even
from huehold.stoichiometry.uncertain import Correlations, FloatArray, Input, correlation_matrix

__all__ = ["Agreement", "MonteCarlo", "compare", "monte_carlo", "numerical_tolerance"]

_NO_CORRELATIONS: Correlations = MappingProxyType({})
_SMALLEST_BLOCK = 10_000
# The supplement starts at two blocks; their scatter then rests on one degree of freedom and
# is often small by chance. Ten blocks make that rare.
_FEWEST_BLOCKS = 10


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """What the trials gave.

    Attributes
    ----------
    mean : float
        Mean of the trials; their median if `heavy_tails`.
    u : float or None
        Standard deviation of the trials; None if `heavy_tails`, where it does not exist.
    low, high : float
        Ends of the probabilistically symmetric interval for `coverage`.
    coverage : float
        Coverage probability, 0 to 1.
    trials : int
        Number of trials made.
    converged : bool
        Whether the results are stable to `tolerance`; False if the largest number of
        trials came first.
    digits : int
        Significant digits of the standard uncertainty regarded as meaningful.
    tolerance : float
        Numerical tolerance that belongs to `digits`, in the unit of the result.
    seed : int
        Seed the trials can be repeated with.
    heavy_tails : bool
        True if an input stands on three readings or fewer: its t distribution, with at most
        two degrees of freedom, has no variance.
    """

    mean: float
    u: float | None
    low: float
    high: float
    coverage: float
    trials: int
    converged: bool
    digits: int
    tolerance: float
    seed: int
    heavy_tails: bool = False


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether first order and Monte Carlo agree (JCGM 101, clause 8).

    Attributes
    ----------
    ok : bool
        Both ends of the two intervals agree within `tolerance`.
    text : str
        The same as a sentence.
    low_difference, high_difference : float
        Distances of the lower and of the upper ends, >= 0.
    tolerance : float
        What the distances were held against.
    """

    ok: bool
    text: str
    low_difference: float
    high_difference: float
    tolerance: float


def monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    correlations: Correlations = _NO_CORRELATIONS,
    *,
    coverage: float = 0.95,
    seed: int,
    digits: int = 2,
    max_trials: int = 2_000_000,
) -> MonteCarlo:
    """Propagate distributions through a model, with as many trials as it takes.

    Parameters
    ----------
    model : callable
        Takes a mapping of input name to an array of trials, returns an array of that shape.
    inputs : sequence of Input
        At least one.
    correlations : mapping of (name, name) to float, optional
        Correlated inputs are drawn through a Gaussian copula: exact for normal inputs; for
        other shapes the coefficient is that of the underlying normal variables (two
        rectangular inputs at 0.5 come out at 0.483).
    coverage : float
        Coverage probability of the interval, in (0, 1).
    seed : int
        Seed of the generator; the same seed gives the same result.
    digits : int
        Significant digits of the standard uncertainty to be stable, 1 to 4.
    max_trials : int
        Where to stop even if not stable. Ten blocks of 10 000 trials are the least (larger
        blocks for a coverage above 0.99), unless this asks for fewer.

    Returns
    -------
    MonteCarlo

    Raises
    ------
    InputError
        If trials give no finite number, or the correlations are impossible.
    UsageError
        If an argument is out of range, or the model does not take arrays.
    """
    _check_arguments(inputs, coverage, digits)
    matrix = correlation_matrix(inputs, correlations)
    rng = np.random.default_rng(seed)
    size = max(_SMALLEST_BLOCK, math.ceil(100.0 / (1.0 - coverage)))
    most = max(max_trials // size, 2)
    heavy = any(item.distribution == "t" and item.dof <= 2.0 and item.u for item in inputs)
    blocks: list[FloatArray] = []
    figures: list[FloatArray] = []
    converged = False
    while len(blocks) < most and not converged:
        draws = _draw(inputs, matrix, rng, size)
        blocks.append(_run(model, draws, size))
        figures.append(_figures(blocks[-1], coverage, heavy))
        enough = len(blocks) >= min(_FEWEST_BLOCKS, most)
        converged = enough and _stable(np.array(figures), digits)
    return _gather(np.concatenate(blocks), coverage, digits, seed, heavy, converged)


def compare(budget: Budget, trials: MonteCarlo, *, digits: int = 1) -> Agreement:
    """Hold the first-order interval against the Monte Carlo one (JCGM 101, clause 8).

    Parameters
    ----------
    budget : Budget
        From `propagate`.
    trials : MonteCarlo
        From `monte_carlo`, of the same model and inputs.
    digits : int
        Significant digits of the standard uncertainty that count as meaningful. One by
        default: trials stable to two digits are then five times finer than the tolerance,
        as 8.2 asks.

    Returns
    -------
    Agreement
    """
    half = budget.expanded(trials.coverage).U
    low = abs(budget.value - half - trials.low)
    high = abs(budget.value + half - trials.high)
    # Without a variance the width of the interval stands in for it.
    scale = budget.u if trials.u is not None else (trials.high - trials.low) / 4.0
    tolerance = numerical_tolerance(scale, digits)
    ok = max(low, high) <= tolerance
    return Agreement(ok, _agreement_text(budget, trials, half, ok), low, high, tolerance)


def numerical_tolerance(u: float, digits: int) -> float:
    """Half a unit in the last meaningful digit of a standard uncertainty (JCGM 101, 7.9.2).

    Parameters
    ----------
    u : float
        Standard uncertainty, >= 0; zero gives zero.
    digits : int
        Significant digits that are meaningful, >= 1.
    """
    if u <= 0.0:
        return 0.0
    exponent = int(f"{u:.{digits - 1}e}".split("e")[1])
    return float(0.5 * 10.0 ** (exponent - digits + 1))


def _check_arguments(inputs: Sequence[Input], coverage: float, digits: int) -> None:
    if not inputs:
        raise UsageError("Monte Carlo needs at least one input.")
    if not 0.0 < coverage < 1.0:
        raise UsageError(f"Coverage must lie between 0 and 1, not {coverage!r}.")
    if not 1 <= digits <= 4:
        raise UsageError(f"Digits to be stable must be 1 to 4, not {digits!r}.")


def _draw(
    inputs: Sequence[Input], matrix: FloatArray, rng: np.random.Generator, n: int
) -> dict[str, FloatArray]:
    tied = np.flatnonzero(np.count_nonzero(matrix, axis=1) > 1)
    normals = _correlated_normals(matrix[np.ix_(tied, tied)], rng, n)
    draws = {}
    for position, item in enumerate(inputs):
        if position in tied:
            from scipy import special

            z = normals[int(np.searchsorted(tied, position))]
            draws[item.name] = item.quantile(np.asarray(special.ndtr(z)))
        else:
            draws[item.name] = item.sample(rng, n)
    return draws


def _correlated_normals(matrix: FloatArray, rng: np.random.Generator, n: int) -> FloatArray:
    # By eigenvalues, since a coefficient of exactly 1 or -1 leaves no Cholesky factor.
    values, vectors = np.linalg.eigh(matrix)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(root @ rng.standard_normal((len(matrix), n)))


def _run(model: Model, draws: dict[str, FloatArray], size: int) -> FloatArray:
    with np.errstate(all="ignore"):
        try:
            result = np.asarray(model(draws), dtype=float)
        except (TypeError, ValueError) as error:
            raise UsageError(f"The model does not work on arrays of trials: {error}.") from error
    if result.shape not in ((), (size,)):
        raise UsageError(f"The model gave shape {result.shape} for {size} trials.")
    result = np.broadcast_to(result, (size,))
    bad = int(np.count_nonzero(~np.isfinite(result)))
    if bad:
        raise InputError(
            f"{bad} of {size} Monte Carlo trials gave no finite number; an input's uncertainty "
            "reaches to where the result cannot be computed (a mass or volume of zero?)."
        )
    return result


def _figures(values: FloatArray, coverage: float, heavy: bool) -> FloatArray:
    low, middle, high = np.quantile(values, [0.5 - coverage / 2, 0.5, 0.5 + coverage / 2])
    if heavy:
        return np.array([middle, (high - low) / 4.0, low, high])
    return np.array([np.mean(values), np.std(values, ddof=1), low, high])


def _stable(figures: FloatArray, digits: int) -> bool:
    spread = np.std(figures, axis=0, ddof=1) / math.sqrt(len(figures))
    tolerance = numerical_tolerance(float(np.mean(figures[:, 1])), digits)
    return bool(np.all(2.0 * spread <= tolerance))


def _gather(
    values: FloatArray, coverage: float, digits: int, seed: int, heavy: bool, converged: bool
) -> MonteCarlo:
    middle, spread, low, high = (float(x) for x in _figures(values, coverage, heavy))
    return MonteCarlo(
        mean=middle,
        u=None if heavy else spread,
        low=low,
        high=high,
        coverage=coverage,
        trials=len(values),
        converged=converged,
        digits=digits,
        tolerance=numerical_tolerance(spread, digits),
        seed=seed,
        heavy_tails=heavy,
    )


def _agreement_text(budget: Budget, trials: MonteCarlo, half: float, ok: bool) -> str:
    share = f"{100.0 * trials.coverage:g} %"
    first = _interval(budget.value - half, budget.value + half, budget.u)
    drawn = _interval(trials.low, trials.high, budget.u)
    both = f"the {share} interval is {first} by first-order propagation and {drawn} by Monte Carlo"
    stable = "" if trials.converged else f" (not yet stable after {trials.trials} trials)"
    if ok:
        return f"The figures stated are of first order, which Monte Carlo confirms: {both}{stable}."
    return (
        "The figures stated are by Monte Carlo, made symmetric to hold both ends, since first "
        f"order is not good enough here: {both}{stable}."
    )


def _interval(low: float, high: float, u: float) -> str:
    """Write an interval to the second significant digit of the standard uncertainty."""
    if u == 0.0:
        return f"[{low:g}, {high:g}]"
    places = -int(f"{u:.1e}".split("e")[1]) + 1
    return f"[{round_half_even(low, places):f}, {round_half_even(high, places):f}]"
