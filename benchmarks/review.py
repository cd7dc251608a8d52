"""Reviewing a recording, against decoding every frame of it and against a naive script.

    python -m benchmarks.review [RECORDING ...] [--coding 1080p] [--minutes 0] [--repeats 1]

Without a recording, a run of eight additions in 103 s is made (`--minutes 15`: one of an
addition a minute). Ratios are to decoding every frame with PyAV, frame threads on, in the
same run. The naive script decodes every frame, converts all of it to CIELAB with
scikit-image and takes the mean; its cost is measured on the first seconds and scaled.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import av
from skimage.color import rgb2lab

from benchmarks.clips import CODINGS, long_clip, run_clip
from benchmarks.tables import Spent, interleaved, show, spend
from huehold.core import Event
from huehold.run import Run, Settings
from huehold.session import review

_NAIVE_FRAMES = 24


def main() -> None:
    options = _options()
    hold_s = options.hold
    for path in options.recordings or [_made(options.coding, options.minutes)]:
        measure(path, hold_s, options.repeats, naive=not options.no_naive)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("recordings", nargs="*", type=Path)
    parser.add_argument("--coding", choices=CODINGS, default="1080p")
    parser.add_argument("--minutes", type=float, default=0.0)
    parser.add_argument("--hold", type=float, default=30.0)
    parser.add_argument("--repeats", type=int, default=1)
    parser.add_argument("--no-naive", action="store_true")
    return parser.parse_args()


def _made(coding: str, minutes: float) -> Path:
    short = coding in ("1080p-hevc", "4k")  # costly to code: two additions, and calm
    source_s = 22.0 if short else 103.0
    return long_clip(coding, minutes, source_s) if minutes else run_clip(coding, source_s)


def measure(path: Path, hold_s: float, repeats: int, *, naive: bool) -> None:
    runs: dict[str, Run] = {}

    def reviewed(passes: Any) -> None:
        runs[passes] = review(path, settings=Settings(hold_s=hold_s), passes=passes)

    spent = interleaved(
        {
            "decode every frame": lambda: sum(1 for _ in _decoded(path)),
            "full review": lambda: reviewed("full"),
            "review": lambda: reviewed("auto"),
        },
        repeats,
    )
    whole = spent["decode every frame"]
    full, auto = runs["full"], runs["auto"]
    if naive:
        spent["naive script"] = _naive(path, full.frames_seen)
    used = {"full review": full.frames_used, "review": auto.frames_used}
    rows = [
        [
            f"{s.wall_s / whole.wall_s:.2f}", f"{s.cpu_s / whole.cpu_s:.2f}", name,
            f"{s.wall_s:.1f}", f"{s.cpu_s:.1f}", used.get(name, full.frames_seen),
        ]
        for name, s in spent.items()
    ]  # fmt: skip
    info = full.source
    title = f"{info.width_px} x {info.height_px}, {info.detail['codec']}, {info.duration_s:.0f} s"
    show(title, ["ratio", "ratio, processor", "what", "s", "processor s", "frames"], rows)
    print(f"\n{_likeness(full, auto)}", flush=True)


def _decoded(path: Path) -> Iterator[Any]:
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        yield from container.decode(stream)


def _naive(path: Path, frames: int) -> Spent:
    def look() -> None:
        for frame in islice(_decoded(path), _NAIVE_FRAMES):
            rgb2lab(frame.to_ndarray(format="rgb24")).mean(axis=(0, 1))

    spent = spend(look)
    scale = frames / _NAIVE_FRAMES
    return Spent(spent.wall_s * scale, spent.cpu_s * scale)


def _likeness(full: Run, auto: Run) -> str:
    """Say in a sentence how far the two reviews agree."""
    ours, theirs = _told(full), _told(auto)
    onset = ""
    if full.verdict.onset_s is not None and auto.verdict.onset_s is not None:
        onset = f"; onset apart by {abs(full.verdict.onset_s - auto.verdict.onset_s):.3f} s"
    kinds = f"verdict {full.verdict.kind} / {auto.verdict.kind}"
    if [e.kind for e in ours] != [e.kind for e in theirs]:
        return f"{kinds}; {len(ours)} / {len(theirs)} events, not the same ones{onset}"
    apart_s = max((_apart_s(a, b) for a, b in zip(ours, theirs, strict=True)), default=0.0)
    return f"{kinds}; {len(ours)} events, apart by {apart_s:.3f} s at most{onset}"


def _told(run: Run) -> list[Event]:
    return [event for event in run.events if event.kind != "disturbance"]


def _apart_s(one: Event, other: Event) -> float:
    ends = abs((one.end_s or 0.0) - (other.end_s or 0.0))
    return max(abs(one.time_s - other.time_s), ends)


if __name__ == "__main__":
    main()
