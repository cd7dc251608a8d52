"""Reductions over the three channels of a picture, several times faster than by axis."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["largest", "smallest", "total"]

Values = TypeVar("Values", NDArray[np.uint8], NDArray[np.float32], NDArray[np.float64])


def largest(picture: Values) -> Values:
    """Largest of the three channels, shape (..., 3) to (...)."""
    return np.maximum(np.maximum(picture[..., 0], picture[..., 1]), picture[..., 2])


def smallest(picture: Values) -> Values:
    """Smallest of the three channels, shape (..., 3) to (...)."""
    return np.minimum(np.minimum(picture[..., 0], picture[..., 1]), picture[..., 2])


def total(picture: Values) -> Values:
    """Sum of the three channels, shape (..., 3) to (...); not for 8-bit values."""
    return picture[..., 0] + picture[..., 1] + picture[..., 2]
