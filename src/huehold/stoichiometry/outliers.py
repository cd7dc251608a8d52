"""Outlier tests as information for a person; nothing here removes a value.

Grubbs' test (two-sided, from Student's t) and Dixon's Q (r10, from the exact distribution of
normal order statistics, so no table is needed).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.uncertain import FloatArray

__all__ = ["OutlierTest", "dixon", "dixon_critical", "grubbs", "grubbs_critical"]

_DIXON_LARGEST = 30
_GRID = 64
_REACH = 7.5


@dataclass(frozen=True, slots=True)
class OutlierTest:
    """What an outlier test says about the most extreme value.

    Attributes
    ----------
    test : str
        ``"Grubbs"`` or ``"Dixon"``.
    index : int
        Place of the most extreme value, from 0.
    value : float
        That value.
    statistic, critical : float
        Test statistic, and what it must exceed to be conspicuous.
    alpha : float
        Level of the two-sided test.
    conspicuous : bool
        `statistic` is above `critical`.
    text : str
        One sentence for the report.
    """

    test: str
    index: int
    value: float
    statistic: float
    critical: float
    alpha: float
    conspicuous: bool
    text: str


def grubbs(values: Sequence[float], *, alpha: float = 0.05) -> OutlierTest:
    """Grubbs' test for a single outlier, G = max |x - mean| / s, two-sided.

    Parameters
    ----------
    values : sequence of float
        At least three replicates, not all equal.
    alpha : float
        Level, in (0, 0.5).

    Raises
    ------
    InputError
        If there are too few values, or they do not differ.
    """
    x = _checked(values, alpha, "Grubbs")
    distance = np.abs(x - np.mean(x))
    index = int(np.argmax(distance))
    statistic = float(distance[index] / np.std(x, ddof=1))
    return _result("Grubbs", x, index, statistic, grubbs_critical(x.size, alpha), alpha)


def dixon(values: Sequence[float], *, alpha: float = 0.05) -> OutlierTest:
    """Dixon's Q test, gap over range (r10), two-sided.

    Parameters
    ----------
    values : sequence of float
        3 to 30 replicates, not all equal.
    alpha : float
        Level, in (0, 0.5).

    Raises
    ------
    InputError
        If there are too few or too many values, or they do not differ.
    """
    x = _checked(values, alpha, "Dixon")
    order = np.argsort(x, kind="stable")
    ranked = x[order]
    gaps = np.array([ranked[1] - ranked[0], ranked[-1] - ranked[-2]])
    side = int(np.argmax(gaps))
    statistic = float(gaps[side] / (ranked[-1] - ranked[0]))
    index = int(order[-side])
    return _result("Dixon", x, index, statistic, dixon_critical(x.size, alpha), alpha)


def grubbs_critical(n: int, alpha: float = 0.05) -> float:
    """Two-sided critical value of Grubbs' G for n values (from t with n - 2 dof)."""
    from scipy import special

    t = float(special.stdtrit(n - 2.0, 1.0 - alpha / (2.0 * n)))
    return (n - 1.0) / math.sqrt(n) * math.sqrt(t * t / (n - 2.0 + t * t))


def dixon_critical(n: int, alpha: float = 0.05) -> float:
    """Critical value of Dixon's Q (r10), each side taken at alpha / 2.

    From P(Q > q) = n (n - 1) integral over a < b of phi(a) phi(b)
    [Phi(b) - Phi(a + q (b - a))]^(n - 2), the gap on one named side of n normal values.

    Raises
    ------
    InputError
        If n is outside 3 to 30.
    """
    from scipy.optimize import brentq

    if not 3 <= n <= _DIXON_LARGEST:
        raise InputError(f"Dixon's Q is for 3 to {_DIXON_LARGEST} values, not {n}.")
    return float(brentq(lambda q: _dixon_above(q, n) - alpha / 2.0, 1e-6, 1.0 - 1e-6, xtol=1e-7))


def _dixon_above(q: float, n: int) -> float:
    from scipy import special

    nodes, weights = np.polynomial.legendre.leggauss(_GRID)
    a, wa = _REACH * nodes[:, None], _REACH * weights[:, None]
    width = (_REACH - a) / 2.0
    b, wb = a + width * (nodes + 1.0), width * weights
    density = np.exp(-0.5 * (a * a + b * b)) / (2.0 * math.pi)
    between = np.clip(special.ndtr(b) - special.ndtr(a + q * (b - a)), 0.0, None)
    return float(n * (n - 1) * np.sum(wa * wb * density * between ** (n - 2)))


def _checked(values: Sequence[float], alpha: float, test: str) -> FloatArray:
    if not 0.0 < alpha < 0.5:
        raise UsageError(f"The level of a test must lie between 0 and 0.5, not {alpha!r}.")
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or x.size < 3:
        raise InputError(f"{test}: an outlier test needs three replicates or more, not {x.size}.")
    if not np.all(np.isfinite(x)):
        raise InputError(f"{test}: a replicate is not a finite number.")
    if np.ptp(x) == 0.0:
        raise InputError(f"{test}: all {x.size} replicates are equal, so none stands out.")
    return x


def _result(
    test: str, x: FloatArray, index: int, statistic: float, critical: float, alpha: float
) -> OutlierTest:
    conspicuous = statistic > critical
    value = float(x[index])
    level = f"{100.0 * alpha:g} %"
    figures = f"{statistic:.3f}, limit {critical:.3f} for {x.size} values at {level}"
    verdict = (
        "stands out; look for a cause in the notes before leaving anything out"
        if conspicuous
        else "does not stand out"
    )
    text = f"{test}: replicate {index + 1} ({value:g}) {verdict} ({figures})."
    return OutlierTest(test, index, value, statistic, critical, alpha, conspicuous, text)
