"""The colour of the liquid: what belongs to it, and a robust centre of that.

Chromaticity tells a hand, a dropper, the wall or a fresh drop's plume from the bulk;
lightness tells highlights and deep shadow. What is left is averaged in linear light.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import count, median_of, planes
from huehold.vision.geometry import radius_squared
from huehold.vision.picture import Patch

__all__ = ["Liquid", "measure_liquid", "strip_of"]

FloatArray = NDArray[np.float64]
Plane = NDArray[np.float32]

_CORE = 0.84  # share of the radius taken as liquid: the rest is meniscus, wall and rim
_FEWEST = 24  # samples
_GLARE_CODE = 250
_CLIP_CODE = 254
_CORRELATED = 20.0  # neighbouring samples share noise through demosaicing and coding
_STRIP = 28
_KEPT = (0.04, 0.92)  # shares of the samples, by their light, between which is averaged
_CHROMATICITY = 0.02  # spread of r and g that an even liquid may have


@dataclass(frozen=True, slots=True)
class Liquid:
    """What the pixels inside the vessel say.

    Attributes
    ----------
    linear, linear_sd : ndarray, shape (3,)
        Linear light of the bulk and the standard uncertainty of it.
    glare, clipped, odd : float
        Shares of the region that are highlight, have a channel at the end of the scale, or
        differ in colour from the bulk.
    spread : float
        Relative spread of lightness over the bulk.
    used : ndarray of bool, shape (rows, columns)
        Samples of the patch that were averaged.
    inside : ndarray of bool, shape (rows, columns)
        Samples of the patch inside the measured region.
    """

    linear: FloatArray
    linear_sd: FloatArray
    glare: float
    clipped: float
    odd: float
    spread: float
    used: NDArray[np.bool_]
    inside: NDArray[np.bool_]


def measure_liquid(patch: Patch, vessel: Ellipse) -> Liquid | None:
    """Measure the bulk colour inside an outline.

    Parameters
    ----------
    patch : Patch
        Pixels around the vessel.
    vessel : Ellipse
        Outline of the liquid in the coordinates of the patch.

    Returns
    -------
    Liquid or None
        None if there are fewer than 24 samples, or no two alike.
    """
    inside = radius_squared(vessel, patch.x, patch.y) < _CORE**2
    if count(inside) < _FEWEST:
        return None
    seen = _samples(patch, inside)
    good = ~seen.lamp
    if count(good) < _FEWEST:
        good[:] = True
    bulk, odd = _bulk(seen, good)
    return _summary(patch, inside, seen, bulk, odd) if bulk.any() else None


@dataclass(frozen=True, slots=True)
class _Samples:
    """Samples of the region in a row: which of the patch, linear light, codes, lamp light."""

    at: NDArray[np.intp]
    red: Plane
    green: Plane
    light: Plane
    highest: NDArray[np.uint8]
    lamp: NDArray[np.bool_]


def _samples(patch: Patch, inside: NDArray[np.bool_]) -> _Samples:
    """Take the region out of the patch.

    Two channels at full scale and the third near are light of the lamp, not of the dye.
    """
    at = np.flatnonzero(inside)
    red, green, blue = (plane.ravel()[at] for plane in planes(patch.linear))
    codes = [plane.ravel()[at] for plane in planes(patch.code)]
    low = np.minimum(np.minimum(*codes[:2]), codes[2])
    high = np.maximum(np.maximum(*codes[:2]), codes[2])
    middle = codes[0].astype(np.int16) + codes[1] + codes[2] - low - high
    lamp = (middle >= _GLARE_CODE) & (low >= 170)
    return _Samples(at, red, green, red + green + blue, high, lamp)


def _summary(
    patch: Patch,
    inside: NDArray[np.bool_],
    seen: _Samples,
    bulk: NDArray[np.bool_],
    odd: float,
) -> Liquid:
    used = np.zeros(inside.shape, dtype=bool)
    used.ravel()[seen.at] = bulk
    mean, scatter = cv2.meanStdDev(patch.linear, mask=used.view(np.uint8))
    light, light_sd = cv2.meanStdDev(seen.light, mask=bulk.view(np.uint8))
    samples = count(bulk)
    return Liquid(
        np.asarray(mean[:, 0], dtype=float),
        np.asarray(scatter[:, 0], dtype=float) / np.sqrt(max(samples / _CORRELATED, 1.0)),
        count(seen.lamp) / len(bulk),
        count(seen.highest[bulk] >= _CLIP_CODE) / samples,
        odd,
        light_sd.item() / max(light.item(), 1e-6),
        used,
        inside,
    )


def _bulk(seen: _Samples, good: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], float]:
    """Tell samples of the main colour, and the share of good ones that are not."""
    light, kept = seen.light + np.float32(3e-3), np.flatnonzero(good)
    # What is darker may stray further: a dark pattern behind clear liquid is still liquid.
    weight = np.minimum(light / np.float32(median_of(light[kept])), np.float32(1.0))
    far = np.zeros(len(light), dtype=np.float32)
    for linear in (seen.red, seen.green):
        value = (linear + np.float32(1e-3)) / light
        main = value[kept]
        off = np.abs(value - np.float32(median_of(main)))
        far = np.maximum(far, weight * off / np.float32(_width(main, off[kept])))
    alike = good & (far < 3.0)
    middle = median_of(light[alike] if alike.any() else light)
    alike &= (light > 0.15 * middle) & (light < 2.5 * middle)
    odd = 1.0 - count(alike) / len(kept)
    return _without_ends(light, alike), odd


def _without_ends(light: Plane, alike: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Leave out the darkest and the lightest few."""
    ordered = np.sort(light[alike])
    if len(ordered) == 0:
        return alike
    low, high = (ordered[round(share * (len(ordered) - 1))] for share in _KEPT)
    return np.asarray(alike & (light >= low) & (light <= high))


def _width(values: Plane, off: Plane) -> float:
    """Spread of the main chromaticity; grain may widen it, a second colour may not."""
    spread = 1.4826 * median_of(off)
    if spread <= _CHROMATICITY:
        return _CHROMATICITY
    grain = 1.5 * median_of(np.abs(np.diff(values)))
    return min(spread, max(_CHROMATICITY, grain))


def strip_of(patch: Patch, vessel: Ellipse) -> NDArray[np.uint8]:
    """Return the liquid's own pixels from its far to its near side, shape (28, 3)."""
    rows, columns = patch.code.shape[:2]
    column = int(np.clip(np.argmin(np.abs(patch.x[0] - vessel.x_px)), 1, columns - 2))
    half = 0.8 * vessel.semi_minor_px
    ys = np.linspace(vessel.y_px - half, vessel.y_px + half, _STRIP)
    at = np.clip(np.rint((ys - patch.y[0, 0]) / patch.step).astype(int), 0, rows - 1)
    band = patch.code[at, max(column - 1, 0) : column + 2].astype(float)
    return np.asarray(np.rint(band.mean(axis=1)), dtype=np.uint8)
