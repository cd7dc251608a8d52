"""A protolysis model of an indicator's colour, fitted to colours at known pH.

The dye has k protolysis steps and so k + 1 states; each state absorbs in a row of overlapping
bands from 400 to 700 nm. Absorbances of the states add by their shares (Beer and Lambert), the
light that is left is integrated by the CIE 1931 observer under the light, the camera being set
to its white, and the colour that makes in
CIELAB is compared with the one measured. Mixing states as spectra, and not as colours, matters:
a straight mix in linear light, in its logarithm or in CIELAB puts the pKa of a strong dye up to
0.6 off. The pH of the references are unknowns too, held by their uncertainties.

Bands that no camera can tell apart are kept alike by a mild smoothness, so the spectra are a
means and not a result. The pKa are those of the mixture as a whole (macroscopic).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["LIGHTS", "ProtolysisFit", "fit_protolysis", "shares"]

FloatArray = NDArray[np.float64]

LIGHTS: Mapping[str, str] = MappingProxyType(
    {
        "daylight": "D65", "bulb": "A", "led": "LED-B3", "led-warm": "LED-B1", "led-cool": "LED-B5",
        "fluorescent": "FL2", "tri-band": "FL11",
    }
)  # fmt: skip
"""Lights as people name them, and their CIE illuminants (CIE 015:2018)."""

_BANDS = 12
_SMOOTH = 0.75  # absorbance: second differences between bands stray by about this
_FLOOR = 1e-4  # linear light that 8 bits still tell from black
_LN10 = float(np.log(10.0))
_MODEL_U_PKA = 0.03  # what the bands leave unsaid, from known dyes of usual strength


@dataclass(frozen=True, slots=True)
class ProtolysisFit:
    """A fitted model.

    Attributes
    ----------
    pka : ndarray, shape (k,)
        In the order of the steps, from the low-pH side.
    u_pka : ndarray, shape (k,)
        Standard uncertainties.
    chi2 : float
        Sum of the squared colour residuals over their variance.
    residual : float
        Root mean square of the colour residuals, in CIELAB units.
    absorbance : ndarray, shape (k + 1, bands)
        Of the states, low pH first.
    covariance : ndarray
        Of pKa and absorbances in that order.
    light : str
        A key of `LIGHTS`.
    """

    pka: FloatArray
    u_pka: FloatArray
    chi2: float
    residual: float
    absorbance: FloatArray
    covariance: FloatArray
    light: str = "daylight"

    def colour(self, ph: ArrayLike) -> FloatArray:
        """CIELAB colours at some pH, shape (..., 3)."""
        return _colour(np.asarray(ph, dtype=float), self.pka, self.absorbance, self.light)

    def colour_u(self, ph: ArrayLike) -> FloatArray:
        """Give the standard uncertainty of a* and b* of the fitted curve (RMS), shape (n,)."""
        grid = np.atleast_1d(np.asarray(ph, dtype=float))
        _, slopes = _colour_and_slopes(grid, self.pka, self.absorbance, self.light)
        plane = slopes[:, 1:, :-1]
        variance = np.einsum("nci,ij,ncj->nc", plane, self.covariance, plane)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0).mean(axis=1)))


def shares(ph: ArrayLike, pka: ArrayLike) -> FloatArray:
    """Shares of the k + 1 states at some pH, low-pH state first, shape (..., k + 1)."""
    cumulative = np.concatenate([[0.0], np.cumsum(np.asarray(pka, dtype=float))])
    power = np.arange(len(cumulative)) * np.asarray(ph, dtype=float)[..., None] - cumulative
    weight = 10.0 ** (power - power.max(axis=-1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))


def fit_protolysis(
    ph: FloatArray,
    u_ph: FloatArray,
    lab: FloatArray,
    u_lab: FloatArray,
    steps: int,
    light: str = "daylight",
) -> ProtolysisFit:
    """Fit `steps` protolysis steps to colours at known pH.

    Parameters
    ----------
    ph, u_ph : ndarray, shape (n,)
        pH of the references and their standard uncertainties, > 0.
    lab : ndarray, shape (n, 3)
        CIELAB colours.
    u_lab : ndarray, shape (n,)
        Standard uncertainty of each coordinate, > 0.
    steps : int
        1 to 3.
    light : str
        A key of `LIGHTS`.
    """
    problem = _Problem(ph, u_ph, lab, u_lab, steps, light)
    found = [problem.solve(start) for start in problem.starts()]
    return problem.result(min(found, key=lambda x: float(np.sum(problem.residuals(x) ** 2))))


class _Problem:
    def __init__(
        self,
        ph: FloatArray,
        u_ph: FloatArray,
        lab: FloatArray,
        u_lab: FloatArray,
        steps: int,
        light: str = "daylight",
    ) -> None:
        self.light = light
        self.ph, self.u_ph, self.lab, self.u_lab, self.k = ph, u_ph, lab, u_lab, steps
        self.n_bands = (steps + 1) * _BANDS
        self.size = steps + self.n_bands
        self.reach = float(np.ptp(ph)) + 2.0  # pKa are held this loosely near the pH measured

    def starts(self) -> list[FloatArray]:
        """Give sets of pKa to start from: spread evenly, and where the colour changes most."""
        low, high = float(self.ph.min()), float(self.ph.max())
        even = low + (high - low) * (np.arange(self.k) + 1.0) / (self.k + 1.0)
        order = np.argsort(self.ph)
        move = np.linalg.norm(np.diff(self.lab[order], axis=0), axis=1)
        middle = 0.5 * (self.ph[order][1:] + self.ph[order][:-1])
        share = (np.cumsum(move) - 0.5 * move) / max(float(move.sum()), 1e-9)
        wanted = (np.arange(self.k) + 0.5) / self.k
        return [even, np.interp(wanted, share, middle) + 0.05 * np.arange(self.k)]

    def solve(self, start: FloatArray) -> FloatArray:
        """Minimise; absorbances are squares of what is varied, so that none falls below zero.

        MINPACK's Levenberg-Marquardt: for a problem this small the threads of a linear algebra
        library cost far more than they bring.
        """
        from scipy.optimize import least_squares

        x0 = np.concatenate([start, np.full(self.n_bands, 0.55), np.zeros(len(self.ph))])
        found = least_squares(
            self._residuals_of_roots,
            x0,
            self._jacobian_of_roots,
            method="lm",
            ftol=1e-6,
            max_nfev=150,
        )
        return self._squared(np.asarray(found.x, dtype=float))

    def _residuals_of_roots(self, v: FloatArray) -> FloatArray:
        return self.residuals(self._squared(v))

    def _jacobian_of_roots(self, v: FloatArray) -> FloatArray:
        return self.jacobian(self._squared(v)) * self._squared_slope(v)

    def _squared(self, v: FloatArray) -> FloatArray:
        x = v.copy()
        x[self.k : self.size] **= 2
        return x

    def _squared_slope(self, v: FloatArray) -> FloatArray:
        slope = np.ones_like(v)
        slope[self.k : self.size] = 2.0 * v[self.k : self.size]
        return slope

    def residuals(self, x: FloatArray) -> FloatArray:
        """Return what is off in units of its uncertainty: colours, smoothness, pH, pK; shape (m,).

        Parameters
        ----------
        x : ndarray, shape (k + (k + 1) * bands + n,)
            The k pK, the absorbances of the bands of each form, and the points' errors of pH in
            units of their uncertainty.
        """
        rough = np.diff(self.bands(x), 2, axis=1) / _SMOOTH
        held = (x[: self.k] - self.ph.mean()) / self.reach
        return np.concatenate(
            [self.colour_residuals(x).ravel(), rough.ravel(), x[self.size :], held]
        )

    def bands(self, x: FloatArray) -> FloatArray:
        """Return the bands of the k + 1 forms, shape (k + 1, bands)."""
        return x[self.k : self.size].reshape(self.k + 1, _BANDS)

    def true_ph(self, x: FloatArray) -> FloatArray:
        """Return the pH at which the n points really lie, shape (n,)."""
        return self.ph + x[self.size :] * self.u_ph

    def colour_residuals(self, x: FloatArray) -> FloatArray:
        """Return what the colours are off in units of their uncertainty, shape (n, 3)."""
        colour = _colour(self.true_ph(x), x[: self.k], self.bands(x), self.light)
        return np.asarray((colour - self.lab) / self.u_lab[:, None])

    def jacobian(self, x: FloatArray) -> FloatArray:
        """Return the slopes of `residuals`, shape (m, len(x))."""
        n = len(self.ph)
        _, slopes = _colour_and_slopes(self.true_ph(x), x[: self.k], self.bands(x), self.light)
        slopes = slopes / self.u_lab[:, None, None]
        own = np.einsum("nc,nm->ncm", slopes[:, :, -1] * self.u_ph[:, None], np.eye(n))
        colours = np.concatenate([slopes[:, :, :-1], own], axis=2).reshape(3 * n, -1)
        second = np.diff(np.eye(_BANDS), 2, axis=0) / _SMOOTH
        rough = np.zeros(((self.k + 1) * len(second), len(x)))
        rough[:, self.k : self.size] = np.kron(np.eye(self.k + 1), second)
        prior = np.zeros((n + self.k, len(x)))
        prior[:n, self.size :] = np.eye(n)
        prior[n:, : self.k] = np.eye(self.k) / self.reach
        return np.concatenate([colours, rough, prior])

    def result(self, x: FloatArray) -> ProtolysisFit:
        """Return the fit at `x`, its covariance wider where colours fit worse than they should."""
        jac = self.jacobian(x)
        misfit = self.colour_residuals(x)
        chi2 = float(np.sum(misfit**2))
        # Colours that fit worse than their uncertainty widen everything by as much.
        spare = max(misfit.size - 4 * (self.k + 1) - self.k, 1)
        full = np.linalg.inv(jac.T @ jac) * max(1.0, chi2 / spare)
        covariance = full[: self.size, : self.size]
        return ProtolysisFit(
            pka=x[: self.k],
            u_pka=np.hypot(np.sqrt(np.diag(covariance)[: self.k]), _MODEL_U_PKA),
            chi2=chi2,
            residual=float(np.sqrt(np.mean((misfit * self.u_lab[:, None]) ** 2))),
            absorbance=self.bands(x),
            covariance=np.asarray(covariance, dtype=float),
            light=self.light,
        )


def _colour(ph: FloatArray, pka: FloatArray, absorbance: FloatArray, light: str) -> FloatArray:
    bands, weights, to_xyz = _observer(light)
    spectrum = 10.0 ** -(shares(ph, pka) @ absorbance @ bands)
    linear = np.maximum(spectrum @ weights, _FLOOR)
    return _lab(linear @ to_xyz)


def _colour_and_slopes(
    ph: FloatArray, pka: FloatArray, absorbance: FloatArray, light: str
) -> tuple[FloatArray, FloatArray]:
    """Colours (n, 3) and their slopes (n, 3, k + (k + 1) bands + 1): pKa, absorbances, pH."""
    bands, weights, to_xyz = _observer(light)
    share = shares(ph, pka)
    spectrum = 10.0 ** -(share @ absorbance @ bands)
    linear = spectrum @ weights
    kept = np.maximum(linear, _FLOOR)
    per_linear = _lab_slopes(kept @ to_xyz, to_xyz) * (linear > _FLOOR)[:, None, :]
    per_band = -_LN10 * np.einsum("bm,nm,mc->nbc", bands, spectrum, weights, optimize=True)
    lab_per_band = np.einsum("nlc,nbc->nlb", per_linear, per_band)
    by_absorbance = np.einsum("ni,nlb->nlib", share, lab_per_band).reshape(len(ph), 3, -1)
    lab_per_share = np.einsum("nlb,ib->nli", lab_per_band, absorbance)
    by_pka_ph = np.einsum("nli,nij->nlj", lab_per_share, _share_slopes(share))
    slopes = [by_pka_ph[:, :, :-1], by_absorbance, by_pka_ph[:, :, -1:]]
    return _lab(kept @ to_xyz), np.concatenate(slopes, axis=2)


def _share_slopes(share: FloatArray) -> FloatArray:
    """Slopes of the shares (n, k + 1) against each pKa and, last, pH: (n, k + 1, k + 1)."""
    count = share.shape[1]
    above = np.tril(np.ones((count, count)), -1)[:, :-1]  # whether state i lies above step j
    by_pka = -_LN10 * share[:, :, None] * (above - (share @ above)[:, None, :])
    order = np.arange(count)
    by_ph = _LN10 * share * (order - (share @ order)[:, None])
    return np.concatenate([by_pka, by_ph[:, :, None]], axis=2)


def _lab_slopes(ratio: FloatArray, to_xyz: FloatArray) -> FloatArray:
    """Slopes of CIELAB against linear sRGB, (n, 3 of CIELAB, 3 of sRGB)."""
    small = ratio <= 216.0 / 24389.0
    by_ratio = np.where(small, 24389.0 / 27.0 / 116.0, np.cbrt(np.maximum(ratio, 1e-9)) ** -2 / 3.0)
    f = by_ratio[:, :, None] * to_xyz.T  # (n, xyz, rgb)
    mix = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
    return np.asarray(np.einsum("lx,nxc->nlc", mix, f))


def _lab(ratio: FloatArray) -> FloatArray:
    """CIELAB (CIE 15) of tristimulus values as a share of the white's."""
    f = np.where(ratio > 216.0 / 24389.0, np.cbrt(ratio), (24389.0 / 27.0 * ratio + 16.0) / 116.0)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


@cache
def _observer(light_name: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Bands (12, m), weights from spectrum to linear sRGB (m, 3), and linear sRGB to XYZ/white."""
    import colour

    shape = colour.SpectralShape(380, 780, 10)
    light = colour.SDS_ILLUMINANTS[LIGHTS[light_name]].copy().align(shape)
    curves = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    xyz = np.asarray(curves.values) * np.asarray(light.values)[:, None]
    space = colour.RGB_COLOURSPACES["sRGB"]
    linear = xyz @ np.asarray(space.matrix_XYZ_to_RGB).T
    weights = linear / linear.sum(axis=0)
    to_xyz = np.asarray(space.matrix_RGB_to_XYZ).T
    centres = np.linspace(400.0, 700.0, _BANDS)
    nm = np.asarray(shape.wavelengths)
    bands = np.maximum(0.0, 1.0 - np.abs(nm - centres[:, None]) / (centres[1] - centres[0]))
    bands[0, nm < centres[0]] = 1.0
    bands[-1, nm > centres[-1]] = 1.0
    return bands, weights, to_xyz / to_xyz.sum(axis=0)
