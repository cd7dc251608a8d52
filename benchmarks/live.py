"""Watching live: the share of one core that 15 observations a second take at 1080p.

    python -m benchmarks.live [--seconds 40] [--rate 15]

Frames of 1920 x 1080 as a camera hands them on (reduced by two, which is counted) are fed at
their own pace; the share is processor time of all threads over time on the clock. Decoding
stands for the camera's driver and is not counted.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

import cv2

from benchmarks.clips import run_clip
from benchmarks.review import _decoded
from benchmarks.tables import show
from huehold.core import Frame
from huehold.methods import load_method
from huehold.session import Session


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seconds", type=float, default=40.0)
    parser.add_argument("--rate", type=float, default=15.0)
    options = parser.parse_args()
    cost_ms = _costs_ms(run_clip("1080p"), options.seconds, options.rate)
    count = len(cost_ms)
    mean_ms = sum(cost_ms) / count
    worst_ms = sorted(cost_ms)[int(0.99 * count)]
    rows = [[f"{mean_ms * options.rate / 1e3:.2f}", f"{mean_ms:.2f}", f"{worst_ms:.2f}", count]]
    head = ["share of one core", "ms a frame", "ms, 99 of 100 below", "frames"]
    show(f"Live, {options.rate:g} observations a second at 1920 x 1080", head, rows)


def _costs_ms(path: Path, seconds: float, rate_hz: float) -> list[float]:
    session = Session(load_method("magnesium-hydroxide-by-vinegar"))
    spent = []
    next_s = 0.0
    for decoded in _decoded(path):
        time_s = float(decoded.pts * decoded.time_base)
        if time_s > seconds:
            break
        if time_s < next_s - 1e-6:
            continue
        next_s += 1.0 / rate_hz
        picture: Any = decoded.to_ndarray(format="bgr24")
        start = time.process_time()
        half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        session.feed(Frame(time_s, cv2.cvtColor(half, cv2.COLOR_BGR2RGB)))
        spent.append(1e3 * (time.process_time() - start))
    return spent


if __name__ == "__main__":
    main()
