"""The bench card's geometry: what is printed where, in millimetres.

The middle of the ring in which the cup stands is the origin; x runs to the right and y
towards the person. Markers stand at the corners of the square card, halftone ramps along
its left and right sides, blank paper between. The numbers of the markers say how large
the ring is, so a picture of a card tells all of its geometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from huehold.errors import UsageError

__all__ = [
    "COVERAGES",
    "CUP_SIZES_MM",
    "HALFTONE_MM",
    "MARKER_MM",
    "CardLayout",
    "Field",
    "card_layout",
    "layout_of_marker",
]

FloatArray = NDArray[np.float64]

CUP_SIZES_MM: tuple[int, ...] = tuple(range(45, 101, 5))
"""Diameters of cups for which there is a card; four markers of the dictionary each."""

MARKER_MM = 21.0
"""Side of a marker: six cells of 3.5 mm, its black border included."""

DOT_MM = 25.4 / 300.0
"""A dot of a printer of 300 dots per inch; halftone lines are whole dots wide."""

HALFTONE_MM = 6 * DOT_MM
"""Distance of the halftone's lines, six dots."""

COVERAGES: tuple[float, ...] = tuple(dots / 6 for dots in range(1, 7))
"""Share of the paper under ink in each field of a ramp, light to dark."""

_MARGIN_MM = 36.0  # from the cup's outline, seen from above, to the edge of the card
_MARKER_AT_MM = 15.0  # middle of a marker from both edges: the quiet zone is more than a cell
_RAMP_MM = (8.0, 20.0)  # from the edge
_CORNER_FREE_MM = 31.0  # along the edge, kept free for a marker and its quiet zone
_SPOT_MM = 2.6  # radius of a spot of blank paper that is measured


@dataclass(frozen=True, slots=True)
class Field:
    """A rectangle of one halftone: left, top, width and height in mm, and its ink.

    Attributes
    ----------
    x_mm, y_mm, width_mm, height_mm : float
    coverage : float
        Share of the paper under ink, 0 to 1.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    coverage: float

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle in mm."""
        return self.x_mm + self.width_mm / 2.0, self.y_mm + self.height_mm / 2.0


@dataclass(frozen=True, slots=True)
class CardLayout:
    """Geometry of the card for one size of cup; see the module.

    Attributes
    ----------
    cup_mm : int
        Diameter of the cup where it is widest, one of `CUP_SIZES_MM`.
    """

    cup_mm: int

    @property
    def half_mm(self) -> float:
        """Half of the card's side."""
        return self.cup_mm / 2.0 + _MARGIN_MM

    @property
    def free_mm(self) -> float:
        """How far from the middle of a side the markers leave it free."""
        return self.half_mm - _CORNER_FREE_MM

    @property
    def ring_mm(self) -> float:
        """Radius of the printed ring: the widest cup and 2 mm of room."""
        return self.cup_mm / 2.0 + 2.0

    @property
    def marker_ids(self) -> tuple[int, int, int, int]:
        """Numbers of the markers: far left, far right, near right, near left."""
        first = 4 * CUP_SIZES_MM.index(self.cup_mm)
        return first, first + 1, first + 2, first + 3

    @property
    def marker_middles(self) -> FloatArray:
        """Middles of the markers in mm, shape (4, 2), in the order of `marker_ids`."""
        at = self.half_mm - _MARKER_AT_MM
        return np.array([[-at, -at], [at, -at], [at, at], [-at, at]])

    def marker_corners(self, index: int) -> FloatArray:
        """Corners of marker `index` of `marker_ids` in mm, clockwise from far left, (4, 2)."""
        half = MARKER_MM / 2.0
        square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
        return np.asarray(self.marker_middles[index] + square)

    @property
    def outline(self) -> FloatArray:
        """Corners of the card in mm, shape (4, 2)."""
        half = self.half_mm
        return np.array([[-half, -half], [half, -half], [half, half], [-half, half]])

    @property
    def fields(self) -> tuple[Field, ...]:
        """Fields of both ramps: darker away from the person on the left, reversed on the right.

        A light that falls off to one side then reaches dark and light fields alike.
        """
        pitch = 2.0 * self.free_mm / len(COVERAGES)
        near, far = _RAMP_MM
        height = pitch - 1.0
        tops = [-self.free_mm + 0.5 + i * pitch for i in range(len(COVERAGES))]
        left = [
            Field(-self.half_mm + near, top, far - near, height, ink)
            for top, ink in zip(tops, reversed(COVERAGES), strict=True)
        ]
        right = [
            Field(self.half_mm - far, top, far - near, height, ink)
            for top, ink in zip(tops, COVERAGES, strict=True)
        ]
        return (*left, *right)

    @property
    def white_field(self) -> Field:
        """The white field on the person's side of the ring."""
        half = self.free_mm
        return Field(-half, self.half_mm - 24.0, 2 * half, 11.0, 0.0)

    @property
    def white_spots(self) -> FloatArray:
        """Middles of the spots of blank paper that are measured, in mm, shape (n, 2)."""
        reach = self.free_mm - 5.0
        near = [(x, self.white_field.middle[1]) for x in np.linspace(-reach, reach, 5)]
        far = [(x, -self.half_mm + 26.5) for x in np.linspace(-reach, reach, 3)]
        aside = self.half_mm - 26.0
        sides = [(x, y) for x in (-aside, aside) for y in (-0.55 * reach, 0.0, 0.55 * reach)]
        slant = 0.5 * (self.ring_mm / np.sqrt(2.0) + self.free_mm)
        corners = [(sx * slant, sy * slant) for sx in (-1, 1) for sy in (-1, 1)]
        return np.array([*near, *far, *sides, *corners])

    @property
    def spot_mm(self) -> float:
        """Radius of such a spot."""
        return _SPOT_MM

    @property
    def bars(self) -> tuple[tuple[float, float, float, float], ...]:
        """Bars of the pattern inside the ring: left, top, width, height in mm.

        Bars of 3 mm lie in a weave, lengthwise and across by turns. That is fine beside the
        cup and coarse beside a pixel, is alike in all directions, and leaves more than half
        of the paper bare, so that the liquid's usual pixel has white behind it.
        """
        reach = self.cup_mm / 2.0 - 1.0
        count = int(reach // _BLOCK_MM) + 1
        return tuple(
            bar
            for row in range(-count, count + 1)
            for column in range(-count, count + 1)
            for bar in _block(column, row)
            if _corner_distance(bar) <= reach
        )


_BLOCK_MM = 11.0
_BAR_MM = (3.0, 9.0)


def _block(column: int, row: int) -> tuple[tuple[float, float, float, float], ...]:
    """Two parallel bars of one block of the weave."""
    wide, long = _BAR_MM
    x, y = column * _BLOCK_MM, row * _BLOCK_MM
    offsets = (-_BLOCK_MM / 4.0, _BLOCK_MM / 4.0)
    if (column + row) % 2:
        return tuple((x + o - wide / 2.0, y - long / 2.0, wide, long) for o in offsets)
    return tuple((x - long / 2.0, y + o - wide / 2.0, long, wide) for o in offsets)


def _corner_distance(bar: tuple[float, float, float, float]) -> float:
    x, y, width, height = bar
    return float(np.hypot(max(abs(x), abs(x + width)), max(abs(y), abs(y + height))))


@lru_cache(maxsize=len(CUP_SIZES_MM))
def card_layout(cup_mm: int) -> CardLayout:
    """Return the card's geometry for a size of cup.

    Parameters
    ----------
    cup_mm : int
        Diameter of the cup in mm where it is widest, one of `CUP_SIZES_MM`.

    Raises
    ------
    UsageError
        If there is no card for that size.
    """
    if cup_mm not in CUP_SIZES_MM:
        raise UsageError(
            f"There is no bench card for a cup of {cup_mm:g} mm; give the diameter where it is "
            f"widest as a multiple of 5 from {CUP_SIZES_MM[0]} to {CUP_SIZES_MM[-1]} mm, rather "
            "the next larger than the next smaller one."
        )
    return CardLayout(int(cup_mm))


def layout_of_marker(number: int) -> tuple[CardLayout, int] | None:
    """Return the card a marker belongs to and which corner it marks, or None if it is foreign."""
    group, corner = divmod(int(number), 4)
    if not 0 <= group < len(CUP_SIZES_MM):
        return None
    return card_layout(CUP_SIZES_MM[group]), corner
