"""What a turbidity calibration buys: error of the share of solid with and without one.

    python -m benchmarks turbidity

Virtual titrations in three settings, four seeds each. Each is calibrated by the cup of another
seed in the same place and light: by its start and end (two points), or by seven shares between.
Told is the root mean square difference of the turbidity from the undissolved share, the median
over the seeds and the worst, without and with the calibration.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from huehold.calibration.turbidity import SolidShare, TurbidityCalibration, calibrate
from huehold.core import Observation
from huehold.virtual.presets import load_preset
from huehold.virtual.presets_settings import with_settings
from huehold.virtual.simulate_show import Show
from huehold.vision import Observer

COMMON = (
    "sight.width_px=640", "sight.height_px=480", "sight.cup_fraction=0.36", "balance.shown=false",
    "recording.rate_hz=3",
)  # fmt: skip
SETTINGS = {
    "from above, white in view": ("clean", ("card.shown=true",)),
    "aslant, no white": ("oblique", ("card.shown=false", "ground.paper_cm=0")),
    "from above, two and a half times the solid": (
        "clean", ("card.shown=true", "bench.sample_g=5", "bench.squirt_g=3.5"),
    ),
}  # fmt: skip
SHARES = {"two points": (0.0, 1.0), "seven points": (0.0, 0.15, 0.3, 0.45, 0.6, 0.8, 1.0)}
Seen = tuple[tuple[Observation, ...], NDArray[np.float64]]


def watched(name: str, seed: int, *changes: str) -> Seen:
    """Return the observations of a virtual titration, and the share of solid at each."""
    preset, of_setting = SETTINGS[name]
    settings = [*COMMON, *of_setting, *changes, f"seed={seed}"]
    show = Show(with_settings(load_preset(preset), settings))
    observer = Observer()
    seen = tuple(observer.observe(frame) for frame in show.frames())
    left = np.interp([o.time_s for o in seen], show.story.time_s, show.story.undissolved)
    return seen, left / left.max()


def made_from(seen: Seen, shares: Sequence[float], method: str = "") -> TurbidityCalibration:
    """Calibrate by the moments of a titration at which about these shares were left."""
    index = np.array([o.turbidity for o in seen[0]])
    sound = np.array([o.trust > 0.5 and np.isfinite(o.turbidity) for o in seen[0]])
    pairs = []
    for share in shares:
        near = sound & (np.abs(seen[1] - share) < (0.01 if share in (0.0, 1.0) else 0.04))
        if near.any():
            pairs.append((share, float(np.median(index[near]))))
    return calibrate(pairs, name="bench", made=date(2026, 11, 1), method=method)


def error(seen: Seen, curve: SolidShare | None) -> float:
    """RMS difference of the turbidity from the share of solid over sound observations."""
    shown = seen[0] if curve is None else [curve(o) for o in seen[0]]
    off = np.array([o.turbidity for o in shown]) - seen[1]
    good = np.array([o.trust > 0.5 for o in seen[0]]) & np.isfinite(off)
    return float(np.sqrt(np.mean(off[good] ** 2)))


def row(name: str, seeds: int) -> str:
    """Measure one setting."""
    runs = [watched(name, seed) for seed in range(1, seeds + 1)]
    cells = [[error(run, None) for run in runs]]
    for shares in SHARES.values():
        others = [*runs[1:], runs[0]]
        cells.append(
            [error(a, SolidShare(made_from(b, shares))) for a, b in zip(runs, others, strict=True)]
        )
    told = " | ".join(f"{np.median(cell):.3f}, {max(cell):.3f}" for cell in cells)
    return f"| {name} | {told} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=4)
    seeds = parser.parse_args().seeds
    print(f"| seen | without | {' | '.join(SHARES)} |\n|---|---|---|---|")
    for name in SETTINGS:
        print(row(name, seeds), flush=True)


if __name__ == "__main__":
    main()
