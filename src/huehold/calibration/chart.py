"""Colour correction of a camera from the classic chart of 24 patches.

The measured patches, in linear light against the chart's own white, are mapped to the
chart's published values by a matrix on root-polynomial terms (Finlayson, Mackiewicz and
Hurlbert 2015), which keeps to its word when the exposure changes. White is held in its
place, so that what is referred to white before stays so. Whether the map is plain linear
or of the second degree is decided by leaving out one patch at a time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from huehold.errors import InputError
from huehold.vision.colour import lab_from_linear

__all__ = [
    "PATCHES",
    "CameraCorrection",
    "ChartFit",
    "fit_chart",
    "reference_linear",
    "white_referred",
]

FloatArray = NDArray[np.float64]

CHART = "ColorChecker24 - After November 2014"
"""The published values used, as named in colour-science."""

PATCHES = (4, 6)
"""Rows and columns of the chart."""

_WHITE, _DARKEST_WHITE = 18, 0.02
_GREYS = slice(18, 24)
_NEUTRAL = slice(19, 22)  # neutral 8, 6.5 and 5
_TERMS = {1: 3, 2: 6}  # degree of the root polynomial -> terms
_NO_HELP = 0.95  # cross-validated difference, as a share of the uncorrected one, that is no gain
_NO_CHART = 12.0  # mean difference after correction that no camera explains


@lru_cache(maxsize=1)
def reference_linear() -> FloatArray:
    """Return the published colours of the chart in linear sRGB, D65, row by row from dark skin.

    Returns
    -------
    ndarray, shape (24, 3)
        Perfect white is 1; may lie a little outside 0 to 1 (cyan does). From colour-science,
        chart after November 2014, adapted from its ICC D50 by CAT02.
    """
    import colour

    chart = colour.CCS_COLOURCHECKERS[CHART]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    return np.asarray(
        colour.XYZ_to_RGB(
            xyz, "sRGB", chart.illuminant, chromatic_adaptation_transform="CAT02",
            apply_cctf_encoding=False,
        )
    )  # fmt: skip


def white_referred(linear: ArrayLike) -> FloatArray:
    """Refer measured patches to the white that makes the middle greys as published.

    The greys are flat over the spectrum, so any camera sees them alike; the white patch is
    not: it falls off in the violet.

    Parameters
    ----------
    linear : array_like, shape (24, 3)
        Linear light of the patches as the camera gives it.

    Raises
    ------
    InputError
        If the white patch is dark, or the greys do not get darker along their row.
    """
    patches = np.asarray(linear, dtype=float)
    if patches.shape != (24, 3) or not np.all(np.isfinite(patches)):
        raise InputError("A colour chart has 24 patches of three numbers each.")
    greys = patches[_GREYS].mean(axis=1)
    if patches[_WHITE].min() < _DARKEST_WHITE or np.any(np.diff(greys) >= 0.0):
        raise InputError(
            "The patches are not those of the chart: its last row must run from white to black; "
            "check the corners, the chart's direction and the exposure."
        )
    white = np.exp(np.mean(np.log(patches[_NEUTRAL] / reference_linear()[_NEUTRAL]), axis=0))
    return np.asarray(patches / white)


def _terms(ratio: FloatArray, degree: int) -> FloatArray:
    """Root-polynomial terms of linear light, shape (..., 3) to (..., n)."""
    r, g, b = np.moveaxis(np.maximum(ratio, 0.0), -1, 0)
    columns = [r, g, b]
    if degree == 2:
        columns += [np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)]
    return np.stack(columns, axis=-1)


@dataclass(frozen=True, slots=True)
class CameraCorrection:
    """A map from this camera's linear light against white to that of sRGB.

    Attributes
    ----------
    matrix : ndarray, shape (3, 3) or (3, 6)
        On the terms r, g, b and, of the second degree, their pairwise geometric means;
        rows sum to 1, so that white stays white.
    tone : float
        The camera's decoded light is true light to this power; straightened first.
    """

    matrix: FloatArray
    tone: float = 1.0

    def __call__(self, ratio: FloatArray) -> FloatArray:
        """Correct linear light against white, shape (..., 3) to (..., 3)."""
        straight = np.maximum(np.asarray(ratio, dtype=float), 0.0) ** (1.0 / self.tone)
        degree = 1 if self.matrix.shape[1] == 3 else 2
        return np.asarray(_terms(straight, degree) @ self.matrix.T)


@dataclass(frozen=True, slots=True)
class ChartFit:
    """A correction and how well it does, in CIEDE2000.

    Attributes
    ----------
    correction : CameraCorrection
    before, after : ndarray, shape (24,)
        Differences of the patches from the published values.
    left_out : ndarray, shape (24,)
        Differences of each patch when it had no part in the fit.
    white : ndarray, shape (3,)
        Linear light of the chart's white patch as measured: tells the light and the exposure.
    """

    correction: CameraCorrection
    before: FloatArray
    after: FloatArray
    left_out: FloatArray
    white: FloatArray


def fit_chart(linear: ArrayLike) -> ChartFit:
    """Fit a correction to the measured patches.

    Parameters
    ----------
    linear : array_like, shape (24, 3)
        Linear light of the patches as the camera gives it, row by row from dark skin.

    Raises
    ------
    InputError
        If these are not the chart's patches, or no correction brings them nearer.
    """
    measured = white_referred(linear)
    wanted = lab_from_linear(reference_linear())
    before = _difference(lab_from_linear(measured), wanted)
    candidates = [
        _cross_validated(white_referred(measured ** (1.0 / tone)), wanted, degree, tone)
        for degree in _TERMS
        for tone in {1.0, _tone(measured)}
    ]
    correction, left_out = min(candidates, key=lambda c: float(c[1].mean()))
    straight = white_referred(measured ** (1.0 / correction.tone))
    after = _difference(
        lab_from_linear(replace(correction, tone=1.0)(straight)),
        wanted,
    )
    if after.mean() > _NO_CHART:
        raise InputError(
            f"After correction the patches are still {after.mean():.0f} (CIEDE2000) from the "
            "published ones: this is not the chart, or it is mirrored in, shaded or covered."
        )
    if left_out.mean() > _NO_HELP * before.mean():
        raise InputError(
            f"No correction is needed or helps: the patches are {before.mean():.1f} (CIEDE2000) "
            f"from the published ones as they are, and {left_out.mean():.1f} with a correction "
            "that is tried on patches it has not seen."
        )
    return ChartFit(correction, before, after, left_out, np.asarray(linear, float)[_WHITE])


def _difference(lab: FloatArray, wanted: FloatArray) -> FloatArray:
    import colour

    return np.asarray(colour.delta_E(lab, wanted, method="CIE 2000"), dtype=float)


def _tone(measured: FloatArray) -> float:
    """Power of the camera's tone curve from the greys, black left out for its flare."""
    greys = slice(18, 23)
    seen = np.log(np.maximum(measured[greys].mean(axis=1), 1e-4))
    true = np.log(reference_linear()[greys].mean(axis=1))
    return float(np.clip(np.polyfit(true, seen, 1)[0], 0.5, 2.0))


def _cross_validated(
    measured: FloatArray, wanted: FloatArray, degree: int, tone: float
) -> tuple[CameraCorrection, FloatArray]:
    """Fit on straightened light; the correction that is returned straightens by itself."""
    whole = _fit(measured, wanted, degree, None)
    left_out = np.empty(len(measured))
    for i in range(len(measured)):
        rest = np.arange(len(measured)) != i
        fitted = _fit(measured[rest], wanted[rest], degree, whole)
        left_out[i] = _difference(lab_from_linear(fitted(measured[i])), wanted[i])
    return CameraCorrection(whole.matrix, tone), left_out


def _fit(
    measured: FloatArray, wanted: FloatArray, degree: int, start: CameraCorrection | None
) -> CameraCorrection:
    """Least squares of the differences, lightness, chroma and hue weighted as in CIE94."""
    terms = _terms(measured, degree)
    count = _TERMS[degree]
    chroma = np.hypot(wanted[:, 1], wanted[:, 2])
    along = wanted[:, 1:] / np.maximum(chroma, 1e-6)[:, None]

    def matrix(free: FloatArray) -> FloatArray:
        """Return the matrix, shape (3, count), of its free entries: each row adds up to 1."""
        rows = free.reshape(3, count - 1)
        return np.column_stack([rows, 1.0 - rows.sum(axis=1)])

    def residual(free: FloatArray) -> FloatArray:
        """Return what the corrected colours are off, as CIE94 weighs it, shape (3 * patches,).

        Parameters
        ----------
        free : ndarray, shape (3 * (count - 1),)
            Entries of the matrix but the last of each row.
        """
        off = lab_from_linear(terms @ matrix(free).T) - wanted
        saturation = (off[:, 1:] * along).sum(axis=1) / (1.0 + 0.045 * chroma)
        tint = (off[:, 2] * along[:, 0] - off[:, 1] * along[:, 1]) / (1.0 + 0.015 * chroma)
        return np.concatenate([off[:, 0], saturation, tint])

    begin = np.eye(3, count) if start is None else start.matrix
    fit = least_squares(residual, begin[:, :-1].ravel(), method="lm", max_nfev=400)
    return CameraCorrection(matrix(fit.x))
