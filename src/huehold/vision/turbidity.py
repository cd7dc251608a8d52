"""How cloudy the liquid is: what can be seen through it, against its own start.

The measure is the contrast of whatever pattern or edge lies behind the liquid, taken on
the logarithm of light, so that a darker dye or a longer exposure does not count. Beside
it stands the veil: light the solid scatters back, which lifts the darkest places.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.colour import LINEAR_OF_CODE
from huehold.vision.geometry import normalised_radius
from huehold.vision.picture import cut

__all__ = ["TurbidityScale", "visibility"]

_LINEAR32 = LINEAR_OF_CODE.astype(np.float32)
_VIEW_PX = 96


@dataclass(frozen=True, slots=True)
class Visibility:
    """Contrast seen through the liquid and the contrast that noise alone would give."""

    contrast: float
    noise: float


def visibility(
    image: NDArray[np.uint8], vessel: Ellipse, foreign: NDArray[np.bool_] | None = None
) -> Visibility | None:
    """Contrast behind the liquid, as a standard deviation of log light between scales."""
    patch = cut(image, vessel, 0.8, _VIEW_PX)
    light = cv2.LUT(patch.code, _LINEAR32).sum(axis=2) + 3e-3
    inside = normalised_radius(vessel, patch.x, patch.y) < 0.7
    inside &= patch.code.max(axis=2) < 250
    if inside.sum() < 60:
        return None
    log_light = np.log(light)
    weight = inside.astype(np.float32)
    sigma = max(3.0, 0.09 * min(light.shape))
    filled = np.where(inside, log_light, np.median(log_light[inside])).astype(np.float32)
    base = cv2.GaussianBlur(filled * weight, (0, 0), sigma)
    base /= np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3)
    detail = cv2.GaussianBlur(filled - base, (3, 3), 0.8)[inside]
    fine = (filled[:, 2:] - 2 * filled[:, 1:-1] + filled[:, :-2])[inside[:, 1:-1]]
    noise = 1.4826 * float(np.median(np.abs(fine))) / np.sqrt(6.0)
    low, high = np.percentile(detail, [10.0, 90.0])
    return Visibility(float(high - low) / 2.56, noise)


class TurbidityScale:
    """Put visibility on a scale from 0, clear, to 1, as cloudy as at the start."""

    def __init__(self) -> None:
        self._clearest = 0.0

    def update(self, seen: Visibility | None, *, sound: bool) -> float:
        """Turbidity of one frame; NaN while nothing behind the liquid was ever seen."""
        if seen is None:
            return float("nan")
        clear = float(np.sqrt(max(seen.contrast**2 - (0.5 * seen.noise) ** 2, 0.0)))
        if sound:
            self._clearest = max(self._clearest, clear)
        if self._clearest < 0.02:
            return float("nan")
        return float(np.clip(1.0 - clear / self._clearest, 0.0, 1.0))
