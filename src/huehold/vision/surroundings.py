"""What lies around the vessel: the camera's common changes, hands, and knocks.

A coarse picture in linear light is compared with a slowly learnt one. A change that all
cells share, channel by channel, is the camera's exposure or white balance; cells that
differ beyond it are something that moved into view; a common displacement is a knock.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.colour import LINEAR_OF_CODE
from huehold.vision.geometry import normalised_radius, resized

__all__ = ["Around", "Surroundings"]

FloatArray = NDArray[np.float64]

_CELLS = 72  # along the longer side
_LINEAR32 = LINEAR_OF_CODE.astype(np.float32)
_DARK, _BRIGHT = 0.006, 0.90  # linear light between which a ratio means something
_DIFFERS = 0.22  # log ratio, beyond the common one, that marks a cell as changed
_LEARN = 0.03
_KNOCK_CELLS = 0.7  # common displacement that counts as a knock
_OUTSIDE = 1.45  # cells further out than this many radii count as surroundings
_NEAR = (1.08, 1.75)


@dataclass(frozen=True, slots=True)
class Around:
    """What the surroundings say in one frame.

    Attributes
    ----------
    gain : ndarray, shape (3,)
        Linear factor per channel that the camera applied relative to the start.
    gain_known : bool
        Whether enough unchanged surroundings were in view to tell.
    changed : float
        Share of surroundings that differ beyond the common change.
    near_changed : float
        Share of the ring around the vessel that does.
    foreground : ndarray of bool, shape (rows, columns)
        The cells that differ.
    shift_px : tuple of float
        Common displacement in pixels of the small picture.
    """

    gain: FloatArray
    gain_known: bool
    changed: float
    near_changed: float
    foreground: NDArray[np.bool_]
    shift_px: tuple[float, float]


class Surroundings:
    """Keep a coarse memory of what lies around the vessel; see `Around`."""

    def __init__(self) -> None:
        self._memory: NDArray[np.float32] | None = None
        self._memory_gain = np.ones(3)
        self._gain = np.ones(3)
        self._masks: tuple[Ellipse, NDArray[np.bool_], NDArray[np.bool_]] | None = None
        self._restless = 0

    def look(self, image: NDArray[np.uint8], vessel: Ellipse) -> Around:
        """Compare a small picture with the memory.

        Parameters
        ----------
        image : ndarray of uint8, shape (height, width, 3)
        vessel : Ellipse
            Outline of the liquid in pixels of `image`.
        """
        cells, factor = _cells(image)
        outside, near = self._regions(resized(vessel, 1.0 / factor), cells.shape)
        if self._memory is None or self._memory.shape != cells.shape:
            return self._begin_anew(cells, (0.0, 0.0))
        shift = _displacement(self._memory, cells, outside)
        if np.hypot(*shift) > _KNOCK_CELLS:
            return self._begin_anew(cells, (shift[0] * factor, shift[1] * factor))
        log_ratio, usable = _log_ratio(cells, self._memory)
        common, steady = _common(log_ratio[usable & outside])
        if steady:
            self._gain = self._memory_gain * np.exp(common)
        off = np.abs(log_ratio - common).max(axis=2)
        foreground = (off > _DIFFERS) & usable
        changed, near_changed = _share(foreground, outside), _share(foreground, near)
        self._learn(cells, common, foreground, changed)
        return Around(self._gain.copy(), steady, changed, near_changed, foreground, (0.0, 0.0))

    def _begin_anew(self, cells: NDArray[np.float32], shift_px: tuple[float, float]) -> Around:
        self._memory, self._memory_gain, self._restless = cells.copy(), self._gain.copy(), 0
        nothing = np.zeros(cells.shape[:2], dtype=bool)
        return Around(self._gain.copy(), True, 0.0, 0.0, nothing, shift_px)

    def _regions(
        self, vessel: Ellipse, shape: tuple[int, ...]
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        if self._masks is None or self._masks[0] != vessel or self._masks[1].shape != shape[:2]:
            rho = normalised_radius(vessel, np.arange(shape[1])[None], np.arange(shape[0])[:, None])
            outside = rho > _OUTSIDE
            if outside.sum() < 60:  # the vessel fills the view: take what there is
                outside = rho > 1.15
            self._masks = (vessel, outside, (rho > _NEAR[0]) & (rho < _NEAR[1]))
        return self._masks[1], self._masks[2]

    def _learn(
        self,
        cells: NDArray[np.float32],
        common: FloatArray,
        foreground: NDArray[np.bool_],
        changed: float,
    ) -> None:
        """Follow slow changes; take the new view for granted when it stays different."""
        assert self._memory is not None
        rate = np.where(foreground, 0.0, _LEARN)[..., None].astype(np.float32)
        level = cells * np.exp(-common).astype(np.float32)
        self._memory += rate * (level - self._memory)
        self._restless = self._restless + 1 if changed > 0.35 else 0
        if self._restless > 12:
            self._begin_anew(cells, (0.0, 0.0))


def _displacement(
    then: NDArray[np.float32], now: NDArray[np.float32], outside: NDArray[np.bool_]
) -> tuple[float, float]:
    """Find the common displacement in cells; zero unless the pictures agree well once shifted."""
    window = cv2.createHanningWindow((now.shape[1], now.shape[0]), cv2.CV_32F)
    pair = [np.where(outside, _grey(cells, outside), np.float32(0.0)) for cells in (then, now)]
    (dx, dy), response = cv2.phaseCorrelate(pair[0], pair[1], window)
    return (float(dx), float(dy)) if response > 0.25 else (0.0, 0.0)


def _cells(image: NDArray[np.uint8]) -> tuple[NDArray[np.float32], float]:
    factor = max(image.shape[:2]) / _CELLS
    size = (max(round(image.shape[1] / factor), 8), max(round(image.shape[0] / factor), 8))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.LUT(small, _LINEAR32), dtype=np.float32), factor


def _grey(cells: NDArray[np.float32], where: NDArray[np.bool_]) -> NDArray[np.float32]:
    grey = np.log(cells.sum(axis=2) + 0.02)
    return np.asarray(grey - grey[where].mean(), dtype=np.float32)


def _log_ratio(
    now: NDArray[np.float32], then: NDArray[np.float32]
) -> tuple[FloatArray, NDArray[np.bool_]]:
    low = np.minimum(now, then).min(axis=2)
    high = np.maximum(now, then).max(axis=2)
    usable = (low > _DARK) & (high < _BRIGHT)
    ratio = np.log((now + 1e-4) / (then + 1e-4))
    return ratio.astype(float), usable


def _common(log_ratio: FloatArray) -> tuple[FloatArray, bool]:
    """Return the change most cells share, by channel, and whether there were enough to tell."""
    if len(log_ratio) < 40:
        return np.zeros(3), False
    centre = np.median(log_ratio, axis=0)
    for _ in range(2):
        close = np.abs(log_ratio - centre).max(axis=1) < 0.15
        if close.sum() < 0.3 * len(log_ratio):
            return centre, False
        centre = log_ratio[close].mean(axis=0)
    return centre, True


def _share(flags: NDArray[np.bool_], region: NDArray[np.bool_]) -> float:
    count = int(region.sum())
    return float((flags & region).sum()) / count if count else 0.0
