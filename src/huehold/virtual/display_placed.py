"""The balance's display as it appears in the picture."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.virtual.display import display_picture, display_text
from huehold.virtual.presets_model import BalanceOn
from huehold.virtual.scene_ground import DISPLAY_CM, PAN_HEIGHT_CM
from huehold.virtual.scene_view import View

__all__ = ["PlacedDisplay"]

Field = NDArray[np.float32]


class PlacedDisplay:
    """A display lying on the balance, seen by a camera.

    Parameters
    ----------
    view : View
    balance : BalanceOn
    """

    def __init__(self, view: View, balance: BalanceOn) -> None:
        self._look = balance.display
        self._step_g = balance.readability_g
        left, front, width, depth = DISPLAY_CM
        corners = np.array(
            [[left, front + depth], [left + width, front + depth],
             [left + width, front], [left, front]]
        )  # fmt: skip
        where = view.project(np.column_stack([corners, np.full(4, PAN_HEIGHT_CM)]))
        low = np.maximum(np.floor(where.min(axis=0)).astype(int) - 1, 0)
        high = np.minimum(
            np.ceil(where.max(axis=0)).astype(int) + 2, [view.width_px, view.height_px]
        )
        self._size = (max(int(high[0] - low[0]), 0), max(int(high[1] - low[1]), 0))
        self._window = (slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0])))
        picture = display_picture("", self._look)
        h, w = picture.shape[:2]
        source = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]], dtype=np.float32)
        self._map = cv2.getPerspectiveTransform(source, (where - low).astype(np.float32))
        self._warped = lru_cache(maxsize=16)(self._warp)

    @property
    def in_view(self) -> bool:
        """Whether any of it falls into the picture."""
        return min(self._size) > 1

    def _warp(self, text: str) -> tuple[Field, Field]:
        picture = display_picture(text, self._look)
        # Shrinking needs a filter: blur by the scale first.
        scale = max(1.0, picture.shape[1] / max(self._size[0], 1))
        soft = cv2.GaussianBlur(picture, (0, 0), 0.45 * scale)
        share = np.ones(picture.shape[:2], dtype=np.float32)
        return (
            np.asarray(cv2.warpPerspective(soft, self._map, self._size)),
            np.asarray(cv2.warpPerspective(share, self._map, self._size)),
        )

    def lay(self, picture: Field, mass_g: float) -> None:
        """Put the display with a reading into the picture, in place."""
        if not self.in_view:
            return
        image, share = self._warped(display_text(mass_g, self._step_g))
        part = picture[self._window]
        part *= (1.0 - share)[..., None]
        part += image
