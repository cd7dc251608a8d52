"""Following the vessel from frame to frame by the edges of its rim.

The template is the strength of edges in a ring around the outline: what happens inside
the liquid does not matter, nor does the sign of a contrast that turns as the colour does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import largest, share_after
from huehold.vision.geometry import half_extent, moved, radius_squared

__all__ = ["RingTracker", "Step"]

_TEMPLATE_PX = 56  # longer side of the template after thinning
_INNER, _OUTER = 0.80, 1.22  # ring in units of the outline
_SEARCH = 0.30  # how far the vessel may jump between frames, in units of its half width
_LEARN = 0.04  # share of a sound frame that enters the template, at the usual rate


@dataclass(frozen=True, slots=True)
class Step:
    """Where the vessel went: ellipse, likeness of its ring (-1 to 1), shift in pixels."""

    ellipse: Ellipse
    likeness: float
    shift_px: tuple[float, float]


class RingTracker:
    """Follow one vessel on small pictures.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        Picture in which the outline is known.
    ellipse : Ellipse
        The outline in pixels of that picture.
    """

    def __init__(self, image: NDArray[np.uint8], ellipse: Ellipse) -> None:
        self.ellipse = ellipse
        half = max(half_extent(ellipse))
        self._zoom = min(1.0, _TEMPLATE_PX / (2.0 * _OUTER * half))
        self._half = int(np.ceil(_OUTER * half * self._zoom))
        self._reach = max(3, round(_SEARCH * half * self._zoom))
        grid = np.arange(-self._half, self._half + 1) / self._zoom
        rho_2 = radius_squared(
            moved(ellipse, -ellipse.x_px, -ellipse.y_px), grid[None, :], grid[:, None]
        )
        self._ring = ((rho_2 > _INNER**2) & (rho_2 < _OUTER**2)).astype(np.float32)
        edges = self._edges(image)
        self._template = self._window(edges, 0.0, 0.0)
        # A lopsided ring puts the vertex off its own place; learning would turn that to drift.
        self._bias = (0.0, 0.0)
        self._bias = self._match(edges)[0]

    def step(self, image: NDArray[np.uint8], passed_s: float, *, learn: bool) -> Step:
        """Find the vessel in the next picture, so long after the last.

        `learn` lets the template follow its looks.
        """
        edges = self._edges(image)
        peak, likeness = self._match(edges)
        shift = (peak[0] / self._zoom, peak[1] / self._zoom)
        if likeness > 0.35:
            self.ellipse = moved(self.ellipse, *shift)
        if learn and likeness > 0.6:
            window = self._window(edges, *peak)
            share = np.float32(share_after(_LEARN, passed_s))
            self._template += share * (window - self._template)
        return Step(self.ellipse, likeness, shift)

    def _edges(self, image: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Edge strength around the present place, with room to search."""
        side = 2 * (self._half + self._reach) + 1
        view, zoom, x, y = _halved_view(image, self.ellipse, self._zoom, side)
        turn = np.array([[zoom, 0.0, side // 2 - zoom * x], [0.0, zoom, side // 2 - zoom * y]])
        level = cv2.warpAffine(
            view, turn, (side, side), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        level = cv2.GaussianBlur(level, (3, 3), 0.8)
        dx = np.asarray(cv2.Sobel(level, cv2.CV_32F, 1, 0), dtype=np.float32)
        dy = np.asarray(cv2.Sobel(level, cv2.CV_32F, 0, 1), dtype=np.float32)
        strength = np.sqrt(largest(dx * dx + dy * dy))
        return np.asarray(np.log1p(strength * np.float32(1 / 24)))

    def _window(self, edges: NDArray[np.float32], dx: float, dy: float) -> NDArray[np.float32]:
        centre = self._half + self._reach
        side = 2 * self._half + 1
        patch = cv2.getRectSubPix(edges, (side, side), (centre + dx, centre + dy))
        return _standardised(np.asarray(patch, dtype=np.float32), self._ring)

    def _match(self, edges: NDArray[np.float32]) -> tuple[tuple[float, float], float]:
        score = np.asarray(cv2.matchTemplate(edges, self._template, cv2.TM_CCORR), dtype=np.float32)
        _, _, _, (col, row) = cv2.minMaxLoc(score)
        dx = col - self._reach + _vertex(score[row, :], col) - self._bias[0]
        dy = row - self._reach + _vertex(score[:, col], row) - self._bias[1]
        found = self._window(edges, dx, dy)
        own = math.sqrt(_product(self._template, self._template))
        return (dx, dy), _product(found, self._template) / max(own, 1e-6)


def _halved_view(
    image: NDArray[np.uint8], ellipse: Ellipse, zoom: float, side: int
) -> tuple[NDArray[np.uint8], float, float, float]:
    """Box around the vessel, halved while it is more than twice too fine; zoom left, centre."""
    half = side / (2.0 * zoom) + 4.0
    height, width = image.shape[:2]
    left, top = (int(max(v - half, 0)) // 8 * 8 for v in (ellipse.x_px, ellipse.y_px))
    right, bottom = int(min(ellipse.x_px + half, width)), int(min(ellipse.y_px + half, height))
    view = image[top : max(bottom, top + 2), left : max(right, left + 2)]
    x, y = ellipse.x_px - left, ellipse.y_px - top
    while zoom < 0.5 and min(view.shape[:2]) >= 4:
        view = view[: view.shape[0] // 2 * 2, : view.shape[1] // 2 * 2]
        size = (view.shape[1] // 2, view.shape[0] // 2)
        view = np.asarray(cv2.resize(view, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        x, y, zoom = (x - 0.5) / 2.0, (y - 0.5) / 2.0, 2.0 * zoom
    return view, zoom, x, y


def _standardised(patch: NDArray[np.float32], ring: NDArray[np.float32]) -> NDArray[np.float32]:
    """Zero mean and unit norm inside the ring, zero outside."""
    size = float(ring.sum())
    centred = (patch - np.float32(_product(patch, ring) / size)) * ring
    norm = math.sqrt(_product(centred, centred))
    if norm <= 1e-3 * math.sqrt(size):
        return np.zeros_like(patch)
    return centred * np.float32(1.0 / norm)


def _product(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    return float(np.dot(one.ravel(), other.ravel()))


def _vertex(line: NDArray[np.float32], at: int) -> float:
    """Offset of a parabola's vertex through a maximum and its neighbours."""
    if at <= 0 or at >= len(line) - 1:
        return 0.0
    left, mid, right = (float(v) for v in line[at - 1 : at + 2])
    bend = left - 2.0 * mid + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 else 0.0
