"""What a frame costs, stage by stage, inside a session at 720p.

    python -m benchmarks.stages [--seconds 30]

Every stage is timed where it runs; the first line is a whole step of the session, with
detection and record, and shares are of it. Below, the colour transform on its own.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from skimage.color import rgb2lab

from benchmarks.clips import pictures
from benchmarks.tables import show
from huehold.calibration.card_guide import CardGuide
from huehold.core import Frame
from huehold.detection import Detector
from huehold.methods import load_method
from huehold.recorder import Gallery, TraceRecorder
from huehold.session import Session
from huehold.vision import observer as seeing
from huehold.vision.condition import Condition
from huehold.vision.keeping import VesselKeeper
from huehold.vision.picture import single_threaded
from huehold.vision.surroundings import Surroundings
from huehold.vision.turbidity import TurbidityScale
from huehold.vision.white import WhiteKeeper

_SIZE_PX, _RATE_HZ = (1280, 720), 12.0
_STAGES: dict[str, tuple[Any, str]] = {
    "bench card": (CardGuide, "look"),
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
    parser.add_argument("--seconds", type=float, default=30.0)
    count = round(parser.parse_args().seconds * _RATE_HZ)
    spent: dict[str, float] = defaultdict(float)
    steps_s = _with_timers(spent, lambda: _run(count))
    whole_s = sum(steps_s)
    naive_s = min(_naive_s() for _ in range(3))
    quick_s = float(np.percentile(steps_s, 10))
    rows = [
        [
            f"{naive_s * count / whole_s:.1f}",
            "naive: CIELAB of the whole frame",
            f"{1e3 * naive_s:.1f}",
        ],
        ["1.00", "a step of the session", f"{1e3 * whole_s / count:.2f}"],
        [
            f"{quick_s * count / whole_s:.2f}",
            "its quickest tenth: what it costs undisturbed",
            f"{1e3 * quick_s:.2f}",
        ],
    ]
    rows += [
        [f"{s / whole_s:.2f}", name, f"{1e3 * s / count:.2f}"]
        for name, s in sorted(spent.items(), key=lambda item: -item[1])
    ]
    title = f"Analysis of a {_SIZE_PX[0]} x {_SIZE_PX[1]} frame, mean of {count}"
    show(title, ["share", "stage", "ms (processor)"], rows)
    _colour(next(pictures(_SIZE_PX, 1)))


def _naive_s() -> float:
    """Processor time of a first script's work on a frame: scikit-image, whole frame, mean."""
    picture = next(pictures(_SIZE_PX, 1))
    start = time.process_time()
    rgb2lab(picture).mean(axis=(0, 1))
    return time.process_time() - start


def _run(count: int) -> list[float]:
    session = Session(load_method("magnesium-hydroxide-by-vinegar"))
    spent_s = []
    with single_threaded():
        for number, picture in enumerate(pictures(_SIZE_PX, count, _RATE_HZ)):
            start = time.process_time()
            session.feed(Frame(number / _RATE_HZ, picture))
            spent_s.append(time.process_time() - start)
    return spent_s


def _with_timers(spent: dict[str, float], work: Callable[[], list[float]]) -> list[float]:
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
