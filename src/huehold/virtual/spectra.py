"""Absorption spectra of indicators by state, and the way from a spectrum to camera colours."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.errors import InputError

__all__ = [
    "ILLUMINANTS",
    "WAVELENGTHS_NM",
    "Dye",
    "band",
    "dye_names",
    "load_dye",
    "luminance_weights",
    "rgb_weights",
]

FloatArray = NDArray[np.float64]

WAVELENGTHS_NM: FloatArray = np.arange(380.0, 781.0, 5.0)
"""The grid all spectra live on: 81 points, 380 to 780 nm in steps of 5 nm."""

ILLUMINANTS = {
    "D65": "D65",
    "daylight": "D65",
    "D50": "D50",
    "A": "A",
    "bulb": "A",
    "LED": "LED-B3",
    "LED warm": "LED-B1",
    "LED cool": "LED-B5",
    "fluorescent": "FL2",
    "fluorescent tri-band": "FL11",
}
"""Lights by the names used here, and their names in the CIE tables (CIE 015:2018)."""


@dataclass(frozen=True, slots=True)
class Dye:
    """An indicator: what it absorbs in each of its states, and where the states change.

    Attributes
    ----------
    name : str
        Its name in the data file.
    variable : str
        What moves the states: ``"pH"``, ``"pI"`` (free triiodide) or ``"pM"`` (free metal ion).
    steps : tuple of float
        p-values of the k steps, ascending.
    absorbance : ndarray, shape (k + 1, 81)
        Decadic absorbance per cm of each state at a dose of 1.
    precipitates_below : float or None
        pH under which half of the dye has fallen out, None if it stays dissolved.
    source : str
        Where the figures are from.
    """

    name: str
    variable: str
    steps: tuple[float, ...]
    absorbance: FloatArray
    precipitates_below: float | None
    source: str

    def fractions(self, p: ArrayLike) -> FloatArray:
        """Shares of the states at a p-value.

        Parameters
        ----------
        p : array_like, shape (...)
            pH, or the p-value of the dye's own variable.

        Returns
        -------
        ndarray, shape (..., k + 1)
            Shares that sum to one, from the low-p state to the high-p state.
        """
        value = np.asarray(p, dtype=float)[..., None]
        cumulative = np.concatenate([[0.0], np.cumsum(self.steps)])
        power = np.arange(len(cumulative)) * value - cumulative
        weights = 10.0 ** (power - power.max(axis=-1, keepdims=True))
        return np.asarray(weights / weights.sum(axis=-1, keepdims=True))

    def absorbance_at(self, p: ArrayLike) -> FloatArray:
        """Decadic absorbance per cm at a dose of 1, shape (..., 81)."""
        return np.asarray(self.fractions(p) @ self.absorbance)

    def fallen_out(self, ph: ArrayLike) -> FloatArray:
        """Share of the dye that has precipitated at a pH, shape (...), in [0, 1].

        The fall is taken three times as steep as one protolysis step, as proteins fall out
        over a narrow range around their isoelectric point.
        """
        value = np.asarray(ph, dtype=float)
        if self.precipitates_below is None:
            return np.zeros_like(value)
        exponent = np.clip(3.0 * (value - self.precipitates_below), -30.0, 30.0)
        return np.asarray(1.0 / (1.0 + 10.0**exponent))


def band(centre_nm: float, width_nm: float, height: float) -> FloatArray:
    """One absorption band, Gaussian in wavenumber, on the common grid.

    Parameters
    ----------
    centre_nm : float
        Wavelength of the maximum, > 0.
    width_nm : float
        Full width at half maximum, > 0 and under twice the centre.
    height : float
        Value at the maximum, >= 0.

    Returns
    -------
    ndarray, shape (81,)
    """
    if not (0.0 < width_nm < 2.0 * centre_nm) or height < 0.0:
        raise InputError(
            f"An absorption band of {width_nm} nm width and height {height} at {centre_nm} nm "
            "makes no sense; the width must be positive and under twice the wavelength, "
            "the height not negative."
        )
    edges = 1e7 / (centre_nm - width_nm / 2.0), 1e7 / (centre_nm + width_nm / 2.0)
    sd = (edges[0] - edges[1]) / (2.0 * np.sqrt(2.0 * np.log(2.0)))
    offset = (1e7 / WAVELENGTHS_NM - 1e7 / centre_nm) / sd
    return np.asarray(height * np.exp(-0.5 * offset**2))


@cache
def _dye_tables() -> dict[str, Any]:
    text = (files("huehold.virtual") / "data" / "dyes.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def dye_names() -> tuple[str, ...]:
    """Names of the indicators in the data file."""
    return tuple(_dye_tables())


@cache
def load_dye(name: str) -> Dye:
    """Read an indicator from the data file.

    Raises
    ------
    InputError
        If there is no indicator of that name.
    """
    try:
        table = _dye_tables()[name]
    except KeyError:
        known = ", ".join(dye_names())
        raise InputError(f"There is no indicator called {name!r}; known are {known}.") from None
    states = [
        sum((band(*values) for values in bands), np.zeros_like(WAVELENGTHS_NM))
        for bands in table["states"]
    ]
    return Dye(
        name=name,
        variable=table["variable"],
        steps=tuple(table["steps"]),
        absorbance=np.array(states),
        precipitates_below=table.get("precipitates_below"),
        source=table["source"],
    )


@cache
def rgb_weights(illuminant: str = "D65") -> FloatArray:
    """Weights that turn a reflectance spectrum into linear sRGB referred to white.

    A camera that was set on a white card gives a perfect white the value 1 in each channel;
    the gain that does so is folded in (CIE 1931 2 degree observer, primaries of IEC 61966-2-1).

    Parameters
    ----------
    illuminant : str
        One of `ILLUMINANTS`.

    Returns
    -------
    ndarray, shape (81, 3)
        ``reflectance @ weights`` is linear RGB; the columns sum to one.

    Raises
    ------
    InputError
        If the light is not known.
    """
    import colour

    tristimulus = _tristimulus_weights(illuminant)
    linear = tristimulus @ np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB).T
    return np.asarray(linear / linear.sum(axis=0))


@cache
def luminance_weights(illuminant: str = "D65") -> FloatArray:
    """Weights, shape (81,), that sum to one and give the luminance of a reflectance spectrum."""
    luminance = _tristimulus_weights(illuminant)[:, 1]
    return np.asarray(luminance / luminance.sum())


def _tristimulus_weights(illuminant: str) -> FloatArray:
    if illuminant not in ILLUMINANTS:
        known = ", ".join(ILLUMINANTS)
        raise InputError(f"There is no light called {illuminant!r}; known are {known}.")
    import colour

    shape = colour.SpectralShape(WAVELENGTHS_NM[0], WAVELENGTHS_NM[-1], 5.0)
    light = colour.SDS_ILLUMINANTS[ILLUMINANTS[illuminant]].copy().align(shape)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    return np.asarray(observer.values * light.values[:, None])
