"""What a frame costs, stage by stage, inside a real review of a 720p recording.

    python -m benchmarks.stages [RECORDING] [--seconds 60]

Every stage is timed where it runs, in one thread, on frames held in memory. The first line
is a whole step of the session; shares are of it. Below, the colour transform on its own.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks.clips import run_clip
from benchmarks.tables import show
from huehold.capture.recording import open_recording
from huehold.core import Frame
from huehold.detection import Detector
from huehold.methods import load_method
from huehold.recorder import Gallery, TraceRecorder
from huehold.session import Session
from huehold.vision import observer as seeing
from huehold.vision.condition import Condition
from huehold.vision.keeping import VesselKeeper
from huehold.vision.surroundings import Surroundings
from huehold.vision.turbidity import TurbidityScale
from huehold.vision.white import WhiteKeeper

_STAGES: dict[str, tuple[Any, str]] = {
    "reduce the frame": (seeing, "reduce_frame"),
    "find and follow the vessel": (VesselKeeper, "look"),
    "surroundings": (Surroundings, "look"),
    "white: find": (seeing, "find_white"),
    "white: measure": (WhiteKeeper, "look"),
    "cut the liquid out": (seeing, "cut"),
    "liquid's colour": (seeing, "measure_liquid"),
    "CIELAB and uncertainty": (seeing, "lab_with_uncertainty"),
    "condition of the picture": (Condition, "of_picture"),
    "condition of the measure": (Condition, "of_measure"),
    "turbidity": (TurbidityScale, "update"),
    "detector": (Detector, "update"),
    "trace": (TraceRecorder, "add"),
    "thumbnail": (Gallery, "add"),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("recording", nargs="?", type=Path)
    parser.add_argument("--seconds", type=float, default=60.0)
    options = parser.parse_args()
    frames = _frames(options.recording or run_clip("720p"), options.seconds)
    plain = _run(frames)
    spent: dict[str, float] = defaultdict(float)
    with_timers = _timed(spent, lambda: _run(frames))
    scale = plain / with_timers
    per_frame = 1e3 / len(frames)
    rows = [["1.00", "a step of the session", f"{plain * per_frame:.2f}"]]
    rows += [
        [f"{s * scale / plain:.2f}", name, f"{s * scale * per_frame:.2f}"]
        for name, s in sorted(spent.items(), key=lambda item: -item[1])
    ]
    height, width = frames[0].image.shape[:2]
    show(
        f"Analysis of a {width} x {height} frame, mean of {len(frames)}",
        ["share", "stage", "ms (processor)"],
        rows,
    )
    _colour(frames[-1].image)


def _frames(path: Path, seconds: float) -> list[Frame]:
    kept = []
    with open_recording(path) as recording:
        for frame in recording.frames():
            kept.append(frame)
            if frame.time_s >= seconds:
                break
    return kept


def _run(frames: list[Frame]) -> float:
    session = Session(load_method("magnesium-hydroxide-by-vinegar"))
    start = time.process_time()
    for frame in frames:
        session.feed(frame)
    return time.process_time() - start


def _timed(spent: dict[str, float], work: Callable[[], float]) -> float:
    before = {name: getattr(owner, call) for name, (owner, call) in _STAGES.items()}
    for name, (owner, call) in _STAGES.items():
        setattr(owner, call, _stopwatch(name, before[name], spent))
    try:
        return work()
    finally:
        for name, (owner, call) in _STAGES.items():
            setattr(owner, call, before[name])


def _stopwatch(name: str, call: Any, spent: dict[str, float]) -> Callable[..., Any]:
    def timed(*args: Any, **named: Any) -> Any:
        start = time.process_time()
        try:
            return call(*args, **named)
        finally:
            spent[name] += time.process_time() - start

    return timed


def _colour(image: Any) -> None:
    """Colour of the liquid by us, against plain conversions of the same region."""
    height, width = image.shape[:2]
    side = int(0.4 * height)
    region = np.ascontiguousarray(image[height // 3 : height // 3 + side, width // 3 :][:, :side])

    def ours() -> None:
        patch = seeing.cut(image, _circle(width, height, side), 1.0, 96)
        liquid = seeing.measure_liquid(patch, _circle(width, height, side))
        assert liquid is not None
        seeing.lab_with_uncertainty(liquid.linear, np.ones(3), linear_sd=liquid.linear_sd)

    ways = {
        "OpenCV, 8-bit CIELAB of the region": lambda: cv2.cvtColor(region, cv2.COLOR_RGB2LAB),
        "OpenCV, float CIELAB of the region": lambda: cv2.cvtColor(
            region.astype(np.float32) / np.float32(255.0), cv2.COLOR_RGB2LAB
        ),
        "colour transform: cut, robust centre, CIELAB with uncertainty": ours,
    }
    cost = {name: _median_ms(work) for name, work in ways.items()}
    base = cost["OpenCV, float CIELAB of the region"]
    rows = [[f"{ms / base:.2f}", name, f"{ms:.2f}"] for name, ms in cost.items()]
    show(f"Colour of a region of {side} x {side} pixels", ["ratio", "what", "ms"], rows)


def _circle(width: int, height: int, side: int) -> Any:
    from huehold.core import Ellipse

    return Ellipse(width / 3 + side / 2, height / 3 + side / 2, side / 2, side / 2)


def _median_ms(work: Callable[[], object], rounds: int = 60) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1e3 * float(np.median(times))


if __name__ == "__main__":
    main()
