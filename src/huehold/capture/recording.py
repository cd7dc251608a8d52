"""Read a recording once, in order, as frames to be analysed.

`open_recording` is the one way in::

    with open_recording("titration.mp4") as recording:
        for frame in recording.frames():
            ...
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator
from itertools import chain
from pathlib import Path
from typing import Any, Self

from huehold.capture.colour import MatrixChoice
from huehold.capture.prefetch import Prefetch
from huehold.capture.source import open_source
from huehold.capture.stamps import Thinner
from huehold.core import Frame, SourceInfo
from huehold.errors import InputError, UsageError

__all__ = ["MAX_DURATION_S", "Recording", "open_recording"]

MAX_DURATION_S = 24 * 3600.0
_GAP_AT_END_S = 1.0


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
        self._source = open_source(path, matrix, longest_px)
        self.name = path.name
        self.info: SourceInfo = self._source.info
        self.scale = self._source.scale
        self.warnings: list[str] = list(self._source.warnings)
        self.progress_s = 0.0
        self.stopped_early = False
        self._reader = self._source.reader
        self._clock = self._source.clock()
        self._thinner = Thinner(rate_hz)
        self._thread = thread
        self._prefetch: Prefetch[Frame] | None = None
        self._started = False

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
        for decoded in chain([self._source.first], self._source.frames):
            time_s = self._clock.seconds(self._source.stamp(decoded), decoded.time_base)
            if time_s is None:
                continue
            if time_s > MAX_DURATION_S:
                self._reader.broke_off = True
                break
            if self._resized(decoded, time_s):
                break
            self.progress_s = time_s
            if self._thinner.wants(time_s):
                yield Frame(time_s, self._source.converter(decoded))
        self._conclude()

    def _resized(self, decoded: Any, time_s: float) -> bool:
        """Whether the pictures change size here, which ends the review of this file."""
        size = (decoded.width, decoded.height)
        if size == self._source.size_px:
            return False
        before = self._source.size_px
        self._reader.broke_off = True
        self.warnings.append(
            f"The pictures change size at {time_s:.1f} s (from {before[0]} x "
            f"{before[1]} to {size[0]} x {size[1]}): cut the recording there to review "
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
        self._source.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
