"""Read a recording in two steps: key frames first, then chosen stretches in full.

Key frames can be decoded alone, at a small part of the cost of all frames. What they show
decides which stretches are worth a full look. A stretch gives exactly the frames, with
exactly the times, that a reading from beginning to end would give there.
"""

from __future__ import annotations

import math
import os
from collections.abc import Generator, Iterator
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any, Self

from av.error import FFmpegError
from av.video.frame import PictureType

from huehold.capture.colour import MatrixChoice
from huehold.capture.opening import open_video
from huehold.capture.packets import PacketReader
from huehold.capture.prefetch import Prefetch
from huehold.capture.probing import Gate, Layout, Look, ProbePlan, layout_of
from huehold.capture.recording import open_recording
from huehold.capture.source import open_source
from huehold.capture.stamps import Thinner
from huehold.core import Frame, SourceInfo

__all__ = ["KeyedRecording"]

_SAME_S = 1e-6
_STEPS_BACK_S = (0.0, 2.0, 10.0, 60.0)


class KeyedRecording:
    """A recording that can be read by key frames and by stretches.

    Parameters
    ----------
    path : str or path-like
    rate_hz, matrix, longest_px
        As for `huehold.capture.recording.open_recording`.

    Attributes
    ----------
    info : SourceInfo
    scale : float
        Delivered pixels per recorded pixel.
    warnings : list of str
    exact : bool
        Whether stretches are found by seeking. Otherwise (AVI with reordered pictures, no
        seeking in the container) they are cut out of a full reading, with the same result.

    Raises
    ------
    InputError
        If the file cannot be read.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        rate_hz: float = 12.0,
        matrix: MatrixChoice = "auto",
        longest_px: int = 1280,
    ) -> None:
        self._how: dict[str, Any] = {
            "rate_hz": rate_hz, "matrix": matrix, "longest_px": longest_px,
        }  # fmt: skip
        self._rate_hz = rate_hz
        self._ahead: Prefetch[Frame] | None = None
        self._source = open_source(Path(path), matrix, longest_px)
        self.info: SourceInfo = self._source.info
        self.scale = self._source.scale
        self.warnings: list[str] = list(self._source.warnings)
        self._size_bytes = self._source.path.stat().st_size
        self._origin = self._source.origin or Fraction(0)
        self.exact = self._source.origin is not None and self._can_seek(0.0)

    def layout(self) -> Layout:
        """Read what the packets say, without decoding."""
        container, stream = open_video(self._source.path)
        try:
            return layout_of(_packets(container, stream), stream.time_base, self._origin)
        finally:
            container.close()

    def looks(self, plan: ProbePlan) -> Generator[Look, None, None]:
        """Single pictures at the moments of a plan; little else is decoded.

        Parameters
        ----------
        plan : ProbePlan
            Made from `layout`.

        Yields
        ------
        Look
            Its frame has the same time and picture as in a full reading.

        Notes
        -----
        Reading ends at the first sign of damage. May run in another thread than the stretches.
        """
        container, stream = open_video(self._source.path)
        gate = Gate(plan, stream.time_base, self._origin)
        reader = PacketReader(container, stream, self._size_bytes, wants=gate)
        frames, converter = reader.frames(), self._source.converter.twin()
        try:
            for time_s, decoded, next_s in plan.looks(self._timed(_standing_alone(frames))):
                if reader.errors or reader.left_out:
                    return
                yield Look(Frame(time_s, converter(decoded)), next_s)
        finally:
            frames.close()
            container.close()

    def frames_between(
        self, start_s: float, end_s: float, *, seen: bool = False, thread: bool = True
    ) -> Generator[Frame, None, None]:
        """Frames to be analysed from `start_s` up to, not including, `end_s`.

        Parameters
        ----------
        start_s, end_s : float
            Seconds from the first frame.
        seen : bool
            Whether the frame at `start_s` is known and to be left out.
        thread : bool
            Decode in a background thread. One stretch is read at a time; beginning a new
            one ends the last.

        Yields
        ------
        Frame
            The same as `Recording.frames` gives between these times.
        """
        self._stop_reading()
        if not thread:
            yield from self._stretch(start_s, end_s, seen)
            return
        ahead = self._ahead = Prefetch(lambda: self._stretch(start_s, end_s, seen))
        try:
            yield from ahead
        finally:
            ahead.close()

    def _stop_reading(self) -> None:
        if self._ahead is not None:
            self._ahead.close()
            self._ahead = None

    def _stretch(self, start_s: float, end_s: float, seen: bool) -> Iterator[Frame]:
        first_s = start_s + _SAME_S if seen else start_s
        if not self.exact:
            yield from self._cut_out(first_s, end_s)
            return
        thinner = Thinner(self._rate_hz)
        # The tick that owns the first wanted frame may begin up to one period earlier.
        from_s = start_s if seen else start_s - 1.5 / self._rate_hz
        for time_s, decoded in self._timed(self._from(from_s)):
            if time_s >= end_s:
                return
            if thinner.wants(time_s) and time_s >= first_s:
                yield Frame(time_s, self._source.converter(decoded))

    def _cut_out(self, start_s: float, end_s: float) -> Iterator[Frame]:
        with open_recording(self._source.path, thread=False, **self._how) as recording:
            for frame in recording.frames():
                if frame.time_s >= end_s:
                    return
                if frame.time_s >= start_s:
                    yield frame

    def _timed(self, frames: Iterator[Any]) -> Iterator[tuple[float, Any]]:
        clock = self._source.clock()
        for decoded in frames:
            time_s = clock.seconds(self._source.stamp(decoded), decoded.time_base)
            if time_s is None:
                continue
            if (decoded.width, decoded.height) != self._source.size_px:
                return
            yield time_s, decoded

    def _from(self, time_s: float) -> Iterator[Any]:
        """Decode from a key frame at or before `time_s` on.

        Some containers seek by the order of decoding and land a little late; then a place
        further back is tried, and in the end the beginning, opened afresh.
        """
        for back_s in _STEPS_BACK_S:
            if not self._can_seek(max(0.0, time_s - back_s)):
                break
            reader = PacketReader(self._source.container, self._source.stream, self._size_bytes)
            frames = reader.frames()
            first = next(frames, None)
            if first is not None and self._time(first) <= max(0.0, time_s):
                yield from chain([first], frames)
                return
            frames.close()
        yield from self._from_start()

    def _from_start(self) -> Iterator[Any]:
        container, stream = open_video(self._source.path)
        try:
            yield from PacketReader(container, stream, self._size_bytes).frames()
        finally:
            container.close()

    def _time(self, frame: Any) -> float:
        if frame.pts is None or frame.time_base is None or self._source.origin is None:
            return 0.0
        return float(frame.pts * frame.time_base - self._source.origin)

    def _can_seek(self, time_s: float) -> bool:
        """Go to the last key frame not after `time_s`, if the container allows it."""
        stream = self._source.stream
        stamp = (Fraction(time_s) + (self._source.origin or 0)) / stream.time_base
        try:
            self._source.container.seek(math.floor(stamp), stream=stream, backward=True)
        except (FFmpegError, OSError, ValueError):
            return False
        return True

    def close(self) -> None:
        """Stop reading and let go of the file; may be called twice."""
        self._stop_reading()
        self._source.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _standing_alone(frames: Iterator[Any]) -> Iterator[Any]:
    """Pictures up to a key frame that is built on others, as where refreshing goes by stripes."""
    for decoded in frames:
        if decoded.key_frame and decoded.pict_type != PictureType.I:
            return
        yield decoded


def _packets(container: Any, stream: Any) -> Iterator[Any]:
    """Packets without decoding, up to the end or to damage."""
    demuxer = container.demux(stream)
    while True:
        try:
            yield next(demuxer)
        except (StopIteration, FFmpegError, OSError, ValueError):
            return
