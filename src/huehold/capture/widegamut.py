"""High dynamic range and wide gamut to sRGB-encoded 8-bit.

Hybrid log-gamma (ITU-R BT.2100-2, ARIB STD-B67) encodes scene light; its inverse gives
light in proportion, which is what colour measurement wants, so no display rendering
(OOTF) is added: it would scale the three channels of a pixel together and change no hue.
Reference white, 75 % of the signal by ITU-R BT.2408, is placed at 60 % of linear full
scale (an sRGB value of 203), where a camera without HDR would put white paper; a little
room is left above it so that paper does not clip.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["HLG_WHITE_LINEAR", "WideGamut", "hlg_to_light", "primaries_to_srgb"]

FloatArray = NDArray[np.float64]

HLG_WHITE_SIGNAL = 0.75
HLG_WHITE_LINEAR = 0.60

_A = 0.17883277
_B = 1.0 - 4.0 * _A
_C = 0.5 - _A * np.log(4.0 * _A)

# Chromaticities (x, y) of red, green, blue and white: BT.709-6, BT.2020-2, SMPTE EG 432-1,
# SMPTE RP 431-2.
_D65 = (0.3127, 0.3290)
_PRIMARIES = {
    "bt709": ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060), _D65),
    "bt2020": ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), _D65),
    "display-p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65),
    "dci-p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), (0.314, 0.351)),
}


def hlg_to_light(signal: ArrayLike) -> FloatArray:
    """Scene light of a hybrid log-gamma signal.

    Parameters
    ----------
    signal : array_like
        Non-linear signal E', 0 to 1.

    Returns
    -------
    ndarray
        Scene linear light E, 0 to 1 (ITU-R BT.2100-2, table 5, inverse OETF).
    """
    e = np.asarray(signal, dtype=float)
    return np.asarray(np.where(e <= 0.5, e * e / 3.0, (np.exp((e - _C) / _A) + _B) / 12.0))


def srgb_to_light(value: ArrayLike) -> FloatArray:
    """Linear light of sRGB-encoded values in 0 to 1 (IEC 61966-2-1)."""
    v = np.asarray(value, dtype=float)
    return np.asarray(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4))


def light_to_srgb(light: ArrayLike) -> FloatArray:
    """sRGB-encoded values of linear light in 0 to 1 (IEC 61966-2-1)."""
    x = np.asarray(light, dtype=float)
    return np.asarray(np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055))


def primaries_to_srgb(primaries: str) -> FloatArray:
    """Matrix from linear light in `primaries` to linear light in sRGB primaries.

    White goes to white (each set's own), the customary reading of camera video.

    Returns
    -------
    ndarray, shape (3, 3)
    """
    direct = np.linalg.solve(_to_xyz("bt709"), _to_xyz(primaries))
    return np.asarray(direct / direct.sum(axis=1, keepdims=True))


def _to_xyz(name: str) -> FloatArray:
    *corners, white = (np.array([x / y, 1.0, (1.0 - x - y) / y]) for x, y in _PRIMARIES[name])
    columns = np.column_stack(corners)
    return np.asarray(columns * np.linalg.solve(columns, white))


class WideGamut:
    """Converter of 16-bit pictures, prepared once per recording.

    Parameters
    ----------
    curve : {"srgb", "hlg"}
        How the values encode light.
    primaries : str
        ``"bt709"``, ``"bt2020"``, ``"display-p3"`` or ``"dci-p3"``.
    """

    def __init__(self, curve: str, primaries: str) -> None:
        self._light = _light_table(curve)
        self._matrix = (65535.0 * primaries_to_srgb(primaries)).astype(np.float32)

    def __call__(self, image: NDArray[np.uint16]) -> NDArray[np.uint8]:
        """Convert a picture.

        Parameters
        ----------
        image : ndarray of uint16, shape (height, width, 3)
            Non-linear red, green, blue, 65535 at full scale.

        Returns
        -------
        ndarray of uint8, shape (height, width, 3)
            sRGB-encoded; colours outside sRGB are cut at its border.
        """
        light = cv2.transform(np.take(self._light, image), self._matrix)
        codes = np.clip(light, 0.0, 65535.0, out=light).astype(np.uint16)
        return np.asarray(np.take(_encode_table(), codes))


@lru_cache(maxsize=2)
def _light_table(curve: str) -> NDArray[np.float32]:
    signal = np.arange(65536) / 65535.0
    if curve == "srgb":
        return srgb_to_light(signal).astype(np.float32)
    scale = HLG_WHITE_LINEAR / float(hlg_to_light(HLG_WHITE_SIGNAL))
    return np.asarray(scale * hlg_to_light(signal)).astype(np.float32)


@lru_cache(maxsize=1)
def _encode_table() -> NDArray[np.uint8]:
    light = (np.arange(65536) + 0.5) / 65536.0
    return np.rint(255.0 * light_to_srgb(light)).astype(np.uint8)
