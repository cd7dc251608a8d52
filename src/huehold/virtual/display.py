"""The balance's seven-segment display."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["SEGMENTS", "display_picture", "display_text"]

# Segments a (top), b, c (right), d (bottom), e, f (left), g (middle), after IEC 60050-723.
SEGMENTS: dict[str, str] = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc",
    "5": "afgcd", "6": "afgedc", "7": "abc", "8": "abcdefg", "9": "abcdfg",
    "-": "g", " ": "",
}  # fmt: skip

_DIGITS = 6
_CELL = (40, 64)  # width and height of a digit's cell, px
_MARGIN = 14
_LOOKS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "lcd": ((0.36, 0.42, 0.31), (0.035, 0.04, 0.035), (0.33, 0.385, 0.285)),
    "led": ((0.012, 0.012, 0.014), (1.35, 0.13, 0.06), (0.03, 0.014, 0.012)),
}  # ground, lit segment, unlit segment


def display_text(mass_g: float, readability_g: float) -> str:
    """Write a mass as the balance shows it, right-justified to six digits.

    Parameters
    ----------
    mass_g : float
    readability_g : float
        The balance's step d; the mass is rounded to it.
    """
    places = max(0, int(np.ceil(-np.log10(readability_g) - 1e-9)))
    rounded = round(mass_g / readability_g) * readability_g
    text = f"{rounded + 0.0:.{places}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.rjust(_DIGITS + (1 if "." in text else 0))


def _segment(name: str, x: float, y: float) -> NDArray[np.int32]:
    """Corner points of one segment of the digit at (x, y), in sixteenths of a pixel."""
    w, h, t = 26.0, 52.0, 6.0
    horizontal = {"a": 0.0, "g": h / 2, "d": h}
    if name in horizontal:
        cy = horizontal[name]
        across = [(t / 2, cy), (t, cy - t / 2), (w - t, cy - t / 2), (w - t / 2, cy),
                  (w - t, cy + t / 2), (t, cy + t / 2)]  # fmt: skip
    else:
        cx = w if name in "bc" else 0.0
        top = 0.0 if name in "bf" else h / 2
        end = top + h / 2
        across = [(cx, top + t / 2), (cx + t / 2, top + t), (cx + t / 2, end - t),
                  (cx, end - t / 2), (cx - t / 2, end - t), (cx - t / 2, top + t)]  # fmt: skip
    points = np.array(across) + np.array([x, y])
    return np.asarray(np.round(16 * points), dtype=np.int32)


@lru_cache(maxsize=64)
def display_picture(text: str, look: str) -> NDArray[np.float32]:
    """Draw the display.

    Parameters
    ----------
    text : str
        Digits, blanks, minus and one point, e.g. ``" 12.34"``.
    look : str
        ``"lcd"`` (dark on grey-green, faint ghost segments) or ``"led"`` (red on black).

    Returns
    -------
    ndarray of float32, shape (92, 268, 3)
        Linear light relative to the white card's illumination.
    """
    ground, lit, unlit = _LOOKS[look]
    size = (_CELL[1] + 2 * _MARGIN, _DIGITS * _CELL[0] + 2 * _MARGIN)
    mask = np.zeros(size, dtype=np.uint8)
    ghost = np.zeros(size, dtype=np.uint8)
    cells = [c for c in text if c != "."]
    for k, digit in enumerate(cells[-_DIGITS:]):
        x, y = _MARGIN + 7.0 + k * _CELL[0], _MARGIN + 6.0
        for name in "abcdefg":
            target = mask if name in SEGMENTS[digit] else ghost
            cv2.fillPoly(target, [_segment(name, x, y)], 255, cv2.LINE_AA, shift=4)
    if "." in text:
        place = len(text[: text.index(".")])
        cv2.circle(mask, (_MARGIN + place * _CELL[0], _MARGIN + 58), 4, 255, -1, cv2.LINE_AA)
    image = np.broadcast_to(np.array(ground, dtype=np.float32), (*size, 3))
    for layer, colour in ((ghost, unlit), (mask, lit)):
        share = layer[..., None].astype(np.float32) / 255.0
        image = image * (1 - share) + np.array(colour, dtype=np.float32) * share
    return np.ascontiguousarray(image, dtype=np.float32)
