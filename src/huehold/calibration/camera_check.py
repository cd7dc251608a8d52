"""Whether a camera is fit for watching colours, from a short clip of a bench at rest.

Five things are looked at: light at the ends of the scale, exposure and white balance that
wander, flicker of lamps, the rate of the frames, and focus. Each is told with what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Frame
from huehold.errors import InputError
from huehold.vision.colour import LINEAR_OF_CODE_32

__all__ = ["CameraFinding", "check_camera"]

FloatArray = NDArray[np.float64]
State = Literal["good", "fair", "bad", "unknown"]

LEAST_S, LEAST_FRAMES = 2.0, 20
_CELLS = (48, 36)
_DARK_CODE = 70.0
_EDGE_CODES = 40.0  # contrast from which an edge tells of focus


@dataclass(frozen=True, slots=True)
class CameraFinding:
    """One thing about a camera.

    Attributes
    ----------
    what : str
        ``"light"``, ``"exposure"``, ``"white balance"``, ``"flicker"``, ``"frame rate"`` or
        ``"focus"``.
    state : {"good", "fair", "bad", "unknown"}
        Whether it is fit for use.
    value : float or None
        The figure behind it, in `unit`; None if it could not be measured.
    unit : str
    advice : str
        What was seen and, unless it is good, what to do; one or two sentences.
    """

    what: str
    state: State
    value: float | None
    unit: str
    advice: str


def check_camera(frames: Sequence[Frame]) -> tuple[CameraFinding, ...]:
    """Check a camera by a clip of a bench at rest.

    Parameters
    ----------
    frames : sequence of Frame
        At least 2 s and 20 frames, in time order, every frame the camera gave.

    Raises
    ------
    InputError
        If the clip is too short.
    """
    length = frames[-1].time_s - frames[0].time_s if frames else 0.0
    if length < LEAST_S or len(frames) < LEAST_FRAMES:
        raise InputError(
            f"The clip has {len(frames)} frames in {length:.1f} s; the camera is judged on at "
            f"least {LEAST_FRAMES} frames in {LEAST_S:g} s."
        )
    cells = np.stack([_cells(frame.image) for frame in frames])
    time_s = np.array([frame.time_s for frame in frames])
    return (
        _light(frames),
        *_steadiness(cells),
        _flicker(cells),
        _rate(time_s),
        _focus(frames[len(frames) // 2].image),
    )


def _cells(image: NDArray[np.uint8]) -> NDArray[np.float32]:
    small = cv2.resize(image, _CELLS, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.LUT(small, LINEAR_OF_CODE_32), dtype=np.float32)


def _graded(value: float, fair: float, bad: float) -> State:
    return "good" if value < fair else "fair" if value < bad else "bad"


def _light(frames: Sequence[Frame]) -> CameraFinding:
    """Share of pixels at full scale, and whether the picture is too dark."""
    some = [frame.image[::4, ::4] for frame in frames[:: max(1, len(frames) // 8)]]
    clipped = 100.0 * float(np.median([(i >= 254).any(axis=2).mean() for i in some]))
    brightest = float(np.median([np.percentile(i.max(axis=2), 98) for i in some]))
    if brightest < _DARK_CODE:
        return CameraFinding(
            "light", "bad", clipped, "%", f"The picture is dark: white is at {brightest:.0f} of "
            "255. Add a lamp or raise the exposure.",
        )  # fmt: skip
    state = _graded(clipped, 1.0, 6.0)
    words = f"{clipped:.1f} % of the picture is at full scale."
    cure = " Lower the exposure until white paper is light grey; turn the lamp so that nothing \
mirrors it."
    return CameraFinding("light", state, clipped, "%", words + ("" if state == "good" else cure))


def _common(cells: NDArray[np.float32]) -> FloatArray:
    """Log gain of each frame against the middle one, per channel, shape (n, 3).

    The median over cells: something that moves in a part of the view does not count.
    """
    usable = (cells.min(axis=3) > 0.01) & (cells.max(axis=3) < 0.9)
    steady = usable.mean(axis=0) > 0.95
    if steady.sum() < 60:
        return np.full((len(cells), 3), np.nan)
    looks = np.log(np.maximum(cells[:, steady], 1e-3))
    return np.asarray(np.median(looks - np.median(looks, axis=0), axis=1), dtype=float)


def _steadiness(cells: NDArray[np.float32]) -> tuple[CameraFinding, CameraFinding]:
    """Exposure and white balance over the clip, flicker averaged out."""
    gain = _common(cells)
    if not np.all(np.isfinite(gain)):
        words = "Too little of the view is well lit to tell; point the camera at the bench."
        return (
            CameraFinding("exposure", "unknown", None, "%", words),
            CameraFinding("white balance", "unknown", None, "%", words),
        )
    width = max(3, len(gain) // 8)
    slow = np.stack(
        [np.convolve(g, np.full(width, 1.0 / width), mode="valid") for g in gain.T], axis=1
    )
    exposure = 100.0 * float(np.ptp(slow.mean(axis=1)))
    balance = 100.0 * float(np.ptp(slow - slow.mean(axis=1, keepdims=True), axis=0).max())
    return (
        _wander("exposure", exposure, "Exposure"),
        _wander("white balance", balance, "White balance"),
    )


def _wander(what: str, percent: float, name: str) -> CameraFinding:
    state = _graded(percent, 2.0, 8.0)
    if state == "good":
        words = (
            f"{name} kept still within {percent:.1f} %. Hold white paper half over the view to "
            "see whether it is truly locked."
        )
    else:
        words = (
            f"{name} wandered by {percent:.1f} %. Lock it in the camera's own settings (on a phone "
            "press long on the picture), or keep white paper or the bench card in view."
        )
    return CameraFinding(what, state, percent, "%", words)


def _flicker(cells: NDArray[np.float32]) -> CameraFinding:
    """Change from frame to frame, of the whole picture or of its rows."""
    steady = ((cells.min(axis=3) > 0.01) & (cells.max(axis=3) < 0.9)).all(axis=0)
    filled = steady.sum(axis=1) >= 6
    if filled.sum() < 6:
        return CameraFinding("flicker", "unknown", None, "%", "Too little of the view is well lit.")
    looks = np.log(np.maximum(cells.mean(axis=3), 1e-3))
    still = np.where(steady, looks - np.median(looks, axis=0), np.nan)
    rows = np.nanmedian(still[:, filled], axis=2)
    jump = np.diff(rows, n=2, axis=0) / np.sqrt(6.0)  # slow drift falls out
    percent = 100.0 * float(1.4826 * np.median(np.abs(jump)))
    state = _graded(percent, 1.0, 4.0)
    words = f"The light flickers by {percent:.1f} % from frame to frame."
    cure = " Set the exposure time to 1/50 or 1/100 s where mains are 50 Hz, to 1/60 or 1/120 s \
where they are 60 Hz, or use daylight or an undimmed lamp."
    return CameraFinding("flicker", state, percent, "%", words + ("" if state == "good" else cure))


def _rate(time_s: FloatArray) -> CameraFinding:
    steps = np.diff(time_s)
    rate = float(len(steps) / (time_s[-1] - time_s[0]))
    gap = float(steps.max())
    state: State = (
        "bad" if rate < 5.0 or gap > 1.0 else "fair" if rate < 12 or gap > 0.3 else "good"
    )
    words = f"{rate:.1f} frames a second, the longest pause {gap:.2f} s."
    cure = " Add light (dim light makes cameras slow), choose a smaller picture, close other \
programs, or use a cable in place of the radio link."
    return CameraFinding(
        "frame rate", state, rate, "1/s", words + ("" if state == "good" else cure)
    )


def _focus(image: NDArray[np.uint8]) -> CameraFinding:
    """Width of the sharpest edges: their contrast over their steepest slope."""
    grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    grey = cv2.medianBlur(grey, 3)
    level = grey.astype(np.float32)
    slope = np.hypot(cv2.Sobel(level, -1, 1, 0), cv2.Sobel(level, -1, 0, 1)) / 8.0
    around = np.ones((15, 15), np.uint8)
    contrast = (cv2.dilate(grey, around).astype(int) - cv2.erode(grey, around))[8:-8, 8:-8]
    steepest = np.asarray(cv2.dilate(slope, np.ones((7, 7), np.uint8)))[8:-8, 8:-8]
    edges = contrast > _EDGE_CODES
    if edges.sum() < 200:
        return CameraFinding(
            "focus", "unknown", None, "px", "No edges are in view to judge the focus by; put the "
            "bench card or print under the camera.",
        )  # fmt: skip
    width = float(np.percentile(contrast[edges] / np.maximum(steepest[edges], 0.5), 15))
    state = _graded(width / max(1.0, max(image.shape[:2]) / 1280.0), 3.2, 6.0)
    words = f"The sharpest edges are {width:.1f} pixels wide."
    cure = " Tap on the cup to focus, clean the lens, or move farther away: near things stay \
blurred."
    return CameraFinding("focus", state, width, "px", words + ("" if state == "good" else cure))
