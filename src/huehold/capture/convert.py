"""From decoded planes to upright sRGB-encoded pictures, at the size that is analysed.

Planes are reduced first and converted after: averaging whole blocks of luma and colour
difference is the same as averaging the converted picture (the matrix is linear) and much
cheaper. The matrix is applied in one pass with correct rounding, which keeps flat colours
within the rounding of 8-bit video itself.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from av.video.reformatter import VideoReformatter
from numpy.typing import NDArray

from huehold.capture.colour import ColourPlan
from huehold.capture.widegamut import WideGamut

__all__ = ["Converter", "matrix_to_rgb", "reduction"]

UInt8 = NDArray[np.uint8]
UInt16 = NDArray[np.uint16]
Plane = Any  # ndarray of uint8 or uint16, shape (height, width)

# Weights of red and blue in luma: ITU-R BT.709-6, BT.601-7, BT.2020-2; H.273 for the rest.
_LUMA = {
    "bt709": (0.2126, 0.0722),
    "bt601": (0.299, 0.114),
    "fcc": (0.30, 0.11),
    "smpte240m": (0.212, 0.087),
    "bt2020": (0.2627, 0.0593),
}
_RANGE_CODES = {False: 1, True: 2}


def reduction(width_px: int, height_px: int, longest_px: int) -> int:
    """Whole number by which both sides are divided so that the longer one fits.

    Whole blocks average exactly and quickly; at 1080p a factor of 2 also meets the colour
    planes at their own size.
    """
    return max(1, -(-max(width_px, height_px) // longest_px))


def matrix_to_rgb(matrix: str, full_range: bool, bits: int, top: float) -> NDArray[np.float64]:
    """Affine matrix from code values (Y, Cb, Cr) to red, green, blue in 0 to `top`.

    Parameters
    ----------
    matrix : str
        Name of the luma weights, see `huehold.capture.colour.ColourPlan`.
    full_range : bool
        Range of the code values.
    bits : int
        Depth of the code values, 8 to 16.
    top : float
        Value of full scale in the result.

    Returns
    -------
    ndarray, shape (3, 4)
        The last column is the constant.

    Notes
    -----
    ITU-R BT.709-6 and BT.601-7, sections on signal formats; H.273 section 8.3.
    """
    red, blue = _LUMA[matrix]
    green = 1.0 - red - blue
    unit = 2.0 ** (bits - 8)
    full = 2.0**bits - 1.0
    luma_zero, luma_span = (0.0, full) if full_range else (16.0 * unit, 219.0 * unit)
    chroma_zero, chroma_span = 128.0 * unit, full if full_range else 224.0 * unit
    cr_red, cb_blue = 2.0 * (1.0 - red), 2.0 * (1.0 - blue)
    linear = np.array(
        [
            [1.0, 0.0, cr_red],
            [1.0, -cb_blue * blue / green, -cr_red * red / green],
            [1.0, cb_blue, 0.0],
        ]
    ) / [luma_span, chroma_span, chroma_span]
    constant = -linear @ [luma_zero, chroma_zero, chroma_zero]
    return np.asarray(top * np.column_stack([linear, constant]))


class Converter:
    """Turns decoded frames into upright sRGB-encoded pictures of one size.

    Parameters
    ----------
    plan : ColourPlan
        Settled colour facts.
    longest_px : int
        The longer side of a delivered picture is at most this.
    quarter_turns : int
        How often to turn by 90 degrees counterclockwise to make the picture upright.
    """

    def __init__(self, plan: ColourPlan, longest_px: int, quarter_turns: int = 0) -> None:
        self._plan = plan
        self._longest_px = longest_px
        self._turns = quarter_turns % 4
        self._wide = None if plan.plain else WideGamut(plan.curve, plan.primaries)
        self._reformatter = VideoReformatter()

    def twin(self) -> Converter:
        """Return one that does the same, for use in another thread."""
        return Converter(self._plan, self._longest_px, self._turns)

    def __call__(self, frame: Any) -> UInt8:
        """Convert one frame.

        Parameters
        ----------
        frame : av.VideoFrame

        Returns
        -------
        ndarray of uint8, shape (height, width, 3)
        """
        if frame.format.is_rgb or frame.format.has_palette:
            rgb = self._from_rgb(frame)
        else:
            rgb = self._from_yuv(frame)
        return np.ascontiguousarray(np.rot90(rgb, self._turns)) if self._turns else rgb

    def _from_rgb(self, frame: Any) -> UInt8:
        image = self._reformatter.reformat(frame, format="rgb24").to_ndarray()
        factor = reduction(frame.width, frame.height, self._longest_px)
        small = _shrink(image, factor)
        return small if self._wide is None else self._wide(small.astype(np.uint16) * 257)

    def _from_yuv(self, frame: Any) -> UInt8:
        frame = self._planar(frame)
        bits = frame.format.components[0].bits
        stack = self._stack(frame)
        if self._wide is None and bits == 8:
            return np.asarray(cv2.transform(stack, self._matrix(bits, 255.0)))
        stack = stack.astype(np.uint16, copy=False)
        deep: UInt16 = np.asarray(cv2.transform(stack, self._matrix(bits, 65535.0)), np.uint16)
        if self._wide is not None:
            return self._wide(deep)
        return np.asarray(cv2.convertScaleAbs(deep, alpha=1.0 / 257.0))

    def _matrix(self, bits: int, top: float) -> NDArray[np.float64]:
        return _cached_matrix(self._plan.matrix, self._plan.full_range, bits, top)

    def _planar(self, frame: Any) -> Any:
        if _is_plain_planar(frame):
            return frame
        deep = any(part.bits > 8 for part in frame.format.components)
        spread = _RANGE_CODES[self._plan.full_range]
        return self._reformatter.reformat(
            frame,
            format="yuv444p16le" if deep else "yuv444p",
            src_color_range=spread,
            dst_color_range=spread,
        )

    def _stack(self, frame: Any) -> Plane:
        """Reduced planes as one array of shape (height, width, 3)."""
        factor = reduction(frame.width, frame.height, self._longest_px)
        luma = _shrink(_plane(frame, 0), factor)
        height, width = luma.shape
        if len(frame.planes) < 3:
            middle = 1 << (frame.format.components[0].bits - 1)
            grey = np.full_like(luma, middle)
            return np.asarray(cv2.merge((luma, grey, grey)))
        chroma = [
            _fit(_plane(frame, i), frame.width / (width * factor), frame.height / (height * factor),
                 (width, height))
            for i in (1, 2)
        ]  # fmt: skip
        return np.asarray(cv2.merge((luma, *chroma)))


@lru_cache(maxsize=16)
def _cached_matrix(matrix: str, full: bool, bits: int, top: float) -> NDArray[np.float64]:
    return matrix_to_rgb(matrix, full, bits, top)


def _is_plain_planar(frame: Any) -> bool:
    """Whether every component has a plane of its own in native byte order, upright."""
    layout = frame.format
    parts = layout.components
    return (
        layout.name.startswith(("yuv4", "yuvj4", "yuva4", "gray"))
        and not layout.is_big_endian
        and [part.plane for part in parts] == list(range(len(parts)))
        and all(plane.line_size > 0 for plane in frame.planes)
    )


def _plane(frame: Any, index: int) -> Plane:
    plane = frame.planes[index]
    kind = np.dtype(np.uint8 if frame.format.components[index].bits <= 8 else "<u2")
    rows = np.frombuffer(plane, kind)[: plane.height * (plane.line_size // kind.itemsize)]
    return rows.reshape(plane.height, -1)[:, : plane.width]


def _shrink(image: Plane, factor: int) -> Plane:
    """Average whole blocks; what is left over at the right and lower edge is cut off."""
    if factor == 1:
        return image
    height, width = image.shape[0] // factor, image.shape[1] // factor
    whole = image[: height * factor, : width * factor]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA))


def _fit(plane: Plane, spare_x: float, spare_y: float, size_px: tuple[int, int]) -> Plane:
    """Bring a colour plane to the size of the reduced luma."""
    width = max(1, round(plane.shape[1] / spare_x))
    height = max(1, round(plane.shape[0] / spare_y))
    if (width, height) == size_px:
        return plane[:height, :width]
    # Below a factor of two, linear interpolation still meets every value and is much cheaper.
    halving = width >= 2 * size_px[0] and height >= 2 * size_px[1]
    how = cv2.INTER_AREA if halving else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(plane[:height, :width], size_px, interpolation=how))
