"""A browser as the camera: pictures pushed by a page, each with its own time stamp."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable

from huehold.capture.live import LiveSource
from huehold.capture.picture import decode_jpeg
from huehold.core import SourceInfo

__all__ = ["BrowserSource", "SenderClock"]


class SenderClock:
    """Turns a sender's time stamps into ours.

    The offset between the clocks is taken as the least difference seen lately between
    arrival and stamp: a late frame then keeps its own time, and a drifting or stepped clock
    is followed within the memory.

    Parameters
    ----------
    memory : int
        How many frames the least difference is taken over.
    """

    def __init__(self, memory: int = 100) -> None:
        self._differences: deque[float] = deque(maxlen=memory)

    def ours_s(self, stamp_s: float, arrival_s: float) -> float:
        """Return when the frame was taken by our clock, never after its arrival."""
        difference = arrival_s - stamp_s
        if self._differences and abs(difference - self._differences[-1]) > 5.0:
            self._differences.clear()  # the sender's clock was stepped
        self._differences.append(difference)
        return stamp_s + min(self._differences)


class BrowserSource(LiveSource):
    """Frames that a page sends, offered like those of any live source.

    Parameters
    ----------
    name : str
        Such as ``"phone"``.
    give_up_s : float
        How long nothing may come, after the first frame, before the source counts as lost.
    """

    def __init__(
        self,
        name: str = "browser camera",
        *,
        give_up_s: float = 600.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(SourceInfo(name, 0, 0), give_up_s=give_up_s, clock=clock)
        self._sender = SenderClock()
        self._taking = threading.Lock()
        self._newest_s = -math.inf

    def push(self, data: bytes, stamp_s: float) -> bool:
        """Take a JPEG picture in.

        Parameters
        ----------
        data : bytes
            The JPEG file.
        stamp_s : float
            When it was taken by the sender's clock, in seconds.

        Returns
        -------
        bool
            False if it was no whole picture or came out of order.
        """
        image = decode_jpeg(data)
        if image is None:
            return False
        with self._taking:
            taken_s = self._sender.ours_s(stamp_s, self._clock())
            if taken_s <= self._newest_s:
                return False
            self._newest_s = taken_s
            self._take_in(image, taken_s)
        return True
