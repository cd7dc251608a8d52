"""Where verdicts begin to fail: each disturbance at five strengths on rendered runs.

    python -m benchmarks.disturbances                  all of them, as a table
    python -m benchmarks.disturbances blur tilt        some
    python -m benchmarks.disturbances --keep runs.jsonl   go on where an earlier call stopped

One titration of the virtual bench (scenario `clean`, 240 x 180 pixels, 6 frames a second, a
hold of 30 s) is rendered under each disturbance and goes through the live session frame by
frame, uncoded. A cell tells the verdict and the median trust over the hold.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from huehold.core import SourceInfo, Trace
from huehold.methods import load_method
from huehold.run import Run, Settings
from huehold.session import Session
from huehold.virtual.presets import load_preset
from huehold.virtual.presets_settings import with_settings
from huehold.virtual.simulate_show import Show

HOLD_S = 30.0
SLACK_S = 2.0  # an onset this near to the bench's is right
_BASE = ("sight.width_px=240", "sight.height_px=180", "recording.rate_hz=6")

Strengths = tuple[tuple[str, ...], ...]


def _series(template: str, *rows: Sequence[float | str]) -> Strengths:
    """Fill a template of settings with the numbers of each strength."""
    return tuple(tuple(template.format(*row).split()) for row in rows)


CAMPAIGN: dict[str, tuple[str, Strengths]] = {
    "exposure hunting": (
        "steps of exposure; metering that follows the cup",
        _series(
            "camera.exposure_hunting={0} camera.exposure_metering={1}",
            (0.1, 0.2), (0.25, 0.5), (0.4, 0.7), (0.55, 0.85), (0.7, 1.0),
        ),
    ),
    "white balance": (
        "drift; jumps",
        _series(
            "camera.white_drift={0} camera.white_hunting={1} camera.white_metering={2}",
            (0.05, 0.05, 0.2), (0.13, 0.1, 0.35), (0.22, 0.2, 0.5), (0.3, 0.35, 0.7),
            (0.4, 0.6, 1.0),
        ),
    ),
    "dimness and noise": (
        "light level; noise at full scale",
        _series(
            "light.level={0} camera.shot_noise={1} camera.read_noise={2}",
            (0.35, 0.03, 0.005), (0.2, 0.06, 0.01), (0.1, 0.1, 0.02), (0.05, 0.18, 0.05),
            (0.03, 0.3, 0.1),
        ),
    ),
    "blur": ("px", _series("camera.blur_px={0}", (1.5,), (3,), (5,), (8,), (12,))),
    "flicker": (
        "depth of the light, shutter 1/200 s",
        _series(
            "light.flicker_depth={0} camera.shutter_s=0.005 camera.readout_s=0.025",
            (0.2,), (0.4,), (0.6,), (0.8,), (1.0,),
        ),
    ),
    "glare": (
        "s across the liquid in the hold",
        _series("faults.glare_s=8 faults.spell_s={0}", (1,), (3,), (6,), (12,), (20,)),
    ),
    "hand": (
        "times over the cup in the hold",
        _series(
            "people.reach=0.9 people.wandering_s={0}",
            ("10",), ("6,16",), ("5,12,19",), ("4,9,14,19,24",), ("2,6,10,14,18,22,26",),
        ),
    ),
    "knock": (
        "px, in the hold",
        _series("faults.knock_s=12 faults.knock_px={0}", (5,), (10,), (20,), (40,), (80,)),
    ),
    "gap": (
        "s without a frame in the hold",
        _series("faults.gap_s=10 faults.gap_length_s={0}", (2,), (5,), (9,), (12,), (18,)),
    ),
    "pale dye": (
        "of the usual amount, plain paper",
        _series("ground.pattern=none bench.dye_lot={0}", (0.6,), (0.45,), (0.3,), (0.22,), (0.17,)),
    ),
    "tilt": (
        "degrees from straight above",
        _series("sight.tilt_deg={0}", (15,), (25,), (33,), (40,), (45,)),
    ),
    "cup pushed": (
        "cm, in the hold",
        _series("faults.shift_s=12 faults.shift_cm={0}", (0.5,), (1,), (1.5,), (2.2,), (3,)),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """What one rendered run came to.

    `trust` is the median over the true hold, `seen` the share of its observations that are
    trusted; `early_s` how long before the true onset an endpoint's onset was put (negative
    if later).
    """

    disturbance: str
    strength: int
    settings: tuple[str, ...]
    verdict: str
    early_s: float | None
    trust: float
    seen: float
    warnings: tuple[str, ...]

    @property
    def judged(self) -> str:
        """Right, late, missed or false."""
        if self.verdict != "endpoint":
            return "missed"
        early_s = self.early_s or 0.0
        if early_s > SLACK_S:
            return "FALSE"
        return "late" if early_s < -SLACK_S else "right"


def outcome(disturbance: str, strength: int, settings: tuple[str, ...]) -> Outcome:
    """Render one run, watch it, and hold it against the bench's truth."""
    show = Show(with_settings(load_preset("clean"), [*_BASE, *settings]))
    session = Session(load_method("magnesium-hydroxide-by-vinegar"), Settings(hold_s=HOLD_S))
    for frame in show.frames():
        session.feed(frame)
    run = session.finish(_source(show))
    onset_s = show.story.onset_s
    trust = _hold_trust(run.trace, onset_s)
    told = run.verdict.onset_s
    return Outcome(
        disturbance,
        strength,
        settings,
        run.verdict.kind,
        None if told is None or onset_s is None else onset_s - told,
        float(np.median(trust)) if len(trust) else 0.0,
        float(np.mean(trust >= 0.5)) if len(trust) else 0.0,
        _warnings(run),
    )


def _source(show: Show) -> SourceInfo:
    sight = show.scenario.sight
    return SourceInfo("virtual bench", sight.width_px, sight.height_px)


def _hold_trust(trace: Trace, onset_s: float | None) -> np.ndarray:
    """Trust over the true hold, where frames are."""
    start_s = 0.0 if onset_s is None else onset_s
    inside = (trace.time_s >= start_s) & (trace.time_s <= start_s + HOLD_S)
    return np.asarray(trace.trust[inside])


def _warnings(run: Run) -> tuple[str, ...]:
    reasons = () if run.verdict.kind == "endpoint" else run.verdict.reasons
    return (*reasons, *run.warnings)


def campaign(names: Iterable[str], keep: Path | None) -> list[Outcome]:
    """Run what is not kept yet, weakest first, and return all outcomes."""
    done = {(one.disturbance, one.strength): one for one in _kept(keep)}
    todo = [(name, n, row) for name in names for n, row in enumerate(CAMPAIGN[name][1], start=1)]
    for name, strength, row in sorted(todo, key=lambda item: _order(item[1])):
        if (name, strength) in done:
            continue
        started = time.monotonic()
        one = done[name, strength] = outcome(name, strength, row)
        took_s = time.monotonic() - started
        print(f"{name} {strength}: {one.judged} {one.trust:.2f} ({took_s:.0f} s)", file=sys.stderr)
        if keep is not None:
            with keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(one)) + "\n")
    return list(done.values())


def _order(strength: int) -> int:
    """Strongest and middle first, so that an unfinished campaign says the most."""
    return (5, 3, 4, 2, 1).index(strength)


def _kept(keep: Path | None) -> list[Outcome]:
    if keep is None or not keep.exists():
        return []
    rows = [json.loads(line) for line in keep.read_text("utf-8").splitlines()]
    return [
        Outcome(**{**r, "settings": tuple(r["settings"]), "warnings": tuple(r["warnings"])})
        for r in rows
    ]


def table(outcomes: Iterable[Outcome]) -> str:
    """Return the outcomes as a table in Markdown."""
    found = {(one.disturbance, one.strength): one for one in outcomes}
    lines = [
        "| disturbance | 1 | 2 | 3 | 4 | 5 | first not right |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, (about, rows) in CAMPAIGN.items():
        cells = [
            _cell(found.get((name, n)), label) for n, label in enumerate(_labels(rows), start=1)
        ]
        wrong = [n for n in range(1, 6) if (one := found.get((name, n))) and one.judged != "right"]
        first = str(min(wrong)) if wrong else "-"
        lines.append(f"| {name} ({about}) | {' | '.join(cells)} | {first} |")
    return "\n".join(lines)


def _labels(rows: Strengths) -> list[str]:
    """Return what varies between the strengths, for each."""
    columns = [column for column in zip(*rows, strict=True) if len(set(column)) > 1][:2]
    return [" / ".join(s.partition("=")[2] for s in row) for row in zip(*columns, strict=True)]


def _cell(one: Outcome | None, label: str) -> str:
    if one is None:
        return f"{label}: not run"
    return f"{label}: {one.judged} {one.trust:.2f} ({100 * one.seen:.0f} %)"


def main() -> None:
    """Run the campaign and print its table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--keep", type=Path, help="Outcomes as lines of JSON; read and added to.")
    options = parser.parse_args()
    print(table(campaign(options.names or list(CAMPAIGN), options.keep)))


if __name__ == "__main__":
    main()
