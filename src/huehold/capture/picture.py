"""Single pictures that came over a wire: decoded within bounds, or not at all."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_PIXELS", "decode_jpeg", "jpeg_size"]

MOST_PIXELS = 4096 * 2304
"""Larger pictures are refused before they are decoded."""

_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def decode_jpeg(data: bytes, most_pixels: int = MOST_PIXELS) -> NDArray[np.uint8] | None:
    """Decode a JPEG picture to sRGB-encoded RGB.

    Parameters
    ----------
    data : bytes
        The file.
    most_pixels : int
        The size the header states is checked against this before anything is decoded.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3), or None
        None if it is no JPEG picture, is cut short, or is too large.
    """
    size = jpeg_size(data)
    if (
        size is None
        or size[0] * size[1] > most_pixels
        or not data.rstrip(b"\0").endswith(b"\xff\xd9")
    ):
        return None
    try:
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    except cv2.error:
        return None
    return None if image is None else np.asarray(image, np.uint8)


def jpeg_size(data: bytes) -> tuple[int, int] | None:
    """Return (width, height) as the JPEG's header states, or None if there is no such header."""
    if data[:2] != b"\xff\xd8":
        return None
    place = 2
    while place + 9 <= len(data):
        if data[place] != 0xFF:
            return None
        marker, length = data[place + 1], int.from_bytes(data[place + 2 : place + 4], "big")
        if marker in _FRAME_HEADERS:
            height = int.from_bytes(data[place + 5 : place + 7], "big")
            width = int.from_bytes(data[place + 7 : place + 9], "big")
            return (width, height) if width and height else None
        if marker == 0xDA or length < 2:
            return None
        place += 2 + length
    return None
