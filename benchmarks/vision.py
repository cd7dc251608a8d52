"""Cost of the analysis of a frame by stage, as shares of a naive baseline.

The baseline is what a first script would do: convert the whole frame to CIELAB with
scikit-image and take its mean. Run it as ``python benchmarks/vision.py [WIDTHxHEIGHT]``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import cv2
import numpy as np
from skimage.color import rgb2lab

from huehold.core import Frame
from huehold.vision import Observer
from huehold.vision.colour import lab_with_uncertainty
from huehold.vision.liquid import measure_liquid, strip_of
from huehold.vision.picture import cut, reduce_frame
from huehold.vision.surroundings import Surroundings
from huehold.vision.tracking import RingTracker
from huehold.vision.turbidity import TurbidityScale
from huehold.vision.vessel import find_vessel
from huehold.vision.white import find_white, measure_patch


def picture(width: int, height: int, seed: int) -> np.ndarray:
    """Paint a cup of orange liquid and a white card on a grained table."""
    rng = np.random.default_rng(seed)
    image = np.full((height, width, 3), (150, 118, 86), np.float32)
    image += 8 * np.sin(np.arange(height) / 5)[:, None, None]
    centre, r = (width // 2, height // 2), int(0.27 * min(width, height))
    cv2.circle(image, centre, int(1.25 * r), (205, 205, 205), -1, cv2.LINE_AA)
    cv2.circle(image, centre, r, (205, 115, 50), -1, cv2.LINE_AA)
    cv2.rectangle(image, (width // 20, height // 8), (width // 7, height // 3), (222,) * 3, -1)
    image += rng.normal(0, 2.5, image.shape)
    return np.clip(image, 0, 255).astype(np.uint8)


def cost_ms(work: Callable[[int], object], rounds: int = 30) -> float:
    """Smallest of three medians: the machine may be shared."""
    medians = []
    for _ in range(3):
        times = []
        for i in range(rounds // 3):
            start = time.perf_counter()
            work(i)
            times.append(time.perf_counter() - start)
        medians.append(1e3 * float(np.median(times)))
    return min(medians)


def stages(frames: list[Frame]) -> dict[str, float]:
    """Cost of each stage in milliseconds."""
    frame, image = frames[0], frames[0].image
    work = reduce_frame(frame)
    small = [reduce_frame(f).image for f in frames]
    candidate = find_vessel(work.image)
    assert candidate is not None
    vessel = candidate.ellipse
    full = Observer()
    full_vessel = [full.observe(f) for f in frames][-1].vessel
    white = find_white(work.image, vessel)
    assert full_vessel is not None
    assert white is not None
    tracker, around, scale = RingTracker(work.image, vessel), Surroundings(), TurbidityScale()
    patch = cut(image, full_vessel, 1.0, 96)
    n = len(frames)
    return {
        "reduce the frame": cost_ms(lambda i: reduce_frame(frames[i % n])),
        "follow the vessel": cost_ms(lambda i: tracker.step(small[i % n], learn=True)),
        "surroundings": cost_ms(lambda i: around.look(small[i % n], vessel, i / 12)),
        "white patch": cost_ms(lambda i: measure_patch(image, white)),
        "cut the liquid": cost_ms(lambda i: cut(image, full_vessel, 1.0, 96)),
        "liquid": cost_ms(lambda i: measure_liquid(patch, full_vessel)),
        "turbidity": cost_ms(lambda i: scale.update(patch, full_vessel, np.ones(3), sound=True)),
        "strip": cost_ms(lambda i: strip_of(patch, full_vessel)),
        "exact colour": cost_ms(lambda i: lab_with_uncertainty([0.5, 0.2, 0.05])),
        "(rarely) find the vessel": cost_ms(lambda i: find_vessel(work.image)),
        "(rarely) find the white": cost_ms(lambda i: find_white(work.image, vessel)),
    }


def main() -> None:
    size = sys.argv[1] if len(sys.argv) > 1 else "1280x720"
    width, height = (int(v) for v in size.split("x"))
    cv2.setNumThreads(1)
    frames = [Frame(i / 12, picture(width, height, i)) for i in range(6)]
    naive = cost_ms(lambda i: rgb2lab(frames[i % 6].image).reshape(-1, 3).mean(axis=0), 6)
    observer, clock = Observer(), iter(range(10**6))

    def observe(i: int) -> object:
        return observer.observe(Frame(next(clock) / 12, frames[i % 6].image))

    for i in range(24):
        observe(i)
    rows = stages(frames) | {"whole observation, following": cost_ms(observe, 60)}
    print(f"{width} x {height}, one thread; naive whole-frame conversion {naive:.1f} ms = 1")
    for name, ms in rows.items():
        print(f"{name:30s} {ms / naive:8.4f}  ({ms:.2f} ms)")


if __name__ == "__main__":
    main()
