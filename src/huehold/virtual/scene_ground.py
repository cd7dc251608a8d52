"""The table, the printed sheet, the white card and the balance's body, painted once."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.virtual.presets_model import BalanceOn, Ground, WhiteCard
from huehold.virtual.scene_view import View

__all__ = ["BODY_CM", "DISPLAY_CM", "PAN_HEIGHT_CM", "noise_tile", "paint_bench", "standing_cm"]

Field = NDArray[np.float32]

PAN_HEIGHT_CM = 2.2
BODY_CM = (6.1, -9.6, 7.6)  # half width, front, back
DISPLAY_CM = (-2.9, -9.1, 5.8, 1.9)  # left, front, width, depth
_SHEET_THICKNESS_CM = 0.02
_SUB = 2  # samples per pixel and axis

_TABLES: dict[str, tuple[float, float, float]] = {
    "wood": (0.36, 0.21, 0.11),
    "white": (0.72, 0.71, 0.68),
    "grey": (0.33, 0.33, 0.34),
    "slate": (0.055, 0.06, 0.065),
    "green": (0.09, 0.34, 0.13),
    "blue": (0.08, 0.16, 0.36),
}


def noise_tile(rng: np.random.Generator, size: int, sigma: tuple[float, float]) -> Field:
    """Make a seamless square of smooth noise with mean 0 and standard deviation 1."""
    raw = rng.standard_normal((size, size)).astype(np.float32)
    pad = int(4 * max(sigma)) + 1
    wide = cv2.copyMakeBorder(raw, pad, pad, pad, pad, cv2.BORDER_WRAP)
    smooth = cv2.GaussianBlur(wide, (0, 0), sigmaX=sigma[0], sigmaY=sigma[1])[pad:-pad, pad:-pad]
    return np.asarray((smooth - smooth.mean()) / smooth.std(), dtype=np.float32)


def standing_cm(balance: BalanceOn) -> float:
    """Height of the plane the cup stands on."""
    return PAN_HEIGHT_CM if balance.shown else _SHEET_THICKNESS_CM


@dataclass(frozen=True)
class _Painter:
    """Reflectance as a function of place, for one bench."""

    ground: Ground
    grain: Field
    mottle: Field

    def table(self, x: Field, y: Field) -> Field:
        """Table top in its colour, grained or mottled, shape (n, m, 3)."""
        colour = np.array(_TABLES[self.ground.table], dtype=np.float32)
        tile, scale = (self.grain, 14.0) if self.ground.table == "wood" else (self.mottle, 18.0)
        strength = 0.16 if self.ground.table == "wood" else 0.045
        return _tinted(colour, 1.0 + strength * _sample(tile, x * scale, y * scale))

    def body(self, x: Field, y: Field) -> Field:
        """Top of the balance: light plastic, a round glass pan with a dark joint."""
        shade = 1.0 + 0.012 * _sample(self.mottle, x * 30.0, y * 30.0)
        radius = np.hypot(x, y)
        joint = 1.0 - 0.55 * np.exp(-(((radius - 5.75) / 0.07) ** 2))
        plate = np.where(radius < 5.75, 1.06, 1.0)
        return _tinted(np.array([0.50, 0.51, 0.52], dtype=np.float32), shade * joint * plate)

    def sheet(self, x: Field, y: Field) -> Field:
        """Sheet of print under the cup, shape (n, m, 3)."""
        ink = _ink(self.ground, x, y)
        paper = 0.80 * (1.0 + 0.01 * _sample(self.mottle, x * 40.0, y * 40.0))
        return _tinted(np.array([1.0, 0.99, 0.96], dtype=np.float32), paper * (1.0 - 0.9 * ink))


def _tinted(colour: Field, shade: Field | NDArray[np.float64]) -> Field:
    return np.asarray(colour * shade[..., None], dtype=np.float32)


def _sample(tile: Field, u: Field, v: Field) -> Field:
    size = np.float32(tile.shape[0])
    return np.asarray(
        cv2.remap(tile, np.mod(u, size), np.mod(v, size), cv2.INTER_LINEAR,
                  borderMode=cv2.BORDER_WRAP)
    )  # fmt: skip


def _ink(ground: Ground, x: Field, y: Field) -> Field:
    """Return the printed share, 0 to 1."""
    if ground.pattern == "none":
        return np.zeros_like(x)
    u, v = x / ground.pattern_cm, y / ground.pattern_cm
    if ground.pattern == "checker":
        return np.asarray((np.floor(u) + np.floor(v)) % 2, dtype=np.float32)
    if ground.pattern == "grid":
        line = 0.09
        return np.asarray((np.mod(u, 1) < line) | (np.mod(v, 1) < line), dtype=np.float32)
    row = np.mod(2.2 * v, 1) < 0.45  # words as broken strokes
    word = np.sin(7.3 * u + 13.0 * np.floor(2.2 * v)) + np.sin(17.1 * u) > -0.35
    return np.asarray(row & word, dtype=np.float32)


def paint_bench(
    view: View,
    ground: Ground,
    card: WhiteCard,
    balance: BalanceOn,
    raised_cm: float,
    rng: np.random.Generator,
) -> tuple[Field, Field]:
    """Paint everything that never moves.

    Parameters
    ----------
    view : View
    ground, card, balance : settings
    raised_cm : float
        How far refraction lifts the ground under the liquid towards the eye.
    rng : numpy Generator
        For the grain.

    Returns
    -------
    tuple of ndarray, each of shape (height_px, width_px, 3)
        Reflectance of the bench, and of the surface under the cup as seen through water.
    """
    painter = _Painter(ground, noise_tile(rng, 256, (14.0, 1.2)), noise_tile(rng, 256, (1.5, 1.5)))
    stand = standing_cm(balance)
    bench = painter.table(*view.world(0.0, _SUB))
    _lay(bench, view, 0.0, card, painter)
    if balance.shown:
        _set_balance(bench, view, painter)
    top = _standing_surface(view, stand, balance, painter)
    on_top = _inside(view, stand, _sheet_corners(ground))
    bench = np.where(on_top[..., None] > 0, top, bench)
    under = _standing_surface(view, stand + raised_cm, balance, painter)
    return _reduce(bench, view), _reduce(under, view)


def _reduce(image: Field, view: View) -> Field:
    return np.asarray(
        cv2.resize(image, (view.width_px, view.height_px), interpolation=cv2.INTER_AREA)
    )


def _standing_surface(view: View, z: float, balance: BalanceOn, painter: _Painter) -> Field:
    x, y = view.world(z, _SUB)
    bare = painter.body(x, y) if balance.shown else painter.table(x, y)
    half = painter.ground.paper_cm / 2.0
    covered = (np.abs(x) < half) & (np.abs(y) < half)
    return np.where(covered[..., None], painter.sheet(x, y), bare)


def _sheet_corners(ground: Ground) -> NDArray[np.float64]:
    half = ground.paper_cm / 2.0
    return np.array([[-half, -half], [half, -half], [half, half], [-half, half]])


def _inside(view: View, z: float, corners_cm: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Mask of a level polygon, at the sample grid of the painting."""
    points = view.project(np.column_stack([corners_cm, np.full(len(corners_cm), z)]))
    mask = np.zeros((view.height_px * _SUB, view.width_px * _SUB), dtype=np.uint8)
    samples = np.round(((points + 0.5) * _SUB - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [samples], 1, shift=4)
    return mask


def _lay(bench: Field, view: View, z: float, card: WhiteCard, painter: _Painter) -> None:
    if not card.shown:
        return
    x0, y0 = card.x_cm - card.width_cm / 2.0, card.y_cm - card.height_cm / 2.0
    x1, y1 = x0 + card.width_cm, y0 + card.height_cm
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    _shade(bench, _inside(view, z, corners + np.array([0.12, -0.12])), 3.0, 0.35)
    mask = _inside(view, z, corners)[..., None] > 0
    x, y = view.world(z, _SUB)
    shade = card.reflectance * (1.0 + 0.006 * _sample(painter.mottle, x * 35.0, y * 35.0))
    np.copyto(bench, shade[..., None], where=mask)


def _shade(bench: Field, mask: NDArray[np.uint8], sigma: float, depth: float) -> None:
    """Darken the bench by a soft shadow in the form of `mask`."""
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), sigma * _SUB)
    bench *= (1.0 - depth * soft)[..., None]


def _set_balance(bench: Field, view: View, painter: _Painter) -> None:
    half, front, back = BODY_CM
    corners = _rounded(half, front, back, 1.1)
    low, high = _inside(view, 0.0, corners), _inside(view, PAN_HEIGHT_CM, corners)
    _shade(bench, _inside(view, 0.0, corners + np.array([0.5, -0.4])), 9.0, 0.5)
    side = np.asarray(cv2.dilate(low, np.ones((3, 3), np.uint8)), dtype=np.uint8)
    for z in np.linspace(0.0, PAN_HEIGHT_CM, 12):
        side |= _inside(view, float(z), corners)
    np.copyto(bench, np.array([0.24, 0.245, 0.25], dtype=np.float32), where=(side > 0)[..., None])
    np.copyto(bench, painter.body(*view.world(PAN_HEIGHT_CM, _SUB)), where=(high > 0)[..., None])


def _rounded(half: float, front: float, back: float, radius: float) -> NDArray[np.float64]:
    """Outline of a rounded rectangle."""
    turn = np.radians(np.arange(0, 91, 10))
    arcs = []
    for sx, sy, start in ((1, 1, 0.0), (-1, 1, 90.0), (-1, -1, 180.0), (1, -1, 270.0)):
        angle = turn + np.radians(start)
        cx = sx * (half - radius)
        cy = (back - radius) if sy > 0 else (front + radius)
        arcs.append(np.column_stack([cx + radius * np.cos(angle), cy + radius * np.sin(angle)]))
    return np.vstack(arcs)
