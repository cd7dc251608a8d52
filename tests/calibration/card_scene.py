"""Pictures of the printed bench card: pose, light, blur, noise, cup and hand, with the truth."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.calibration.card import card_layout
from huehold.calibration.card_print import Bar, Ring, draw_page
from huehold.core import Ellipse

Floats = NDArray[np.float64]
PX_PER_MM = 300.0 / 25.4


@lru_cache(maxsize=4)
def card_raster(cup_mm: int, paper: float = 0.85, ink: float = 0.04) -> NDArray[np.float32]:
    """Reflectance of the card (words left out) at 300 dpi, its outline as the picture's edge."""
    layout = card_layout(cup_mm)
    page = draw_page(layout)
    left, top = (o - layout.half_mm for o in page.origin_mm)
    side = round(2 * layout.half_mm * PX_PER_MM)
    image = np.full((side, side), paper, dtype=np.float32)
    for shape in page.shapes:
        x, y = (shape.x_mm - left) * PX_PER_MM, (shape.y_mm - top) * PX_PER_MM
        if isinstance(shape, Ring):
            line = round(shape.line_mm * PX_PER_MM)
            cv2.circle(image, (round(x), round(y)), round(shape.radius_mm * PX_PER_MM), 0.1, line)
        elif isinstance(shape, Bar) and shape.colour == "#000000" and y < side:
            bottom, right = y + shape.height_mm * PX_PER_MM, x + shape.width_mm * PX_PER_MM
            image[round(y) : round(bottom), round(x) : round(right)] = ink
    return image


@dataclass(frozen=True)
class Scene:
    """How the card is seen."""

    cup_mm: int = 75
    size: tuple[int, int] = (1280, 720)
    tilt_deg: float = 0.0
    turn_deg: float = 0.0
    cup_px: float = 240.0
    offset_px: tuple[float, float] = (0.0, 0.0)
    light: tuple[float, float, float] = (0.80, 0.78, 0.72)
    slope: tuple[float, float] = (0.0, 0.0)  # log light over half the picture's width, height
    blur_px: float = 0.7
    noise: float = 0.004
    exponent: float = 1.0  # of the camera's tone curve before the sRGB one
    bend_mm: float = 0.0  # sag of a card bent like a sheet of paper
    hidden: tuple[int, ...] = ()  # markers that a hand covers
    cup: tuple[float, float, float] | None = None  # linear colour of a liquid that fills the ring
    shadow: float = 0.0  # depth of a shadow with an edge across the card
    raster: NDArray[np.float32] | None = None
    seed: int = 0
    table: tuple[float, float, float] = field(default=(0.36, 0.21, 0.11))


@dataclass(frozen=True)
class Picture:
    """A rendered picture and its truth."""

    image: NDArray[np.uint8]
    homography: Floats
    cup: Ellipse
    white: Floats  # linear light of the paper at the ring's middle, as the camera codes it


def pose(scene: Scene) -> Floats:
    """Homography from mm on the card to pixels for a camera 450 mm away."""
    distance = 450.0
    tilt, turn = np.radians(scene.tilt_deg), np.radians(scene.turn_deg)
    c, s = np.cos(turn), np.sin(turn)
    spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    lean = np.array(
        [[1, 0, 0], [0, np.cos(tilt), np.sin(tilt)], [0, -np.sin(tilt), np.cos(tilt)]], dtype=float
    )
    turned = lean @ spin
    focal = scene.cup_px * distance / scene.cup_mm
    width, height = scene.size
    cx, cy = width / 2 + scene.offset_px[0], height / 2 + scene.offset_px[1]
    inner = np.array([[focal, 0, cx], [0, focal, cy], [0, 0, 1.0]])
    matrix = inner @ np.column_stack([turned[:, 0], turned[:, 1], [0.0, 0.0, distance]])
    return matrix / matrix[2, 2]


def ellipse_of(homography: Floats, radius: float) -> Ellipse:
    """Projected circle by a fit to many points of it (not the way the package does it)."""
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = np.column_stack([radius * np.cos(t), radius * np.sin(t), np.ones_like(t)])
    ends = ring @ homography.T
    (x, y), (a, b), angle = cv2.fitEllipseDirect((ends[:, :2] / ends[:, 2:]).astype(np.float32))
    if a < b:
        a, b, angle = b, a, angle + 90.0
    return Ellipse(x, y, a / 2, b / 2, angle % 180.0)


def render(scene: Scene) -> Picture:
    """Draw the scene."""
    layout = card_layout(scene.cup_mm)
    raster = card_raster(scene.cup_mm) if scene.raster is None else scene.raster
    rng = np.random.default_rng(scene.seed)
    homography = pose(scene)
    x, y = _card_mm(homography, scene)
    half = layout.half_mm
    scale = raster.shape[0] / (2 * half)
    finest = scene.cup_px / scene.cup_mm / scale  # pixels of the picture to one of the raster
    soft = cv2.GaussianBlur(raster, (0, 0), max(0.45 / finest, 0.3))
    u = ((x + half) * scale - 0.5).astype(np.float32)
    v = ((y + half) * scale - 0.5).astype(np.float32)
    paper = cv2.remap(soft, u, v, cv2.INTER_LINEAR)
    inside = ((np.abs(x) < half) & (np.abs(y) < half)).astype(np.float32)[..., None]
    grain = cv2.GaussianBlur(rng.standard_normal(x.shape).astype(np.float32), (0, 0), 12, sigmaY=1)
    table = np.array(scene.table, dtype=np.float32) * (1 + 0.6 * grain[..., None])
    tint = np.array([1.0, 0.995, 0.97], dtype=np.float32)
    picture = inside * paper[..., None] * tint + (1 - inside) * table
    for index in scene.hidden:
        mx, my = layout.marker_middles[index]
        hand = np.hypot(x - mx, y - my) < 14.0
        picture[hand] = np.array([0.5, 0.32, 0.24])
    if scene.cup is not None:
        picture[np.hypot(x, y) < layout.cup_mm / 2 + 1.5] = 0.75
        picture[np.hypot(x, y) < layout.cup_mm / 2 - 1.0] = scene.cup
    light = _light(scene)
    shade = np.ones_like(x)
    shade[(x + 0.6 * y) > 20.0] = 1.0 - scene.shadow
    linear = picture * light * cv2.GaussianBlur(shade, (0, 0), 4.0)[..., None]
    if scene.blur_px > 0:
        linear = cv2.GaussianBlur(linear, (0, 0), scene.blur_px)
    linear = linear + scene.noise * np.sqrt(linear + 0.01) * rng.standard_normal(linear.shape)
    shown = np.clip(linear, 0, 1) ** scene.exponent
    centre = np.array(scene.light) * 0.85 * tint
    at = homography @ [0.0, 0.0, 1.0]
    column, row = at[:2] / at[2]
    white = centre * _light_at(scene, column, row)
    cup = ellipse_of(homography, layout.cup_mm / 2)
    return Picture(encode(shown), homography, cup, white**scene.exponent)


def _card_mm(homography: Floats, scene: Scene) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    width, height = scene.size
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).astype(float)
    back = np.linalg.inv(homography)
    ends = grid @ back[:, :2].T + back[:, 2]
    x, y = ends[..., 0] / ends[..., 2], ends[..., 1] / ends[..., 2]
    if scene.bend_mm:
        half = card_layout(scene.cup_mm).half_mm
        lift = scene.bend_mm * (x / half) ** 2  # edges rise towards the lens: they look larger
        x, y = x * (1 - lift / 450.0), y * (1 - lift / 450.0) - lift * np.tan(0.35)
    return x.astype(np.float32), y.astype(np.float32)


def _light_at(scene: Scene, x: float, y: float) -> float:
    width, height = scene.size
    u, v = 2 * x / width - 1, 2 * y / height - 1
    return float(np.exp(scene.slope[0] * u + scene.slope[1] * v))


def _light(scene: Scene) -> NDArray[np.float64]:
    width, height = scene.size
    u = np.linspace(-1, 1, width)[None, :, None]
    v = np.linspace(-1, 1, height)[:, None, None]
    return np.array(scene.light) * np.exp(scene.slope[0] * u + scene.slope[1] * v)


def encode(linear: NDArray[np.float64]) -> NDArray[np.uint8]:
    """sRGB codes (IEC 61966-2-1), written out here to be independent of the package."""
    value = np.clip(linear, 0, 1)
    coded = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    return np.rint(255 * coded).astype(np.uint8)
