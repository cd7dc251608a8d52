"""The colour of the liquid: what belongs to it, and a robust centre of that.

Chromaticity tells a hand, a dropper, the wall or a fresh drop's plume from the bulk;
lightness tells highlights and deep shadow. What is left is averaged in linear light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import largest, smallest, total
from huehold.vision.geometry import normalised_radius
from huehold.vision.picture import Patch

__all__ = ["Liquid", "measure_liquid", "strip_of"]

FloatArray = NDArray[np.float64]
Samples = NDArray[np.float32]

_CORE = 0.84  # share of the radius taken as liquid: the rest is meniscus, wall and rim
_GLARE_CODE = 250
_CLIP_CODE = 254
_CORRELATED = 20.0  # neighbouring samples share noise through demosaicing and coding
_STRIP = 28
_CHROMATICITY = 0.02  # spread of r and g that an even liquid may have


@dataclass(frozen=True, slots=True)
class Liquid:
    """What the pixels inside the vessel say.

    Attributes
    ----------
    linear, linear_sd : ndarray, shape (3,)
        Linear light of the bulk and the standard uncertainty of it.
    code : ndarray, shape (3,)
        Median 8-bit codes of the bulk.
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
    code: FloatArray
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
        None if fewer than 24 samples are left.
    """
    inside = normalised_radius(vessel, patch.x, patch.y) < _CORE
    code = patch.code[inside]
    if len(code) < 24:
        return None
    glaring = _is_glare(code)
    good = ~glaring
    glare = float(np.mean(glaring))
    if good.sum() < 24:
        good = np.ones(len(code), dtype=bool)
    linear = patch.linear[inside]
    bulk, odd = _bulk(linear, good)
    return _summary(code, linear, bulk, inside, glare, odd)


def _summary(
    code: NDArray[np.uint8],
    linear: Samples,
    bulk: NDArray[np.bool_],
    inside: NDArray[np.bool_],
    glare: float,
    odd: float,
) -> Liquid:
    kept = linear[bulk]
    scatter = kept.std(axis=0, dtype=float)
    light = total(kept)
    used = np.zeros_like(inside)
    used[inside] = bulk
    ends = largest(code[bulk]) >= _CLIP_CODE
    return Liquid(
        kept.mean(axis=0, dtype=float),
        scatter / np.sqrt(max(len(kept) / _CORRELATED, 1.0)),
        np.median(code[bulk], axis=0).astype(float),
        glare,
        float(ends.mean()),
        odd,
        float(light.std() / max(light.mean(), 1e-6)),
        used,
        inside,
    )


def _is_glare(code: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Two channels at full scale and the third near: light of the lamp, not of the dye."""
    low, high = smallest(code), largest(code)
    middle = code.sum(axis=1, dtype=np.int16) - low - high
    return np.asarray((middle >= _GLARE_CODE) & (low >= 170))


def _bulk(linear: Samples, good: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], float]:
    """Tell samples of the main colour, and the share of good ones that are not."""
    light = total(linear) + np.float32(3e-3)
    usual = float(np.median(light[good]))
    # What is darker may stray further: a dark pattern behind clear liquid is still liquid.
    weight = np.minimum(light / usual, 1.0)
    red, green = (linear[:, 0] + 1e-3) / light, (linear[:, 1] + 1e-3) / light
    far = np.zeros(len(linear), dtype=np.float32)
    for value in (red, green):
        kept = value[good]
        centre = np.median(kept)
        off = np.abs(value - centre)
        far = np.maximum(far, weight * off / _width(kept, off[good]))
    alike = good & (far < 3.0)
    middle = float(np.median(light[alike])) if alike.any() else float(np.median(light))
    alike &= (light > 0.15 * middle) & (light < 2.5 * middle)
    low, high = np.percentile(light[alike], [4.0, 92.0]) if alike.any() else (0.0, np.inf)
    odd = 1.0 - float(alike.sum()) / max(int(good.sum()), 1)
    return alike & (light >= low) & (light <= high), odd


def _width(values: Samples, off: Samples) -> float:
    """Spread of the main chromaticity; grain may widen it, a second colour may not."""
    grain = 1.5 * float(np.median(np.abs(np.diff(values))))
    spread = 1.4826 * float(np.median(off))
    return float(np.clip(spread, _CHROMATICITY, max(_CHROMATICITY, grain)))


def strip_of(patch: Patch, vessel: Ellipse) -> NDArray[np.uint8]:
    """Return the liquid's own pixels from its far to its near side, shape (28, 3)."""
    rows, columns = patch.code.shape[:2]
    column = int(np.clip(np.argmin(np.abs(patch.x[0] - vessel.x_px)), 1, columns - 2))
    half = 0.8 * vessel.semi_minor_px
    ys = np.linspace(vessel.y_px - half, vessel.y_px + half, _STRIP)
    at = np.clip(np.rint((ys - patch.y[0, 0]) / patch.step).astype(int), 0, rows - 1)
    band = patch.code[at, max(column - 1, 0) : column + 2].astype(float)
    return np.asarray(np.rint(band.mean(axis=1)), dtype=np.uint8)
