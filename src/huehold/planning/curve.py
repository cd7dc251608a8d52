"""PH, undissolved solid and colour over the titrant added: the whole way and its last drops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.planning.chemistry import Cup
from huehold.planning.colours import colour_words, dyes_of, liquid_colours
from huehold.stoichiometry.formulae import molar_mass

__all__ = ["Curve", "curve_of"]

FloatArray = NDArray[np.float64]

_COARSE = np.union1d(np.linspace(0.0, 1.12, 57), [0.25, 0.85, 0.97])
_LAST_DROPS = np.linspace(-6.0, 6.0, 49)
_DEPTH_MM = 25.0


@dataclass(frozen=True, slots=True)
class Curve:
    """Columns over titrant, each of shape (n,).

    Attributes
    ----------
    titrant_g : ndarray
        Ascending from 0 to about 12 % beyond the end.
    ph : ndarray
        Once all of it has reacted.
    undissolved : ndarray
        Share of a solid that is left, 0 to 1.
    rgb : ndarray, shape (n, 3), or None
        sRGB of the liquid over white paper, 0 to 1; None if the indicator's spectra are not known.
    hue_deg : ndarray or None
    words : tuple of str
        Colour in a word; empty without spectra.
    """

    titrant_g: FloatArray
    ph: FloatArray
    undissolved: FloatArray
    rgb: FloatArray | None
    hue_deg: FloatArray | None
    words: tuple[str, ...]

    def index(self, titrant_g: float) -> int:
        """Row nearest to a mass of titrant."""
        return int(np.argmin(np.abs(self.titrant_g - titrant_g)))


def curve_of(cup: Cup, end_g: float, drop_g: float) -> Curve:
    """Follow the cup over the whole titration.

    Parameters
    ----------
    cup : Cup
    end_g : float
        Titrant with which the end colour comes, > 0.
    drop_g : float
        The last drops are followed more finely.
    """
    last = end_g + drop_g * _LAST_DROPS
    titrant = np.unique(np.concatenate([end_g * _COARSE, last[last > 0.0]]))
    ph, left = cup.settled(titrant)
    dyes = dyes_of(cup.method.indicator)
    if not dyes:
        return Curve(titrant, ph, left, None, None, ())
    rgb = liquid_colours(dyes, ph, _solid_g_per_l(cup, left), _DEPTH_MM)
    words, hue = colour_words(rgb)
    return Curve(titrant, ph, left, rgb, hue, tuple(words))


def _solid_g_per_l(cup: Cup, left: FloatArray) -> FloatArray:
    """Undissolved solid per litre of the liquid at the start."""
    grams = cup.analyte_mol * molar_mass(cup.method.sample.analyte).value
    return left * grams / (cup.water_g + cup.sample_g) * 1000.0
