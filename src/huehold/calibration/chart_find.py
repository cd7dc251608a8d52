"""The classic chart of 24 patches in a picture: found by itself, or by its corner patches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.calibration.chart import PATCHES, reference_linear
from huehold.errors import InputError
from huehold.vision.colour import LINEAR_OF_CODE, lab_from_linear

__all__ = ["ChartSight", "chart_at", "find_chart", "read_patches"]

FloatArray = NDArray[np.float64]

_SEARCH_PX = 1200
_INNER = 0.26  # half side of the measured square, in distances of patches
_FULL_CODE = 253
_MOST_CLIPPED = 0.02
_ROUGH = 0.12  # relative spread within a patch that is none
_UNLIKE = 22.0  # mean distance in CIELAB, white balanced, beyond which it is another thing
_LEAST_PITCH_PX = 8.0


@dataclass(frozen=True, slots=True)
class ChartSight:
    """A chart as it lies in one picture.

    Attributes
    ----------
    homography : ndarray, shape (3, 3)
        From column and row of the patches (0 to 5, 0 to 3; dark skin is 0, 0) to pixels.
    """

    homography: FloatArray

    def project(self, places: FloatArray) -> FloatArray:
        """Pixels of places in columns and rows, shape (..., 2) to (..., 2)."""
        ends = places @ self.homography[:, :2].T + self.homography[:, 2]
        return np.asarray(ends[..., :2] / ends[..., 2:])

    @property
    def middles(self) -> FloatArray:
        """Middles of the patches in pixels, shape (24, 2)."""
        return self.project(_places())


def _places() -> FloatArray:
    rows, columns = np.divmod(np.arange(24), PATCHES[1])
    return np.column_stack([columns, rows]).astype(float)


def find_chart(image: NDArray[np.uint8]) -> ChartSight | None:
    """Find the chart, whichever way it is turned.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        sRGB picture.

    Returns
    -------
    ChartSight or None
        In pixels of `image`; None if there is no chart, or its colours say otherwise.
    """
    factor = max(max(image.shape[:2]) / _SEARCH_PX, 1.0)
    size = (round(image.shape[1] / factor), round(image.shape[0] / factor))
    small = image if factor == 1.0 else cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    if not detector.process(np.ascontiguousarray(small[..., ::-1])):
        return None
    quads = np.asarray(detector.getBestColorChecker().getColorCharts(), dtype=float)
    middles = quads.reshape(24, 4, 2).mean(axis=1)
    middles = (middles + 0.5) * (image.shape[1] / size[0]) - 0.5
    sight = _from_points(_places(), middles)
    return None if sight is None else _right_way_round(image, sight)


def chart_at(image: NDArray[np.uint8], corners: Sequence[tuple[float, float]]) -> ChartSight:
    """Take the user's word on where the chart is.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
    corners : sequence of four (x, y)
        Middles in pixels of the four patches at the chart's corners, in order around it:
        dark skin, bluish green, black, white.

    Raises
    ------
    InputError
        If a corner lies outside the picture, or the four do not go around a chart.
    """
    points = np.asarray(corners, dtype=float)
    height, width = image.shape[:2]
    if points.shape != (4, 2) or not np.all(np.isfinite(points)):
        raise InputError("Give four corners as x,y each: dark skin, bluish green, black, white.")
    if np.any(points < 0) or np.any(points >= [width, height]):
        raise InputError(
            f"A corner of the chart lies outside the picture of {width} x {height} pixels."
        )
    outline = points.astype(np.float32)
    area = float(cv2.contourArea(outline))
    if not cv2.isContourConvex(outline) or area < 15 * _LEAST_PITCH_PX**2:
        raise InputError(
            "The four corners do not go around a chart; give the middles of the patches dark "
            "skin, bluish green, black and white, in this order."
        )
    sight = _from_points(np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 3.0], [0.0, 3.0]]), points)
    if sight is None:
        raise InputError("The four corners of the chart lie in a line; give them anew.")
    return sight


def _from_points(places: FloatArray, points: FloatArray) -> ChartSight | None:
    homography, _ = cv2.findHomography(places, points, 0)
    return None if homography is None else ChartSight(np.asarray(homography, dtype=float))


def _right_way_round(image: NDArray[np.uint8], sight: ChartSight) -> ChartSight | None:
    """Of the chart as found and turned by half, the one whose colours are the chart's."""
    half_turn = np.array([[-1.0, 0.0, 5.0], [0.0, -1.0, 3.0], [0.0, 0.0, 1.0]])
    turned = (sight, ChartSight(sight.homography @ half_turn))
    judged = [(_unlikeness(image, one), one) for one in turned]
    unlike, best = min(judged, key=lambda pair: pair[0])
    return best if unlike < _UNLIKE else None


def _unlikeness(image: NDArray[np.uint8], sight: ChartSight) -> float:
    """Mean distance of white balanced patches from the published colours."""
    linear = np.maximum(_patches(image, sight)[0], 1e-4)
    published = np.maximum(reference_linear(), 1e-4)
    balance = np.exp(np.median(np.log(linear[18:23] / published[18:23]), axis=0))
    apart = lab_from_linear(linear / balance) - lab_from_linear(reference_linear())
    return float(np.linalg.norm(np.clip(apart, -100.0, 100.0), axis=1).mean())


def _patches(
    image: NDArray[np.uint8], sight: ChartSight
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Median linear light, spread and clipped share of each patch's inner square."""
    side = np.linspace(-_INNER, _INNER, 15)
    square = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
    x, y = np.moveaxis(sight.project(_places()[:, None] + square), -1, 0)
    columns = np.clip(np.rint(x), 0, image.shape[1] - 1).astype(int)
    rows = np.clip(np.rint(y), 0, image.shape[0] - 1).astype(int)
    code = image[rows, columns]
    linear = LINEAR_OF_CODE[code]
    middle = np.median(linear, axis=1)
    light = linear.sum(axis=2)
    typical = np.maximum(np.median(light, axis=1, keepdims=True), 0.03)
    spread = np.median(np.abs(light / typical - 1.0), axis=1) * 1.4826
    return middle, spread, (code >= _FULL_CODE).any(axis=2).mean(axis=1)


def read_patches(image: NDArray[np.uint8], sight: ChartSight) -> FloatArray:
    """Read the patches.

    Returns
    -------
    ndarray, shape (24, 3)
        Linear light, decoded as sRGB, row by row from dark skin.

    Raises
    ------
    InputError
        If patches are at full scale, uneven (glare, a shadow, a wrong corner) or too small.
    """
    pitch = np.linalg.norm(np.diff(sight.middles.reshape(*PATCHES, 2), axis=1), axis=2).min()
    if pitch < _LEAST_PITCH_PX:
        raise InputError("The chart is too small in the picture; go nearer, so it fills a third.")
    linear, spread, clipped = _patches(image, sight)
    if np.any(clipped > _MOST_CLIPPED):
        raise InputError(
            f"{int((clipped > _MOST_CLIPPED).sum())} patches of the chart are at full scale; lower "
            "the exposure until the white patch is light grey in the picture, and take it anew."
        )
    if np.any(spread > _ROUGH):
        raise InputError(
            f"{int((spread > _ROUGH).sum())} patches of the chart are not of one colour: glare, a "
            "shadow, or corners that are off; tilt the chart away from the lamp, or give --corners."
        )
    return linear
