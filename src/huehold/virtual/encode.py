"""Write pictures to a recording with a real codec, real stamps and real tags."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import av
import cv2
import numpy as np
from av.video.reformatter import ColorPrimaries, ColorRange, Colorspace, ColorTrc
from numpy.typing import NDArray

from huehold.errors import InputError, UsageError
from huehold.virtual.presets_model import Recording

__all__ = ["RecordingWriter", "recording_suffix"]

Picture = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True)
class _Codec:
    encoder: str
    suffixes: tuple[str, ...]
    options: dict[str, str]


# One thread and fixed options everywhere, so that the same pictures give the same bytes.
_CODECS: dict[str, _Codec] = {
    "h264": _Codec(
        "libx264", (".mp4", ".mkv", ".mov"),
        # With its macroblock tree on, x264 gave three different files in 150 runs.
        {"preset": "veryfast", "x264-params": "mbtree=0"},
    ),
    "hevc": _Codec("libx265", (".mp4", ".mkv", ".mov"), {"preset": "ultrafast"}),
    "vp9": _Codec(
        "libvpx-vp9", (".webm", ".mkv", ".mp4"),
        {"deadline": "realtime", "cpu-used": "8", "b": "0"},
    ),
    "av1": _Codec("libsvtav1", (".mp4", ".mkv", ".webm"), {"preset": "11"}),
    "mjpeg": _Codec("mjpeg", (".avi", ".mkv", ".mov"), {}),
}  # fmt: skip
_UNSPECIFIED = 2  # matrix, ITU-T H.273
_X265 = "log-level=none:pools=none:frame-threads=1"


def recording_suffix(recording: Recording) -> str:
    """File name ending that suits the codec, e.g. ``".mp4"``."""
    return _CODECS[recording.codec].suffixes[0]


class RecordingWriter:
    """A recording being written; it appears under its name when it is closed without error.

    Parameters
    ----------
    path : Path
        Its ending chooses the container.
    recording : Recording
        Codec, tags, size and rotation.

    Raises
    ------
    UsageError
        If the container cannot hold the codec.
    InputError
        If the file cannot be written.
    """

    def __init__(self, path: Path, recording: Recording) -> None:
        codec = _CODECS[recording.codec]
        if path.suffix.lower() not in codec.suffixes:
            raise UsageError(
                f"{path.name} cannot hold {recording.codec}; give it one of the endings "
                f"{', '.join(codec.suffixes)}."
            )
        if not path.parent.is_dir():
            raise InputError(f"{path} cannot be written: there is no folder {path.parent}.")
        self._path, self._recording, self._codec = path, recording, codec
        self._partial = path.with_name(f"{path.stem}.{os.getpid()}.partial{path.suffix}")
        try:
            self._container = av.open(
                str(self._partial), "w", container_options={"fflags": "+bitexact"}
            )
        except OSError as problem:
            raise InputError(
                f"{path} cannot be written ({problem.strerror}); choose another place."
            ) from None
        self._stream: Any = None

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None and self._stream is not None:
            with _quiet_av1():
                self._container.mux(self._stream.encode(None))
        self._container.close()
        if kind is None:
            self._partial.replace(self._path)
        else:
            self._partial.unlink(missing_ok=True)

    def write(self, time_s: float, picture: Picture) -> None:
        """Add a picture.

        Parameters
        ----------
        time_s : float
            Its presentation time; later than the one before.
        picture : ndarray, shape (height, width, 3)
            Upright; uint8, or uint16 for ten bits.
        """
        stored = self._stored(picture)
        if self._stream is None:
            self._stream = self._add_stream(stored.shape[1], stored.shape[0])
        frame = self._coded(stored)
        frame.time_base = self._time_base
        frame.pts = round(time_s / self._time_base)
        with _quiet_av1():
            self._container.mux(self._stream.encode(frame))

    @property
    def _time_base(self) -> Fraction:
        # AVI has no stamps: its clock ticks once a frame, and gaps are ticks without one.
        if self._path.suffix.lower() == ".avi":
            return 1 / Fraction(self._recording.rate_hz).limit_denominator(1000)
        return Fraction(1, 90_000)

    def _stored(self, picture: NDArray[Any]) -> NDArray[Any]:
        """Enlarge and turn the upright picture as the file holds it."""
        recording = self._recording
        if recording.enlarge != 1.0 or recording.odd:
            height, width = (
                round(n * recording.enlarge / 2) * 2 + int(recording.odd) for n in picture.shape[:2]
            )
            picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_CUBIC)
        # The stored turn undoes the one that the metadata tells players to make.
        return np.ascontiguousarray(np.rot90(picture, -(recording.rotation_deg // 90)))

    def _add_stream(self, width: int, height: int) -> Any:
        recording = self._recording
        rate = Fraction(recording.rate_hz).limit_denominator(1000)
        options = {**self._codec.options, **self._quality()}
        stream: Any = self._container.add_stream(self._codec.encoder, rate=rate, options=options)
        stream.width, stream.height = width, height
        stream.pix_fmt = self._pixel_format
        stream.time_base = self._time_base
        context = stream.codec_context
        context.time_base = self._time_base
        context.thread_count = 1
        if recording.codec == "hevc" and self._path.suffix.lower() != ".mkv":
            context.codec_tag = "hvc1"
        self._tag(context)
        if recording.rotation_deg:
            stream.set_display_rotation(recording.rotation_deg)
        return stream

    def _quality(self) -> dict[str, str]:
        recording = self._recording
        if recording.codec == "mjpeg":
            scale = str(max(1, min(31, recording.quality // 3)))
            return {"qmin": scale, "qmax": scale}
        quality = {"crf": str(recording.quality)}
        if recording.codec == "hevc":
            quality["x265-params"] = _X265
        if recording.codec == "av1":
            quality["svtav1-params"] = "lp=1"
        return quality

    @property
    def _pixel_format(self) -> str:
        recording = self._recording
        if recording.codec == "mjpeg":
            return "yuvj420p"
        # These encoders take odd sizes only without subsampled colour.
        layout = "444" if recording.odd and recording.codec in ("h264", "hevc") else "420"
        return f"yuv{layout}p" + ("10le" if recording.bits == 10 else "")

    @property
    def _matrix(self) -> Colorspace:
        return Colorspace.ITU709 if self._recording.matrix == "bt709" else Colorspace.ITU601

    def _tag(self, context: Any) -> None:
        recording = self._recording
        context.color_range = ColorRange.JPEG if recording.full_range else ColorRange.MPEG
        if not recording.tagged:
            if not recording.full_range:
                context.color_range = ColorRange.UNSPECIFIED
            return
        context.colorspace = self._matrix
        context.color_primaries = ColorPrimaries.BT709
        context.color_trc = ColorTrc.BT709

    def _coded(self, stored: NDArray[Any]) -> av.VideoFrame:
        """Convert to the coded format with this recording's matrix and range."""
        packed = "rgb24" if stored.dtype == np.uint8 else "rgb48le"
        frame = av.VideoFrame.from_ndarray(stored, format=packed)
        coded = frame.reformat(
            format=self._pixel_format,
            src_color_range=ColorRange.JPEG,
            dst_colorspace=self._matrix,
            dst_color_range=ColorRange.JPEG if self._recording.full_range else ColorRange.MPEG,
        )
        if not self._recording.tagged:
            coded.colorspace = _UNSPECIFIED
            coded.color_range = (
                ColorRange.JPEG if self._recording.full_range else ColorRange.UNSPECIFIED
            )
        return coded


@contextmanager
def _quiet_av1() -> Iterator[None]:
    """Keep the AV1 encoder's banner from the terminal; errors still come through."""
    before = os.environ.get("SVT_LOG")
    os.environ["SVT_LOG"] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ["SVT_LOG"]
        else:
            os.environ["SVT_LOG"] = before
