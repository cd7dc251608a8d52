"""What is kept of a run while it goes by: the trace, and thumbnails at a bounded number."""

from __future__ import annotations

import threading
from array import array
from collections.abc import Iterable
from dataclasses import astuple

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import OBSERVED, Ellipse, Frame, Observation, Rect, Trace
from huehold.run import Picture

__all__ = [
    "Gallery", "TraceRecorder", "scaled_vessel", "scaled_white", "shrunk", "thumbnail", "unique",
]  # fmt: skip

_STRIP_EVERY_S = 0.4
_MOST_STRIPS = 6000  # more than a screen has columns
_TREMBLING_PX = 0.25
_NOWHERE = (0.0,) * 5


class TraceRecorder:
    """Gathers observations into columns, about 100 bytes each.

    Parameters
    ----------
    scale : float
        Pixels of a frame for one pixel of the source; vessels are kept in the source's.
    """

    def __init__(self, scale: float = 1.0) -> None:
        self._scale = scale
        self._numbers = array("d")  # one row an observation: a single thing that grows
        self._reasons: list[tuple[str, ...]] = []
        self._said: dict[tuple[str, ...], tuple[str, ...]] = {}  # each kept once
        self._vessels = _Vessels()
        self._strips = _Strips()
        self._lock = threading.Lock()  # a page asks for the trace while the run goes on

    def __len__(self) -> int:
        return len(self._reasons)

    def add(self, observation: Observation) -> None:
        """Append one observation.

        Parameters
        ----------
        observation : Observation
            Later in time than the one before it.
        """
        with self._lock:
            number, reasons = len(self._reasons), observation.reasons
            self._numbers.extend([getattr(observation, name) for name in OBSERVED])
            self._reasons.append(self._said.setdefault(reasons, reasons))
            self._vessels.add(number, scaled_vessel(observation.vessel, 1.0 / self._scale))
            self._strips.add(number, observation)

    def trace(self, *, last: bool = False) -> Trace:
        """Return the columns gathered so far.

        Parameters
        ----------
        last : bool
            Hand the numbers over instead of copying them; nothing may be added afterwards.
        """
        take = np.frombuffer if last and self._reasons else np.array
        with self._lock:
            count = len(self._reasons)
            rows = take(self._numbers, float).reshape(count, len(OBSERVED))
            return Trace(
                **dict(zip(OBSERVED, rows.T, strict=True)),
                vessel=self._vessels.column(count),
                reasons=tuple(self._reasons),
                strip=self._strips.column(count),
            )


class _Vessels:
    """Outlines, each kept where it differs from the one kept before by what can be told."""

    def __init__(self) -> None:
        self._last: Ellipse | None = None
        self._from = array("L")
        self._values = array("d")

    def add(self, number: int, vessel: Ellipse | None) -> None:
        """Take the outline of an observation."""
        if self._from and _alike(vessel, self._last):
            return
        self._last = vessel
        self._from.append(number)
        self._values.extend(_NOWHERE if vessel is None else astuple(vessel))

    def column(self, count: int) -> tuple[Ellipse | None, ...]:
        """Return an outline for each of `count` observations."""
        vessels: list[Ellipse | None] = []
        ends = [*self._from[1:], count][: len(self._from)]
        for place, (start, end) in enumerate(zip(self._from, ends, strict=True)):
            values = self._values[5 * place : 5 * place + 5]
            vessel = None if values[2] == 0.0 else Ellipse(*values)
            vessels += [vessel] * (end - start)
        return tuple(vessels)


def _alike(one: Ellipse | None, other: Ellipse | None) -> bool:
    """Whether two outlines are the same within the trembling of the following."""
    if one is None or other is None:
        return one is other
    return one == other or (
        abs(one.x_px - other.x_px) <= _TREMBLING_PX
        and abs(one.y_px - other.y_px) <= _TREMBLING_PX
        and abs(one.semi_major_px - other.semi_major_px) <= _TREMBLING_PX
        and abs(one.semi_minor_px - other.semi_minor_px) <= _TREMBLING_PX
        and abs(one.angle_deg - other.angle_deg) <= _TREMBLING_PX
    )


class _Strips:
    """Lines of pixels for the colour ribbon; when there are too many, every other one goes."""

    def __init__(self) -> None:
        self._last_s = -np.inf
        self._every_s = _STRIP_EVERY_S
        self._kept: list[tuple[int, bytes]] = []

    def add(self, number: int, observation: Observation) -> None:
        """Take the strip of an observation, if the time has come for one."""
        if observation.strip is None or observation.time_s < self._last_s + self._every_s:
            return
        self._last_s = observation.time_s
        self._kept.append((number, observation.strip.tobytes()))
        if len(self._kept) > _MOST_STRIPS:
            self._kept = self._kept[::2]
            self._every_s *= 2.0

    def column(self, count: int) -> tuple[NDArray[np.uint8] | None, ...]:
        """Return a strip or None for each of `count` observations."""
        column: list[NDArray[np.uint8] | None] = [None] * count
        for number, pixels in self._kept:
            column[number] = np.frombuffer(pixels, np.uint8).reshape(-1, 3)
        return tuple(column)


class Gallery:
    """Thumbnails spread evenly over a run of unknown length.

    Parameters
    ----------
    most : int
        How many are kept at most; when there are more, every other one goes.
    width_px : int
        Width of a thumbnail.
    """

    def __init__(self, most: int = 400, width_px: int = 240) -> None:
        self._most = most
        self._width_px = width_px
        self._every_s = 0.5
        self._next_s = -np.inf
        self._pictures: list[Picture] = []

    def add(self, frame: Frame) -> None:
        """Keep a thumbnail of the frame if the time has come for one."""
        if frame.time_s < self._next_s:
            return
        self._next_s = frame.time_s + self._every_s
        self._pictures.append(Picture(frame.time_s, thumbnail(frame.image, self._width_px)))
        if len(self._pictures) > self._most:
            self._pictures = self._pictures[::2]
            self._every_s *= 2

    def pictures(self) -> tuple[Picture, ...]:
        """Return the thumbnails in time order."""
        return tuple(self._pictures)


def scaled_vessel(vessel: Ellipse | None, scale: float) -> Ellipse | None:
    """Return the outline in a picture `scale` times as large."""
    if vessel is None or scale == 1.0:
        return vessel
    return Ellipse(
        vessel.x_px * scale,
        vessel.y_px * scale,
        vessel.semi_major_px * scale,
        vessel.semi_minor_px * scale,
        vessel.angle_deg,
    )


def scaled_white(white: Rect | None, scale: float) -> Rect | None:
    """Return the patch in a picture `scale` times as large."""
    if white is None or scale == 1.0:
        return white
    return Rect(
        white.x_px * scale, white.y_px * scale, white.width_px * scale, white.height_px * scale
    )


def thumbnail(image: NDArray[np.uint8], width_px: int) -> bytes:
    """Return a picture as JPEG bytes, no wider than `width_px`.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        sRGB-encoded red, green, blue.
    width_px : int
        Greatest width.
    """
    small = shrunk(image, width_px)
    _, data = cv2.imencode(".jpg", small[..., ::-1], (cv2.IMWRITE_JPEG_QUALITY, 75))
    return data.tobytes()


def shrunk(image: NDArray[np.uint8], width_px: int) -> NDArray[np.uint8]:
    """Return a picture that is no wider than `width_px`."""
    while image.shape[1] >= 2 * width_px and image.shape[0] >= 2:  # halving is much the quickest
        half = (image.shape[1] // 2, image.shape[0] // 2)
        image = np.asarray(cv2.resize(image, half, interpolation=cv2.INTER_AREA), np.uint8)
    height, width = image.shape[:2]
    scale = min(1.0, width_px / width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def unique(sentences: Iterable[str]) -> tuple[str, ...]:
    """Return the sentences, each once, in the order they first came."""
    return tuple(dict.fromkeys(sentences))
