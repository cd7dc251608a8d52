"""The camera's calibration file: a correction for one device under one light."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, model_validator

from huehold.calibration.card_guide import CardReading
from huehold.calibration.chart import CHART, CameraCorrection, ChartFit
from huehold.calibration.model import Calibration, remind_date
from huehold.errors import InputError

__all__ = [
    "REMIND_DAYS",
    "CameraCalibration",
    "CameraGate",
    "calibration_by_card",
    "calibration_by_chart",
]

REMIND_DAYS = 90
"""Days after which one is reminded: lamps age, and cameras are updated."""

_OTHER_LIGHT = 0.20  # log ratio between channels of the white that tells another light or balance

Row = Annotated[tuple[float, ...], Field(min_length=3, max_length=6)]


class CameraCalibration(Calibration):
    """A correction of one camera's colours under one light.

    ``tone`` is the power of the camera's tone curve against sRGB, straightened first.
    ``matrix`` maps linear red, green, blue against white, and in the second degree their
    pairwise geometric means, to those of sRGB. ``white`` is the linear light of the chart's
    white patch, or of the bench card: its balance of channels tells the light. ``before``,
    ``after`` and ``cross_validated`` are mean differences from the published patches in
    CIEDE2000; a bench card, which has no colours, gives tone and white alone and none of them.
    """

    kind: Literal["camera"] = "camera"
    tone: float = Field(default=1.0, ge=0.4, le=2.5)
    matrix: tuple[Row, Row, Row]
    white: tuple[float, float, float]
    before: float | None = Field(default=None, ge=0)
    after: float | None = Field(default=None, ge=0)
    cross_validated: float | None = Field(default=None, ge=0)
    chart: str

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if len({len(row) for row in self.matrix}) != 1 or len(self.matrix[0]) not in (3, 6):
            raise ValueError("matrix must be 3 rows of 3, or 3 rows of 6 numbers")
        if any(abs(sum(row) - 1.0) > 1e-3 for row in self.matrix):
            raise ValueError("the rows of matrix must each sum to 1, for white to stay white")
        if min(self.white) <= 0.0:
            raise ValueError("white must be greater than 0 in all three channels")
        return self

    def summary(self) -> str:
        """Say what the correction brings."""
        if self.before is None or self.after is None or self.cross_validated is None:
            return f"tone straightened from a power of {self.tone:.2f}, by the {self.chart}"
        return (
            f"colours {self.before:.1f} off before, {self.after:.1f} after (CIEDE2000, mean of 24 "
            f"patches; {self.cross_validated:.1f} on patches left out)"
        )

    def correction(self) -> CameraCorrection:
        """Return the map that the observer applies."""
        return CameraCorrection(np.array(self.matrix), self.tone)

    def check_light(self, white: ArrayLike) -> None:
        """Refuse the calibration for frames whose white it was not made under.

        Parameters
        ----------
        white : array_like, shape (3,)
            Linear red, green, blue of white in the frames.

        Raises
        ------
        InputError
            If the balance of the channels is another one.
        """
        here = _balance(np.asarray(white, dtype=float))
        off = float(np.abs(here - _balance(np.array(self.white))).max())
        if off > _OTHER_LIGHT:
            raise InputError(
                f"The calibration {self.ref} does not fit these frames: their white is "
                f"{100.0 * np.expm1(off):.0f} % off in the balance of its colours, so the light or "
                "the camera's white balance is another one. Calibrate under this light, or run "
                "without it."
            )

    def check_device(self, device: str) -> None:
        """Refuse the calibration for another camera; a side that names none is not judged.

        Names are compared by letters and digits alone, and one may be a part of the other.

        Raises
        ------
        InputError
            If both devices are known and differ.
        """
        ours, theirs = _plain_name(self.device), _plain_name(device)
        if ours and theirs and ours not in theirs and theirs not in ours:
            raise InputError(
                f"The calibration {self.ref} is of the camera '{self.device}', these frames are "
                f"from '{device}'; calibrate this camera, or run without it."
            )


class CameraGate:
    """A run's camera calibration: applied if it fits device and light of the frames, else not.

    What the observer takes as ``correction``.

    Parameters
    ----------
    calibration : CameraCalibration
    device : str
        The camera of the frames, if it is known.

    Attributes
    ----------
    refused : str
        Why it is not applied, a sentence; empty if it is, or if no frame was seen yet.
    """

    def __init__(self, calibration: CameraCalibration, device: str = "") -> None:
        self.calibration = calibration
        self.refused = ""
        try:
            calibration.check_device(device)
        except InputError as error:
            self.refused = str(error)
        self._correction: CameraCorrection | None = None

    def __call__(
        self, ratio: NDArray[np.float64], white: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Correct linear light against white, shape (3,), once the white was found to fit."""
        if self._correction is None and not self.refused:
            try:
                self.calibration.check_light(white)
                self._correction = self.calibration.correction()
            except InputError as error:
                self.refused = str(error)
        return ratio if self._correction is None else self._correction(ratio)


def _plain_name(device: str) -> str:
    return "".join(c for c in device.casefold() if c.isalnum())


def _balance(white: NDArray[np.float64]) -> NDArray[np.float64]:
    levels = np.log(np.maximum(white, 1e-6))
    return np.asarray(levels - levels.mean())


def calibration_by_chart(
    fit: ChartFit, *, name: str, made: dt.date, device: str = "", light: str = ""
) -> CameraCalibration:
    """Put a fit into the form that is kept.

    Parameters
    ----------
    fit : ChartFit
    name : str
        Lower case with hyphens.
    made : date
    device, light : str
        The camera and the light, as the user calls them.
    """
    red, green, blue = (tuple(float(v) for v in row) for row in fit.correction.matrix)
    white = tuple(float(v) for v in fit.white)
    return CameraCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS), device=device,
        light=light, tone=fit.correction.tone, matrix=(red, green, blue),
        white=(white[0], white[1], white[2]), before=float(fit.before.mean()),
        after=float(fit.after.mean()), cross_validated=float(fit.left_out.mean()), chart=CHART,
    )  # fmt: skip


def calibration_by_card(
    reading: CardReading, *, name: str, made: dt.date, device: str = "", light: str = ""
) -> CameraCalibration:
    """Make a calibration of tone and white from a picture of the bench card.

    Raises
    ------
    InputError
        If the card does not tell the tone, or the camera keeps to sRGB as it is.
    """
    if reading.light is None or reading.tone is None:
        raise InputError(
            "The bench card is seen, but its grey ladders do not tell the camera's tone: they are "
            "covered, shaded or so near that single lines show; take it from farther, whole."
        )
    tone = reading.tone
    if not tone.off:
        raise InputError(
            f"By the bench card the camera keeps to the sRGB curve (power {tone.exponent:.2f} +/- "
            f"{tone.exponent_sd:.2f}); there is nothing to correct. Colours take the chart of 24 "
            "patches."
        )
    white = tuple(float(v) for v in reading.light.white)
    return CameraCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS), device=device,
        light=light, tone=tone.exponent, white=(white[0], white[1], white[2]),
        matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), chart="bench card",
    )  # fmt: skip
