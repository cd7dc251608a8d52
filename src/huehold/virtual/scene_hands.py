"""Hands, sleeves and droppers as pictures that are laid over the scene."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["SKINS", "Sprite", "hand_sprite", "lay_over"]

Field = NDArray[np.float32]
Floats = NDArray[np.float64]

SKINS: dict[str, tuple[float, float, float]] = {
    "light": (0.60, 0.36, 0.26),
    "medium": (0.43, 0.235, 0.15),
    "tan": (0.27, 0.135, 0.08),
    "dark": (0.10, 0.052, 0.034),
}

# Capsules of the hand: x and y of both ends, radius at both ends, in cm. The fingertips are
# near the origin and the arm runs along +x.
_FINGERS = (
    (0.2, -0.25, 4.6, -1.5, 0.50, 0.74),
    (0.3, 0.45, 3.9, 2.0, 0.58, 0.86),
    (1.5, -1.5, 5.0, -2.2, 0.54, 0.76),
    (2.7, -2.7, 5.4, -2.9, 0.50, 0.72),
)
_NAILS = (
    (0.12, -0.28, 0.62, -0.42, 0.24, 0.26),
    (0.25, 0.44, 0.75, 0.66, 0.28, 0.30),
    (1.35, -1.48, 1.8, -1.58, 0.26, 0.28),
    (2.6, -2.7, 3.0, -2.72, 0.24, 0.26),
)
_PALM = ((4.8, -1.2, 7.6, -0.2, 2.0, 2.2), (4.2, 1.6, 7.4, 0.6, 1.1, 1.9))
_WRIST = ((7.0, 0.1, 10.5, 0.6, 2.0, 1.9),)
_SLEEVE = ((10.0, 0.5, 15.0, 1.2, 2.6, 3.1), (15.0, 1.2, 40.0, 4.0, 3.1, 4.4))
_DROPPER = ((-3.4, 0.35, 0.0, 0.15, 0.10, 0.28), (-0.2, 0.15, 2.6, 0.0, 0.30, 0.34))
_BULB = ((2.2, 0.0, 4.0, -0.1, 0.55, 0.75),)
_EXTENT_CM = (-4.0, 40.0, -6.5, 9.5)  # left, right, top, bottom


@dataclass(frozen=True)
class Sprite:
    """A picture with opacity, placed by its anchor.

    Attributes
    ----------
    image : ndarray of float32, shape (h, w, 4)
        Reflectance times opacity, and opacity.
    shadow : ndarray of float32, shape (h, w)
        Depth of its soft shadow, 0 to 1.
    anchor_px : (x, y)
        The fingertips (or the dropper's tip) in the picture.
    """

    image: Field
    shadow: Field
    anchor_px: tuple[float, float]


def _capsules(parts: tuple[tuple[float, ...], ...], xs: Field, ys: Field) -> tuple[Field, Field]:
    """Signed distance (negative inside, cm) and local radius of a union of tapered capsules."""
    best = np.full(xs.shape, 1e3, dtype=np.float32)
    radius = np.ones_like(best)
    for x0, y0, x1, y1, r0, r1 in parts:
        dx, dy = x1 - x0, y1 - y0
        t = np.clip(((xs - x0) * dx + (ys - y0) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
        r = r0 + t * (r1 - r0)
        away = np.hypot(xs - x0 - t * dx, ys - y0 - t * dy) - r
        closer = away < best
        best = np.where(closer, away, best)
        radius = np.where(closer, r, radius)
    return best, radius


def _rounded_shade(away: Field, radius: Field) -> Field:
    """Light on a round limb, darker towards its outline."""
    inside = np.clip(-away / radius, 0.0, 1.0)
    height = np.sqrt(np.clip(1.0 - (1.0 - inside) ** 2, 0.0, 1.0))
    return np.asarray(0.48 + 0.52 * height, dtype=np.float32)


def hand_sprite(
    pixels_per_cm: float,
    skin: str,
    sleeve: tuple[float, float, float],
    *,
    dropper: bool,
    rng: np.random.Generator,
) -> Sprite:
    """Paint an arm that reaches in from +x.

    Parameters
    ----------
    pixels_per_cm : float
        At the height of the hand.
    skin : str
        A name from `SKINS`.
    sleeve : (red, green, blue)
        Linear reflectance.
    dropper : bool
        Whether it holds a dropper, whose tip is then the anchor.
    rng : numpy Generator
        Folds of the sleeve.
    """
    left, right, top, bottom = _EXTENT_CM
    w, h = int((right - left) * pixels_per_cm), int((bottom - top) * pixels_per_cm)
    xs, ys = np.meshgrid(
        np.linspace(left, right, w, dtype=np.float32), np.linspace(top, bottom, h, dtype=np.float32)
    )
    image = np.zeros((h, w, 4), dtype=np.float32)
    soft = 1.2 / pixels_per_cm
    if dropper:
        _layer(image, _DROPPER, xs, ys, (0.78, 0.80, 0.80), soft, opacity=0.45)
        _layer(image, _BULB, xs, ys, (0.42, 0.12, 0.07), soft)
    colour = SKINS[skin]
    for part in (_WRIST, _PALM, *((finger,) for finger in reversed(_FINGERS))):
        _layer(image, part, xs, ys, colour, soft)
    nail = tuple(min(1.0, 0.8 * c + 0.12) for c in colour)
    _layer(image, _NAILS, xs, ys, (nail[0], nail[1], nail[2]), soft, opacity=0.6)
    folds = 1.0 + 0.10 * np.sin(3.1 * xs + 1.7 * np.sin(1.3 * ys + rng.uniform(0, 6)))
    _layer(image, _SLEEVE, xs, ys, sleeve, soft, gain=folds)
    shadow = cv2.GaussianBlur(image[..., 3], (0, 0), 1.1 * pixels_per_cm)
    tip = (-3.4, 0.35) if dropper else (0.2, 0.1)
    anchor = ((tip[0] - left) * pixels_per_cm, (tip[1] - top) * pixels_per_cm)
    return Sprite(image, np.ascontiguousarray(shadow), anchor)


def _layer(
    image: Field,
    parts: tuple[tuple[float, ...], ...],
    xs: Field,
    ys: Field,
    colour: tuple[float, float, float],
    soft: float,
    *,
    opacity: float = 1.0,
    gain: Field | float = 1.0,
) -> None:
    away, radius = _capsules(parts, xs, ys)
    share = np.clip(0.5 - away / soft, 0.0, 1.0) * np.float32(opacity)
    shade = (_rounded_shade(away, radius) * gain)[..., None] * np.array(colour, dtype=np.float32)
    image *= (1.0 - share)[..., None]
    image[..., :3] += share[..., None] * shade
    image[..., 3] += share


def lay_over(
    scene: Field,
    sprite: Sprite,
    at_px: tuple[float, float],
    turn_rad: float,
    *,
    scale: float = 1.0,
    mirror: bool = False,
    shadow: float = 0.4,
) -> None:
    """Lay a sprite and its shadow over the scene, in place.

    Parameters
    ----------
    scene : ndarray of float32, shape (height, width, 3)
    sprite : Sprite
    at_px : (x, y)
        Where its anchor goes.
    turn_rad : float
        Direction of the arm, clockwise from +x in the picture.
    scale : float
    mirror : bool
        A left hand.
    shadow : float
        Depth of the shadow.
    """
    h, w = scene.shape[:2]
    move = _placing(sprite, at_px, turn_rad, scale, mirror)
    cast = move.copy()
    cast[:, 2] += [0.05 * w, 0.05 * h]
    x0, y0, x1, y1 = _reach(sprite, (move, cast), (w, h))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    part, size = scene[y0:y1, x0:x1], (x1 - x0, y1 - y0)
    for matrix in (move, cast):
        matrix[:, 2] -= [x0, y0]
    gain = 1.0 - np.float32(shadow) * np.asarray(cv2.warpAffine(sprite.shadow, cast, size))
    moved = np.asarray(cv2.warpAffine(sprite.image, move, size))
    gain *= 1.0 - moved[..., 3]
    part *= cv2.merge([gain, gain, gain])
    part += moved[..., :3]


def _reach(
    sprite: Sprite, matrices: tuple[Floats, ...], size: tuple[int, int]
) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of what the sprite and its shadow can touch in the picture."""
    h, w = sprite.shadow.shape
    corners = np.array([[0, 0, 1], [w, 0, 1], [0, h, 1], [w, h, 1]], dtype=float)
    places = np.vstack([corners @ matrix.T for matrix in matrices])
    low = np.clip(np.floor(places.min(axis=0)), 0, size).astype(int)
    high = np.clip(np.ceil(places.max(axis=0)) + 1, 0, size).astype(int)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _placing(
    sprite: Sprite, at_px: tuple[float, float], turn_rad: float, scale: float, mirror: bool
) -> Floats:
    c, s = scale * np.cos(turn_rad), scale * np.sin(turn_rad)
    flip = -1.0 if mirror else 1.0
    turn = np.array([[c, -s * flip], [s, c * flip]])
    return np.column_stack([turn, np.asarray(at_px) - turn @ np.asarray(sprite.anchor_px)])
