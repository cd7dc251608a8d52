"""From coded camera values to perceptual colour, exactly, for a few colours at a time.

The order is: undo the sRGB transfer function (IEC 61966-2-1), divide by the white in
linear light, go to CIE XYZ, then to CIELAB (CIE 15, D65). Whole pictures are never
converted here: regions are reduced in linear light first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "HUE_SD_MAX_DEG",
    "LINEAR_OF_CODE",
    "LINEAR_OF_CODE_32",
    "LabColour",
    "chroma_and_hue",
    "decode_srgb",
    "encode_srgb",
    "lab_from_linear",
    "lab_with_uncertainty",
]

FloatArray = NDArray[np.float64]

HUE_SD_MAX_DEG = 180.0 / np.sqrt(3.0)
"""Standard deviation of a hue angle about which nothing is known (uniform on the circle)."""

# IEC 61966-2-1, linear sRGB to CIE XYZ as printed there; its white is the sum of each row.
_RGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
_WHITE_XYZ = _RGB_TO_XYZ.sum(axis=1)
_KAPPA = 24389.0 / 27.0  # CIE 15: slope of the linear part of L*
_EPSILON = 216.0 / 24389.0  # CIE 15: where the cube root takes over
_LAB_FLOOR = 0.12  # a*, b*: what 8-bit rounding and the codec leave after averaging


def _decode(coded: FloatArray) -> FloatArray:
    linear: FloatArray = np.where(
        coded <= 0.04045, coded / 12.92, ((np.maximum(coded, 0.0) + 0.055) / 1.055) ** 2.4
    )
    return linear


LINEAR_OF_CODE: FloatArray = _decode(np.arange(256) / 255.0)
LINEAR_OF_CODE.setflags(write=False)
LINEAR_OF_CODE_32: NDArray[np.float32] = LINEAR_OF_CODE.astype(np.float32)
LINEAR_OF_CODE_32.setflags(write=False)


def decode_srgb(code: NDArray[np.uint8]) -> FloatArray:
    """Linear light of 8-bit sRGB codes.

    Parameters
    ----------
    code : ndarray of uint8, any shape

    Returns
    -------
    ndarray of float, same shape
        0 to 1 (IEC 61966-2-1).
    """
    return LINEAR_OF_CODE[code]


def encode_srgb(linear: ArrayLike) -> NDArray[np.uint8]:
    """8-bit sRGB codes of linear light, clipped to what 8 bits can hold.

    Parameters
    ----------
    linear : array_like
        Linear light, 1 is full scale.
    """
    value = np.clip(np.asarray(linear, dtype=float), 0.0, 1.0)
    coded = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255.0 * coded), dtype=np.uint8)


def lab_from_linear(linear: ArrayLike, white: ArrayLike = (1.0, 1.0, 1.0)) -> FloatArray:
    """CIELAB (CIE 15, D65) of linear sRGB, referred to a white.

    Parameters
    ----------
    linear : array_like, shape (..., 3)
        Linear red, green, blue.
    white : array_like, shape (3,)
        Linear red, green, blue of the white; that colour becomes L* = 100, a* = b* = 0.

    Returns
    -------
    ndarray, shape (..., 3)
        L*, a*, b*.
    """
    ratio = np.asarray(linear, dtype=float) / np.asarray(white, dtype=float)
    xyz = ratio @ _RGB_TO_XYZ.T / _WHITE_XYZ
    f = np.where(xyz > _EPSILON, np.cbrt(xyz), (_KAPPA * xyz + 16.0) / 116.0)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def chroma_and_hue(a: float, b: float) -> tuple[float, float]:
    """Chroma and hue angle in degrees, [0, 360), of a* and b* (CIE 15)."""
    hue = float(np.degrees(np.arctan2(b, a))) % 360.0
    return float(np.hypot(a, b)), hue if hue < 360.0 else 0.0


@dataclass(frozen=True, slots=True)
class LabColour:
    """A colour in CIELAB with the standard uncertainty of its hue angle in degrees."""

    lightness: float
    a: float
    b: float
    hue_sd_deg: float

    @property
    def chroma(self) -> float:
        """Distance from the grey axis."""
        return chroma_and_hue(self.a, self.b)[0]

    @property
    def hue_deg(self) -> float:
        """CIELAB hue angle, [0, 360)."""
        return chroma_and_hue(self.a, self.b)[1]


def lab_with_uncertainty(
    linear: ArrayLike,
    white: ArrayLike = (1.0, 1.0, 1.0),
    *,
    linear_sd: ArrayLike = (0.0, 0.0, 0.0),
    white_rel_sd: float = 0.0,
) -> LabColour:
    """Convert one colour and carry its uncertainty to the hue angle.

    Parameters
    ----------
    linear, white : array_like, shape (3,)
        Linear red, green, blue of the colour and of its white.
    linear_sd : array_like, shape (3,)
        Standard uncertainty of `linear` (pixel scatter over the root of the effective
        number of samples).
    white_rel_sd : float
        Relative standard uncertainty of each channel of the white.

    Notes
    -----
    First-order propagation (JCGM 100), channels taken as independent. Across the hue
    direction the deviation is divided by the chroma, so that it grows as the colour pales,
    up to `HUE_SD_MAX_DEG`.
    """
    rgb = np.asarray(linear, dtype=float)
    lab = lab_from_linear(rgb, white)
    sd = np.hypot(np.asarray(linear_sd, dtype=float), white_rel_sd * rgb)
    step = np.maximum(1e-3 * rgb, 1e-5)
    slopes = (lab_from_linear(rgb + np.diag(step), white) - lab) / step[:, None]
    chroma, hue_deg = chroma_and_hue(lab[1], lab[2])
    across = np.array([-np.sin(np.radians(hue_deg)), np.cos(np.radians(hue_deg))])
    sd_across = float(np.hypot(np.linalg.norm((slopes[:, 1:] @ across) * sd), _LAB_FLOOR))
    hue_sd = min(float(np.degrees(sd_across / max(chroma, 1e-9))), HUE_SD_MAX_DEG)
    return LabColour(float(lab[0]), float(lab[1]), float(lab[2]), hue_sd)
