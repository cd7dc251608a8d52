"""How cloudy the liquid is, from 0, clear, to 1, as cloudy as at the start of the run.

Two things are looked at, as a person would. The *veil*: light that comes back even in the
colours the dye absorbs can only have been scattered by the solid; it is taken where the
liquid is darkest, as the geometric mean of its two weakest channels against the white, so
that it does not jump when the dye's absorption moves from one channel to another. And the
*view*: the contrast of whatever pattern or edge lies behind, on the logarithm of light so
that a darker dye or a longer exposure does not count. Turbidity is the veil as a share of
the run's strongest, less the more the view shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import count, median_of, planes, quantile_of, share_after, total
from huehold.vision.geometry import radius_squared
from huehold.vision.picture import Patch

__all__ = ["Clarity", "TurbidityScale"]

FloatArray = NDArray[np.float64]
Plane = NDArray[np.float32]

_CORE = 0.75  # radius within which the wall neither shows nor mirrors
_DARK_SHARE = 0.15  # share of the liquid that is darker than what is taken as veil
_FEWEST = 60  # samples
_COARSER = 3  # points of the patch to one on which its wide smoothing is done
_MARGIN = np.ones((5, 5), np.uint8)
_SOUND_SHARE, _DOUBTED_SHARE = 0.25, 0.05  # in what is reported, by frame
_STILL_VIEW = 0.06  # contrast that reflections alone make
_HALF_VIEW = 0.12  # contrast beyond that which halves the turbidity
_PALE = 0.27  # veil over strongest channel at the start from which the veil may be the ground's
_START_FRAMES = 12
_RESOLUTION = 2  # decimals


@dataclass(frozen=True, slots=True)
class Clarity:
    """What one frame shows of the cloudiness.

    Attributes
    ----------
    veil : float
        Linear light scattered back, white is 1.
    view : float
        Standard deviation of log light of what is seen behind the liquid.
    paleness : float
        Veil over the strongest channel: near 1 the dye is too pale for the veil to tell.
    """

    veil: float
    view: float
    paleness: float


class TurbidityScale:
    """Put the clarity of frames, in time order, on the scale of the run."""

    def __init__(self) -> None:
        self._last: tuple[Plane, NDArray[np.bool_]] | None = None
        self._steady: Clarity | None = None
        self._seen = 0.0
        self._cloudiest = self._clearest = 0.0
        self._paleness, self._frames = 0.0, 0
        self._basis = "none"

    @property
    def basis(self) -> str:
        """What the last value rests on: ``"veil"``, ``"veil and view"``, ``"view"``, ``"none"``."""
        return self._basis

    def update(
        self,
        patch: Patch,
        vessel: Ellipse,
        white: FloatArray,
        *,
        sound: bool,
        passed_s: float = 1.0 / 12.0,
    ) -> float:
        """Turbidity of the next frame.

        Parameters
        ----------
        patch : Patch
            Pixels around the vessel.
        vessel : Ellipse
            Outline of the liquid in the coordinates of the patch.
        white : ndarray, shape (3,)
            Linear light of the white.
        sound : bool
            Whether the frame may move the ends of the scale.
        passed_s : float
            Seconds since the frame before.

        Returns
        -------
        float
            0 to 1 in steps of 0.01; NaN if neither veil nor view can tell.
        """
        clarity = self._clarity(patch, vessel, white)
        if clarity is None:
            return float("nan")
        share = share_after(_SOUND_SHARE if sound else _DOUBTED_SHARE, passed_s)
        steady = self._settle(clarity, share)
        if sound:
            self._stretch(steady)
        return self._place(steady)

    def _clarity(self, patch: Patch, vessel: Ellipse, white: FloatArray) -> Clarity | None:
        inside = radius_squared(vessel, patch.x, patch.y) < _CORE**2
        inside &= ~_highlights(patch.code, inside)
        at = np.flatnonzero(inside)
        if len(at) < _FEWEST:
            self._last = None
            return None
        dark = [
            quantile_of(plane.ravel()[at], _DARK_SHARE) for plane in planes(_smooth(patch.linear))
        ]
        weakest, second, strongest = sorted(
            max(value / max(level, 1e-3), 1e-5)
            for value, level in zip(dark, white.tolist(), strict=True)
        )
        veil = math.sqrt(weakest * second)
        view = self._contrast(total(patch.linear), inside)
        return Clarity(veil, view, veil / strongest)

    def _contrast(self, light: Plane, inside: NDArray[np.bool_]) -> float:
        """Contrast that two frames in a row share: noise does not repeat."""
        detail = _detail(light, inside)
        last, self._last = self._last, (detail, inside)
        if last is None or last[0].shape != detail.shape:
            return self._seen
        both = inside & last[1]
        if count(both) < _FEWEST:
            return self._seen
        # Both are zero outside their own region.
        product = np.minimum(np.maximum(detail * last[0], np.float32(-1.0)), np.float32(1.0))
        self._seen = math.sqrt(max(float(product.sum()) / count(both), 0.0))
        return self._seen

    def _settle(self, clarity: Clarity, share: float) -> Clarity:
        """Follow the frames over about half a second: cloudiness has no reason to hurry."""
        before = self._steady
        if before is None:
            self._steady = clarity
        else:
            self._steady = Clarity(
                before.veil + share * (clarity.veil - before.veil),
                before.view + share * (clarity.view - before.view),
                clarity.paleness,
            )
        return self._steady

    def _stretch(self, clarity: Clarity) -> None:
        self._cloudiest = max(self._cloudiest, clarity.veil)
        self._clearest = max(self._clearest, clarity.view)
        if self._frames < _START_FRAMES:
            self._frames += 1
            self._paleness += (clarity.paleness - self._paleness) / self._frames

    def _place(self, clarity: Clarity) -> float:
        hidden = _HALF_VIEW / (_HALF_VIEW + max(clarity.view - _STILL_VIEW, 0.0))
        seen_through = self._clearest > 2.0 * _STILL_VIEW
        if self._paleness > _PALE:
            self._basis = "view" if seen_through else "none"
            return round(hidden, _RESOLUTION) if seen_through else float("nan")
        self._basis = "veil and view" if seen_through else "veil"
        share = clarity.veil / self._cloudiest if self._cloudiest > 0.0 else 1.0
        return round(min(share, 1.0) * hidden, _RESOLUTION)


def _smooth(linear: Plane) -> Plane:
    return np.asarray(cv2.blur(linear, (3, 3)), dtype=np.float32)


def _highlights(code: NDArray[np.uint8], inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Reflections of lamps and bubbles, and a margin around them."""
    red, green, blue = planes(code)
    low = np.minimum(np.minimum(red, green), blue)
    usual = median_of(low[inside]) if inside.any() else 0.0
    bright = (low > 1.25 * usual + 25.0).view(np.uint8)
    return cv2.dilate(bright, _MARGIN).view(bool) if bright.any() else bright.view(bool)


def _detail(light: Plane, inside: NDArray[np.bool_]) -> Plane:
    """Log light less its surroundings, 0 outside the liquid."""
    log_light = np.log(light + np.float32(3e-3))
    weight = inside.astype(np.float32)
    sigma = max(3.0, 0.09 * min(light.shape))
    wide = _wide(log_light * weight, sigma) / np.maximum(_wide(weight, sigma), np.float32(1e-3))
    return np.asarray((log_light - wide) * weight)


def _wide(plane: Plane, sigma: float) -> Plane:
    """Gaussian smoothing, done on fewer points where the Gaussian is wide."""
    height, width = plane.shape
    small = (max(width // _COARSER, 1), max(height // _COARSER, 1))
    if sigma < 2.0 * _COARSER:
        return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma))
    coarse = cv2.resize(plane, small, interpolation=cv2.INTER_AREA)
    coarse = cv2.GaussianBlur(
        coarse, (0, 0), sigma * small[0] / width, sigmaY=sigma * small[1] / height
    )
    return np.asarray(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_LINEAR))
