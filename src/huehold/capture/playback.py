"""A recording played at its own speed, as if it happened now."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from os import PathLike
from typing import Self

from huehold.capture.live import LiveSource
from huehold.core import Frame, SourceInfo
from huehold.errors import HueholdError, InputError

__all__ = ["PlaybackSource", "play_recording"]


def play_recording(
    path: str | PathLike[str], *, speed: float = 1.0, rate_hz: float = 15.0
) -> PlaybackSource:
    """Open a recording to be played; it is closed with the source.

    Parameters
    ----------
    path : path
        A video file.
    speed : float
        1 plays as it was recorded.
    rate_hz : float
        Frames to deliver per second of the recording, about.

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    from huehold.capture.recording import open_recording

    recording = open_recording(path, rate_hz=rate_hz)
    source = PlaybackSource(
        recording.frames(), recording.info, speed=speed, on_close=recording.close
    )
    source.scale, source.warnings = recording.scale, recording.warnings
    return source


class PlaybackSource(LiveSource):
    """Frames with stamps of their own, offered when their time has come.

    Parameters
    ----------
    frames : iterable of Frame
        In time order; read in a thread of its own.
    info : SourceInfo
        What they come from.
    speed : float
        1 plays as it was recorded, 10 ten times as fast.
    on_close : callable, optional
        Called once nothing is read any more.
    """

    def __init__(
        self,
        frames: Iterable[Frame],
        info: SourceInfo,
        *,
        speed: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
        on_close: Callable[[], None] = lambda: None,
    ) -> None:
        super().__init__(info, give_up_s=float("inf"), clock=clock)
        self._frames = frames
        self._speed = speed
        self._on_close = on_close
        self._thread = threading.Thread(target=self._run, name="playback", daemon=True)

    def start(self) -> Self:
        """Begin to play; return self."""
        self._thread.start()
        return self

    @property
    def now_s(self) -> float:
        """Time of the recording now: it passes as fast as it is played."""
        return super().now_s * self._speed

    def close(self) -> None:
        """Stop playing."""
        super().close()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)
        self._on_close()

    def _run(self) -> None:
        begun_s = self._clock()
        try:
            for frame in self._frames:
                wait_s = begun_s + frame.time_s / self._speed - self._clock()
                if wait_s > 0 and self._stopping.wait(wait_s):
                    break
                self._offer(frame)
            self._ended = True
        except HueholdError as error:
            self._lose(error)
        except Exception as error:  # a thread that dies silently would leave the run waiting
            self._lose(InputError(f"{self.info.name} cannot be played ({type(error).__name__})."))
        self._newest.close()

    def _offer(self, frame: Frame) -> None:
        now_s = self._clock()
        self._first_s = now_s if self._first_s is None else self._first_s
        self._arrived_s = now_s
        self.frames_seen += 1
        self._newest.put(frame)
