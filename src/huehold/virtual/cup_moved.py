"""The cup's fixed layers, carried to wherever the cup stands at the moment."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.virtual.cup import CupLayers
from huehold.virtual.cup_liquid import spread

__all__ = ["MovedLayers", "Placed"]

Field = NDArray[np.float32]


@dataclass(frozen=True)
class Placed:
    """The cup's layers at one place; gains and shares for three channels each."""

    optics: Field
    wet: Field
    wall: Field
    shine: Field
    shadow: Field


class MovedLayers:
    """The cup's layers at a shifted place; the last place is kept.

    Parameters
    ----------
    layers : CupLayers
        At the first place.
    """

    def __init__(self, layers: CupLayers) -> None:
        self._layers = layers
        self._shift: tuple[float, float] | None = None
        self._held: Placed

    def at(self, shift: tuple[float, float]) -> Placed:
        """Layers moved by a shift in pixels, to a sixteenth of one."""
        rounded = (round(shift[0] * 16) / 16, round(shift[1] * 16) / 16)
        if rounded != self._shift:
            self._shift, self._held = rounded, self._placed(rounded)
        return self._held

    def _placed(self, shift: tuple[float, float]) -> Placed:
        layers = self._layers
        optics = _translated(layers.optics, shift, (0.0, 0.0, 1.0, 1.0))
        wall = _translated(layers.wall, shift, (1.0, 1.0, 1.0, 0.0))
        shadow = _translated(layers.shadow, shift, (1.0, 1.0, 1.0, 1.0))
        return Placed(
            optics=optics,
            wet=spread(optics[..., 0]),
            wall=np.ascontiguousarray(wall[..., :3]),
            shine=np.ascontiguousarray(wall[..., 3]),
            shadow=spread(shadow),
        )


def _translated(
    layer: Field, shift: tuple[float, float], outside: tuple[float, float, float, float]
) -> Field:
    move = np.array([[1, 0, shift[0]], [0, 1, shift[1]]])
    h, w = layer.shape[:2]
    return np.asarray(
        cv2.warpAffine(layer, move, (w, h), borderMode=cv2.BORDER_CONSTANT, borderValue=outside)
    )
