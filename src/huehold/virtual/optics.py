"""How an indicator's solution with undissolved solid looks from above.

Absorption after Beer and Lambert, scattering by a two-flux model (Schuster 1905, Kubelka and
Munk 1931) at each wavelength, then linear camera colours. A pixel seen through the liquid is

    veil + through * (sharp * ground + (1 - sharp) * ground blurred by blur_mm)

with the ground's linear reflectance as the camera would see it without liquid.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.errors import InputError
from huehold.virtual.spectra import WAVELENGTHS_NM, Dye, load_dye, luminance_weights, rgb_weights

__all__ = ["KITCHEN_DYES", "Appearance", "LiquidOptics", "Scattering", "two_flux"]

FloatArray = NDArray[np.float64]

KITCHEN_DYES: Mapping[str, float] = {"curcumin": 0.45, "phycocyanin": 0.17}
"""Doses of the natural two-dye mixture: peak absorbance per cm of each dye."""

_PH_NODES = np.linspace(1.0, 14.0, 131)
_SOLID_SCALE_G_PER_L = 0.01
_SOLID_NODES = 33
_SOLID_MAX_G_PER_L = 400.0
_DYE_NODES = np.linspace(0.0, 1.0, 8)


@dataclass(frozen=True, slots=True)
class Scattering:
    """How strongly the undissolved solid scatters.

    The defaults are those of loose flocs of a few micrometres, set so that 1 to 2 g/L in a cup
    hides the ground (the trade's observation); extinction from size and refractive index alone
    would be within a factor of three of it either way.

    Attributes
    ----------
    extinction_per_mm : float
        Light scattered out of a straight ray at 550 nm, per mm and per g/L, > 0.
    asymmetry : float
        Mean cosine of the scattering angle, 0 to 1; near 1 scatters mostly forward.
    exponent : float
        Power of the fall with wavelength; 4 for molecules, near 0 for coarse grains.
    """

    extinction_per_mm: float = 0.10
    asymmetry: float = 0.82
    exponent: float = 0.4

    def __post_init__(self) -> None:
        if self.extinction_per_mm <= 0.0 or not 0.0 <= self.asymmetry < 1.0:
            raise InputError(
                f"Scattering of {self.extinction_per_mm} per mm with asymmetry {self.asymmetry} "
                "makes no sense; give a positive extinction and an asymmetry from 0 to under 1."
            )

    def extinction(self, solid_g_per_l: FloatArray) -> FloatArray:
        """Extinction by scattering, per mm, shape (..., 81)."""
        shape = (WAVELENGTHS_NM / 550.0) ** -self.exponent
        return np.asarray(self.extinction_per_mm * solid_g_per_l[..., None] * shape)


@dataclass(frozen=True, slots=True)
class Appearance:
    """What the liquid adds to and lets through from the ground behind it.

    Attributes
    ----------
    veil : ndarray, shape (..., 3)
        Linear RGB of the light scattered back by the liquid itself; white is 1.
    through : ndarray, shape (..., 3)
        Factor on the ground's linear RGB, both ways through the liquid.
    sharp : ndarray, shape (...)
        Share of the light from the ground that was not scattered, 0 to 1.
    blur_mm : ndarray, shape (...)
        Standard deviation, in mm on the ground, of the blur of the rest.
    """

    veil: FloatArray
    through: FloatArray
    sharp: FloatArray
    blur_mm: FloatArray

    @property
    def blur(self) -> FloatArray:
        """Share of the ground's contrast that is lost to blur, 0 to 1, shape (...)."""
        return np.asarray(1.0 - self.sharp)

    def over(self, ground: ArrayLike) -> FloatArray:
        """Linear RGB over an even ground of that linear reflectance, shape (..., 3)."""
        return np.asarray(self.veil + self.through * np.asarray(ground, dtype=float))


def two_flux(
    absorption: FloatArray, scattering: FloatArray, depth: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Reflectance and transmittance of a layer without a ground (Kubelka and Munk 1931).

    Parameters
    ----------
    absorption, scattering : ndarray, same shape
        Two-flux coefficients K and S per unit of depth, >= 0.
    depth : array_like
        Depth of the layer, broadcast.

    Returns
    -------
    reflectance, transmittance : ndarray
        Each in [0, 1], together at most 1.
    """
    backward = np.maximum(scattering, 1e-9)
    forward = np.maximum(absorption, 1e-9)
    a = 1.0 + forward / backward
    b = np.sqrt(a * a - 1.0)
    x = b * backward * np.asarray(depth, dtype=float)
    # exp(-x) instead of sinh and cosh: thick layers must not overflow.
    fade = np.exp(-x)
    denominator = a * (1.0 - fade**2) + b * (1.0 + fade**2)
    return (1.0 - fade**2) / denominator, 2.0 * b * fade / denominator


class LiquidOptics:
    """The look of a dye mixture at a depth under a light, exactly or from a table.

    Parameters
    ----------
    dyes : mapping of str to float
        Dose of each indicator: absorbance per cm at its reference band, >= 0.
    depth_mm : float
        Depth of the liquid, > 0.
    illuminant : str
        A name from `huehold.virtual.spectra.ILLUMINANTS`; the camera is white-balanced to it.
    scattering : Scattering
        The solid's scattering.
    ground : float
        Mean reflectance of what lies behind, for the light that goes back and forth, [0, 1].
    precipitation : bool
        Whether an over-acidified dye falls out: its colour goes and a haze comes.
    haze_per_mm : float
        Extinction per mm of a fully fallen-out dye at a dose of 0.1 per cm.

    Notes
    -----
    Masses are taken per litre of liquid at `depth_mm`: adding liquid to a straight-walled cup
    makes it deeper and thinner alike, and the column of dye and solid under a pixel stays.
    Diffuse light travels twice the depth on average, so the two-flux absorption goes from the
    plain coefficient (clear) to twice that (all light scattered). Reflection at the surface is
    left to whoever draws the scene.
    """

    def __init__(
        self,
        dyes: Mapping[str, float] = KITCHEN_DYES,
        depth_mm: float = 25.0,
        illuminant: str = "D65",
        *,
        scattering: Scattering | None = None,
        ground: float = 0.6,
        precipitation: bool = False,
        haze_per_mm: float = 0.04,
    ) -> None:
        if depth_mm <= 0.0 or not 0.0 <= ground <= 1.0 or haze_per_mm < 0.0:
            raise InputError(
                f"A liquid {depth_mm} mm deep over a ground of reflectance {ground} with a haze of "
                f"{haze_per_mm} per mm makes no sense; depth must be positive, the ground 0 to 1."
            )
        for name, dose in dyes.items():
            if dose < 0.0:
                raise InputError(f"The dose of {name} is {dose}; it cannot be negative.")
        self.depth_mm = depth_mm
        self.illuminant = illuminant
        self.scattering = scattering or Scattering()
        self.ground = ground
        self.precipitation = precipitation
        self.haze_per_mm = haze_per_mm
        self._dyes: tuple[tuple[Dye, float], ...] = tuple(
            (load_dye(name), dose) for name, dose in dyes.items()
        )
        self._weights = rgb_weights(illuminant)
        self._luminance = luminance_weights(illuminant)
        self._tables: dict[bool, FloatArray] = {}

    def appearance(
        self, ph: ArrayLike, solid_g_per_l: ArrayLike = 0.0, dye_left: ArrayLike = 1.0
    ) -> Appearance:
        """Work out the look wavelength by wavelength.

        Parameters
        ----------
        ph : array_like
            pH (or the p-value of the indicator's variable), broadcast with the others.
        solid_g_per_l : array_like
            Undissolved solid, >= 0.
        dye_left : array_like
            Share of the dyes not lost to fading, 0 to 1.

        Returns
        -------
        Appearance
            Arrays of the broadcast shape.
        """
        p, solid, left = np.broadcast_arrays(
            np.asarray(ph, dtype=float),
            np.asarray(solid_g_per_l, dtype=float),
            np.asarray(dye_left, dtype=float),
        )
        _check_solid(solid)
        absorption, haze = self._dye_terms(p, left)
        extinction = self.scattering.extinction(solid) + haze
        return self._combine(absorption, extinction)

    def fast(
        self, ph: ArrayLike, solid_g_per_l: ArrayLike = 0.0, dye_left: ArrayLike = 1.0
    ) -> Appearance:
        """Do the same as `appearance` from a table made at the first call.

        Linear between 131 pH values from 1 to 14 and 33 solid contents up to 400 g/L; values
        beyond are held at the edge. Within 0.5 in CIEDE2000 of the exact way (tested), within
        about 1 where half of the dye has faded.
        """
        p, solid, left = np.broadcast_arrays(
            np.asarray(ph, dtype=float),
            np.asarray(solid_g_per_l, dtype=float),
            np.asarray(dye_left, dtype=float),
        )
        _check_solid(solid)
        fading = bool(np.any(left != 1.0))
        table = self._table(fading)
        columns = _interpolate(table, _table_coordinates(p, solid, left if fading else None))
        return Appearance(columns[..., :3], columns[..., 3:6], columns[..., 6], columns[..., 7])

    def _dye_terms(self, p: FloatArray, left: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Absorption (napierian, per mm) and haze extinction per mm, each (..., 81)."""
        absorption = np.zeros((*p.shape, len(WAVELENGTHS_NM)))
        haze = np.zeros_like(absorption)
        for dye, dose in self._dyes:
            spectrum = dye.absorbance_at(p) * (dose * left[..., None] * np.log(10.0) / 10.0)
            if self.precipitation:
                out = dye.fallen_out(p)[..., None]
                spectrum = spectrum * (1.0 - 0.9 * out)
                haze = haze + self.haze_per_mm * dose / 0.1 * out * left[..., None]
            absorption += spectrum
        return absorption, haze

    def _combine(self, absorption: FloatArray, extinction: FloatArray) -> Appearance:
        depth = self.depth_mm
        straight = np.exp(-extinction * depth)
        backward = 0.75 * (1.0 - self.scattering.asymmetry) * extinction
        reflectance, transmittance = two_flux(absorption * (2.0 - straight), backward, depth)
        through = transmittance**2 / (1.0 - reflectance * self.ground)
        # Of the light that comes back from the ground, this much met no particle both ways.
        unscattered = straight**2 * np.exp(-2.0 * absorption * depth)
        sharp = (unscattered @ self._luminance) / np.maximum(through @ self._luminance, 1e-12)
        optical_depth = (extinction * depth) @ self._luminance
        return Appearance(
            veil=np.maximum(reflectance @ self._weights, 0.0),
            through=np.maximum(through @ self._weights, 0.0),
            sharp=np.clip(sharp, 0.0, 1.0),
            blur_mm=_blur_mm(optical_depth, depth, self.scattering.asymmetry),
        )

    def _table(self, fading: bool) -> FloatArray:
        if fading not in self._tables:
            left = _DYE_NODES if fading else np.ones(1)
            solid = _solid_from_node(np.arange(_SOLID_NODES, dtype=float))
            made = [self.appearance(_PH_NODES[:, None], solid[None, :], part) for part in left]
            columns = [
                np.concatenate(
                    [m.veil, m.through, m.sharp[..., None], m.blur_mm[..., None]], axis=-1
                )
                for m in made
            ]
            self._tables[fading] = np.array(columns) if fading else columns[0]
        return self._tables[fading]


def _check_solid(solid: FloatArray) -> None:
    if np.any(solid < 0.0):
        raise InputError(
            f"The undissolved solid is {float(solid.min()):g} g/L somewhere; it cannot be negative."
        )


def _blur_mm(optical_depth: FloatArray, depth_mm: float, asymmetry: float) -> FloatArray:
    """Lateral spread of scattered light: random walk of small deflections over the depth.

    With n scatterings of mean square angle 2 (1 - g) the displacement grows as
    depth * sqrt(n * 2 (1 - g) / 3), and saturates at the depth once light is diffuse.
    """
    spread = np.sqrt(np.maximum(optical_depth, 1.0) * 2.0 * (1.0 - asymmetry) / 3.0)
    return np.asarray(depth_mm * np.minimum(spread, 1.0))


def _solid_from_node(node: FloatArray) -> FloatArray:
    top = np.log1p(_SOLID_MAX_G_PER_L / _SOLID_SCALE_G_PER_L)
    return np.asarray(_SOLID_SCALE_G_PER_L * np.expm1(node / (_SOLID_NODES - 1) * top))


def _table_coordinates(
    p: FloatArray, solid: FloatArray, left: FloatArray | None
) -> tuple[FloatArray, ...]:
    top = np.log1p(_SOLID_MAX_G_PER_L / _SOLID_SCALE_G_PER_L)
    step = _PH_NODES[1] - _PH_NODES[0]
    x = np.clip((p - _PH_NODES[0]) / step, 0.0, len(_PH_NODES) - 1.001)
    y = np.log1p(solid / _SOLID_SCALE_G_PER_L) * ((_SOLID_NODES - 1) / top)
    y = np.clip(y, 0.0, _SOLID_NODES - 1.001)
    if left is None:
        return x, y
    z = left * (len(_DYE_NODES) - 1)
    return np.clip(z, 0.0, len(_DYE_NODES) - 1.001), x, y


def _interpolate(table: FloatArray, coordinates: tuple[FloatArray, ...]) -> FloatArray:
    """Multilinear interpolation of the last axis's columns; (..., columns)."""
    index = [np.floor(c).astype(np.intp) for c in coordinates]
    part = [c - i for c, i in zip(coordinates, index, strict=True)]
    total = np.zeros((*coordinates[0].shape, table.shape[-1]))
    for corner in np.ndindex(*(2,) * len(coordinates)):
        weight = np.ones_like(coordinates[0])
        for side, share in zip(corner, part, strict=True):
            weight = weight * (share if side else 1.0 - share)
        at = tuple(i + side for i, side in zip(index, corner, strict=True))
        total += weight[..., None] * table[at]
    return total
