"""Pictures of the classic chart as a camera would take them, from published reflectances."""

from __future__ import annotations

from functools import lru_cache

import colour
import cv2
import numpy as np
from numpy.typing import NDArray

from tests.calibration.card_scene import encode

Floats = NDArray[np.float64]
SHAPE = colour.SpectralShape(400, 700, 10)


@lru_cache(maxsize=16)
def camera_patches(illuminant: str, camera: str = "Nikon 5100 (NPL)") -> Floats:
    """Linear camera light of the 24 patches, a perfect white is 1, white balanced on it."""
    light = colour.SDS_ILLUMINANTS[illuminant].copy().align(SHAPE).values
    eye = colour.MSDS_CAMERA_SENSITIVITIES[camera].copy().align(SHAPE).values
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    patches = np.array([sd.copy().align(SHAPE).values for sd in chart.values()])
    return np.asarray((patches * light) @ eye / (light @ eye))


def chart_picture(
    patches: Floats,
    *,
    turn_deg: float = 8.0,
    size: tuple[int, int] = (1200, 900),
    exposure: float = 0.9,
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 0.004,
    seed: int = 0,
) -> tuple[NDArray[np.uint8], Floats]:
    """Draw the chart, its black frame and a table; return picture and patch middles (24, 2)."""
    rng = np.random.default_rng(seed)
    flat = np.full((440, 640, 3), 0.012)
    for i, patch in enumerate(patches):
        row, column = divmod(i, 6)
        x, y = 34 + column * 98, 32 + row * 98
        flat[y : y + 82, x : x + 82] = np.maximum(patch, 0.0)
    turn = np.radians(turn_deg)
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = np.array([[0, 0], [640, 0], [640, 440], [0, 440]], dtype=float)
    middle = np.array([size[0] / 2, size[1] / 2])
    ends = (corners - [320, 220]) @ rotate.T + middle
    ends[1] += [-18, 12]  # a little perspective
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), ends.astype(np.float32))
    table = np.full((size[1], size[0], 3), (0.25, 0.19, 0.13))
    seen = cv2.warpPerspective(flat, matrix, size, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.ones((440, 640)), matrix, size)[..., None]
    linear = (mask * seen + (1 - mask) * table) * exposure * np.array(balance)
    linear = cv2.GaussianBlur(linear, (0, 0), 0.8)
    linear = linear + noise * np.sqrt(np.maximum(linear, 0.0) + 0.01) * rng.standard_normal(
        linear.shape
    )
    rows, columns = np.divmod(np.arange(24), 6)
    places = np.column_stack([34 + 98 * columns + 40.5, 32 + 98 * rows + 40.5, np.ones(24)])
    at = places @ matrix.T
    return encode(linear), at[:, :2] / at[:, 2:]
