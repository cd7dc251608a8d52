"""What a card that was found says about light and camera: white, evenness, tone curve.

Spots of blank paper all over the card give the light as a plane in log light; spots that
are covered, mirrored or shaded stand out of it and are left out. The halftone ramps give
the tone curve: far off, a field of fine lines sends the light of its bare paper.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from huehold.calibration.card import CardLayout, Field
from huehold.calibration.card_find import CardSight
from huehold.vision.colour import LINEAR_OF_CODE

__all__ = ["CardLight", "Ramp", "ToneCurve", "fit_tone", "measure_light", "measure_ramp"]

FloatArray = NDArray[np.float64]

_FULL_CODE = 253  # from here a code is at the end of its scale
_GRAIN = 0.10  # relative spread within a spot that tells a thing, an edge or a mirror image
_TINT = 0.08  # log ratio of channels against the usual spot that tells another colour
_OFF = 0.025  # log light below or above the plane that leaves a spot out
_LEAST_SPOTS = 5
_SHADED_SPOTS = 3
_OWN_SHADOW_MM = 9.0
_STEEP = 0.35  # log light from one side of the card to the other
_UNEVEN = 0.04  # root mean square of the spots around the plane
_BLURRED_LINES = 0.12  # spread within a field, of the paper's light, that shows its lines
_GAIN_PRIOR = (0.02, 0.03)  # how far printing darkens a half-covered field: usual, scatter
_INK_PRIOR = (0.05, 0.03)  # reflectance of solid ink against the paper's
_BREAK = 0.03  # rise against the ramp's order, of the paper's light, that no noise explains
_PALE_INK = 0.30
_NO_CURVE = 0.04  # misfit from which the fields lie on no curve: a shadow, a stain


@dataclass(frozen=True, slots=True)
class CardLight:
    """Light on a card in one picture.

    Attributes
    ----------
    white : ndarray, shape (3,)
        Linear red, green, blue of the paper at the middle of the ring, decoded as sRGB.
    rel_sd : float
        Relative standard uncertainty of each channel.
    plane : ndarray, shape (3, 3)
        Log light per channel (columns): at the middle, and its rise per half side to the
        right and towards the person (rows).
    spots : int
        How many spots of paper were used.
    shaded : int
        How many more, away from the cup, were plain but darker than the rest says.
    unevenness : float
        Root mean square of the used spots around the plane, in log light.
    clipped : float
        Share of the spots' pixels at full scale.
    """

    white: FloatArray
    rel_sd: float
    plane: FloatArray
    spots: int
    shaded: int
    unevenness: float
    clipped: float

    @property
    def steepness(self) -> float:
        """Log ratio of the light between the brightest and the darkest side."""
        return float(2.0 * np.hypot(*self.plane[1:].mean(axis=1)))

    @property
    def uneven(self) -> bool:
        """Whether a shadow or a slant of the light disturbs the white."""
        return (
            self.shaded >= _SHADED_SPOTS
            or self.steepness > _STEEP
            or self.unevenness > _UNEVEN
        )  # fmt: skip

    def at(self, places: FloatArray) -> FloatArray:
        """White at places in units of half the card's side, shape (n, 2) to (n, 3)."""
        return np.asarray(np.exp(np.column_stack([np.ones(len(places)), places]) @ self.plane))


def measure_light(image: NDArray[np.uint8], sight: CardSight) -> CardLight | None:
    """Measure the blank paper of a card.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        sRGB picture.
    sight : CardSight
        The card as it lies in that picture.

    Returns
    -------
    CardLight or None
        None if too little of the paper is seen.
    """
    layout = sight.layout
    points = layout.white_spots[:, None] + layout.spot_mm * _disc()
    code, inside = _codes(image, sight, points)
    full = np.asarray((code >= _FULL_CODE).any(axis=-1))
    clipped = float(full[inside].mean()) if inside.any() else 1.0
    linear = LINEAR_OF_CODE[code]
    level = np.log(np.maximum(np.median(linear, axis=1), 1e-4))
    bright = np.maximum(linear.sum(axis=2), 1e-4)
    middle = np.median(bright, axis=1, keepdims=True)
    grain = 1.4826 * np.median(np.abs(bright / middle - 1.0), axis=1)
    usual = float(np.median(grain))  # of a noisy picture's plain paper
    plain = inside.all(axis=1) & (full.mean(axis=1) < 0.5) & (grain < max(_GRAIN, 2.5 * usual))
    light = _fit_plane(layout.white_spots / layout.half_mm, level, plain, clipped)
    if light is None:
        return None
    return replace(light, shaded=_shaded(layout, light, level, plain))


def _shaded(
    layout: CardLayout, light: CardLight, level: FloatArray, plain: NDArray[np.bool_]
) -> int:
    """Count plain spots that are too dark, those next to the cup left out: its own shadow."""
    away = np.hypot(*layout.white_spots.T) > layout.ring_mm + _OWN_SHADOW_MM
    off = (level - np.log(light.at(layout.white_spots / layout.half_mm))).mean(axis=1)
    return int((plain & away & (off < -2.0 * _OFF)).sum())


def _fit_plane(
    places: FloatArray, level: FloatArray, plain: NDArray[np.bool_], clipped: float
) -> CardLight | None:
    """Robust plane: what covers or shades paper makes it darker or of another colour."""
    if plain.sum() < _LEAST_SPOTS:
        return None
    tint = level - level.mean(axis=1, keepdims=True)
    brightest = plain & (level.mean(axis=1) >= np.percentile(level[plain].mean(axis=1), 60))
    paper = plain & (np.abs(tint - np.median(tint[brightest], axis=0)).max(axis=1) < _TINT)
    basis = np.column_stack([np.ones(len(places)), places])
    light = level.mean(axis=1)
    used = _consistent(basis, light, paper)
    if used is None:
        return None
    plane = np.asarray(np.linalg.lstsq(basis[used], level[used], rcond=None)[0], dtype=np.float64)
    off = light - basis @ plane.mean(axis=1)
    rms = float(np.sqrt(np.mean(off[used] ** 2)))
    return CardLight(
        white=np.exp(plane[0]),
        rel_sd=float(np.hypot(0.003, rms / np.sqrt(used.sum()))),
        plane=plane,
        spots=int(used.sum()),
        shaded=0,
        unevenness=rms,
        clipped=clipped,
    )


def _consistent(
    basis: FloatArray, light: FloatArray, paper: NDArray[np.bool_]
) -> NDArray[np.bool_] | None:
    """Spots that share a plane: the one through three spots that has most others on it."""
    at = np.flatnonzero(paper)
    if len(at) < _LEAST_SPOTS:
        return None
    triples = _triples(len(at))
    corners = basis[at[triples]]
    sound = np.abs(np.linalg.det(corners)) > 0.15  # not in a line
    planes = np.linalg.solve(corners[sound], light[at[triples[sound]]][..., None])[..., 0]
    gentle = np.hypot(planes[:, 1], planes[:, 2]) < 0.6
    if not gentle.any():
        return None
    planes = planes[gentle]
    off = light[at] - planes @ basis[at].T
    slant = np.hypot(planes[:, 1], planes[:, 2])  # a soft shadow looks like one
    votes = (np.abs(off) < _OFF).sum(axis=1) - 12.0 * slant
    best = planes[int(np.argmax(votes))]
    used = paper & (np.abs(light - basis @ best) < _OFF)
    return used if used.sum() >= _LEAST_SPOTS else None


@lru_cache(maxsize=32)
def _triples(count: int) -> NDArray[np.int_]:
    """Up to 200 triples of `count` spots, the same ones every time."""
    rng = np.random.default_rng(count)
    return np.array([rng.choice(count, 3, replace=False) for _ in range(200)])


@lru_cache(maxsize=1)
def _disc() -> FloatArray:
    """Points spread evenly over the unit disc, shape (24, 2)."""
    at = np.arange(24) + 0.5
    radius, turn = np.sqrt(at / 24.0), at * np.pi * (3.0 - np.sqrt(5.0))
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def _codes(
    image: NDArray[np.uint8], sight: CardSight, points_mm: FloatArray
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Pixels at points of the card, shape (..., 3), and which points lie in the picture."""
    x, y = np.moveaxis(np.rint(sight.project(points_mm)), -1, 0)
    height, width = image.shape[:2]
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    columns, rows = np.clip(x, 0, width - 1).astype(int), np.clip(y, 0, height - 1).astype(int)
    return image[rows, columns], inside


@dataclass(frozen=True, slots=True)
class Ramp:
    """Fields of the halftone ramps as seen: coverage and light against the paper there.

    Attributes
    ----------
    coverage, light : ndarray, shape (n,)
        Share under ink; mean light against the white at that place.
    resolved : bool
        Whether the camera sees single lines, so that the fields say nothing of its tone.
    """

    coverage: FloatArray
    light: FloatArray
    resolved: bool

    @property
    def broken(self) -> bool:
        """Whether fields do not get darker with more ink: a bad print, or a stain."""
        steps = np.unique(np.round(self.coverage, 6))
        means = [float(np.mean(self.light[np.isclose(self.coverage, c)])) for c in steps]
        return bool(np.any(np.diff(means) > _BREAK)) if len(means) > 1 else False

    @property
    def pale(self) -> bool:
        """Whether solid ink is far from black."""
        solid = self.light[self.coverage > 0.99]
        return bool(len(solid) and float(np.median(solid)) > _PALE_INK)


def measure_ramp(image: NDArray[np.uint8], sight: CardSight, light: CardLight) -> Ramp | None:
    """Measure the halftone fields that are seen whole; None if fewer than four are."""
    layout = sight.layout
    points = np.stack([_grid(field) for field in layout.fields])
    code, inside = _codes(image, sight, points)
    linear = LINEAR_OF_CODE[code].mean(axis=-1)
    places = np.array([field.middle for field in layout.fields]) / layout.half_mm
    ratio = linear / light.at(places).mean(axis=1)[:, None]
    coverage = np.array([field.coverage for field in layout.fields])
    whole = inside.all(axis=1) & ~_foreign(code)
    if whole.sum() < 4:
        return None
    spread = ratio.std(axis=1)
    middle = whole & (np.abs(coverage - 0.5) < 0.2)
    resolved = bool(middle.any() and np.median(spread[middle]) > _BLURRED_LINES)
    return Ramp(coverage[whole], ratio.mean(axis=1)[whole], resolved)


def _grid(field: Field) -> FloatArray:
    """Points over the inner part of a field, off the beat of its lines, shape (240, 2)."""
    x0, y0 = field.middle
    u, v = np.meshgrid(np.linspace(-0.36, 0.36, 12), np.linspace(-0.33, 0.33, 20))
    skew = v + 0.013 * np.arange(12)[None, :] - 0.07
    return np.column_stack([x0 + u.ravel() * field.width_mm, y0 + skew.ravel() * field.height_mm])


def _foreign(code: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Fields on which something coloured lies, judged against the others."""
    linear = LINEAR_OF_CODE[code].mean(axis=1) + 0.02
    tint = np.log(linear) - np.log(linear).mean(axis=1, keepdims=True)
    return np.asarray(np.abs(tint - np.median(tint, axis=0)).max(axis=1) > 4.0 * _TINT)


@dataclass(frozen=True, slots=True)
class ToneCurve:
    """How a camera's tone departs from sRGB: decoded light is true light to a power.

    Attributes
    ----------
    exponent : float
        1 for a camera that keeps to sRGB, above 1 for added contrast.
    exponent_sd : float
        Its standard uncertainty, what printing may do to the ramp included.
    gain : float
        Ink that printing added to a half-covered field.
    ink : float
        Reflectance of solid ink against the paper's.
    misfit : float
        Root mean square of the fields around the curve, of the paper's light.
    """

    exponent: float
    exponent_sd: float
    gain: float
    ink: float
    misfit: float

    @property
    def off(self) -> bool:
        """Whether the camera bends tones more than the doubt about the print explains."""
        return abs(self.exponent - 1.0) > max(0.1, 2.0 * self.exponent_sd) and self.misfit < 0.02

    def straight(self, light: FloatArray) -> FloatArray:
        """Return true light against white from decoded light against white."""
        return np.asarray(np.maximum(light, 0.0) ** (1.0 / self.exponent))


def fit_tone(ramp: Ramp) -> ToneCurve | None:
    """Fit the tone curve to a ramp.

    Notes
    -----
    Light of a field by Murray and Davies: bare paper and ink by area. Ink spreads when it is
    printed; the half-covered field gains most. Camera and print bend the ramp in like ways, so
    both gain and ink are held near what plain printers do, and the doubt is carried.

    Returns
    -------
    ToneCurve or None
        None if the lines are resolved, the ramp is broken or shaded, or too few steps are seen.
    """
    if ramp.resolved or ramp.broken or len(np.unique(np.round(ramp.coverage, 6))) < 4:
        return None

    def residual(p: FloatArray) -> FloatArray:
        """Return by how many hundredths of white the fields are off, then the priors by spreads.

        Parameters
        ----------
        p : ndarray, shape (3,)
            Exponent of the tone curve, dot gain, light of solid ink.
        """
        _, gain, ink = p
        prior = [(gain - _GAIN_PRIOR[0]) / _GAIN_PRIOR[1], (ink - _INK_PRIOR[0]) / _INK_PRIOR[1]]
        return np.concatenate([(_model(ramp.coverage, *p) - ramp.light) / 0.01, prior])

    start = np.array([1.0, _GAIN_PRIOR[0], _INK_PRIOR[0]])
    fit = least_squares(residual, start, bounds=([0.4, -0.1, 0.001], [2.5, 0.2, 0.4]))
    slopes = np.asarray(fit.jac, dtype=float)
    covariance = np.linalg.inv(slopes.T @ slopes)
    misfit = float(np.sqrt(np.mean((_model(ramp.coverage, *fit.x) - ramp.light) ** 2)))
    if misfit > _NO_CURVE:
        return None
    exponent, gain, ink = (float(v) for v in fit.x)
    return ToneCurve(exponent, float(np.sqrt(covariance[0, 0])), gain, ink, misfit)


def _model(coverage: FloatArray, exponent: float, gain: float, ink: float) -> FloatArray:
    inked = np.clip(coverage + 4.0 * gain * coverage * (1.0 - coverage), 0.0, 1.0)
    return np.asarray((1.0 - inked * (1.0 - ink)) ** exponent)
