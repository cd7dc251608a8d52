"""Read a recording once, in order, as frames to be analysed.

`open_recording` is the one way in::

    with open_recording("titration.mp4") as recording:
        for frame in recording.frames():
            ...
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Generator, Iterator
from fractions import Fraction
from itertools import chain
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any, Self

from huehold.capture.colour import ColourPlan, ColourTags, MatrixChoice, plan_colours
from huehold.capture.convert import Converter, reduction
from huehold.capture.opening import MAX_SIDE_PX, open_video
from huehold.capture.packets import PacketReader
from huehold.capture.prefetch import Prefetch
from huehold.capture.stamps import StampClock, Thinner
from huehold.core import Frame, SourceInfo
from huehold.errors import InputError, UsageError

__all__ = ["MAX_DURATION_S", "Recording", "open_recording"]

MAX_DURATION_S = 24 * 3600.0
_GAP_AT_END_S = 2.0


def open_recording(
    path: str | os.PathLike[str],
    *,
    rate_hz: float = 12.0,
    matrix: MatrixChoice = "auto",
    longest_px: int = 1280,
    thread: bool = True,
) -> Recording:
    """Open a recording for reading from beginning to end.

    Parameters
    ----------
    path : str or path-like
        A video file.
    rate_hz : float
        Frames to deliver per second of recording, about; ``math.inf`` for all.
    matrix : {"auto", "bt601", "bt709"}
        Colour matrix; "auto" obeys the file, and custom where the file is silent.
    longest_px : int
        Pictures are reduced by a whole number so that the longer side is at most this.
    thread : bool
        Decode in a background thread, ahead of the consumer.

    Returns
    -------
    Recording
        A context manager.

    Raises
    ------
    InputError
        If the file cannot be read, or not with faithful colours.
    UsageError
        If an argument makes no sense.
    """
    if not rate_hz > 0 or longest_px < 16:
        raise UsageError("rate_hz must be above 0 and longest_px at least 16.")
    return Recording(Path(path), rate_hz, matrix, longest_px, thread)


class Recording:
    """A video file being read; made by `open_recording`.

    Attributes
    ----------
    info : SourceInfo
        Name, size of the upright picture as recorded, stated length, colour facts.
    scale : float
        Delivered pixels per recorded pixel, 1 or less.
    warnings : list of str
        What the user should know; grows while reading and is complete at the end.
    progress_s : float
        Time of the newest decoded frame.
    stopped_early : bool
        True after reading if the file broke off before its stated end.
    """

    def __init__(
        self, path: Path, rate_hz: float, matrix: MatrixChoice, longest_px: int, thread: bool
    ) -> None:
        self.name = path.name
        self._container, stream = open_video(path)
        try:
            self._prepare(path, stream, rate_hz, matrix, longest_px)
        except BaseException:
            self._container.close()
            raise
        self._thread = thread
        self._prefetch: Prefetch[Frame] | None = None
        self._started = False
        self.progress_s = 0.0
        self.stopped_early = False

    def _prepare(
        self, path: Path, stream: Any, rate_hz: float, matrix: MatrixChoice, longest_px: int
    ) -> None:
        self._reader = PacketReader(self._container, stream, path.stat().st_size)
        self._decoded = self._reader.frames()
        first = next(self._decoded, None)
        if first is None:
            raise InputError(
                f"No picture in {self.name} could be decoded: the file is damaged or cut off "
                "near its beginning."
            )
        _check_frame(first, self.name)
        self._pending = chain([first], self._decoded)
        self._first_size = (first.width, first.height)
        tags = ColourTags.of(first, stream.codec_context)
        plan = plan_colours(tags, self._first_size, self.name, matrix)
        turns, turn_note = _quarter_turns(first)
        self.warnings: list[str] = [*plan.warnings, *turn_note]
        self._converter = Converter(plan, longest_px, turns)
        self._by_order = _shown_by_order(self._container, stream)
        self._clock = StampClock(
            self.name,
            by_order=self._by_order,
            origin=None if self._by_order else _seconds(self._reader.first_stamp, first),
        )
        self._thinner = Thinner(rate_hz)
        self.scale = 1.0 / reduction(first.width, first.height, longest_px)
        self.info = _source_info(self.name, self._container, stream, first, plan, tags, turns)

    @property
    def frames_seen(self) -> int:
        """Pictures that came out of the decoder so far, damaged ones included."""
        return self._reader.seen

    def frames(self) -> Generator[Frame, None, None]:
        """Frames to be analysed, in time order; may be read once.

        Yields
        ------
        Frame
            Upright, sRGB-encoded, with its time from the first frame.

        Raises
        ------
        InputError
            If the file turns out to hold fewer than two pictures.
        """
        if self._started:
            raise UsageError("A recording can be read once: open it again.")
        self._started = True
        if not self._thread:
            yield from self._read()
            return
        self._prefetch = Prefetch(self._read)
        try:
            yield from self._prefetch
        finally:
            self._prefetch.close()

    def _read(self) -> Iterator[Frame]:
        for decoded in self._pending:
            stamp = decoded.dts if self._by_order else decoded.pts
            time_s = self._clock.seconds(stamp, decoded.time_base)
            if time_s is None:
                continue
            if time_s > MAX_DURATION_S:
                self._reader.broke_off = True
                break
            if self._resized(decoded, time_s):
                break
            self.progress_s = time_s
            if self._thinner.wants(time_s):
                yield Frame(time_s, self._converter(decoded))
        self._conclude()

    def _resized(self, decoded: Any, time_s: float) -> bool:
        """Whether the pictures change size here, which ends the review of this file."""
        size = (decoded.width, decoded.height)
        if size == self._first_size:
            return False
        self._reader.broke_off = True
        self.warnings.append(
            f"The pictures change size at {time_s:.1f} s (from {self._first_size[0]} x "
            f"{self._first_size[1]} to {size[0]} x {size[1]}): cut the recording there to review "
            "the rest."
        )
        return True

    def _conclude(self) -> None:
        if self._reader.seen < 2:
            raise InputError(f"{self.name} holds a single picture: give a recording.")
        self.warnings += self._clock.warnings
        self.warnings += self._damage_notes()

    def _damage_notes(self) -> list[str]:
        notes = []
        if self._reader.left_out or self._reader.errors:
            notes.append(
                f"The recording is damaged: {self._reader.left_out} pictures could not be "
                "trusted and were left out; the gaps stay gaps."
            )
        length_s = self.info.duration_s
        missing_s = 0.0 if length_s is None else length_s - self.progress_s
        if self._reader.broke_off or missing_s > max(_GAP_AT_END_S, 0.02 * self.progress_s):
            self.stopped_early = True
            of = "" if length_s is None else f" of the stated {length_s:.1f} s"
            notes.append(
                f"The recording stops early: it can be read up to {self.progress_s:.1f} s{of}; "
                "what came after is unknown."
            )
        return notes

    def close(self) -> None:
        """Stop reading and let go of the file; may be called twice."""
        if self._prefetch is not None:
            self._prefetch.close()
        self._started = True
        with contextlib.suppress(ValueError):
            self._decoded.close()
        self._container.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _check_frame(frame: Any, name: str) -> None:
    if max(frame.width, frame.height) > MAX_SIDE_PX or min(frame.width, frame.height) < 16:
        raise InputError(
            f"{name} has pictures of {frame.width} x {frame.height} pixels; 16 to "
            f"{MAX_SIDE_PX} a side are read."
        )


def _shown_by_order(container: Any, stream: Any) -> bool:
    """Whether the file states when pictures are decoded, but not when they are shown.

    AVI is so. For reordered pictures the stamp of the packet that released each one is then
    the honest clock.
    """
    return container.format.name == "avi" and bool(stream.codec_context.has_b_frames)


def _seconds(stamp: int | None, frame: Any) -> Fraction | None:
    return None if stamp is None or frame.time_base is None else stamp * frame.time_base


def _quarter_turns(frame: Any) -> tuple[int, list[str]]:
    """Counterclockwise quarter turns that make the picture upright, and a note."""
    angle = int(frame.rotation)
    turns = round(angle / 90) % 4
    if angle % 90 == 0:
        return turns, []
    return turns, [f"The recording asks to be turned by {angle} degrees; the nearest right angle "
                   "was used."]  # fmt: skip


def _source_info(
    name: str, container: Any, stream: Any, first: Any, plan: ColourPlan, tags: ColourTags,
    turns: int,
) -> SourceInfo:  # fmt: skip
    width, height = first.width, first.height
    if turns % 2:
        width, height = height, width
    detail = {
        "container": container.format.name,
        "codec": stream.codec_context.name,
        "pixel_format": first.format.name,
        "matrix": plan.matrix,
        "range": "full" if plan.full_range else "limited",
        "transfer": plan.curve,
        "primaries": plan.primaries,
        "tags": f"matrix {tags.matrix}, transfer {tags.transfer}, primaries {tags.primaries}",
        "rotation_deg": str(turns * 90),
    }
    return SourceInfo(name, width, height, _stated_length(container, stream),
                      MappingProxyType(detail))  # fmt: skip


def _stated_length(container: Any, stream: Any) -> float | None:
    if stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base)
    return container.duration / 1e6 if container.duration else None
