"""A picture file from a camera or phone, read with the errors people may meet."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.errors import InputError

__all__ = ["read_picture"]

_MOST_BYTES = 80_000_000
_LEAST_PX = 120


def read_picture(path: str | PathLike[str]) -> NDArray[np.uint8]:
    """Read a picture, turned upright as its orientation tag says.

    Parameters
    ----------
    path : path
        JPEG, PNG, TIFF, WebP and what else OpenCV reads; sRGB is assumed.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB-encoded red, green, blue.

    Raises
    ------
    InputError
        If the file is missing, too large, no picture, or too small a picture.
    """
    place = Path(path)
    try:
        if place.stat().st_size > _MOST_BYTES:
            raise InputError(f"{place.name} has more than 80 MB; give a JPEG of the chart.")
        data = place.read_bytes()
    except OSError as error:
        raise InputError(f"{place} cannot be read ({error.strerror}).") from None
    image = _decoded(data)
    if image is None:
        raise InputError(
            f"{place.name} is not a picture that can be read; give a JPEG or PNG (raw files and "
            "HEIC must be converted first)."
        )
    if min(image.shape[:2]) < _LEAST_PX:
        raise InputError(f"{place.name} is too small, {image.shape[1]} x {image.shape[0]} pixels.")
    return image


def _decoded(data: bytes) -> NDArray[np.uint8] | None:
    try:
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    except cv2.error:
        return None
    return None if image is None else np.asarray(image, dtype=np.uint8)
