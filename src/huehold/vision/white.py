"""The white everything is referred to: a patch in view, or a stated fallback.

A patch is given by the user or found: bright, neutral, flat, not at full scale, not the
cup. Between frames the patch and the surroundings check each other: when the patch alone
changes it was covered or shaded, and the surroundings carry the white on meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Rect
from huehold.vision.channels import count, largest, median_of, total
from huehold.vision.colour import LINEAR_OF_CODE
from huehold.vision.geometry import normalised_radius

__all__ = ["White", "WhiteKeeper", "find_white", "measure_patch"]

FloatArray = NDArray[np.float64]
Basis = Literal["patch", "carried", "assumed"]

_FOUND_REL_SD, _CARRIED_REL_SD, _ASSUMED_REL_SD = 0.004, 0.01, 0.02
_FULL = 0.03  # share of clipped pixels from which a patch is no measure
_UNEVEN = 0.11  # relative spread of light, grain included, that a patch may have
_JUMP = 0.10  # log ratio between patch and surroundings that tells a covered patch
_PATIENCE = 45  # frames after which a changed but flat patch is believed
_KEEP_AWAY = 1.9  # radii of the vessel within which no white is looked for
_SMALLEST = 0.02  # radius of a patch as a share of the picture's shorter side
_DIMMEST, _STEP = 60, 14  # codes: least light of a patch, steps that end it
_LEVELS = (0.92, 0.8, 0.6)  # of the brightest, to part a card from what it lies on
_TINT = 0.22  # (largest - smallest) / largest code of a neutral, at most


@dataclass(frozen=True, slots=True)
class White:
    """The white of one frame.

    Attributes
    ----------
    linear : ndarray, shape (3,)
        Linear red, green, blue.
    rel_sd : float
        Relative standard uncertainty of each channel.
    basis : {"patch", "carried", "assumed"}
        Measured now; carried on by the surroundings while the patch is unusable; or the
        camera's own full-scale white, followed by the surroundings.
    rect : Rect or None
        Where the patch is, in pixels of the frame.
    """

    linear: FloatArray
    rel_sd: float
    basis: Basis
    rect: Rect | None


def measure_patch(image: NDArray[np.uint8], rect: Rect) -> tuple[FloatArray, float, float]:
    """Mean linear light, relative spread and clipped share of a rectangle of a picture."""
    left, top = max(round(rect.x_px), 0), max(round(rect.y_px), 0)
    right, bottom = round(rect.x_px + rect.width_px), round(rect.y_px + rect.height_px)
    region = image[top : max(bottom, top + 1), left : max(right, left + 1)]
    if region.size == 0:
        return np.zeros(3), 1.0, 1.0
    step = max(1, max(region.shape[:2]) // 24)
    code = region[::step, ::step].reshape(-1, 3)
    linear = LINEAR_OF_CODE[code]
    centre = np.array([median_of(channel) for channel in linear.T])
    off = np.abs(total(linear) / max(float(centre.sum()), 1e-6) - 1.0)
    close = off < 0.25
    clipped = count(largest(code) >= 254) / len(code)
    mean = close @ linear / count(close) if close.any() else centre
    return mean, 1.4826 * median_of(off), clipped


def find_white(picture: NDArray[np.uint8], vessel: Ellipse) -> Rect | None:
    """Find a white or light grey patch in a small picture, away from the vessel.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
    vessel : Ellipse
        Outline of the liquid in pixels of `picture`.

    Returns
    -------
    Rect or None
        A square inside the patch, in pixels of `picture`.
    """
    usable, low = _white_like(picture)
    rows, columns = np.arange(picture.shape[0])[:, None], np.arange(picture.shape[1])[None]
    usable &= normalised_radius(vessel, columns, rows) > _KEEP_AWAY
    top = float(np.percentile(low[usable], 99)) if usable.any() else 0.0
    found = [_best_of(picture, usable & (low > share * top)) for share in _LEVELS]
    scored = [one for one in found if one is not None]
    return max(scored, key=lambda one: one[0])[1] if scored else None


def _best_of(picture: NDArray[np.uint8], region: NDArray[np.bool_]) -> tuple[float, Rect] | None:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(region.astype(np.uint8))
    least = np.pi * (_SMALLEST * min(picture.shape[:2])) ** 2
    best: tuple[float, Rect] | None = None
    for label in range(1, count):
        if stats[label, cv2.CC_STAT_AREA] >= least:
            scored = _square_in(picture, labels == label)
            if scored is not None and (best is None or scored[0] > best[0]):
                best = scored
    return best


def _white_like(picture: NDArray[np.uint8]) -> tuple[NDArray[np.bool_], NDArray[np.int_]]:
    """Pixels that could be white, and the smallest channel after smoothing."""
    smooth = cv2.blur(picture, (5, 5))
    high, low = smooth.max(axis=2).astype(int), smooth.min(axis=2).astype(int)
    bright = low > max(_DIMMEST, 0.55 * float(np.percentile(low, 98)))
    neutral = (high - low) < _TINT * high
    step = cv2.morphologyEx(high.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3)))
    flat = step < max(_STEP, 1.5 * float(np.percentile(step, 25)))  # grain must not look like edges
    return bright & neutral & flat & (high < 252), low


def _square_in(picture: NDArray[np.uint8], region: NDArray[np.bool_]) -> tuple[float, Rect] | None:
    """Largest square that fits the region's thickest place, scored by light, tint and size."""
    depth = cv2.distanceTransform(np.pad(region, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    _, radius, _, (x, y) = cv2.minMaxLoc(depth)
    short = min(picture.shape[:2])
    if radius < _SMALLEST * short:
        return None
    half = 0.65 * min(radius, 0.08 * short)
    rect = Rect(x - half + 0.5, y - half + 0.5, 2 * half, 2 * half)
    linear, spread, clipped = measure_patch(picture, rect)
    tint = float(np.ptp(linear) / max(linear.max(), 1e-6))
    size = min(radius / (0.06 * short), 1.0)
    score = float(linear.mean()) * (1.0 - tint) * (0.5 + 0.5 * size)
    return (score, rect) if spread < _UNEVEN and clipped < _FULL else None


class WhiteKeeper:
    """Follow the white through a run; see `White`.

    Parameters
    ----------
    rect : Rect or None
        A patch given by the user, in pixels of the frame.
    """

    def __init__(self, rect: Rect | None = None) -> None:
        self.rect = rect
        self._given = rect is not None
        self._known: tuple[FloatArray, FloatArray] | None = None  # patch, gain at that time
        self._doubted = 0

    @property
    def searching(self) -> bool:
        """Whether a patch is still wanted."""
        if self.rect is None and self._known is not None:  # taken from a guide
            return self._doubted > _PATIENCE
        return self.rect is None or (not self._given and self._doubted > _PATIENCE)

    @property
    def given(self) -> bool:
        """Whether the user said where the patch is."""
        return self._given

    def adopt(self, rect: Rect) -> None:
        """Take a found patch, in pixels of the frame, as the white from now on."""
        self.rect, self._known, self._doubted = rect, None, 0

    def take(
        self, linear: FloatArray, rel_sd: float, extent: Rect | None, gain: FloatArray
    ) -> White:
        """Believe a white that a guide measured; while it is silent, this one is carried on."""
        self.rect, self._known, self._doubted = None, (linear, gain.copy()), 0
        return White(linear, rel_sd, "patch", extent)

    def shift(self, dx_px: float, dy_px: float) -> None:
        """Move the patch with a knocked camera."""
        if self.rect is not None:
            r = self.rect
            self.rect = Rect(r.x_px + dx_px, r.y_px + dy_px, r.width_px, r.height_px)

    def look(self, image: NDArray[np.uint8], gain: FloatArray, gain_known: bool) -> White:
        """White of a frame, given what the surroundings say about the camera's gain."""
        if self.rect is None:
            return self._without_patch(gain)
        linear, spread, clipped = measure_patch(image, self.rect)
        sound = clipped < _FULL and spread < 1.5 * _UNEVEN and linear.min() > 0.01
        if sound and self._believed(linear, gain, gain_known):
            self._known, self._doubted = (linear, gain.copy()), 0
            return White(linear, _FOUND_REL_SD, "patch", self.rect)
        self._doubted += 1
        if self._known is None:
            return White(gain.copy(), _ASSUMED_REL_SD, "assumed", self.rect)
        return self._carried(self._known, gain)

    def _without_patch(self, gain: FloatArray) -> White:
        self._doubted += 1
        if self._known is None:
            return White(gain.copy(), _ASSUMED_REL_SD, "assumed", None)
        return self._carried(self._known, gain)

    def _carried(self, known: tuple[FloatArray, FloatArray], gain: FloatArray) -> White:
        return White(known[0] * gain / known[1], _CARRIED_REL_SD, "carried", self.rect)

    def _believed(self, linear: FloatArray, gain: FloatArray, gain_known: bool) -> bool:
        if self._known is None or self._doubted > _PATIENCE:
            return True
        expected = self._known[0] * gain / self._known[1]
        off = float(np.abs(np.log(linear / expected)).max())
        return off < (_JUMP if gain_known else 3.0 * _JUMP)
