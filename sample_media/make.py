"""Render the sample recording from its seed, or check the one that is there.

    python sample_media/make.py            writes demo.mp4, demo.truth.json, demo.masses.csv
    python sample_media/make.py --check    compares them with a fresh rendering

The check asks for the same bytes first. Another build of the encoder may code the same pictures
differently, and another processor may round a sum differently: then the recordings are compared
frame by frame, and the numbers of the truth one by one, within the tolerances below.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
from pathlib import Path
from typing import Any

import av
import numpy as np
from rich.console import Console
from rich.progress import Progress

from huehold.virtual.presets import load_preset
from huehold.virtual.simulate import Simulated, simulate

FOLDER = Path(__file__).resolve().parent
STAMP_S = 1e-4
MEAN_LEVELS = 1.0  # mean absolute difference of a frame, of 255
NUMBER = 1e-3  # relative difference of a number in truth or masses


def main() -> int:
    """Write or check; 0 if all is well, 1 if the files differ."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare, and write nothing")
    if not parser.parse_args().check:
        render(FOLDER)
        return 0
    with tempfile.TemporaryDirectory() as name:
        faults = compare(render(Path(name)), FOLDER)
    for fault in faults:
        print(fault)
    print("The sample differs." if faults else "The sample is as its seed makes it.")
    return 1 if faults else 0


def render(folder: Path) -> Simulated:
    """Write the three files into a folder."""
    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("demo", total=None)
        return simulate(
            load_preset("demo"),
            folder / "demo.mp4",
            progress=lambda done, total: progress.update(task, completed=done, total=total),
        )


def compare(fresh: Simulated, folder: Path) -> list[str]:
    """Tell what differs between a fresh rendering and the files of a folder.

    Returns
    -------
    list of str
        One sentence a fault; empty if none.
    """
    faults = []
    for path in (fresh.recording, fresh.truth, fresh.masses):
        kept = folder / path.name
        if not kept.is_file():
            faults.append(f"{path.name} is missing.")
        elif kept.read_bytes() != path.read_bytes():
            faults += _differences(path, kept)
    return faults


def _differences(fresh: Path, kept: Path) -> list[str]:
    if fresh.suffix == ".mp4":
        return frame_differences(fresh, kept)
    same = close(_values(fresh), _values(kept))
    return [] if same else [f"{kept.name} holds other numbers."]


def frame_differences(fresh: Path, kept: Path) -> list[str]:
    """Compare two recordings frame by frame; the first fault ends it."""
    with av.open(str(fresh)) as first, av.open(str(kept)) as second:
        streams = first.decode(video=0), second.decode(video=0)
        try:
            for count, (new, old) in enumerate(zip(*streams, strict=True)):
                if abs((new.time or 0.0) - (old.time or 0.0)) > STAMP_S:
                    return [f"{kept.name}: frame {count} has another time."]
                images = (frame.to_ndarray(format="rgb24").astype(float) for frame in (new, old))
                if np.abs(np.subtract(*images)).mean() > MEAN_LEVELS:
                    return [f"{kept.name}: frame {count} shows something else."]
        except ValueError:
            return [f"{kept.name} has another number of frames, or another size."]
    return []


def _values(path: Path) -> Any:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        return json.loads(text)
    return [[_number(cell) for cell in line.split(",")] for line in text.splitlines()]


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell


def close(first: Any, second: Any) -> bool:
    """Whether two plain values agree, numbers within `NUMBER`."""
    if isinstance(first, dict) and isinstance(second, dict):
        return first.keys() == second.keys() and all(close(first[k], second[k]) for k in first)
    if isinstance(first, list) and isinstance(second, list):
        return len(first) == len(second) and all(map(close, first, second))
    numbers = (int, float)
    if isinstance(first, numbers) and isinstance(second, numbers):
        return math.isclose(first, second, rel_tol=NUMBER, abs_tol=NUMBER)
    return bool(first == second)


if __name__ == "__main__":
    sys.exit(main())
