"""Finding the liquid of a cup in one picture, without being told where it is.

Proposals are the outlines of level sets in lightness and in the two colour directions;
each is fitted with an ellipse that tolerates a spout, a dropper or a reflection, and is
then judged on the picture: how much of the outline is there, how much of it is a real
step in colour, how even the inside is, how coloured, and whether a rim lies around it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.vision.channels import median_of, quantile_of
from huehold.vision.geometry import (
    boundary,
    fit_ellipse,
    half_extent,
    normalised_radius,
    resized,
    sample,
)

__all__ = ["Candidate", "find_vessel"]

FloatArray = NDArray[np.float64]
Picture = NDArray[np.uint8]

_SEARCH_PX = 240  # longest side of the picture the search runs on
_LEVELS = np.array([4, 8, 12, 17, 23, 30, 38, 46, 54, 62, 70, 77, 83, 88, 92, 96])
_MIN_SIZE = 0.07  # smallest half axis as a share of the picture's shorter side
_MAX_SIZE = 0.62
_USUAL_SIZE = 0.16  # smaller ones must look the more like a cup
_MIN_ASPECT = 0.55  # 45 degrees give 0.71; perspective and a fit's error need room
_RAYS = 48
_POINTS = 240  # of an outline that are looked at, at least, where it has so many
_STEP_LAB = 5.0  # contrast across the outline that counts as a step
_ACCEPT = 0.42


@dataclass(frozen=True, slots=True)
class Candidate:
    """A proposed outline of the liquid and what speaks for it, each 0 to 1."""

    ellipse: Ellipse
    coverage: float
    step: float
    even: float
    colour: float
    size: float
    ringed: float = 0.0

    @property
    def score(self) -> float:
        """How much this looks like liquid in a cup, 0 to 1."""
        looks = 0.1 + 0.45 * self.even + 0.25 * self.colour + 0.2 * self.ringed
        return self.coverage * self.step * self.size * looks


def find_vessel(picture: Picture, near: Ellipse | None = None) -> Candidate | None:
    """Find the liquid's outline.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        sRGB picture, best about 240 to 480 pixels on its longer side.
    near : Ellipse or None
        Outline of the cup at its foot, where that is known, in pixels of `picture`.

    Returns
    -------
    Candidate or None
        The best outline in pixels of `picture`; None if nothing looks like a cup.
    """
    small, factor = _for_search(picture)
    lab = np.asarray(cv2.cvtColor(cv2.medianBlur(small, 5), cv2.COLOR_RGB2Lab), dtype=np.uint8)
    candidates = [judge(lab, ellipse, cover) for ellipse, cover in _proposals(lab)]
    candidates = [_with_ring(c, candidates) for c in candidates]
    if near is not None:
        place = resized(near, 1.0 / factor)
        candidates = [c for c in candidates if _stands_in(c.ellipse, place)]
    best = max(candidates, key=lambda c: c.score, default=None)
    if best is None or best.score < _ACCEPT:
        return None
    best = _innermost(best, candidates)
    return replace(best, ellipse=resized(best.ellipse, factor))


def _for_search(picture: Picture) -> tuple[Picture, float]:
    longest = max(picture.shape[:2])
    if longest <= _SEARCH_PX:
        return picture, 1.0
    factor = longest / _SEARCH_PX
    size = (round(picture.shape[1] / factor), round(picture.shape[0] / factor))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8), factor


def _proposals(lab: Picture) -> Iterator[tuple[Ellipse, float]]:
    short = min(lab.shape[:2])
    for channel in cv2.split(lab):
        for level in np.unique(np.percentile(channel[::2, ::2], _LEVELS).astype(int)):
            _, binary = cv2.threshold(channel, int(level), 255, cv2.THRESH_BINARY)
            outlines, _ = cv2.findContours(binary, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
            for outline in outlines:
                if len(outline) >= 5 * _MIN_SIZE * short and _sized(outline, short):
                    points = np.asarray(outline, dtype=np.int32).reshape(-1, 2)
                    yield from _ellipses_of(points, lab.shape, short)


def _sized(outline: cv2.typing.MatLike, short: int) -> bool:
    """Whether an outline may be that of a cup, from its upright box."""
    _, _, width, height = cv2.boundingRect(outline)
    least, most = min(width, height) - 1, max(width, height) - 1
    return least >= 2 * _MIN_SIZE * short and most <= 4 * _MAX_SIZE * short


def _ellipses_of(
    outline: NDArray[np.int32], shape: tuple[int, ...], short: int
) -> Iterator[tuple[Ellipse, float]]:
    points = _off_the_edge(outline[:: max(1, len(outline) // _POINTS)], shape)
    if len(points) < 16:
        return
    fitted = fit_ellipse(points)
    if fitted is None or not _plausible(fitted[0], shape, short):
        return
    cover = _coverage(fitted[0], points, fitted[1])
    if cover > 0.6:
        yield fitted[0], cover


def _off_the_edge(outline: NDArray[np.int32], shape: tuple[int, ...]) -> FloatArray:
    height, width = shape[:2]
    x, y = outline[:, 0], outline[:, 1]
    inner = (x > 1) & (y > 1) & (x < width - 2) & (y < height - 2)
    return outline[inner].astype(float)


def _plausible(ellipse: Ellipse, shape: tuple[int, ...], short: int) -> bool:
    if not _MIN_SIZE * short <= ellipse.semi_minor_px:
        return False
    if ellipse.semi_major_px > _MAX_SIZE * short:
        return False
    if ellipse.semi_minor_px < _MIN_ASPECT * ellipse.semi_major_px:
        return False
    half_width, half_height = half_extent(ellipse)
    height, width = shape[:2]
    over = max(
        half_width - ellipse.x_px, ellipse.x_px + half_width - width,
        half_height - ellipse.y_px, ellipse.y_px + half_height - height,
    )  # fmt: skip
    return bool(over < 0.1 * ellipse.semi_minor_px)


def _coverage(ellipse: Ellipse, points: FloatArray, off: FloatArray) -> float:
    """Share of directions in which the outline lies on the ellipse."""
    tolerance = max(0.04, 1.0 / ellipse.semi_minor_px)
    on = points[off <= tolerance]
    direction = np.arctan2(on[:, 1] - ellipse.y_px, on[:, 0] - ellipse.x_px)
    bins = np.unique(((direction / (2 * np.pi) + 0.5) * _RAYS).astype(int) % _RAYS)
    return float(len(bins)) / _RAYS


def judge(lab: Picture, ellipse: Ellipse, coverage: float) -> Candidate:
    """Judge an outline on the picture (8-bit Lab as OpenCV codes it)."""
    rings = sample(lab, boundary(ellipse, _RAYS, [0.25, 0.5, 0.7, 0.88, 1.12])) - 128.0
    rings[..., 0] *= 100.0 / 255.0
    inside, near, out = rings[:4].reshape(-1, 3), rings[3], rings[4]
    contrast = np.linalg.norm(out - near, axis=1)
    centre = np.array([median_of(channel) for channel in inside.T])
    spread = quantile_of(np.linalg.norm(inside - centre, axis=1), 0.75) / 1.15
    share = ellipse.semi_minor_px / min(lab.shape[:2])
    chroma = float(np.hypot(centre[1], centre[2]))
    return Candidate(
        ellipse,
        coverage,
        step=float(np.mean(np.clip(contrast / (2 * _STEP_LAB), 0.0, 1.0))),
        even=float(np.exp(-((spread / 14.0) ** 2))),
        colour=chroma / (chroma + 15.0),
        size=0.55 + 0.45 * min(share / _USUAL_SIZE, 1.0),
    )


def _innermost(best: Candidate, others: list[Candidate]) -> Candidate:
    """Prefer, of outlines nearly as good, the smallest inside: walls mirror the liquid."""
    inner = [
        one
        for one in others
        if one.score > 0.93 * best.score
        and min(one.coverage, one.step) > 0.95
        and 0.6 < one.ellipse.semi_major_px / best.ellipse.semi_major_px < 0.95
        and _inside(one.ellipse, best.ellipse)
    ]
    return min(inner, key=lambda one: one.ellipse.semi_major_px, default=best)


def _stands_in(liquid: Ellipse, foot: Ellipse) -> bool:
    """Whether liquid could be in a cup on this foot: seen aslant it lies off, but not far."""
    off = np.hypot(liquid.x_px - foot.x_px, liquid.y_px - foot.y_px)
    size = liquid.semi_major_px / foot.semi_major_px
    return bool(off < 1.2 * foot.semi_major_px and 0.4 < size < 1.7)


def _inside(one: Ellipse, other: Ellipse) -> bool:
    points = boundary(one, 16)[0]
    return bool(np.all(normalised_radius(other, points[:, 0], points[:, 1]) < 1.08))


def _with_ring(one: Candidate, others: list[Candidate]) -> Candidate:
    """Note the best outline that lies around this one as a rim does."""
    best = 0.0
    for other in others:
        ratio = other.ellipse.semi_major_px / one.ellipse.semi_major_px
        shift = np.hypot(
            other.ellipse.x_px - one.ellipse.x_px, other.ellipse.y_px - one.ellipse.y_px
        )
        if 1.06 < ratio < 2.2 and shift < 0.6 * (ratio - 0.8) * one.ellipse.semi_major_px:
            best = max(best, other.coverage * other.step)
    return replace(one, ringed=best)
