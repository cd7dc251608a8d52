"""What lies around the vessel: the camera's common changes, hands, and knocks.

A coarse picture in linear light is compared with a slowly learnt one. A change that all
cells share, channel by channel, is the camera's exposure or white balance; cells that
differ beyond it are something that moved into view; a common displacement is a knock.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import count, median_of, planes, share_after
from huehold.vision.colour import LINEAR_OF_CODE_32
from huehold.vision.geometry import radius_squared, resized

__all__ = ["Around", "Surroundings"]

FloatArray = NDArray[np.float64]
Cells = NDArray[np.float32]

_CELLS = 72  # along the longer side, at most
_DARK, _BRIGHT = 0.006, 0.90  # linear light between which a ratio means something
_ENOUGH = 800  # cells that tell the common change
_DIFFERS = 0.25  # log ratio, beyond the common one, that marks a cell as changed
_NOISE = 0.004  # linear light by which dark cells may stray as well
_STILL, _SETTLED_S = 0.12, 1.5  # how still, and how long, until a new look is believed
_LEARN, _RECENT = 0.03, 0.4  # shares that enter the memory and the recent look, by frame
_KNOCK_CELLS = 0.3  # common displacement that makes the memory begin anew
_KNOCK_CHANGE = 0.06  # median log ratio of textured cells below which nothing was knocked
_TEXTURED_CELLS = 120
_TEXTURE = 0.12  # log step to the next cell that counts as texture
_BANDING = 0.025  # spread of rows, as log light, from which they are taken for flicker
_ONE_SIDED = 0.8  # the same between the halves of the rows, as a share, from which it is a hand
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
        outside, near, far = self._regions(resized(vessel, 1.0 / factor), cells.shape[1:])
        memory = self._memory
        if memory is None or memory.looks[0].shape != cells.shape:
            return self._begin_anew(cells, time_s, (0.0, 0.0))
        usable = (_least(cells) > _DARK) & (_most(cells) < _BRIGHT)
        looks = _log(cells)
        seen = usable & outside
        ratio = looks - memory.looks[0]
        shift = _displacement(memory.looks[0], looks, far)
        if shift is not None:
            return self._begin_anew(cells, time_s, (shift[0] * factor, shift[1] * factor))
        bands = _bands(ratio, seen)
        common, steady = _common(_where(ratio - bands[:, None], seen))
        level = looks - common.astype(np.float32)[:, None, None] - bands[:, None]
        if steady:
            self._gain = memory.gain * np.exp(common)
        foreground = memory.learn(level, usable, time_s)
        changed, near_changed = _share(foreground, outside), _share(foreground, near)
        return Around(
            self._gain.copy(), steady, changed, near_changed, (0.0, 0.0), np.exp(bands), factor
        )

    def _begin_anew(self, cells: Cells, time_s: float, shift_px: tuple[float, float]) -> Around:
        self._memory = _Memory(cells, self._gain.copy(), time_s)
        flat = np.ones(cells.shape[1], dtype=np.float32)
        cell_px = self._cell_px
        return Around(self._gain.copy(), True, 0.0, 0.0, shift_px, flat, cell_px)

    def _regions(
        self, vessel: Ellipse, shape: tuple[int, ...]
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
        if self._masks is None or self._masks[0] != vessel or self._masks[1].shape != shape:
            rho_2 = radius_squared(vessel, np.arange(shape[1])[None], np.arange(shape[0])[:, None])
            outside = rho_2 > _OUTSIDE**2
            if count(outside) < 60:  # the vessel fills the view: take what there is
                outside = rho_2 > 1.15**2
            near = (rho_2 > _NEAR[0] ** 2) & (rho_2 < _NEAR[1] ** 2)
            far = rho_2 > _FAR**2
            self._masks = (vessel, outside, near, far if count(far) > 300 else outside)
        return self._masks[1:]


class _Memory:
    """Two looks of every cell, as log light at the gain of the moment the memory began."""

    def __init__(self, cells: Cells, gain: FloatArray, time_s: float) -> None:
        self.gain = gain
        self.looks = np.stack([_log(cells)] * 2)
        self._recent = self.looks[0].copy()
        self._still_s = np.zeros(cells.shape[1:], dtype=np.float32)
        self._time_s = time_s

    def learn(self, level: Cells, usable: NDArray[np.bool_], time_s: float) -> NDArray[np.bool_]:
        """Take in a picture brought to the memory's gain; return the cells that are foreign."""
        apart = [_most(np.abs(level - look)) for look in self.looks]
        swap = apart[1] < apart[0]
        if swap.any():
            self.looks[:, :, swap] = self.looks[::-1, :, swap]
        grain = median_of(apart[0][usable]) if usable.any() else 0.0
        limit = max(_DIFFERS, 4.0 * grain) + np.float32(_NOISE) * np.exp(-_least(level))
        foreign = (np.minimum(*apart) > limit) & usable
        passed_s = time_s - self._time_s
        rate = np.where(foreign, np.float32(0.0), np.float32(share_after(_LEARN, passed_s)))
        self.looks[0] += rate * (level - self.looks[0])
        self._adopt(level, foreign, passed_s)
        self._time_s = time_s
        return np.asarray(foreign)

    def _adopt(self, level: Cells, foreign: NDArray[np.bool_], passed_s: float) -> None:
        strayed = level - self._recent
        still = _most(np.abs(strayed)) < _STILL
        self._recent += np.float32(share_after(_RECENT, passed_s)) * strayed
        passed = np.float32(min(passed_s, 0.5))
        self._still_s = np.where(still & foreign, self._still_s + passed, np.float32(0.0))
        settled = self._still_s > _SETTLED_S
        if settled.any():
            self.looks[1][:, settled] = self.looks[0][:, settled]
            self.looks[0][:, settled] = self._recent[:, settled]


def _bands(ratio: Cells, seen: NDArray[np.bool_]) -> Cells:
    """Log factor of each row beyond the common change; zero unless rows clearly differ."""
    light = np.where(seen, _mean(ratio), np.float32(np.nan))
    counts = np.count_nonzero(seen, axis=1)
    enough = counts >= 10
    rows = np.zeros(len(light), dtype=np.float32)
    if count(enough) < len(rows) // 2:
        return rows
    usual = np.float32(median_of(light[seen & enough[:, None]]))
    rows[enough] = _medians(light[enough], counts[enough]) - usual
    at = np.arange(len(rows))
    rows[~enough] = np.interp(at[~enough], at[enough], rows[enough])
    rows = np.convolve(np.pad(rows, 1, mode="edge"), np.full(3, 1 / 3, np.float32), "valid")
    spread = float(rows.std())
    if spread > _BANDING:
        grain = median_of(np.abs(light - usual - rows[:, None])[seen & enough[:, None]])
        if spread > 0.5 * grain and _apart(light, seen) < _ONE_SIDED * spread:
            return np.asarray(rows, dtype=np.float32)
    return np.zeros(len(rows), dtype=np.float32)


def _apart(light: Cells, seen: NDArray[np.bool_]) -> float:
    """Spread of the difference between the left and the right half of the rows.

    Flicker is the same all along a row; a hand that reaches in is on one side.
    """
    middle = light.shape[1] // 2
    sides = [np.s_[:, :middle], np.s_[:, middle:]]
    counts = [np.count_nonzero(seen[side], axis=1) for side in sides]
    both = np.minimum(*counts) >= 4
    if count(both) < 4:
        return math.inf
    left, right = (_medians(light[s][both], n[both]) for s, n in zip(sides, counts, strict=True))
    return float((left - right).std())


def _medians(rows: Cells, counts: NDArray[np.int_]) -> Cells:
    """Median of each row of which so many values are not NaN."""
    ordered, line = np.sort(rows, axis=1), np.arange(len(rows))
    return np.asarray(0.5 * (ordered[line, (counts - 1) // 2] + ordered[line, counts // 2]))


def _displacement(then: Cells, now: Cells, far: NDArray[np.bool_]) -> tuple[float, float] | None:
    """Find the common displacement in cells; None unless it explains most of the change.

    Judged by the median over cells with texture, so that a hand in view does not count.
    """
    first, second = _mean(then), _mean(now)
    textured = far & (_steps(first) > _TEXTURE)
    if count(textured) < _TEXTURED_CELLS:
        return None
    before = _unlike(second - first, far, textured)
    if before < _KNOCK_CHANGE:
        return None
    first, second = _levelled(first, far), _levelled(second, far)
    size = (far.shape[1], far.shape[0])
    window = cv2.createHanningWindow(size, cv2.CV_32F)
    (dx, dy), response = cv2.phaseCorrelate(first, second, window)
    dx, dy = dx - _off_centre(size[0]), dy - _off_centre(size[1])
    if response < 0.3 or np.hypot(dx, dy) < _KNOCK_CELLS:
        return None
    turn = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
    back = cv2.warpAffine(first, turn, size, borderMode=cv2.BORDER_REPLICATE)
    after = _unlike(second - back, far, textured)
    return (float(dx), float(dy)) if after < 0.6 * before else None


def _off_centre(cells: int) -> float:
    """Displacement that OpenCV finds of a picture against itself: half a cell at odd sizes."""
    return 0.5 * (cv2.getOptimalDFTSize(cells) % 2)


def _unlike(change: Cells, far: NDArray[np.bool_], textured: NDArray[np.bool_]) -> float:
    """Median change of textured cells beyond what their rows share (flicker is by rows)."""
    rows = (change * far).sum(axis=1) / np.maximum(np.count_nonzero(far, axis=1), 1)
    return median_of(np.abs(change - rows[:, None].astype(np.float32))[textured])


def _steps(grey: Cells) -> Cells:
    """Larger of the two central differences; zero at the border."""
    steps = np.zeros_like(grey)
    steps[:, 1:-1] = np.abs(grey[:, 2:] - grey[:, :-2])
    steps[1:-1] = np.maximum(steps[1:-1], np.abs(grey[2:] - grey[:-2]))
    return np.float32(0.5) * steps


def _cells(image: NDArray[np.uint8]) -> tuple[Cells, float]:
    """Coarse picture in linear light, shape (3, rows, columns), and the side of a cell."""
    side = -(-max(image.shape[:2]) // _CELLS)
    size = (max(image.shape[1] // side, 8), max(image.shape[0] // side, 8))
    whole = image[: size[1] * side, : size[0] * side]
    small = cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    linear = np.asarray(cv2.LUT(small, LINEAR_OF_CODE_32), dtype=np.float32)
    return np.stack(planes(linear)), float(side)


def _levelled(grey: Cells, where: NDArray[np.bool_]) -> Cells:
    """Log light less its median, zero outside the region."""
    return np.where(where, grey - np.float32(median_of(grey[where])), np.float32(0.0))


def _where(cells: Cells, flags: NDArray[np.bool_]) -> Cells:
    """Return the flagged cells in a row, shape (3, n)."""
    return cells.reshape(3, -1)[:, np.flatnonzero(flags)]


def _log(cells: Cells) -> Cells:
    return np.asarray(np.log(cells + np.float32(1e-4)))


def _most(cells: Cells) -> Cells:
    return np.asarray(np.maximum(np.maximum(cells[0], cells[1]), cells[2]))


def _mean(cells: Cells) -> Cells:
    return np.asarray((cells[0] + cells[1] + cells[2]) / np.float32(3.0))


def _least(cells: Cells) -> Cells:
    return np.asarray(np.minimum(np.minimum(cells[0], cells[1]), cells[2]))


def _common(log_ratio: Cells) -> tuple[FloatArray, bool]:
    """Return the change most cells share, by channel, and whether there were enough to tell.

    Parameters
    ----------
    log_ratio : ndarray of float32, shape (3, n)
    """
    log_ratio = log_ratio[:, :: max(1, log_ratio.shape[1] // _ENOUGH)]
    cells = log_ratio.shape[1]
    if cells < 40:
        return np.zeros(3), False
    centre = np.array([median_of(channel) for channel in log_ratio])
    for _ in range(2):
        close = _most(np.abs(log_ratio - centre[:, None].astype(np.float32))) < 0.15
        if count(close) < 0.3 * cells:
            return centre, False
        centre = (log_ratio * close).sum(axis=1).astype(float) / count(close)
    return centre, True


def _share(flags: NDArray[np.bool_], region: NDArray[np.bool_]) -> float:
    size = count(region)
    return count(flags & region) / size if size else 0.0
