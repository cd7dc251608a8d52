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

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import smallest, total
from huehold.vision.geometry import normalised_radius
from huehold.vision.picture import Patch

__all__ = ["Clarity", "TurbidityScale"]

FloatArray = NDArray[np.float64]
Plane = NDArray[np.float32]

_CORE = 0.75  # radius within which the wall neither shows nor mirrors
_DARK_SHARE = 15.0  # percentile of the liquid's light taken as veil
_SOUND_SHARE, _DOUBTED_SHARE = 0.25, 0.05  # share of a frame in what is reported
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

    def update(self, patch: Patch, vessel: Ellipse, white: FloatArray, *, sound: bool) -> float:
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

        Returns
        -------
        float
            0 to 1 in steps of 0.01; NaN if neither veil nor view can tell.
        """
        clarity = self._clarity(patch, vessel, white)
        if clarity is None:
            return float("nan")
        steady = self._settle(clarity, _SOUND_SHARE if sound else _DOUBTED_SHARE)
        if sound:
            self._stretch(steady)
        return self._place(steady)

    def _clarity(self, patch: Patch, vessel: Ellipse, white: FloatArray) -> Clarity | None:
        inside = normalised_radius(vessel, patch.x, patch.y) < _CORE
        inside &= ~_highlights(patch.code, inside)
        if inside.sum() < 60:
            self._last = None
            return None
        smooth = np.asarray(cv2.blur(patch.linear, (3, 3)))[inside]
        dark = np.percentile(smooth, _DARK_SHARE, axis=0) / np.maximum(white, 1e-3)
        weakest, second, strongest = np.sort(np.maximum(dark, 1e-5))
        veil = float(np.sqrt(weakest * second))
        view = self._contrast(total(patch.linear), inside)
        return Clarity(veil, view, veil / float(strongest))

    def _contrast(self, light: Plane, inside: NDArray[np.bool_]) -> float:
        """Contrast that two frames in a row share: noise does not repeat."""
        detail = _detail(light, inside)
        last, self._last = self._last, (detail, inside)
        if last is None or last[0].shape != detail.shape:
            return self._seen
        both = inside & last[1]
        if both.sum() < 60:
            return self._seen
        shared = float(np.mean(np.clip(detail[both] * last[0][both], -1.0, 1.0)))
        self._seen = float(np.sqrt(max(shared, 0.0)))
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


def _highlights(code: NDArray[np.uint8], inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Reflections of lamps and bubbles, and a margin around them."""
    low = smallest(code)
    usual = float(np.median(low[inside])) if inside.any() else 0.0
    bright = (low > 1.25 * usual + 25.0).astype(np.uint8)
    return np.asarray(cv2.dilate(bright, np.ones((5, 5), np.uint8)) > 0)


def _detail(light: Plane, inside: NDArray[np.bool_]) -> Plane:
    """Log light less its surroundings, 0 outside the liquid."""
    log_light = np.log(light + 3e-3)
    weight = inside.astype(np.float32)
    sigma = max(3.0, 0.09 * min(light.shape))
    wide = np.asarray(cv2.GaussianBlur(log_light * weight, (0, 0), sigma))
    wide = wide / np.maximum(np.asarray(cv2.GaussianBlur(weight, (0, 0), sigma)), 1e-3)
    return np.where(inside, log_light - wide, np.float32(0.0)).astype(np.float32)
