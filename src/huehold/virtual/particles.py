"""A population of particles that shrink together.

If every particle loses radius at the same speed, whatever its size, then one number, the length
lost so far, tells how much of all of them is left. Lengths are in median radii (by mass).
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.errors import InputError

__all__ = ["ParticleSizes"]

FloatArray = NDArray[np.float64]

_CLASSES = 61
_REACH_SD = 1.5
_NODES = 2001


class ParticleSizes:
    """Log-normal sizes by mass, cut at 1.5 standard deviations (sieved grains have no long tail).

    Parameters
    ----------
    sd : float
        Standard deviation of the natural logarithm of the radius, 0 to 1.5.
    """

    def __init__(self, sd: float) -> None:
        if not 0.0 <= sd <= 1.5:
            raise InputError(
                f"A spread of {sd} in the logarithm of the particle radius makes no sense; "
                "give 0 (all alike) to 1.5."
            )
        self.sd = sd
        offset = np.linspace(-_REACH_SD, _REACH_SD, _CLASSES) if sd > 0.0 else np.zeros(1)
        weight = np.exp(-0.5 * offset**2)
        self.radius: FloatArray = np.exp(sd * offset)
        self.mass: FloatArray = weight / weight.sum()

    @property
    def largest(self) -> float:
        """Radius of the largest particle: when this much is lost, nothing is left."""
        return float(self.radius[-1])

    def left(self, lost: ArrayLike) -> FloatArray:
        """Fraction of the mass that is left after a length was lost, shape (...), in [0, 1]."""
        length = np.asarray(lost, dtype=float)[..., None]
        remaining = np.clip(1.0 - length / self.radius, 0.0, 1.0)
        return np.asarray(remaining**3 @ self.mass)

    def surface(self, lost: ArrayLike) -> FloatArray:
        """Minus the derivative of `left`: mass fraction freed per length lost, shape (...)."""
        length = np.asarray(lost, dtype=float)[..., None]
        remaining = np.clip(1.0 - length / self.radius, 0.0, 1.0)
        return np.asarray(3.0 * remaining**2 / self.radius @ self.mass)

    def lost_for(self, left: float) -> float:
        """Length that must be lost to leave a fraction of the mass, 0 < left <= 1."""
        from scipy.optimize import brentq

        if left >= 1.0:
            return 0.0
        return float(brentq(lambda length: float(self.left(length)) - left, 0.0, self.largest))

    @cached_property
    def table(self) -> tuple[float, list[float]]:
        """Step and values of `left` on an even grid from 0 to `largest`, for fast look-up."""
        grid = np.linspace(0.0, self.largest, _NODES)
        return float(grid[1]), [float(v) for v in self.left(grid)]
