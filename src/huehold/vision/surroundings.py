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
from huehold.vision.channels import largest, smallest, total
from huehold.vision.colour import LINEAR_OF_CODE_32
from huehold.vision.geometry import normalised_radius, resized

__all__ = ["Around", "Surroundings"]

FloatArray = NDArray[np.float64]
Cells = NDArray[np.float32]

_CELLS = 72  # along the longer side
_DARK, _BRIGHT = 0.006, 0.90  # linear light between which a ratio means something
_DIFFERS = 0.25  # log ratio, beyond the common one, that marks a cell as changed
_NOISE = 0.004  # linear light by which dark cells may stray as well
_STILL, _SETTLED_S = 0.12, 1.5  # how still, and how long, until a new look is believed
_LEARN, _RECENT = 0.03, 0.4  # shares of a frame that enter the memory and the recent look
_KNOCK_CELLS = 0.3  # common displacement that makes the memory begin anew
_KNOCK_CHANGE = 0.06  # median log ratio of textured cells below which nothing was knocked
_TEXTURED_CELLS = 120
_TEXTURE = 0.12  # log step to the next cell that counts as texture
_BANDING = 0.025  # spread of rows, as log light, from which they are taken for flicker
_OUTSIDE = 1.45  # cells further out than this many radii count as surroundings
_FAR = 2.0  # beyond the cup's own rim: what does not move when the cup is swirled
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
    shift_px : tuple of float
        Common displacement in pixels of the small picture.
    bands : ndarray of float32, shape (rows,)
        Further linear factor of each row of cells: flicker under a rolling shutter.
    cell_px : float
        Height of a row of cells in pixels of the small picture.
    """

    gain: FloatArray
    gain_known: bool
    changed: float
    near_changed: float
    shift_px: tuple[float, float]
    bands: Cells
    cell_px: float

    def band(self, y_px: float, half_px: float) -> float:
        """Mean factor of the bands between y - half and y + half, small picture's pixels."""
        first = int(np.clip((y_px - half_px) / self.cell_px, 0, len(self.bands) - 1))
        last = int(np.clip((y_px + half_px) / self.cell_px, first, len(self.bands) - 1))
        return float(self.bands[first : last + 1].mean())

    @property
    def banding(self) -> float:
        """Relative spread of the bands."""
        return float(self.bands.std())


class Surroundings:
    """Keep a coarse memory of what lies around the vessel; see `Around`.

    Every cell remembers two looks, so that something put down and taken away again is known
    at once; a new look that stays still for a while replaces the older of the two.
    """

    def __init__(self) -> None:
        self._memory: _Memory | None = None
        self._gain = np.ones(3)
        self._cell_px = 1.0
        self._masks: (
            tuple[Ellipse, NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]] | None
        ) = None

    def look(self, image: NDArray[np.uint8], vessel: Ellipse, time_s: float) -> Around:
        """Compare a small picture with the memory.

        Parameters
        ----------
        image : ndarray of uint8, shape (height, width, 3)
        vessel : Ellipse
            Outline of the liquid in pixels of `image`.
        time_s : float
            Moment of the picture.
        """
        cells, factor = _cells(image)
        self._cell_px = factor
        outside, near, far = self._regions(resized(vessel, 1.0 / factor), cells.shape)
        memory = self._memory
        if memory is None or memory.looks[0].shape != cells.shape:
            return self._begin_anew(cells, time_s, (0.0, 0.0))
        usable = (smallest(cells) > _DARK) & (largest(cells) < _BRIGHT)
        looks = _log(cells)
        seen = usable & outside
        ratio = looks - memory.looks[0]
        shift = _displacement(memory.looks[0], looks, far)
        if shift is not None:
            return self._begin_anew(cells, time_s, (shift[0] * factor, shift[1] * factor))
        bands = _bands(ratio, seen)
        common, steady = _common((ratio - bands[:, None, None])[seen])
        level = looks - common.astype(np.float32) - bands[:, None, None]
        if steady:
            self._gain = memory.gain * np.exp(common)
        foreground = memory.learn(level, usable, time_s)
        changed, near_changed = _share(foreground, outside), _share(foreground, near)
        return Around(
            self._gain.copy(), steady, changed, near_changed, (0.0, 0.0), np.exp(bands), factor
        )

    def _begin_anew(self, cells: Cells, time_s: float, shift_px: tuple[float, float]) -> Around:
        self._memory = _Memory(cells, self._gain.copy(), time_s)
        flat = np.ones(cells.shape[0], dtype=np.float32)
        cell_px = self._cell_px
        return Around(self._gain.copy(), True, 0.0, 0.0, shift_px, flat, cell_px)

    def _regions(
        self, vessel: Ellipse, shape: tuple[int, ...]
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
        if self._masks is None or self._masks[0] != vessel or self._masks[1].shape != shape[:2]:
            rho = normalised_radius(vessel, np.arange(shape[1])[None], np.arange(shape[0])[:, None])
            outside = rho > _OUTSIDE
            if outside.sum() < 60:  # the vessel fills the view: take what there is
                outside = rho > 1.15
            near = (rho > _NEAR[0]) & (rho < _NEAR[1])
            far = rho > _FAR
            self._masks = (vessel, outside, near, far if far.sum() > 300 else outside)
        return self._masks[1:]


class _Memory:
    """Two looks of every cell, as log light at the gain of the moment the memory began."""

    def __init__(self, cells: Cells, gain: FloatArray, time_s: float) -> None:
        self.gain = gain
        self.looks = np.stack([_log(cells)] * 2)
        self._recent = self.looks[0].copy()
        self._still_s = np.zeros(cells.shape[:2], dtype=np.float32)
        self._time_s = time_s

    def learn(self, level: Cells, usable: NDArray[np.bool_], time_s: float) -> NDArray[np.bool_]:
        """Take in a picture brought to the memory's gain; return the cells that are foreign."""
        apart = [largest(np.abs(level - look)) for look in self.looks]
        swap = apart[1] < apart[0]
        if swap.any():
            self.looks[:, swap] = self.looks[::-1, swap]
        grain = float(np.median(apart[0][usable])) if usable.any() else 0.0
        limit = max(_DIFFERS, 4.0 * grain) + _NOISE * np.exp(-smallest(level))
        foreign = (np.minimum(*apart) > limit) & usable
        rate = np.where(foreign, np.float32(0.0), np.float32(_LEARN))[..., None]
        self.looks[0] += rate * (level - self.looks[0])
        self._adopt(level, foreign, time_s)
        return np.asarray(foreign)

    def _adopt(self, level: Cells, foreign: NDArray[np.bool_], time_s: float) -> None:
        still = largest(np.abs(level - self._recent)) < _STILL
        self._recent += np.float32(_RECENT) * (level - self._recent)
        passed = min(max(time_s - self._time_s, 0.0), 0.5)
        self._still_s = np.where(still & foreign, self._still_s + np.float32(passed), 0.0)
        self._time_s = time_s
        settled = self._still_s > _SETTLED_S
        if settled.any():
            self.looks[1, settled] = self.looks[0, settled]
            self.looks[0, settled] = self._recent[settled]


def _bands(ratio: Cells, seen: NDArray[np.bool_]) -> Cells:
    """Log factor of each row beyond the common change; zero unless rows clearly differ."""
    light = np.where(seen, total(ratio) / np.float32(3.0), np.float32(np.nan))
    enough = seen.sum(axis=1) >= 10
    rows = np.zeros(len(light), dtype=np.float32)
    if enough.sum() < len(rows) // 2:
        return rows
    light = light - np.nanmedian(light[enough])
    rows[enough] = np.nanmedian(light[enough], axis=1)
    at = np.arange(len(rows))
    rows[~enough] = np.interp(at[~enough], at[enough], rows[enough])
    rows = np.convolve(np.pad(rows, 1, mode="edge"), np.full(3, 1 / 3, np.float32), "valid")
    grain = float(np.nanmedian(np.abs(light[enough] - rows[enough][:, None])))
    clear = float(rows.std()) > max(_BANDING, 0.5 * grain)
    return np.asarray(rows if clear else np.zeros_like(rows), dtype=np.float32)


def _displacement(then: Cells, now: Cells, far: NDArray[np.bool_]) -> tuple[float, float] | None:
    """Find the common displacement in cells; None unless it explains most of the change.

    Judged by the median over cells with texture, so that a hand in view does not count.
    """
    pair = [_grey(looks, far) for looks in (then, now)]
    step = np.abs(np.gradient(pair[0])).max(axis=0)
    textured = far & (step > _TEXTURE)
    if textured.sum() < _TEXTURED_CELLS:
        return None
    before = _unlike(pair[1] - pair[0], far, textured)
    if before < _KNOCK_CHANGE:
        return None
    window = cv2.createHanningWindow((now.shape[1], now.shape[0]), cv2.CV_32F)
    (dx, dy), response = cv2.phaseCorrelate(pair[0], pair[1], window)
    if response < 0.3 or np.hypot(dx, dy) < _KNOCK_CELLS:
        return None
    turn = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
    size = (now.shape[1], now.shape[0])
    back = cv2.warpAffine(pair[0], turn, size, borderMode=cv2.BORDER_REPLICATE)
    after = _unlike(pair[1] - back, far, textured)
    return (float(dx), float(dy)) if after < 0.6 * before else None


def _unlike(change: Cells, far: NDArray[np.bool_], textured: NDArray[np.bool_]) -> float:
    """Median change of textured cells beyond what their rows share (flicker is by rows)."""
    rows = (change * far).sum(axis=1) / np.maximum(far.sum(axis=1), 1)
    return float(np.median(np.abs(change - rows[:, None].astype(np.float32))[textured]))


def _cells(image: NDArray[np.uint8]) -> tuple[Cells, float]:
    factor = max(image.shape[:2]) / _CELLS
    size = (max(round(image.shape[1] / factor), 8), max(round(image.shape[0] / factor), 8))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.LUT(small, LINEAR_OF_CODE_32), dtype=np.float32), factor


def _grey(looks: Cells, where: NDArray[np.bool_]) -> Cells:
    """Mean log light less its median, zero outside the region."""
    grey = total(looks) / np.float32(3.0)
    return np.where(where, grey - np.median(grey[where]), np.float32(0.0)).astype(np.float32)


def _log(cells: Cells) -> Cells:
    return np.asarray(np.log(cells + np.float32(1e-4)))


def _common(log_ratio: Cells) -> tuple[FloatArray, bool]:
    """Return the change most cells share, by channel, and whether there were enough to tell."""
    if len(log_ratio) < 40:
        return np.zeros(3), False
    centre = np.median(log_ratio, axis=0).astype(float)
    for _ in range(2):
        close = largest(np.abs(log_ratio - centre)) < 0.15
        if close.sum() < 0.3 * len(log_ratio):
            return centre, False
        centre = log_ratio[close].mean(axis=0, dtype=float)
    return centre, True


def _share(flags: NDArray[np.bool_], region: NDArray[np.bool_]) -> float:
    count = int(region.sum())
    return float((flags & region).sum()) / count if count else 0.0
