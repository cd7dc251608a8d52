"""Help from outside: something in the picture of which it is known what it looks like.

A guide, such as one that knows a printed card, is asked once for every frame before
anything else is looked for. What it says of the white goes before a patch that was found;
what it says of the cup's place narrows the search. The user's own word goes before both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Frame, Rect

__all__ = ["Guidance", "Guide"]


@dataclass(frozen=True, slots=True)
class Guidance:
    """What is known of one frame.

    Attributes
    ----------
    place : Ellipse or None
        About where the cup stands, in pixels of the frame.
    white : ndarray, shape (3,), or None
        Linear red, green, blue of white paper where the cup stands.
    white_rel_sd : float
        Relative standard uncertainty of each channel.
    extent : Rect or None
        The part of the frame over which that white was measured.
    """

    place: Ellipse | None = None
    white: NDArray[np.float64] | None = None
    white_rel_sd: float = 0.004
    extent: Rect | None = None


class Guide(Protocol):
    """Knows something in the picture; asked for every frame, in time order."""

    def look(self, frame: Frame) -> Guidance | None:
        """Say what is known of a frame; None if nothing is."""
        ...
