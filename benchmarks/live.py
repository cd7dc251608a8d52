"""Watching live: the share of one core that 15 observations a second take at 1080p.

    python -m benchmarks.live [--seconds 30] [--rate 15]

Frames of 1920 x 1080 as a camera hands them on (reduced by two, which is counted) are fed to
the session; the share is the processor time of all threads for 15 of them. What the camera's
driver does is not counted.
"""

from __future__ import annotations

import argparse
import time
from typing import Any

import cv2

from benchmarks.clips import pictures
from benchmarks.tables import show
from huehold.core import Frame
from huehold.methods import load_method
from huehold.session import Session
from huehold.vision.picture import single_threaded


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--rate", type=float, default=15.0)
    options = parser.parse_args()
    with single_threaded():
        cost_ms = _costs_ms(options.seconds, options.rate)
    count = len(cost_ms)
    mean_ms = sum(cost_ms) / count
    ordered = sorted(cost_ms)
    quick_ms, worst_ms = ordered[count // 10], ordered[int(0.99 * count)]
    rows = [
        [
            f"{mean_ms * options.rate / 1e3:.2f}", f"{mean_ms:.2f}", f"{quick_ms:.2f}",
            f"{worst_ms:.2f}", count,
        ]
    ]  # fmt: skip
    head = [
        "share of one core",
        "ms a frame",
        "ms, quickest tenth",
        "ms, 99 of 100 below",
        "frames",
    ]
    show(f"Live, {options.rate:g} observations a second at 1920 x 1080", head, rows)


def _costs_ms(seconds: float, rate_hz: float) -> list[float]:
    session = Session(load_method("magnesium-hydroxide-by-vinegar"))
    spent = []
    for number, picture in enumerate(pictures((1920, 1080), round(seconds * rate_hz), rate_hz)):
        taken: Any = picture[..., ::-1].copy()  # OpenCV's cameras give blue first
        start = time.process_time()
        half = cv2.resize(taken, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        session.feed(Frame(number / rate_hz, cv2.cvtColor(half, cv2.COLOR_BGR2RGB)))
        spent.append(1e3 * (time.process_time() - start))
    return spent


if __name__ == "__main__":
    main()
