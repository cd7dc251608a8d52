"""The pinhole view of the bench: from centimetres on the table to pixels.

World axes: x to the right, y away from the person, z up, origin under the middle of the cup.
The camera looks at the middle of the liquid, tilted from the vertical.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse

__all__ = ["View", "ellipse_distance_px", "pixel_grid", "place_view"]

Floats = NDArray[np.float64]
Field = NDArray[np.float32]


@dataclass(frozen=True)
class View:
    """A projection of the bench into a picture.

    Attributes
    ----------
    width_px, height_px : int
        Size of the picture.
    matrix : ndarray, shape (3, 4)
        Homogeneous world coordinates in cm to homogeneous pixels.
    """

    width_px: int
    height_px: int
    matrix: Floats

    def project(self, points_cm: Floats) -> Floats:
        """Project world points.

        Parameters
        ----------
        points_cm : ndarray, shape (n, 3)

        Returns
        -------
        ndarray, shape (n, 2)
            x and y in pixels.
        """
        rows = np.column_stack([points_cm, np.ones(len(points_cm))]) @ self.matrix.T
        return rows[:, :2] / rows[:, 2:]

    def plane(self, height_cm: float) -> Floats:
        """Homography, shape (3, 3), from (x, y) of the plane z = height to pixels."""
        m = self.matrix
        return np.column_stack([m[:, 0], m[:, 1], m[:, 2] * height_cm + m[:, 3]])

    def world(self, height_cm: float, oversample: int = 1) -> tuple[Field, Field]:
        """Coordinates of the plane z = height seen by each pixel.

        Returns
        -------
        tuple of ndarray, each of shape (oversample * height_px, oversample * width_px)
            x and y in cm.
        """
        xs, ys = pixel_grid(self.width_px, self.height_px, oversample)
        h = np.linalg.inv(self.plane(height_cm))
        u, v, w = (h[i, 0] * xs + h[i, 1] * ys + h[i, 2] for i in range(3))
        return (u / w).astype(np.float32), (v / w).astype(np.float32)

    def circle(self, x_cm: float, y_cm: float, z_cm: float, radius_cm: float) -> Ellipse:
        """Outline in the picture of a level circle (the conic is carried exactly)."""
        circle = np.array(
            [
                [1.0, 0.0, -x_cm],
                [0.0, 1.0, -y_cm],
                [-x_cm, -y_cm, x_cm**2 + y_cm**2 - radius_cm**2],
            ]
        )
        back = np.linalg.inv(self.plane(z_cm))
        return _ellipse_of_conic(back.T @ circle @ back)

    def pixels_per_cm(self, z_cm: float) -> float:
        """Scale at the middle of the bench, on the plane z = height."""
        ends = self.project(np.array([[-0.5, 0.0, z_cm], [0.5, 0.0, z_cm]]))
        return float(np.hypot(*(ends[1] - ends[0])))


def _ellipse_of_conic(conic: Floats) -> Ellipse:
    quadratic = conic[:2, :2]
    centre = np.linalg.solve(quadratic, -conic[:2, 2])
    constant = conic[2, 2] + conic[:2, 2] @ centre
    values, vectors = np.linalg.eigh(-quadratic / constant)
    semi = 1.0 / np.sqrt(values)
    angle = np.degrees(np.arctan2(vectors[1, 0], vectors[0, 0])) % 180.0
    return Ellipse(float(centre[0]), float(centre[1]), float(semi[0]), float(semi[1]), float(angle))


def place_view(
    size_px: tuple[int, int],
    *,
    tilt_deg: float,
    roll_deg: float,
    cup_px: float,
    cup_radius_cm: float,
    target_cm: tuple[float, float, float],
    offset_px: tuple[float, float] = (0.0, 0.0),
    distance_cm: float = 45.0,
) -> View:
    """Set up the camera.

    Parameters
    ----------
    size_px : (width, height)
    tilt_deg : float
        0 looks straight down, 45 obliquely from the person's side.
    roll_deg : float
        Turn of the camera about its axis.
    cup_px : float
        Wanted diameter in pixels of a circle of the cup's radius at the target.
    cup_radius_cm : float
    target_cm : (x, y, z)
        The point that comes to the middle of the picture, plus `offset_px`.
    distance_cm : float
        From the target to the lens.
    """
    tilt, roll = np.radians(tilt_deg), np.radians(roll_deg)
    forward = np.array([0.0, np.sin(tilt), -np.cos(tilt)])
    right = np.array([1.0, 0.0, 0.0])
    down = np.cross(forward, right)
    right, down = (
        np.cos(roll) * right + np.sin(roll) * down,
        np.cos(roll) * down - np.sin(roll) * right,
    )
    turn = np.vstack([right, down, forward])
    lens = np.asarray(target_cm) - distance_cm * forward
    focal = cup_px * distance_cm / (2.0 * cup_radius_cm)
    width, height = size_px
    inner = np.array(
        [
            [focal, 0.0, (width - 1) / 2.0 + offset_px[0]],
            [0.0, focal, (height - 1) / 2.0 + offset_px[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    return View(width, height, inner @ np.column_stack([turn, -turn @ lens]))


def pixel_grid(width: int, height: int, oversample: int = 1) -> tuple[Floats, Floats]:
    """Pixel coordinates of each (sub)sample, each of shape (n * height, n * width)."""
    n = oversample
    xs = (np.arange(width * n) + 0.5) / n - 0.5
    ys = (np.arange(height * n) + 0.5) / n - 0.5
    grid = np.meshgrid(xs, ys)
    return grid[0], grid[1]


def ellipse_distance_px(ellipse: Ellipse, xs: Floats, ys: Floats) -> Field:
    """Signed distance to an ellipse, first order, negative inside.

    Parameters
    ----------
    ellipse : Ellipse
    xs, ys : ndarray
        Pixel coordinates, any one shape.

    Returns
    -------
    ndarray of float32, the same shape
        Pixels; exact to a few per cent within a tenth of the radius of the outline.
    """
    angle = np.radians(ellipse.angle_deg)
    dx, dy = xs - ellipse.x_px, ys - ellipse.y_px
    u = (np.cos(angle) * dx + np.sin(angle) * dy) / ellipse.semi_major_px
    v = (np.cos(angle) * dy - np.sin(angle) * dx) / ellipse.semi_minor_px
    q = np.hypot(u, v)
    slope = np.hypot(u / ellipse.semi_major_px, v / ellipse.semi_minor_px) / np.maximum(q, 1e-9)
    return np.asarray((q - 1.0) / np.maximum(slope, 1e-9), dtype=np.float32)
