"""How long the machine kept things waiting, so that a slow test machine is not called a slow page.

Linux tells it as "pressure": the time in which something was ready to go on and waited for a
processor, a disk or memory; time that another machine took from this one's processors counts too.
Elsewhere it is told by how late a thread that only sleeps wakes up.
"""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path
from typing import Self

import numpy as np

_EVERY_S = 0.02
_PRESSURE = [Path("/proc/pressure") / name for name in ("cpu", "io", "memory")]


class Stalls:
    """Watches the machine while the block lasts."""

    def __init__(self) -> None:
        self._samples = [(time.time(), 0.0)]
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def between(self, start_s: float, end_s: float) -> float:
        """Seconds that were lost between two moments of the wall clock (`time.time`)."""
        times, lost = zip(*self._samples, strict=True)
        return float(np.diff(np.interp([start_s, end_s], times, lost))[0])

    def _run(self) -> None:
        before_s, late_s = _told_s(), 0.0
        while not self._over.is_set():
            asleep_s = time.monotonic()
            self._over.wait(_EVERY_S)
            late_s += time.monotonic() - asleep_s - _EVERY_S
            now_s = _told_s()
            lost_s = late_s if now_s is None or before_s is None else now_s - before_s
            self._samples.append((time.time(), lost_s))


def _told_s() -> float | None:
    """Seconds of pressure and of stolen time since the machine started; None if it does not say."""
    try:
        totals = [path.read_text().split("\n")[0].rpartition("=")[2] for path in _PRESSURE]
        stolen = Path("/proc/stat").read_text().split("\n")[0].split()[8]
    except OSError:
        return None
    return sum(map(int, totals)) / 1e6 + int(stolen) / os.sysconf("SC_CLK_TCK")
