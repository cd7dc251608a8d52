"""A clear, tapered cup: its outlines in the picture and its fixed layers."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.virtual.presets_model import Cup
from huehold.virtual.scene_view import View, ellipse_distance_px

__all__ = ["CupLayers", "CupOutline", "build_layers", "outline_cup", "raised_cm"]

Field = NDArray[np.float32]
_WATER_INDEX = 1.333


def raised_cm(cup: Cup) -> float:
    """How far the ground seems lifted by the liquid above it (apparent depth)."""
    return cup.liquid_cm * (1.0 - 1.0 / _WATER_INDEX)


@dataclass(frozen=True)
class CupOutline:
    """Ellipses of the cup in the picture.

    Attributes
    ----------
    rim, surface, base : Ellipse
        Upper edge, edge of the liquid (of the inner base if empty), and the base as seen.
    silhouette, wet : ndarray of float, shape (n, 2)
        Convex outlines of the whole cup and of the part that holds liquid, in pixels.
    """

    rim: Ellipse
    surface: Ellipse
    base: Ellipse
    silhouette: NDArray[np.float64]
    wet: NDArray[np.float64]


@dataclass(frozen=True)
class CupLayers:
    """Fixed fields over a window of the picture, all float32 of one height and width.

    Attributes
    ----------
    x_px, y_px : int
        Upper left corner of the window.
    optics : ndarray, shape (h, w, 4)
        Share of the pixel that is liquid; share seen through the near wall; path of light
        through the liquid over its depth; gain on the ground behind.
    wall : ndarray, shape (h, w, 4)
        Transmission of the walls (red, green, blue), and light added by their reflections.
    shadow : ndarray, shape (h, w)
        Gain on the ground round the cup.
    glint : ndarray, shape (h, w)
        Light added by reflections on the liquid, which move with it.
    """

    x_px: int
    y_px: int
    optics: Field
    wall: Field
    shadow: Field
    glint: Field

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the picture."""
        h, w = self.shadow.shape
        return slice(self.y_px, self.y_px + h), slice(self.x_px, self.x_px + w)


def _radius_cm(cup: Cup, height_cm: float) -> float:
    """Inner radius at a height above the base."""
    share = height_cm / cup.height_cm
    return cup.radius_cm * (cup.base_ratio + (1.0 - cup.base_ratio) * share)


def _ring(view: View, cup: Cup, height_cm: float, stand_cm: float) -> NDArray[np.float64]:
    turn = np.linspace(0.0, 2.0 * np.pi, 97)[:-1]
    r = _radius_cm(cup, height_cm)
    z = np.full_like(turn, stand_cm + height_cm)
    return view.project(np.column_stack([r * np.cos(turn), r * np.sin(turn), z]))


def _hull(*rings: NDArray[np.float64]) -> NDArray[np.float64]:
    hull = cv2.convexHull(np.vstack(rings).astype(np.float32))
    return np.asarray(hull.reshape(-1, 2), dtype=float)


def outline_cup(view: View, cup: Cup, stand_cm: float) -> CupOutline:
    """Project the cup standing at the origin on the plane z = `stand_cm`."""
    level = max(cup.liquid_cm, 0.15)
    lift = raised_cm(cup)
    rim, surface, base = (_ring(view, cup, h, stand_cm) for h in (cup.height_cm, level, 0.0))
    return CupOutline(
        rim=view.circle(0, 0, stand_cm + cup.height_cm, cup.radius_cm),
        surface=view.circle(0, 0, stand_cm + level, _radius_cm(cup, level)),
        base=view.circle(0, 0, stand_cm + lift, _radius_cm(cup, 0.0)),
        silhouette=_hull(rim, base),
        wet=_hull(surface, base),
    )


def _window(
    outline: CupOutline, view: View, pad_px: int
) -> tuple[int, int, NDArray[np.float64], NDArray[np.float64]]:
    low = np.floor(outline.silhouette.min(axis=0)).astype(int) - pad_px
    high = np.ceil(outline.silhouette.max(axis=0)).astype(int) + pad_px
    x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
    x1, y1 = min(view.width_px, int(high[0])), min(view.height_px, int(high[1]))
    xs, ys = np.meshgrid(np.arange(x0, x1, dtype=float), np.arange(y0, y1, dtype=float))
    return x0, y0, xs, ys


def _coverage(polygon: NDArray[np.float64], x0: int, y0: int, shape: tuple[int, int]) -> Field:
    """Share of each pixel inside a polygon, from 4 x 4 samples."""
    mask = np.zeros((shape[0] * 4, shape[1] * 4), dtype=np.uint8)
    points = (polygon - [x0, y0] + 0.5) * 4 - 0.5
    cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 255, shift=4)
    small = cv2.resize(mask, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.float32) / 255.0


def _bell(distance: Field, centre: float, width: float) -> Field:
    return np.asarray(np.exp(-(((distance - centre) / width) ** 2)), dtype=np.float32)


def build_layers(
    view: View,
    cup: Cup,
    outline: CupOutline,
    rng: np.random.Generator,
    *,
    highlights: float,
    pad_px: int,
) -> CupLayers:
    """Work out the cup's fixed fields.

    Parameters
    ----------
    view : View
    cup : Cup
    outline : CupOutline
    rng : numpy Generator
        Places the bubbles.
    highlights : float
        Strength of reflections.
    pad_px : int
        Room round the silhouette for shadow and movement.
    """
    x0, y0, xs, ys = _window(outline, view, pad_px)
    scale = outline.rim.semi_major_px / 100.0
    to_rim, to_surface, to_base = (
        ellipse_distance_px(e, xs, ys) for e in (outline.rim, outline.surface, outline.base)
    )
    body = _coverage(outline.silhouette, x0, y0, xs.shape)
    wet = _coverage(outline.wet, x0, y0, xs.shape) if cup.liquid_cm > 0 else np.zeros_like(body)
    optics = _optics(wet, to_surface, to_base, scale)
    wall = _wall(cup, body, to_rim, to_surface, optics[..., 0], scale, highlights, outline)
    return CupLayers(
        x0, y0, optics, wall,
        shadow=_shadow(body, scale),
        glint=_glint(outline.surface, xs, ys, to_surface, cup, rng, scale) * np.float32(highlights),
    )  # fmt: skip


def _optics(wet: Field, to_surface: Field, to_base: Field, scale: float) -> Field:
    on_top = np.clip(0.5 - to_surface, 0.0, 1.0)
    near_wall = wet * (1.0 - on_top)
    inside = np.maximum(-to_surface, 0.0)
    path = np.clip(inside / np.maximum(inside + np.maximum(to_base, 0.0), 1e-3), 0.3, 1.0)
    path = path * on_top + 1.15 * (1.0 - on_top)
    outside_base = np.clip(0.5 + to_base / (2.0 * scale + 1.0), 0.0, 1.0)
    corner = 0.38 * _bell(to_base, 0.0, 1.6 * scale + 0.5)
    ground = (1.0 - 0.28 * outside_base) * (1.0 - corner)
    return np.stack([wet, near_wall, path, ground], axis=-1).astype(np.float32)


def _wall(
    cup: Cup, body: Field, to_rim: Field, to_surface: Field, wet: Field, scale: float,
    highlights: float, outline: CupOutline,
) -> Field:  # fmt: skip
    """Transmission of the walls with meniscus, and their reflections."""
    depth = cv2.distanceTransform((body > 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    grazing = np.exp(-depth / (5.0 * scale + 0.5)) * (body > 0.02)
    dry = body * (1.0 - wet)
    line = _bell(to_rim, 0.0, 0.9 * scale + 0.5) + 0.6 * _bell(to_rim, -4.0 * scale, 1.5 * scale)
    loss = 0.42 * grazing * dry + 0.10 * dry + 0.30 * np.minimum(line, 1.0)
    if cup.liquid_cm > 0:
        meniscus = _bell(to_surface, -1.6 * scale - 0.4, 1.5 * scale + 0.5)
        loss = loss + 0.42 * meniscus * (wet > 0)
    clear = np.clip(1.0 - loss, 0.05, 1.0)
    tint = 1.0 - (1.0 - np.array(cup.tint, dtype=np.float32)) * body[..., None]
    shine = _wall_shine(to_rim, to_surface, dry, scale, outline)
    return np.dstack([clear[..., None] * tint, highlights * shine]).astype(np.float32)


def _wall_shine(
    to_rim: Field, to_surface: Field, dry: Field, scale: float, outline: CupOutline
) -> Field:
    """Arcs of light on the rim and streaks down the dry wall."""
    h, w = to_rim.shape
    rim = outline.rim
    angle = np.arctan2(
        np.arange(h)[:, None] - h / 2.0, np.arange(w)[None, :] - w / 2.0
    ) - np.radians(rim.angle_deg)
    arcs = np.clip(np.cos(angle + 2.1), 0, 1) ** 6 + 0.5 * np.clip(np.cos(angle - 0.7), 0, 1) ** 14
    edge = _bell(to_rim, -1.5 * scale, 1.1 * scale + 0.5)
    streak = np.clip(np.cos(angle + 2.5), 0, 1) ** 40 + np.clip(np.cos(angle - 0.35), 0, 1) ** 60
    line = 0.35 * _bell(to_surface, 1.2 * scale, 1.0 * scale + 0.4)
    return np.asarray(
        edge * (0.10 + 0.75 * arcs) + 0.28 * streak * dry + line * (0.15 + arcs) + 0.02 * dry,
        dtype=np.float32,
    )


def _shadow(body: Field, scale: float) -> Field:
    """Contact shadow and the softer one cast to the lower right."""
    contact = cv2.GaussianBlur(body, (0, 0), 4.0 * scale + 0.8)
    shift = np.array([[1, 0, 9.0 * scale], [0, 1, 7.0 * scale]])
    cast = cv2.warpAffine(body, shift, (body.shape[1], body.shape[0]))
    cast = cv2.GaussianBlur(cast, (0, 0), 12.0 * scale + 0.8)
    return np.asarray(1.0 - 0.22 * contact - 0.26 * cast, dtype=np.float32)


def _glint(
    surface: Ellipse, xs: NDArray[np.float64], ys: NDArray[np.float64], to_surface: Field,
    cup: Cup, rng: np.random.Generator, scale: float,
) -> Field:  # fmt: skip
    """Mirror a window and a lamp in the liquid, and set a few bubbles at its edge."""
    if cup.liquid_cm == 0:
        return np.zeros_like(to_surface)
    u = (xs - surface.x_px) / surface.semi_major_px
    v = (ys - surface.y_px) / surface.semi_minor_px
    window = (np.abs(u + 0.34 + 0.25 * v) < 0.15) & (np.abs(v + 0.40) < 0.17)
    bars = (np.abs(u + 0.34 + 0.25 * v) < 0.016) | (np.abs(v + 0.40) < 0.018)
    lamp = (u - 0.42) ** 2 + (v - 0.30) ** 2 < 0.055**2
    light = 0.42 * (window & ~bars) + 1.1 * lamp
    for _ in range(cup.bubbles):
        turn, out, size = rng.uniform(0, 6.28), rng.uniform(0.72, 0.95), rng.uniform(0.012, 0.035)
        away = np.hypot(u - out * np.cos(turn), v - out * np.sin(turn)) / size
        light = light + 0.22 * np.exp(-(((away - 1.0) / 0.35) ** 2)) + 0.4 * (away < 0.35)
    soft = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8 * scale + 0.4)
    return np.asarray(soft * np.clip(0.5 - to_surface, 0.0, 1.0), dtype=np.float32)
