"""Live pictures: one thread reads, keeps only the newest frame, and survives what goes wrong.

A live device differs from a recording in that it does not wait. The reader therefore never
queues: who analyses asks for the newest frame after the one it had. Frames are stamped with
a monotonic clock at arrival, since what drivers say of time cannot be relied on.
"""

from __future__ import annotations

import math
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from typing import Literal, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from huehold.core import Frame, SourceInfo
from huehold.errors import CameraLostError, HueholdError

__all__ = ["Device", "DeviceReader", "LiveSource", "LiveState", "NewestFrame"]

LiveState = Literal["opening", "running", "stalled", "ended", "lost"]

STALLED_AFTER_S = 1.0
FROZEN_AFTER_FRAMES = 25
_BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 4.0)


class Device(Protocol):
    """Something that gives pictures one after the other."""

    def read(self) -> NDArray[np.uint8] | None:
        """Wait for the next picture (sRGB-encoded RGB); None if none came in due time."""

    def close(self) -> None:
        """Let go of the device."""


class NewestFrame:
    """A place for one frame: a newer one replaces it, whoever waits gets the newest."""

    def __init__(self) -> None:
        self._condition = threading.Condition()
        self._number = 0
        self._frame: Frame | None = None
        self._closed = False

    @property
    def number(self) -> int:
        """How many frames have been put here."""
        return self._number

    def put(self, frame: Frame) -> None:
        """Replace the frame and wake whoever waits."""
        with self._condition:
            self._frame = frame
            self._number += 1
            self._condition.notify_all()

    def close(self) -> None:
        """Wake whoever waits for good; no more frames will come."""
        with self._condition:
            self._closed = True
            self._condition.notify_all()

    def take(self, after: int, timeout_s: float) -> tuple[int, Frame] | None:
        """Wait for a frame with a number above `after`.

        Returns
        -------
        (int, Frame) or None
            The frame with its number; None if none came in time or the place was closed.
        """
        with self._condition:
            self._condition.wait_for(lambda: self._number > after or self._closed, timeout_s)
            if self._number <= after or self._frame is None:
                return None
            return self._number, self._frame


class LiveSource:
    """A source that does not wait: offers its newest frame, and says how it fares.

    Parameters
    ----------
    info : SourceInfo
        What is known of the source; the size is replaced by that of the first picture.
    give_up_s : float
        How long nothing may come before the source counts as lost.
    clock : callable
        Monotonic seconds; replaced in tests.

    Attributes
    ----------
    frames_seen : int
        Pictures that came.
    warnings : list of str
        Sentences about the source, growing.
    locks : dict of str to str
        What driver or browser says of "exposure", "white balance" and "focus": "locked",
        "refused" or "unknown"; empty where nobody was asked.
    scale : float
        Pixels of a frame for one pixel of the source, where frames come reduced.
    """

    def __init__(
        self, info: SourceInfo, *, give_up_s: float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.info = info
        self.warnings: list[str] = []
        self.locks: dict[str, str] = {}
        self.scale = 1.0
        self.frames_seen = 0
        self._newest = NewestFrame()
        self._give_up_s = give_up_s
        self._clock = clock
        self._stopping = threading.Event()
        self._first_s: float | None = None
        self._arrived_s: float | None = None
        self._ended = False
        self._failure: HueholdError | None = None

    def start(self) -> Self:
        """Begin to read; return self."""
        return self

    def close(self) -> None:
        """Stop reading and let go of the device."""
        self._stopping.set()
        self._newest.close()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def now_s(self) -> float:
        """Seconds since the first frame by the source's clock; 0 before it."""
        return 0.0 if self._first_s is None else self._clock() - self._first_s

    @property
    def silent_s(self) -> float:
        """Seconds since the last picture arrived; 0 before the first."""
        return 0.0 if self._arrived_s is None else self._clock() - self._arrived_s

    @property
    def state(self) -> LiveState:
        """What the source is doing."""
        if self._failure is not None:
            return "lost"
        if self._ended:
            return "ended"
        if self._arrived_s is None:
            return "opening"
        return "stalled" if self.silent_s > STALLED_AFTER_S else "running"

    def frames(self, *, rate_hz: float = 15.0, patience_s: float = 0.25) -> Iterator[Frame | None]:
        """Yield the newest frame at most `rate_hz` times a second.

        Yields None whenever nothing new came within `patience_s`, so that the caller can tell
        people that the picture is missing. Ends when the source has ended or was closed.

        Raises
        ------
        CameraLostError
            If nothing came for as long as the source waits, or the device cannot be opened.
        """
        number, due_s = 0, -math.inf
        while True:
            got = self._newest.take(number, patience_s)
            if got is None:
                if self._over():
                    break
                yield None
                continue
            number, frame = got
            if frame.time_s >= due_s:
                due_s = max(due_s + 1 / rate_hz, frame.time_s + 0.5 / rate_hz)
                yield frame
        if self._failure is not None:
            raise self._failure

    def _over(self) -> bool:
        if self._failure is None and self.silent_s > self._give_up_s:
            self._lose(None)
        return self._ended or self._stopping.is_set() or self._failure is not None

    def _lose(self, error: HueholdError | None) -> None:
        reason = (
            f"{self.info.name} gave no picture for {self._give_up_s:.0f} s and did not come back; "
            "check its cable, power and connection."
        )
        self._failure = CameraLostError(str(error) if error is not None else reason)
        self._newest.close()

    def _take_in(self, image: NDArray[np.uint8], taken_s: float | None = None) -> None:
        """Offer a picture taken now, or at `taken_s` by the source's clock."""
        now_s = self._clock()
        taken_s = now_s if taken_s is None else taken_s
        if self._first_s is None:
            self._first_s = taken_s
            height, width = image.shape[:2]
            self.info = SourceInfo(self.info.name, width, height, None, self.info.detail)
        self._arrived_s = now_s
        self.frames_seen += 1
        self._newest.put(Frame(max(0.0, taken_s - self._first_s), image))


class DeviceReader(LiveSource):
    """Reads a device in a thread of its own and opens it again when it fails.

    Parameters
    ----------
    open_device : callable
        Opens the device and returns it; raises HueholdError in words if it cannot.
    info, give_up_s, clock
        As for `LiveSource`.
    sleep : callable, optional
        Waits some seconds; replaced in tests.

    Notes
    -----
    Two things count as failure beside the device's own word: no picture in due time, and
    the same picture bit by bit many times over, which no real sensor delivers.
    """

    def __init__(
        self,
        open_device: Callable[[], Device],
        info: SourceInfo,
        *,
        give_up_s: float = 60.0,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], object] | None = None,
    ) -> None:
        super().__init__(info, give_up_s=give_up_s, clock=clock)
        self._open_device = open_device
        self._sleep = sleep or self._stopping.wait
        self._thread = threading.Thread(target=self._run, name="capture", daemon=True)

    def start(self) -> Self:
        """Begin to read; return self."""
        self._thread.start()
        return self

    def close(self) -> None:
        """Stop reading and let go of the device."""
        super().close()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)

    def _run(self) -> None:
        failures, silent_since_s = 0, self._clock()
        while not self._stopping.is_set() and self._failure is None:
            got_any, error = self._one_opening()
            if self._ended:
                break
            failures = 0 if got_any else failures + 1
            silent_since_s = self._clock() if got_any else silent_since_s
            never = self._first_s is None and error is not None
            if never or self._clock() - silent_since_s > self._give_up_s:
                self._lose(error if never else None)
                return
            self._sleep(_BACK_OFF_S[min(failures, len(_BACK_OFF_S) - 1)])
        self._newest.close()

    def _one_opening(self) -> tuple[bool, HueholdError | None]:
        """Open the device and read until it fails: did any picture come, and what was said."""
        try:
            return self._read_until_it_fails(self._open_device()), None
        except EOFError:
            self._ended = True
            return True, None
        except HueholdError as error:
            return False, error
        except Exception as error:  # drivers and their libraries raise what they like
            kind = type(error).__name__
            return False, CameraLostError(f"{self.info.name} failed ({kind}: {error}).")

    def _read_until_it_fails(self, device: Device) -> bool:
        got_any, mark, repeats = False, None, 0
        try:
            while not self._stopping.is_set():
                image = device.read()
                if image is None:
                    break
                previous, mark = mark, _mark(image)
                repeats = repeats + 1 if mark == previous else 0
                if repeats >= FROZEN_AFTER_FRAMES:
                    break
                if repeats == 0:
                    got_any = True
                    self._take_in(image)
        finally:
            device.close()
        return got_any


def _mark(image: NDArray[np.uint8]) -> int:
    """Return a checksum of a thinned picture: equal only if the sensor repeated itself."""
    return zlib.crc32(image[::7, ::7].tobytes())
