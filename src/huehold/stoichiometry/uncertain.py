"""Inputs with their doubt: value, standard uncertainty, kind, distribution, degrees of freedom.

An `Input` is what an uncertainty budget is made of (JCGM 100:2008, clause 4) and what a
Monte Carlo trial draws from (JCGM 101:2008, clause 6).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from huehold.errors import InputError, UsageError

__all__ = ["Correlations", "Distribution", "FloatArray", "Input", "Kind", "correlation_matrix"]

FloatArray = NDArray[np.float64]
Correlations = Mapping[tuple[str, str], float]
Kind = Literal["A", "B"]
Distribution = Literal["normal", "rectangular", "triangular", "arcsine", "t"]

# Standard uncertainty = half width / divisor (JCGM 100, 4.3.7, 4.3.9; JCGM 101, 6.4.2-6.4.6).
_DIVISOR = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "arcsine": math.sqrt(2.0)}


@dataclass(frozen=True, slots=True)
class Input:
    """One input quantity of a measurement model.

    Attributes
    ----------
    name : str
        The name the model knows it by.
    value : float
        Best estimate, in `unit`; finite.
    unit : str
        Unit of `value` and `u`, as text.
    u : float
        Standard uncertainty, >= 0. For distribution ``"t"`` it is the scale, s / sqrt(n)
        for the mean of n readings.
    kind : {"A", "B"}
        A: from the statistics of readings; B: from anything else (JCGM 100, 3.3.5).
    distribution : {"normal", "rectangular", "triangular", "arcsine", "t"}
        What is drawn from in a Monte Carlo trial.
    dof : float
        Degrees of freedom of `u`, > 0; infinite when `u` is taken as exactly known.
    source : str
        Where value and uncertainty come from, for the report.

    Raises
    ------
    InputError
        If a number is not finite, `u` is negative or `dof` is not positive.
    UsageError
        If the name is empty, or the kind or distribution is unknown.
    """

    name: str
    value: float
    unit: str
    u: float
    kind: Kind = "B"
    distribution: Distribution = "normal"
    dof: float = math.inf
    source: str = ""

    def __post_init__(self) -> None:
        _check_words(self)
        _check_numbers(self)

    @classmethod
    def rectangular(
        cls, name: str, value: float, half_width: float, unit: str, source: str = ""
    ) -> Input:
        """Anything within value +/- half_width is equally likely; u = half_width / sqrt(3)."""
        return _bounded(name, value, half_width, unit, "rectangular", source)

    @classmethod
    def triangular(
        cls, name: str, value: float, half_width: float, unit: str, source: str = ""
    ) -> Input:
        """Within value +/- half_width, the middle likelier; u = half_width / sqrt(6)."""
        return _bounded(name, value, half_width, unit, "triangular", source)

    @classmethod
    def arcsine(
        cls, name: str, value: float, half_width: float, unit: str, source: str = ""
    ) -> Input:
        """Cycle sinusoidally with that amplitude; u = half_width / sqrt(2)."""
        return _bounded(name, value, half_width, unit, "arcsine", source)

    @classmethod
    def normal(
        cls,
        name: str,
        value: float,
        u: float,
        unit: str,
        dof: float = math.inf,
        source: str = "",
    ) -> Input:
        """Give a standard uncertainty as a certificate or handbook states it (type B).

        With finite `dof` the value is drawn from the scaled and shifted t distribution
        (JCGM 101, 6.4.9.7).
        """
        shape: Distribution = "normal" if math.isinf(dof) else "t"
        return cls(name, value, unit, u, "B", shape, dof, source)

    @classmethod
    def type_a(cls, name: str, values: Sequence[float], unit: str, source: str = "") -> Input:
        """Mean of repeated readings, u = s / sqrt(n), n - 1 degrees of freedom (JCGM 100, 4.2).

        Raises
        ------
        InputError
            If there are fewer than two readings.
        """
        readings = np.asarray(values, dtype=float)
        n = readings.size
        if n < 2:
            raise InputError(
                f"{name}: {n} reading gives no scatter; take at least two, "
                "or state its uncertainty instead."
            )
        if not np.all(np.isfinite(readings)):
            raise InputError(f"{name}: reading {_first_bad(readings)} is not a finite number.")
        u = float(np.std(readings, ddof=1)) / math.sqrt(n)
        text = source or f"{n} readings"
        return cls(name, float(np.mean(readings)), unit, u, "A", "t", n - 1.0, text)

    def sample(self, rng: np.random.Generator, n: int) -> FloatArray:
        """Draw values for Monte Carlo trials.

        Parameters
        ----------
        rng : numpy.random.Generator
            Seeded by the caller.
        n : int
            Number of trials, >= 1.

        Returns
        -------
        ndarray of float64, shape (n,)
        """
        return self.value + self.u * self._standard_draws(rng, n)

    def quantile(self, probability: FloatArray) -> FloatArray:
        """Values below which the given shares of the distribution lie.

        Parameters
        ----------
        probability : ndarray of float64
            Each in (0, 1).
        """
        return self.value + self.u * _standard_quantile(self, probability)

    def _standard_draws(self, rng: np.random.Generator, n: int) -> FloatArray:
        match self.distribution:
            case "normal":
                return rng.standard_normal(n)
            case "t":
                return rng.standard_t(self.dof, n)
            case "triangular":
                return rng.triangular(-1.0, 0.0, 1.0, n) * _DIVISOR["triangular"]
            case "rectangular":
                return rng.uniform(-1.0, 1.0, n) * _DIVISOR["rectangular"]
            case "arcsine":
                phase = rng.uniform(-math.pi / 2, math.pi / 2, n)
                return np.sin(phase) * _DIVISOR["arcsine"]


def correlation_matrix(inputs: Sequence[Input], correlations: Correlations) -> FloatArray:
    """Correlation coefficients of the inputs as a matrix, checked.

    Parameters
    ----------
    inputs : sequence of Input
        With names that differ.
    correlations : mapping of (name, name) to float
        Pairs that are correlated, each -1 to 1; pairs not named are uncorrelated.

    Returns
    -------
    ndarray of float64, shape (n, n)
        Symmetric, ones on the diagonal, no negative eigenvalue.

    Raises
    ------
    UsageError
        If two inputs share a name, or a pair names an unknown input, itself, or is given twice
        with different values.
    InputError
        If a coefficient is outside -1 to 1, or the coefficients contradict each other.
    """
    index = _index_by_name(inputs)
    matrix = np.eye(len(inputs))
    seen: dict[frozenset[str], float] = {}
    for (first, second), r in correlations.items():
        _check_pair(first, second, r, index)
        if seen.setdefault(frozenset((first, second)), r) != r:
            raise UsageError(f"The correlation of {first} with {second} is given twice, unequal.")
        matrix[index[first], index[second]] = matrix[index[second], index[first]] = r
    if len(inputs) and float(np.min(np.linalg.eigvalsh(matrix))) < -1e-9 * len(inputs):
        raise InputError(
            "The correlations contradict each other (no quantities can be correlated like that: "
            "the matrix has a negative eigenvalue); check their signs and sizes."
        )
    return matrix


def _bounded(
    name: str, value: float, half_width: float, unit: str, shape: Distribution, source: str
) -> Input:
    if not half_width >= 0.0:
        raise InputError(f"{name}: the half width must be zero or more, not {half_width!r}.")
    text = source or f"+/- {half_width:g} {unit}, {shape}".replace(" ,", ",")
    return Input(name, value, unit, half_width / _DIVISOR[shape], "B", shape, math.inf, text)


def _check_words(item: Input) -> None:
    if not item.name:
        raise UsageError("An input of a budget needs a name.")
    if item.kind not in get_args(Kind):
        raise UsageError(f"{item.name}: kind must be A or B, not {item.kind!r}.")
    if item.distribution not in get_args(Distribution):
        known = ", ".join(get_args(Distribution))
        raise UsageError(f"{item.name}: distribution {item.distribution!r} is none of {known}.")


def _check_numbers(item: Input) -> None:
    if not math.isfinite(item.value):
        raise InputError(f"{item.name}: the value {item.value!r} is not a finite number.")
    if not (math.isfinite(item.u) and item.u >= 0.0):
        raise InputError(
            f"{item.name}: the standard uncertainty must be zero or more and finite, "
            f"not {item.u!r}."
        )
    if not item.dof > 0.0:
        raise InputError(
            f"{item.name}: degrees of freedom must be more than zero, not {item.dof!r}."
        )
    if item.distribution == "t" and math.isinf(item.dof):
        raise InputError(f"{item.name}: a t distribution needs finite degrees of freedom.")


def _standard_quantile(item: Input, p: FloatArray) -> FloatArray:
    from scipy import special

    match item.distribution:
        case "normal":
            return np.asarray(special.ndtri(p), dtype=float)
        case "t":
            return np.asarray(special.stdtrit(item.dof, p), dtype=float)
        case "triangular":
            near = np.sqrt(2.0 * np.minimum(p, 1.0 - p)) - 1.0
            return np.where(p < 0.5, near, -near) * _DIVISOR["triangular"]
        case "rectangular":
            return (2.0 * p - 1.0) * _DIVISOR["rectangular"]
        case "arcsine":
            return np.sin(math.pi * (p - 0.5)) * _DIVISOR["arcsine"]


def _index_by_name(inputs: Sequence[Input]) -> dict[str, int]:
    index: dict[str, int] = {}
    for position, item in enumerate(inputs):
        if item.name in index:
            raise UsageError(f"Two inputs are both called {item.name}; give each its own name.")
        index[item.name] = position
    return index


def _check_pair(first: str, second: str, r: float, index: Mapping[str, int]) -> None:
    for name in (first, second):
        if name not in index:
            raise UsageError(
                f"A correlation names {name}, which is no input; inputs are {', '.join(index)}."
            )
    if first == second:
        raise UsageError(f"A correlation pairs {first} with itself; leave it out.")
    if not -1.0 <= r <= 1.0:
        raise InputError(
            f"The correlation of {first} with {second} must be between -1 and 1, not {r!r}."
        )


def _first_bad(readings: FloatArray) -> int:
    return int(np.argmin(np.isfinite(readings))) + 1
