"""Frames to a video file: the record of a live run, or pictures with what was seen in them."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path
from typing import Any, Self

import av
import numpy as np
from numpy.typing import NDArray

from huehold.core import Frame
from huehold.errors import InputError, UsageError

__all__ = ["FrameWriter"]

_TICKS_PER_S = 1000
_SUFFIXES = (".mkv", ".mp4")


class FrameWriter:
    """Writes frames with their own time stamps as H.264, tagged BT.709, limited range.

    Parameters
    ----------
    path : path
        ``.mkv`` stays playable if the program is killed; ``.mp4`` must be closed properly.
    crf : int
        Quality, 0 to 51; lower is better and larger.
    most_bytes : int or None
        Writing stops for good when the file has reached this size.
    live : bool
        Every frame goes to the file at once, so that a killed program loses a second at most;
        costs some size.

    Raises
    ------
    UsageError
        If the suffix is neither of the two.
    InputError
        If the file cannot be written.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        crf: int = 20,
        most_bytes: int | None = None,
        live: bool = False,
    ) -> None:
        self.path = Path(path)
        if self.path.suffix.lower() not in _SUFFIXES:
            raise UsageError(f"{self.path} must end in .mkv or .mp4 to be written as a video.")
        self._coding = {"crf": str(crf), "preset": "veryfast"}
        self._coding |= {"tune": "zerolatency"} if live else {}
        writing = {"flush_packets": "1", "cluster_time_limit": "500"} if live else {}
        self._most_bytes = most_bytes
        self._first_s: float | None = None
        self._last_tick = -1
        self._stream: Any = None
        self.full = False
        try:
            self._container: Any = av.open(str(self.path), "w", container_options=writing)
        except (OSError, av.error.FFmpegError) as error:
            raise InputError(f"{self.path} cannot be written: {_reason(error)}.") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def write(self, frame: Frame) -> None:
        """Append a frame; one that is not later than the one before is left out."""
        if self.full:
            return
        if self._first_s is None:
            self._first_s = frame.time_s
        tick = round((frame.time_s - self._first_s) * _TICKS_PER_S)
        if tick <= self._last_tick:
            return
        self._last_tick = tick
        picture = av.VideoFrame.from_ndarray(_even(frame.image), format="rgb24")
        picture = picture.reformat(format="yuv420p", dst_colorspace="ITU709")
        picture.pts, picture.time_base = tick, Fraction(1, _TICKS_PER_S)
        self._encode(picture, frame.image.shape)

    def _encode(self, picture: Any, shape: tuple[int, ...]) -> None:
        try:
            if self._stream is None:
                self._stream = self._new_stream(shape)
            self._container.mux(self._stream.encode(picture))
            self.full = self._most_bytes is not None and self._written() > self._most_bytes
        except (OSError, av.error.FFmpegError) as error:
            raise InputError(f"{self.path} cannot be written: {_reason(error)}.") from error

    def _written(self) -> int:
        # The file is made with the first packet, which the encoder holds back for a while.
        return self.path.stat().st_size if self.path.exists() else 0

    def _new_stream(self, shape: tuple[int, ...]) -> Any:
        stream = self._container.add_stream("libx264", rate=30)
        stream.height, stream.width = shape[0] & ~1, shape[1] & ~1
        stream.pix_fmt = "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, _TICKS_PER_S)
        stream.options = self._coding
        context = stream.codec_context
        context.colorspace, context.color_primaries, context.color_trc = 1, 1, 1
        context.color_range = 1
        context.gop_size = 30
        return stream

    def close(self) -> None:
        """Write what the encoder still holds and close the file."""
        try:
            if self._stream is not None:
                self._container.mux(self._stream.encode(None))
            self._container.close()
        except (OSError, av.error.FFmpegError) as error:
            raise InputError(f"{self.path} cannot be written: {_reason(error)}.") from error


def _even(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.ascontiguousarray(image[: image.shape[0] & ~1, : image.shape[1] & ~1])


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
