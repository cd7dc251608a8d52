"""Ellipses and rectangles in pixels: measuring along, inside and around them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.core import Ellipse, Rect
from huehold.vision.channels import count, median_of

__all__ = [
    "boundary",
    "fit_ellipse",
    "grown",
    "half_extent",
    "moved",
    "normalised_radius",
    "radius_squared",
    "resized",
    "resized_rect",
    "same_place",
    "sample",
]

FloatArray = NDArray[np.float64]


def grown(ellipse: Ellipse, factor: float) -> Ellipse:
    """Concentric ellipse with both axes times `factor`."""
    return replace(
        ellipse,
        semi_major_px=ellipse.semi_major_px * factor,
        semi_minor_px=ellipse.semi_minor_px * factor,
    )


def moved(ellipse: Ellipse, dx_px: float, dy_px: float) -> Ellipse:
    """Return the ellipse shifted by a vector in pixels."""
    return replace(ellipse, x_px=ellipse.x_px + dx_px, y_px=ellipse.y_px + dy_px)


def resized(ellipse: Ellipse, factor: float) -> Ellipse:
    """Return the ellipse as seen in a picture `factor` times as large; centres at integers."""
    return Ellipse(
        (ellipse.x_px + 0.5) * factor - 0.5,
        (ellipse.y_px + 0.5) * factor - 0.5,
        ellipse.semi_major_px * factor,
        ellipse.semi_minor_px * factor,
        ellipse.angle_deg,
    )


def resized_rect(rect: Rect, factor: float) -> Rect:
    """Return the rectangle as seen in a picture `factor` times as large."""
    return Rect(*(factor * v for v in (rect.x_px, rect.y_px, rect.width_px, rect.height_px)))


def normalised_radius(ellipse: Ellipse, x: ArrayLike, y: ArrayLike) -> FloatArray:
    """Radius in units of the ellipse: below 1 inside, 1 on it, above 1 outside."""
    return np.asarray(np.sqrt(radius_squared(ellipse, x, y)))


def radius_squared(ellipse: Ellipse, x: ArrayLike, y: ArrayLike) -> FloatArray:
    """Square of `normalised_radius`, at a few operations a point.

    Parameters
    ----------
    ellipse : Ellipse
    x, y : array_like
        Pixels; a row and a column make a grid.
    """
    angle = math.radians(ellipse.angle_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    along, across = ellipse.semi_major_px**-2, ellipse.semi_minor_px**-2
    dx = np.asarray(x, dtype=float) - ellipse.x_px
    dy = np.asarray(y, dtype=float) - ellipse.y_px
    slant = 2.0 * cos * sin * (along - across)
    square_x = (cos * cos * along + sin * sin * across) * dx * dx
    square_y = (sin * sin * along + cos * cos * across) * dy * dy
    return np.asarray(np.maximum(square_x + square_y + (slant * dx) * dy, 0.0))


def boundary(ellipse: Ellipse, count: int, scale: ArrayLike = 1.0) -> FloatArray:
    """Points at equal parameter steps around the ellipse.

    Parameters
    ----------
    ellipse : Ellipse
    count : int
        Number of directions.
    scale : array_like, shape (m,) or scalar
        Radii in units of the ellipse.

    Returns
    -------
    ndarray, shape (m, count, 2)
        x and y in pixels.
    """
    t = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    angle = np.radians(ellipse.angle_deg)
    u, v = ellipse.semi_major_px * np.cos(t), ellipse.semi_minor_px * np.sin(t)
    ring = np.stack(
        [u * np.cos(angle) - v * np.sin(angle), u * np.sin(angle) + v * np.cos(angle)], axis=-1
    )
    radii = np.atleast_1d(np.asarray(scale, dtype=float))
    return np.asarray(radii[:, None, None] * ring + np.array([ellipse.x_px, ellipse.y_px]))


def half_extent(ellipse: Ellipse) -> tuple[float, float]:
    """Half width and half height of the upright box around the ellipse."""
    angle = math.radians(ellipse.angle_deg)
    c, s = math.cos(angle), math.sin(angle)
    a, b = ellipse.semi_major_px, ellipse.semi_minor_px
    return math.hypot(a * c, b * s), math.hypot(a * s, b * c)


def sample(image: NDArray[np.uint8] | NDArray[np.float32], points: FloatArray) -> FloatArray:
    """Bilinear values of an image at points of shape (m, n, 2); edges are repeated."""
    xy = points.astype(np.float32)
    values = cv2.remap(
        image, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(values, dtype=float)


def fit_ellipse(points: FloatArray, rounds: int = 3) -> tuple[Ellipse, FloatArray] | None:
    """Fit an ellipse to points of which some may lie far off.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
    rounds : int
        Times the worst points are dropped and the rest fitted anew.

    Returns
    -------
    (Ellipse, ndarray of shape (n,)) or None
        The ellipse and every point's distance from it in units of its radius; None if the
        points do not make an ellipse.
    """
    x, y = points[:, 0], points[:, 1]
    single = points.astype(np.float32)
    kept = np.ones(len(points), dtype=bool)
    result: tuple[Ellipse, FloatArray] | None = None
    for _ in range(rounds):
        if count(kept) < 6:
            return None
        ellipse = _from_cv2(cv2.fitEllipseDirect(single[kept]))
        if ellipse is None:
            return None
        off = np.abs(normalised_radius(ellipse, x, y) - 1.0)
        result = ellipse, off
        limit = max(2.5 * 1.4826 * median_of(off), 0.015)
        before, kept = kept, off <= limit
        if np.array_equal(before, kept):
            break
    return result


def _from_cv2(box: tuple[Sequence[float], Sequence[float], float]) -> Ellipse | None:
    (x, y), (first, second), angle = box
    if not math.isfinite(x + y + first + second + angle) or min(first, second) <= 1.0:
        return None
    if first < second:
        first, second, angle = second, first, angle + 90.0
    return Ellipse(float(x), float(y), first / 2.0, second / 2.0, float(angle) % 180.0)


def same_place(one: Ellipse, other: Ellipse, tolerance: float = 0.12) -> bool:
    """Whether two ellipses agree in place and size within a share of their size."""
    size = max(one.semi_major_px, other.semi_major_px)
    shift = np.hypot(one.x_px - other.x_px, one.y_px - other.y_px)
    major = abs(one.semi_major_px - other.semi_major_px)
    minor = abs(one.semi_minor_px - other.semi_minor_px)
    return bool(max(shift, major, minor) <= tolerance * size)
