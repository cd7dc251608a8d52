"""Finding the bench card in a picture: which card, where, how tilted, how flat.

A card is believed when at least three of its four markers are seen, belong to one card,
and lie as a flat card seen from above must; once it is known, two are enough to follow it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.calibration.card import MARKER_MM, CardLayout, layout_of_marker
from huehold.core import Ellipse

__all__ = ["BENT", "CardSight", "find_card", "find_markers", "follow_card"]

FloatArray = NDArray[np.float64]

BENT = 0.0018
"""Misfit of the markers' corners, as a share of the card's side, from which it is bent."""

_SEARCH_PX = (960, 1280)  # longest side of the picture that is searched, least and most
_ROOM = 0.12  # around a known card, as a share of its side, in which it is followed
_SMALL_MARKER_PX = 26.0  # side of markers that are enlarged to be read
_IMPOSSIBLE = 0.03  # misfit, as a share of the card's side, beyond any bend or lens
_READING_PX = 0.15  # how well a corner is read, root mean square
_GRAINY_PX = 0.12  # how much worse for each code of the picture's grain
_INSET = 0.03
_LEAST_MARKER_PX = 8.0
_LEAST_ASPECT = 0.35  # of the ring: seen flatter than this nothing can be measured
_LEAST_CONTRAST = 40.0  # codes between a marker's black and the paper around it


@dataclass(frozen=True, slots=True)
class CardSight:
    """A card as it lies in one picture.

    Attributes
    ----------
    layout : CardLayout
        Which card.
    homography : ndarray, shape (3, 3)
        From mm on the card to pixels.
    seen : tuple of int
        The corners (0 far left, 1 far right, 2 near right, 3 near left) whose marker was read.
    misfit : float
        Root mean square distance of the markers' corners from a flat card, as a share of
        the card's side.
    """

    layout: CardLayout
    homography: FloatArray
    seen: tuple[int, ...]
    misfit: float

    def project(self, points_mm: ArrayLike) -> FloatArray:
        """Pixels of points on the card, shape (..., 2) to (..., 2)."""
        points = np.asarray(points_mm, dtype=float)
        ends = points @ self.homography[:, :2].T + self.homography[:, 2]
        return np.asarray(ends[..., :2] / ends[..., 2:])

    def circle(self, radius_mm: float) -> Ellipse:
        """Outline in pixels of a circle on the card around the ring's middle."""
        back = np.linalg.inv(self.homography)
        return _ellipse_of_conic(back.T @ np.diag([1.0, 1.0, -(radius_mm**2)]) @ back)

    @property
    def cup(self) -> Ellipse:
        """Outline on the card, in pixels, of the widest cup that the card is made for."""
        return self.circle(self.layout.cup_mm / 2.0)

    @property
    def px_per_mm(self) -> float:
        """Pixels to a millimetre across the line of sight, at the ring."""
        return 2.0 * self.cup.semi_major_px / self.layout.cup_mm

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight and the card's normal, from foreshortening."""
        small = self.circle(1.0)
        return float(np.degrees(np.arccos(min(small.semi_minor_px / small.semi_major_px, 1.0))))

    @property
    def bent(self) -> bool:
        """Whether the card does not lie flat (or the lens distorts as much)."""
        return self.misfit > BENT


def _ellipse_of_conic(conic: FloatArray) -> Ellipse:
    quadratic = conic[:2, :2]
    centre = np.linalg.solve(quadratic, -conic[:2, 2])
    constant = conic[2, 2] + conic[:2, 2] @ centre
    values, vectors = np.linalg.eigh(-quadratic / constant)
    semi = 1.0 / np.sqrt(np.maximum(values, 1e-12))
    angle = float(np.degrees(np.arctan2(vectors[1, 0], vectors[0, 0]))) % 180.0
    return Ellipse(float(centre[0]), float(centre[1]), float(semi[0]), float(semi[1]), angle)


def find_markers(grey: NDArray[np.uint8]) -> list[tuple[int, FloatArray]]:
    """Find the dictionary's markers: number and corners in pixels, clockwise, shape (4, 2)."""
    corners, numbers, _ = _detector().detectMarkers(grey)
    if numbers is None:
        return []
    flat = np.asarray(numbers).reshape(-1)
    return [
        (int(n), np.asarray(c, dtype=float).reshape(4, 2))
        for n, c in zip(flat, corners, strict=True)
    ]


def _detector() -> cv2.aruco.ArucoDetector:
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.cornerRefinementWinSize = 4
    settings.relativeCornerRefinmentWinSize = 0.6  # of a cell; blur runs over half of one
    settings.minMarkerPerimeterRate = 0.02
    settings.errorCorrectionRate = 0.0  # the dictionary is small: a wrong bit is another thing
    settings.perspectiveRemovePixelPerCell = 8  # blur runs over a cell's edge: read its middle
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.3
    return cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), settings
    )


def find_card(
    image: NDArray[np.uint8], known: CardLayout | None = None, least_markers: int = 3
) -> CardSight | None:
    """Find the bench card.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        sRGB picture.
    known : CardLayout, optional
        Only this card is looked for.
    least_markers : int
        How many markers must be seen, 2 to 4; two only where the card is known to lie.

    Returns
    -------
    CardSight or None
        In pixels of `image`; None if there is no card.
    """
    grey, factor = _grey(image)
    best = _in_grey(grey, known, least_markers)
    return None if best is None else _enlarged(best, factor)


def _in_grey(
    grey: NDArray[np.uint8], known: CardLayout | None, least_markers: int
) -> CardSight | None:
    groups: dict[CardLayout, dict[int, FloatArray]] = defaultdict(dict)
    for number, corners in find_markers(grey):
        owner = layout_of_marker(number)
        if owner is not None and (known is None or owner[0] == known) and _real(grey, corners):
            groups[owner[0]].setdefault(owner[1], corners)
    grain = _grain(grey)
    sights = [_sight(layout, found, least_markers, grain) for layout, found in groups.items()]
    believed = [s for s in sights if s is not None]
    return max(believed, key=lambda s: (len(s.seen), -s.misfit), default=None)


def follow_card(image: NDArray[np.uint8], known: CardSight) -> CardSight | None:
    """Find a card again near where it lay, at a fraction of the work of a search.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
    known : CardSight
        The card as it lay in a picture of the same size.

    Returns
    -------
    CardSight or None
        None if it is not there with two markers at least; it may have gone farther.
    """
    corners = known.project(known.layout.outline)
    room = _ROOM * float(np.ptp(corners, axis=0).max())
    height, width = image.shape[:2]
    left, top = np.clip(corners.min(axis=0) - room, 0, [width - 1, height - 1]).astype(int)
    right, bottom = np.clip(corners.max(axis=0) + room, 1, [width, height]).astype(int)
    marker_px = MARKER_MM * known.px_per_mm
    part = np.ascontiguousarray(image[top:bottom, left:right])
    if min(part.shape[:2]) < 16:
        return None
    grey, factor = _grey(part, enlarged=marker_px < _SMALL_MARKER_PX)
    found = _in_grey(grey, known.layout, 2)
    if found is None:
        return None
    found = _enlarged(found, factor)
    shift = np.array([[1.0, 0.0, left], [0.0, 1.0, top], [0.0, 0.0, 1.0]])
    return replace(found, homography=shift @ found.homography)


def _grey(image: NDArray[np.uint8], enlarged: bool = True) -> tuple[NDArray[np.uint8], float]:
    grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    longest = max(grey.shape)
    least, most = _SEARCH_PX
    factor = longest / np.clip(longest, least if enlarged else 1, most)
    if factor == 1.0:
        return grey, 1.0
    size = (round(grey.shape[1] / factor), round(grey.shape[0] / factor))
    way = cv2.INTER_AREA if factor > 1.0 else cv2.INTER_CUBIC
    searched = np.asarray(cv2.resize(grey, size, interpolation=way), dtype=np.uint8)
    return searched, grey.shape[1] / size[0]


def _grain(grey: NDArray[np.uint8]) -> float:
    """Noise of the picture in codes, from what a small median filter takes away."""
    view = grey[::2]
    left = np.abs(view.astype(np.int16) - cv2.medianBlur(view, 3))
    return 1.5 * float(left[left > 0].mean()) if (left > 0).mean() > 0.3 else 0.0


def _real(grey: NDArray[np.uint8], corners: FloatArray) -> bool:
    """Whether a marker is large enough and stands dark on light paper."""
    if min(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)) < _LEAST_MARKER_PX:
        return False
    middle = corners.mean(axis=0)
    edge = middle + (corners + np.roll(corners, 1, axis=0) - 2.0 * middle) / 2.0
    inside, outside = (_values(grey, middle + f * (edge - middle)) for f in (0.84, 1.16))
    return float(np.median(outside) - np.median(inside)) > _LEAST_CONTRAST


def _values(grey: NDArray[np.uint8], points: FloatArray) -> FloatArray:
    columns, rows = np.rint(points).astype(int).T
    return np.asarray(
        grey[np.clip(rows, 0, grey.shape[0] - 1), np.clip(columns, 0, grey.shape[1] - 1)],
        dtype=float,
    )


def _sight(
    layout: CardLayout, found: dict[int, FloatArray], least_markers: int, grain: float
) -> CardSight | None:
    if len(found) < least_markers:
        return None
    seen = tuple(sorted(found))
    here = np.concatenate([found[i] for i in seen])
    inset, matrix = _fit(layout, seen, here)
    if matrix is None or not _possible(matrix, layout):
        return None
    sight = CardSight(layout, matrix, seen, 0.0)
    off_px = np.sqrt(np.mean((sight.project(_corners(layout, seen, inset)) - here) ** 2) * 2.0)
    side_px = 2.0 * layout.half_mm * sight.px_per_mm
    misfit = (
        float(np.sqrt(max(off_px**2 - _READING_PX**2 - (_GRAINY_PX * grain) ** 2, 0.0))) / side_px
    )
    return CardSight(layout, matrix, seen, misfit) if misfit < _IMPOSSIBLE else None


def _corners(layout: CardLayout, seen: tuple[int, ...], inset: float) -> FloatArray:
    """Corners of the markers in mm, drawn towards their middles by a share `inset`."""
    return np.concatenate(
        [
            middle + (1.0 - inset) * (layout.marker_corners(i) - middle)
            for i, middle in zip(seen, layout.marker_middles[list(seen)], strict=True)
        ]
    )


def _fit(
    layout: CardLayout, seen: tuple[int, ...], here: FloatArray
) -> tuple[float, FloatArray | None]:
    """Best homography, with the share by which blur or ink makes all markers look small.

    The squared misfit is a parabola in that share, near enough; three points give its vertex.
    """
    tried = np.array([-_INSET, 0.0, _INSET])
    squares = [_squared_misfit(_corners(layout, seen, t), here) for t in tried]
    bend = squares[0] - 2.0 * squares[1] + squares[2]
    vertex = 0.5 * _INSET * (squares[0] - squares[2]) / bend if bend > 0.0 else 0.0
    inset = float(np.clip(vertex, -2.0 * _INSET, 3.0 * _INSET))
    homography, _ = cv2.findHomography(_corners(layout, seen, inset), here, 0)
    return inset, None if homography is None else np.asarray(homography, dtype=float)


def _squared_misfit(there: FloatArray, here: FloatArray) -> float:
    homography, _ = cv2.findHomography(there, here, 0)
    if homography is None:
        return 0.0
    ends = np.column_stack([there, np.ones(len(there))]) @ np.asarray(homography).T
    return float(np.mean((ends[:, :2] / ends[:, 2:] - here) ** 2))


def _possible(homography: FloatArray, layout: CardLayout) -> bool:
    """Whether the card is seen from above, whole before the lens, and not too flat."""
    depth = layout.outline @ homography[2, :2] + homography[2, 2]
    if np.any(depth * depth[0] <= 0.0):
        return False
    sight = CardSight(layout, homography, (), 0.0)
    corners = sight.project(layout.outline)
    along, next_along = np.roll(corners, -1, axis=0) - corners, np.roll(corners, -2, axis=0)
    next_along = next_along - np.roll(corners, -1, axis=0)
    turn = along[:, 0] * next_along[:, 1] - along[:, 1] * next_along[:, 0]
    if np.any(turn <= 0.0):
        return False
    cup = sight.cup
    return cup.semi_minor_px > _LEAST_ASPECT * cup.semi_major_px and _even(layout, sight)


def _even(layout: CardLayout, sight: CardSight) -> bool:
    """Whether the markers come out of one size, as perspective on a bench allows."""
    quads = [sight.project(layout.marker_corners(i)) for i in range(4)]
    sides = [float(np.sqrt(cv2.contourArea(q.astype(np.float32)))) for q in quads]
    return min(sides) > 0.4 * max(sides) and max(sides) < MARKER_MM * 100.0


def _enlarged(sight: CardSight, factor: float) -> CardSight:
    """Carry a sight over to the picture `factor` times as large (centres at integers)."""
    shift = 0.5 * (factor - 1.0)
    scale = np.array([[factor, 0.0, shift], [0.0, factor, shift], [0.0, 0.0, 1.0]])
    return CardSight(sight.layout, scale @ sight.homography, sight.seen, sight.misfit)
