"""Pictures of a cup painted from a few numbers, for tests of the vision alone.

Plain geometry and no optics: everything is given in linear light, painted at twice the
size and reduced, then put through the camera's gain, noise and the sRGB curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np

from huehold.core import Ellipse, Frame, Rect

ORANGE = (0.62, 0.17, 0.03)
YELLOW = (0.60, 0.42, 0.04)
GREEN = (0.10, 0.26, 0.07)
PALE_GREEN = (0.42, 0.55, 0.36)

TABLES = {
    "wood": (0.30, 0.17, 0.09),
    "grey": (0.25, 0.25, 0.26),
    "white": (0.62, 0.61, 0.60),
    "green": (0.08, 0.30, 0.12),
    "blue": (0.07, 0.13, 0.35),
    "orange": (0.55, 0.20, 0.06),
    "black": (0.02, 0.02, 0.02),
}


@dataclass(frozen=True)
class Picture:
    """What is painted; lengths as shares of the shorter side unless they end in _px."""

    width_px: int = 640
    height_px: int = 360
    x: float = 0.5  # share of the width
    y: float = 0.5  # share of the height
    radius: float = 0.26  # of the liquid
    aspect: float = 1.0  # 0.71 is 45 degrees
    angle_deg: float = 0.0
    liquid: tuple[float, float, float] = ORANGE
    clear: float = 0.0  # how much of the ground's pattern shows through the liquid
    wall: tuple[float, float, float] = (0.55, 0.55, 0.55)
    wall_width: float = 0.16  # share of the radius
    rim_shift: float = 0.0  # how far the rim lies above the liquid in the picture, in radii
    table: str = "wood"
    check: float = 0.0  # strength of a checked table
    check_px: float = 18.0
    card: bool = True
    cup: bool = True
    glare: float = 0.0  # share of the radius of a highlight
    plume: float = 0.0  # share of the radius of a patch of green
    hand: float = 0.0  # how far an arm reaches in from the right, share of the width
    hand_width: float = 0.22  # share of the height
    dropper: bool = False
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    noise: float = 1.5  # in codes
    blur_px: float = 0.0
    seed: int = 0

    @property
    def ellipse(self) -> Ellipse:
        """The true outline of the liquid."""
        a = self.radius * min(self.width_px, self.height_px)
        return Ellipse(
            self.x * self.width_px, self.y * self.height_px, a, a * self.aspect, self.angle_deg
        )

    @property
    def card_rect(self) -> Rect:
        """The white card."""
        w, h = self.width_px, self.height_px
        return Rect(0.04 * w, 0.08 * h, 0.11 * w, 0.22 * h)

    def but(self, **changes: object) -> Picture:
        """Return the picture with some things changed."""
        return replace(self, **changes)

    def frame(self, time_s: float = 0.0) -> Frame:
        """Paint it."""
        return Frame(time_s, paint(self))


def paint(p: Picture) -> np.ndarray:
    """sRGB picture, uint8."""
    plain = p.but(seed=0, noise=0.0, gain=(1.0, 1.0, 1.0), blur_px=0.0)
    return _develop(_light(plain), p)


@lru_cache(maxsize=64)
def _light(p: Picture) -> np.ndarray:
    size = (2 * p.height_px, 2 * p.width_px)
    ground = np.empty((*size, 3), np.float32)
    ground[:] = TABLES[p.table]
    rows, columns = np.mgrid[: size[0], : size[1]].astype(np.float32)
    check = np.sin(np.pi * columns / (2 * p.check_px)) * np.sin(np.pi * rows / (2 * p.check_px)) > 0
    ground *= (1.0 - p.check * check)[..., None]
    ground *= (1.0 + 0.1 * (columns / size[1] - 0.5))[..., None]
    if p.card:
        _fill_rect(ground, p.card_rect, (0.70, 0.70, 0.70))
    scene = ground.copy()
    if p.cup:
        _paint_cup(scene, ground, p)
    _paint_hand(scene, p)
    return cv2.resize(scene, (p.width_px, p.height_px), interpolation=cv2.INTER_AREA)


def _paint_cup(scene, ground, p):
    e = p.ellipse
    rim = replace(
        e,
        y_px=e.y_px - p.rim_shift * e.semi_minor_px,
        semi_major_px=e.semi_major_px * (1 + p.wall_width),
        semi_minor_px=e.semi_minor_px * (1 + p.wall_width),
    )
    _fill(scene, replace(rim, semi_major_px=1.06 * rim.semi_major_px,
                         semi_minor_px=1.06 * rim.semi_minor_px),
          tuple(1.3 * v for v in p.wall))  # fmt: skip
    _fill(scene, rim, p.wall)
    mask = np.zeros(scene.shape[:2], np.uint8)
    _fill(mask, e, 255)
    middle = np.float32(ground.reshape(-1, 3).mean(axis=0))
    seen = (ground / middle) ** p.clear
    scene[mask > 0] = (seen * np.float32(p.liquid))[mask > 0]
    if p.plume:
        spot = replace(e, x_px=e.x_px + 0.3 * e.semi_major_px,
                       semi_major_px=p.plume * e.semi_major_px,
                       semi_minor_px=p.plume * e.semi_minor_px)  # fmt: skip
        _fill(scene, spot, GREEN)
    if p.glare:
        spot = replace(e, x_px=e.x_px - 0.3 * e.semi_major_px,
                       y_px=e.y_px - 0.2 * e.semi_minor_px,
                       semi_major_px=p.glare * e.semi_major_px,
                       semi_minor_px=p.glare * e.semi_minor_px)  # fmt: skip
        _fill(scene, spot, (3.0, 3.0, 3.0))


def _paint_hand(scene, p):
    height, width = scene.shape[:2]
    if p.hand:
        y = int(p.y * height)
        end = (int(width * (1 - p.hand)), y)
        cv2.line(scene, (width + 200, y + 60), end, (0.45, 0.24, 0.15), int(p.hand_width * height))
    if p.dropper:
        e = p.ellipse
        tip = (int(2 * e.x_px + 0.3 * e.semi_major_px), int(2 * e.y_px))
        cv2.line(scene, tip, (int(0.95 * width), 0), (0.05, 0.05, 0.06), int(0.05 * height))


def _fill(canvas, e, colour):
    one = 16
    centre = (round((2 * e.x_px + 0.5) * one), round((2 * e.y_px + 0.5) * one))
    axes = (round(2 * e.semi_major_px * one), round(2 * e.semi_minor_px * one))
    cv2.ellipse(canvas, centre, axes, e.angle_deg, 0, 360, colour, -1, cv2.LINE_8, 4)


def _fill_rect(canvas, r, colour):
    left, top = round(2 * r.x_px), round(2 * r.y_px)
    canvas[top : top + round(2 * r.height_px), left : left + round(2 * r.width_px)] = colour


def _develop(linear, p):
    rng = np.random.default_rng(p.seed)
    light = np.clip(linear * np.float32(p.gain), 0.0, 1.0)
    if p.blur_px:
        light = cv2.GaussianBlur(light, (0, 0), p.blur_px)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    noisy = 255.0 * coded + p.noise * rng.standard_normal(coded.shape, dtype=np.float32)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
