"""The small picture a frame is searched and watched in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Frame
from huehold.errors import InputError
from huehold.vision.colour import LINEAR_OF_CODE_32
from huehold.vision.geometry import half_extent

__all__ = ["WORK_PX", "Patch", "WorkPicture", "cut", "reduce_frame", "single_threaded"]

WORK_PX = 480
"""Longest side of the small picture in pixels."""


@contextmanager
def single_threaded() -> Iterator[None]:
    """Keep OpenCV to one thread meanwhile: on small pictures more cost more than they bring."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)


@dataclass(frozen=True, slots=True)
class WorkPicture:
    """A frame reduced by averaging whole blocks of pixels.

    Attributes
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        Reduced sRGB picture.
    scale : float
        Pixels of the frame to one pixel of `image`.
    """

    image: NDArray[np.uint8]
    scale: float


def reduce_frame(frame: Frame) -> WorkPicture:
    """Halve a frame until its longer side is at most `WORK_PX`.

    Raises
    ------
    InputError
        If the frame is not a picture of at least 16 by 16 pixels in three 8-bit channels.
    """
    image = frame.image
    if (
        image.ndim != 3
        or image.shape[2] != 3
        or image.dtype != np.uint8
        or min(image.shape[:2]) < 16
    ):
        raise InputError(
            f"The frame at {frame.time_s:.3f} s has shape {image.shape} and type {image.dtype}; "
            "give pictures of at least 16 x 16 pixels with three 8-bit channels."
        )
    halvings = 0
    while max(image.shape[:2]) > WORK_PX:
        if max(image.shape[:2]) > 4 * WORK_PX:  # far too large: plain decimation first, cheap
            image = np.ascontiguousarray(image[::2, ::2])
        else:
            even = image[: image.shape[0] // 2 * 2, : image.shape[1] // 2 * 2]
            size = (even.shape[1] // 2, even.shape[0] // 2)
            image = np.asarray(cv2.resize(even, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        halvings += 1
    return WorkPicture(np.ascontiguousarray(image), float(2**halvings))


@dataclass(frozen=True, slots=True)
class Patch:
    """A piece of a picture, thinned to a grid.

    Attributes
    ----------
    code : ndarray of uint8, shape (rows, columns, 3)
        sRGB pixels as they were, every `step`-th one.
    linear : ndarray of float32, shape (rows, columns, 3)
        Their linear light.
    x, y : ndarray of float, shape (1, columns) and (rows, 1)
        Where they were in the picture.
    step : int
        Distance between grid points in pixels.
    """

    code: NDArray[np.uint8]
    linear: NDArray[np.float32]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    step: int


def cut(image: NDArray[np.uint8], ellipse: Ellipse, reach: float, most_px: int) -> Patch:
    """Cut the box around an ellipse grown by `reach`, thinned to about `most_px` a side."""
    half_width, half_height = (reach * v for v in half_extent(ellipse))
    height, width = image.shape[:2]
    left, right = _span(ellipse.x_px, half_width, width)
    top, bottom = _span(ellipse.y_px, half_height, height)
    step = max(1, -(-max(right - left, bottom - top) // most_px))
    code = np.ascontiguousarray(image[top:bottom:step, left:right:step])
    return Patch(
        code,
        np.asarray(cv2.LUT(code, LINEAR_OF_CODE_32), dtype=np.float32),
        np.arange(left, right, step, dtype=float)[None, :],
        np.arange(top, bottom, step, dtype=float)[:, None],
        step,
    )


def _span(centre: float, half: float, size: int) -> tuple[int, int]:
    first = int(np.clip(np.floor(centre - half), 0, size - 2))
    last = int(np.clip(np.ceil(centre + half) + 1, first + 2, size))
    return first, last
