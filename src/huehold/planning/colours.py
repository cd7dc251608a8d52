"""What colour the liquid has at a pH: from the virtual bench's spectra, in words and as sRGB."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from huehold.methods.model import Indicator
from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics
from huehold.virtual.spectra import dye_names, load_dye

__all__ = ["colour_words", "dyes_of", "liquid_colours"]

FloatArray = NDArray[np.float64]

_KITCHEN: Mapping[str, str] = MappingProxyType({"turmeric": "curcumin", "spirulina": "phycocyanin"})
_DOSE = 0.35  # peak absorbance per cm: easy to see, common practice, no source
_PAPER = 0.85  # reflectance of white paper under the cup
_COLOURLESS = 8.0  # CIELAB chroma
# Upper bounds of CIELAB hue angles people would give the name; rounded usage.
_WORDS = (
    (15.0, "pink"),
    (42.0, "red"),
    (62.0, "orange-red"),
    (80.0, "orange"),
    (100.0, "yellow"),
    (118.0, "yellow-green"),
    (165.0, "green"),
    (225.0, "blue-green"),
    (285.0, "blue"),
    (340.0, "purple"),
    (360.1, "pink"),
)


def dyes_of(indicator: Indicator) -> dict[str, float]:
    """Find the virtual bench's dyes for an indicator, with a dose each; empty if it has none."""
    name = indicator.name.lower()
    kitchen = {dye: KITCHEN_DYES[dye] for word, dye in _KITCHEN.items() if word in name}
    if kitchen:
        return kitchen
    plain = name.replace(" ", "_").replace("-", "_")
    known = plain in dye_names() and load_dye(plain).variable == "pH"
    return {plain: _DOSE} if known else {}


def liquid_colours(
    dyes: Mapping[str, float], ph: FloatArray, solid_g_per_l: FloatArray, depth_mm: float
) -> FloatArray:
    """Colour of the liquid over white paper in daylight.

    Parameters
    ----------
    dyes : mapping of str to float
        Doses, absorbance per cm.
    ph, solid_g_per_l : ndarray, shape (n,)
    depth_mm : float
        Of the liquid, > 0.

    Returns
    -------
    ndarray, shape (n, 3)
        sRGB-encoded, 0 to 1.
    """
    optics = LiquidOptics(dyes, depth_mm)
    linear = np.clip(optics.appearance(ph, solid_g_per_l).over(_PAPER), 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def colour_words(rgb: FloatArray) -> tuple[list[str], FloatArray]:
    """Name sRGB colours (n, 3); returns the words and the CIELAB hue angles in degrees (n,)."""
    from skimage.color import rgb2lab

    lab = rgb2lab(np.asarray(rgb)[None])[0]
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360.0
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    words = [
        "colourless" if c < _COLOURLESS else next(word for top, word in _WORDS if h < top)
        for h, c in zip(hue.tolist(), chroma.tolist(), strict=True)
    ]
    return words, np.asarray(hue)
