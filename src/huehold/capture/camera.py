"""Webcams through OpenCV: which there are, opening one, and locking what the driver lets lock."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Must stand before OpenCV is loaded: it cuts opening a camera on Windows from half a minute.
os.environ.setdefault("OPENCV_VIDEOIO_MSMF_ENABLE_HW_TRANSFORMS", "0")

import cv2

from huehold.core import SourceInfo
from huehold.errors import CameraLostError, UsageError

__all__ = ["BACKENDS", "CameraDevice", "CameraFound", "LockReport", "camera_source", "list_cameras"]

BACKENDS: dict[str, int] = {
    "auto": cv2.CAP_ANY,
    "v4l2": cv2.CAP_V4L2,
    "dshow": cv2.CAP_DSHOW,
    "msmf": cv2.CAP_MSMF,
    "avfoundation": cv2.CAP_AVFOUNDATION,
}
"""Names for the operating systems' ways to a camera."""

_AUTO_EXPOSURE_OFF = {"v4l2": (1.0, 0.25), "dshow": (0.0, 0.25), "msmf": (0.0, 0.25)}


@dataclass(frozen=True, slots=True)
class LockReport:
    """What the driver said when it was asked to keep its settings.

    Attributes
    ----------
    exposure, white_balance, focus : str
        ``"locked"`` (the driver says so), ``"refused"`` or ``"unknown"``. Only the frames
        can tell whether it is true.
    """

    exposure: str
    white_balance: str
    focus: str

    def by_name(self) -> dict[str, str]:
        """Return it by the words that people read."""
        return {name.replace("_", " "): said for name, said in asdict(self).items()}


@dataclass(frozen=True, slots=True)
class CameraFound:
    """A camera that opened, with the picture it sees."""

    index: int
    backend: str
    width_px: int
    height_px: int
    picture: NDArray[np.uint8]


def default_backend() -> str:
    """Return the backend this operating system is served best by."""
    if sys.platform.startswith("linux"):
        return "v4l2"
    return {"win32": "msmf", "darwin": "avfoundation"}.get(sys.platform, "auto")


class CameraDevice:
    """An open webcam.

    Parameters
    ----------
    index : int
        Number of the camera.
    backend : str
        A key of `BACKENDS`.
    width_px, height_px : int
        Size asked for; the driver may give another.
    rate_hz : float
        Rate asked for.
    capture : callable, optional
        Opens the capture; replaced in tests.

    Raises
    ------
    CameraLostError
        If the camera cannot be opened or gives no picture.
    """

    def __init__(
        self,
        index: int,
        backend: str = "auto",
        *,
        width_px: int = 1280,
        height_px: int = 720,
        rate_hz: float = 30.0,
        capture: Callable[[int, int], Any] = cv2.VideoCapture,
    ) -> None:
        self._name = f"camera {index}"
        self._backend = backend
        self._capture = capture(index, BACKENDS[backend])
        if not self._capture.isOpened():
            self._capture.release()
            raise CameraLostError(_why_not(index))
        self._capture.set(cv2.CAP_PROP_FRAME_WIDTH, width_px)
        self._capture.set(cv2.CAP_PROP_FRAME_HEIGHT, height_px)
        self._capture.set(cv2.CAP_PROP_FPS, rate_hz)
        self._capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)

    def read(self) -> NDArray[np.uint8] | None:
        """Wait for the next picture; None if the camera gave none."""
        good, image = self._capture.read()
        if not good or image is None or image.ndim != 3:
            return None
        rgb: NDArray[np.uint8] = cv2.cvtColor(image, cv2.COLOR_BGR2RGB)
        return rgb

    def close(self) -> None:
        """Let go of the camera."""
        self._capture.release()

    def lock(self) -> LockReport:
        """Ask the driver to keep exposure, white balance and focus as they are now."""
        return LockReport(self._lock_exposure(), self._lock_white(), self._lock_focus())

    def _lock_exposure(self) -> str:
        for value in _AUTO_EXPOSURE_OFF.get(self._backend, ()):
            if self._set(cv2.CAP_PROP_AUTO_EXPOSURE, value):
                return "locked"
        return "refused" if self._backend in _AUTO_EXPOSURE_OFF else "unknown"

    def _lock_white(self) -> str:
        return "locked" if self._set(cv2.CAP_PROP_AUTO_WB, 0.0) else "refused"

    def _lock_focus(self) -> str:
        return "locked" if self._set(cv2.CAP_PROP_AUTOFOCUS, 0.0) else "refused"

    def _set(self, prop: int, value: float) -> bool:
        return bool(self._capture.set(prop, value)) and abs(self._capture.get(prop) - value) < 1e-3


def _why_not(index: int) -> str:
    """Say why a camera does not open, as far as the system tells."""
    if not sys.platform.startswith("linux"):
        return (
            f"Camera {index} cannot be opened; it is missing, held by another program, or its use "
            "is not permitted: plug it in, close what uses it, or allow cameras in the system's "
            "privacy settings. `huehold watch --list-cameras` shows what is there."
        )
    device = Path(f"/dev/video{index}")
    if not device.exists():
        return (
            f"Camera {index} cannot be opened: there is no {device}. Plug it in; `huehold watch "
            "--list-cameras` shows what is there."
        )
    if not os.access(device, os.R_OK | os.W_OK):
        return (
            f"Camera {index} cannot be opened: its use is not permitted. Join the group of "
            f"{device} (`sudo usermod -aG video $USER`, then log in anew)."
        )
    return (
        f"Camera {index} cannot be opened: it is held by another program. Close that one, or name "
        "another camera."
    )


def list_cameras(most: int = 8, backend: str | None = None) -> tuple[CameraFound, ...]:
    """Open each camera in turn and return those that give a picture.

    Parameters
    ----------
    most : int
        Indices from 0 to most - 1 are tried.
    backend : str, optional
        A key of `BACKENDS`; the system's own if not given.
    """
    name = backend or default_backend()
    previous = cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        found = (_look(index, name) for index in range(most))
        return tuple(camera for camera in found if camera is not None)
    finally:
        cv2.utils.logging.setLogLevel(previous)


def _look(index: int, backend: str) -> CameraFound | None:
    try:
        device = CameraDevice(index, backend)
    except CameraLostError:
        return None
    try:
        pictures = [device.read() for _ in range(5)]  # the first ones are often black
        picture = pictures[-1]
        if picture is None:
            return None
        height, width = picture.shape[:2]
        return CameraFound(index, backend, width, height, picture)
    finally:
        device.close()


def camera_source(name: str) -> tuple[int, SourceInfo]:
    """Return the index that a name like ``0`` or ``camera 0`` means, with its source.

    Raises
    ------
    UsageError
        If the name is no camera number.
    """
    text = name.removeprefix("camera").strip()
    if not text.isdigit():
        raise UsageError(
            f"{name!r} is no camera number; `huehold watch --list-cameras` shows them."
        )
    return int(text), SourceInfo(f"camera {int(text)}", 0, 0, detail=_device(int(text)))


def _device(index: int, folder: Path = Path("/sys/class/video4linux")) -> dict[str, str]:
    """Return what Linux calls the camera; other systems do not tell."""
    try:
        return {"device": (folder / f"video{index}" / "name").read_text("utf-8").strip()[:80]}
    except (OSError, UnicodeDecodeError):
        return {}
