"""Run an iterator in a background thread, a few items ahead.

Decoding and conversion release the interpreter's lock, so they overlap with analysis. The
queue is short and bounded: memory stays flat however slow the consumer is.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

__all__ = ["Prefetch"]

T = TypeVar("T")
_POLL_S = 0.1


class _End:
    """Marks the end of the items; carries the error that ended them, if any."""

    def __init__(self, error: BaseException | None = None) -> None:
        self.error = error


class Prefetch(Generic[T]):
    """Iterate over `source()` with a worker that works ahead.

    Parameters
    ----------
    source : callable returning an iterator
        Called and exhausted in the worker only.
    ahead : int
        Items held ready at most.

    Notes
    -----
    Errors in the worker are raised in the consumer, in their place. `close` may be called
    at any time and from any state; it returns when the worker has ended. Waiting is done
    in short steps so that Ctrl-C is heard on every system.
    """

    def __init__(self, source: Callable[[], Iterator[T]], ahead: int = 3) -> None:
        self._source = source
        self._queue: queue.Queue[T | _End] = queue.Queue(maxsize=ahead)
        self._stop = threading.Event()
        self._done = False
        self._worker = threading.Thread(target=self._work, name="huehold-decode", daemon=True)
        self._worker.start()

    def __iter__(self) -> Iterator[T]:
        return self

    def __next__(self) -> T:
        if self._done:
            raise StopIteration
        item = self._get()
        if not isinstance(item, _End):
            return item
        self._done = True
        if item.error is not None:
            raise item.error
        raise StopIteration

    def close(self) -> None:
        """Stop the worker and wait until it has ended."""
        self._done = True
        self._stop.set()
        while self._worker.is_alive():
            self._drain()
            self._worker.join(_POLL_S)
        self._drain()

    def _get(self) -> T | _End:
        while True:
            try:
                return self._queue.get(timeout=_POLL_S)
            except queue.Empty:
                if not self._worker.is_alive() and self._queue.empty():
                    return _End()

    def _drain(self) -> None:
        while True:
            try:
                self._queue.get_nowait()
            except queue.Empty:
                return

    def _work(self) -> None:
        try:
            for item in self._source():
                if not self._put(item):
                    return
            self._put(_End())
        except BaseException as error:  # handed to the consumer, whatever it is
            self._put(_End(error))

    def _put(self, item: T | _End) -> bool:
        while not self._stop.is_set():
            try:
                self._queue.put(item, timeout=_POLL_S)
            except queue.Full:
                continue
            return True
        return False
