"""Draw the contact sheets of the virtual bench that the documentation shows.

python sample_media/contact_sheets.py     writes docs/pictures/bench_*.jpg
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.virtual.camera import CameraModel
from huehold.virtual.presets import load_preset
from huehold.virtual.simulate_show import Show

_PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
_CELL = (320, 240)
_COLUMNS = 4
_WARM_UP_S = (-3.0, -1.5, -0.5)  # frames before, for the camera's automatics
_SCENARIOS = (
    ("hand_and_dropper", 6.4), ("swirl_and_shift", -1.0), ("white_balance_drift", 4.0),
    ("exposure_hunting", 25.0), ("dim_and_noisy", 8.0), ("oblique", -8.0),
    ("portrait_hevc", 5.0), ("mjpeg", -4.0), ("green_table", -0.6), ("pale_dye", -15.0),
    ("flicker", 9.0), ("knocked", 20.0), ("webm", 1.0), ("av1", -12.0), ("overshoot", 20.0),
    ("waving", -8.0),
)  # fmt: skip
"""Preset, and seconds from its onset (from 60 % of a run without one)."""

Picture = NDArray[np.uint8]


def main() -> None:
    """Write both sheets."""
    _PICTURES.mkdir(parents=True, exist_ok=True)
    demo = Show(load_preset("demo"))
    moments = [1.0, *(p.time_s + 0.4 for p in demo.story.portions[2:6:2])]
    moments += [75.0, 101.0, 150.0, 186.2, 200.0, demo.story.anchor_s - 1.0]
    moments += [demo.story.anchor_s + 0.6, demo.story.anchor_s + 6.0, demo.story.anchor_s + 60.0]
    run = [_cell(demo, t, f"{t:.1f} s") for t in sorted(moments)]
    _write("bench_run.jpg", run)
    _write("bench_scenarios.jpg", [_scenario_cell(name, after) for name, after in _SCENARIOS])


def _scenario_cell(name: str, after_s: float) -> Picture:
    show = Show(load_preset(name))
    return _cell(show, show.story.anchor_s + after_s, name)


def _cell(show: Show, time_s: float, label: str) -> Picture:
    """Render one frame, fitted into a cell, with a label."""
    camera = CameraModel(show.scenario, show.story)
    for before in (*_WARM_UP_S, 0.0):
        t = max(0.0, time_s + before)
        picture = camera.expose(show.scene.draw(t, show.shown.at(t)), t)
    coded = picture if picture.dtype == np.uint8 else (picture >> 8)
    image = np.ascontiguousarray(coded.astype(np.uint8)[..., ::-1])
    cell = np.full((_CELL[1], _CELL[0], 3), 24, dtype=np.uint8)
    scale = min(_CELL[0] / image.shape[1], _CELL[1] / image.shape[0])
    size = (round(image.shape[1] * scale), round(image.shape[0] * scale))
    x, y = (_CELL[0] - size[0]) // 2, (_CELL[1] - size[1]) // 2
    cell[y : y + size[1], x : x + size[0]] = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    for colour, width in (((0, 0, 0), 3), ((255, 255, 255), 1)):
        cv2.putText(cell, label, (8, 20), cv2.FONT_HERSHEY_SIMPLEX, 0.5, colour, width, cv2.LINE_AA)
    return cell


def _write(name: str, cells: list[Picture]) -> None:
    rows = [np.hstack(cells[k : k + _COLUMNS]) for k in range(0, len(cells), _COLUMNS)]
    cv2.imwrite(str(_PICTURES / name), np.vstack(rows), [cv2.IMWRITE_JPEG_QUALITY, 82])


if __name__ == "__main__":
    main()
