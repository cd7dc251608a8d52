"""What the bench card buys: the same virtual titrations with nothing, a white patch, the card.

    python -m benchmarks card --presets clean oblique --json card.json

Each preset is played three times from the same seed: on the bare table, with a white card
beside the cup, and on the printed bench card. Told are the verdict, the error of the onset,
the error of hue and of colour against the well-mixed liquid over that ground, the rank
correlation of turbidity with the undissolved share, and how far the frames were trusted.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr

from huehold.calibration.card import card_layout
from huehold.calibration.card_guide import CardGuide
from huehold.calibration.card_print import Bar, Ring, draw_page
from huehold.core import Frame, Trace
from huehold.detection import Detector
from huehold.methods import load_method
from huehold.run import Settings
from huehold.session import detector_settings
from huehold.virtual.cup import raised_cm
from huehold.virtual.presets import load_preset
from huehold.virtual.presets_settings import with_settings
from huehold.virtual.scene_ground import standing_cm
from huehold.virtual.scene_view import View
from huehold.virtual.simulate_show import Show
from huehold.virtual.simulate_truth import liquid_lab
from huehold.vision import Observer

METHOD = "magnesium-hydroxide-by-vinegar"
HOLD_S = 30.0
PAPER, INK = 0.82, 0.05  # reflectances of plain paper and toner
PX_PER_MM = 12.0
PRESETS = ("clean", "white_balance_drift", "oblique", "exposure_hunting", "dim_and_noisy")
COMMON = (
    "sight.width_px=640", "sight.height_px=480", "sight.cup_fraction=0.36", "balance.shown=false",
    "recording.rate_hz=6", "sight.down=0",
)  # fmt: skip
ARMS = {
    "nothing": ("card.shown=false", "ground.paper_cm=0"),
    "white patch": ("card.shown=true",),
    "bench card": ("card.shown=false", "ground.paper_cm=0"),
}


@dataclass(frozen=True)
class Outcome:
    """One run: what it came to, and how far it was from the truth."""

    preset: str
    arm: str
    verdict: str
    onset_error_s: float | None
    hue_error_deg: float
    colour_error: float
    turbidity_rank: float
    trusted: float
    card_used: float
    ms_a_frame: float


def card_picture(cup_mm: int) -> NDArray[np.float32]:
    """Reflectance of the printed card, words left out."""
    layout = card_layout(cup_mm)
    page = draw_page(layout)
    left, top = (o - layout.half_mm for o in page.origin_mm)
    side = round(2 * layout.half_mm * PX_PER_MM)
    image = np.full((side, side), PAPER, dtype=np.float32)
    for shape in page.shapes:
        x, y = (shape.x_mm - left) * PX_PER_MM, (shape.y_mm - top) * PX_PER_MM
        if isinstance(shape, Ring):
            line, radius = round(shape.line_mm * PX_PER_MM), round(shape.radius_mm * PX_PER_MM)
            cv2.circle(image, (round(x), round(y)), radius, 0.1, line)
        elif isinstance(shape, Bar) and shape.colour == "#000000" and y < side:
            bottom, right = y + shape.height_mm * PX_PER_MM, x + shape.width_mm * PX_PER_MM
            image[round(y) : round(bottom), round(x) : round(right)] = INK
    return image


def lay_card(picture: NDArray[np.float32], view: View, height_cm: float, cup_mm: int) -> None:
    """Paint the card on a level plane of the bench, in place."""
    raster, half = card_picture(cup_mm), card_layout(cup_mm).half_mm
    scale = view.pixels_per_cm(height_cm) / (10.0 * PX_PER_MM)
    raster = np.asarray(cv2.GaussianBlur(raster, (0, 0), 0.45 / scale), dtype=np.float32)
    x, y = (10.0 * v for v in view.world(height_cm))
    u, v = ((s + half) * PX_PER_MM - 0.5 for s in (x, -y))  # the bench's y runs away from us
    seen = cv2.remap(raster, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR)
    inside = (np.abs(x) < half) & (np.abs(y) < half)
    tint = np.array([1.0, 0.995, 0.97], dtype=np.float32)
    picture[inside] = seen[inside, None] * tint


def show_of(preset: str, arm: str) -> Show:
    """Set the bench of one run."""
    show = Show(with_settings(load_preset(preset), [*COMMON, *ARMS[arm]]))
    if arm == "bench card":
        scene, cup = show.scene, show.scenario.cup
        cup_mm = int(5 * np.ceil(20.0 * cup.radius_cm / 5.0))
        stand = standing_cm(show.scenario.balance)
        lay_card(scene.bench, scene.view, stand, cup_mm)
        lay_card(scene.under, scene.view, stand + raised_cm(cup), cup_mm)
        scene._set_cup()
    return show


def truth_of(show: Show, arm: str, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIELAB of the liquid against the white of that arm: patch, paper, or a perfect one."""
    if arm != "bench card":
        return liquid_lab(show, times_s)
    import colour

    ground = show.scene.ground_mean()
    assert ground is not None
    looks = np.array([show.story.at(float(t))[0] for t in times_s])
    white = PAPER * np.array([1.0, 0.995, 0.97])
    space = colour.RGB_COLOURSPACES["sRGB"]
    linear = (looks[:, :3] + looks[:, 3:6] * ground) / white
    xyz = linear @ np.asarray(space.matrix_RGB_to_XYZ).T
    return np.asarray(colour.XYZ_to_Lab(xyz, space.whitepoint))


def watch(frames: Iterator[Frame], observer: Observer, detector: Detector) -> tuple[Trace, float]:
    """Run the analysis; return the trace and its time per frame in ms."""
    seen, spent = [], 0.0
    for frame in frames:
        begun = time.perf_counter()
        seen.append(observer.observe(frame))
        detector.update(seen[-1])
        spent += time.perf_counter() - begun
    return Trace.of(seen), 1e3 * spent / max(len(seen), 1)


def run(preset: str, arm: str) -> Outcome:
    """Play one run and judge it."""
    show = show_of(preset, arm)
    guide = CardGuide()
    detector = Detector(detector_settings(load_method(METHOD), Settings(hold_s=HOLD_S)))
    trace, ms = watch(show.frames(), Observer(guide=guide), detector)
    verdict = detector.finish()
    true = truth_of(show, arm, trace.time_s)
    sound = (trace.trust > 0.5) & np.isfinite(trace.a)
    coloured = sound & (np.hypot(true[:, 1], true[:, 2]) > 10.0)
    hue = np.degrees(np.arctan2(true[:, 2], true[:, 1]))
    turn = (trace.hue_deg - hue + 180.0) % 360.0 - 180.0
    apart = np.hypot(trace.a - true[:, 1], trace.b - true[:, 2])
    left = np.interp(trace.time_s, show.story.time_s, show.story.undissolved)
    cloud = sound & np.isfinite(trace.turbidity)
    onset = show.story.onset_s
    error = None if onset is None or verdict.onset_s is None else verdict.onset_s - onset
    return Outcome(
        preset, arm, verdict.kind, error,
        float(np.median(np.abs(turn[coloured]))), float(np.median(apart[sound])),
        float(spearmanr(left[cloud], trace.turbidity[cloud]).statistic) if cloud.sum() > 9 else 0.0,
        float(sound.mean()), guide.used, ms,
    )  # fmt: skip


def table(outcomes: list[Outcome]) -> str:
    """Markdown table of the outcomes."""
    head = (
        "| preset | with | verdict | onset error, s | hue error, ° | error in a, b "
        "| turbidity rank | frames trusted | ms a frame |\n" + "|---" * 9 + "|"
    )
    rows = [
        f"| {o.preset} | {o.arm} | {o.verdict} "
        f"| {'-' if o.onset_error_s is None else f'{o.onset_error_s:+.2f}'} "
        f"| {o.hue_error_deg:.1f} | {o.colour_error:.1f} | {o.turbidity_rank:.2f} "
        f"| {100 * o.trusted:.0f} % | {o.ms_a_frame:.1f} |"
        for o in outcomes
    ]
    return "\n".join([head, *rows])


def main() -> None:
    """Run the presets named and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--presets", nargs="+", default=list(PRESETS))
    parser.add_argument("--arms", nargs="+", choices=list(ARMS), default=list(ARMS))
    parser.add_argument("--json", type=Path)
    chosen = parser.parse_args()
    outcomes = []
    for preset in chosen.presets:
        for arm in chosen.arms:
            outcomes.append(run(preset, arm))
            print(table(outcomes[-1:]).splitlines()[-1], file=sys.stderr, flush=True)
    print(table(outcomes))
    if chosen.json:
        chosen.json.write_text(json.dumps([asdict(o) for o in outcomes], indent=1) + "\n")


if __name__ == "__main__":
    main()
