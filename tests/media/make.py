"""Render the recordings that the scenario tests review, from their seeds.

    python tests/media/make.py            # all of them
    python tests/media/make.py overshoot  # some

They are kept in the repository because rendering them takes minutes and reviewing them seconds.
The virtual bench is deterministic: a preset that changed shows as a changed file.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from huehold.virtual.encode import recording_suffix
from huehold.virtual.presets import PRESETS, load_preset
from huehold.virtual.simulate import simulate

HERE = Path(__file__).resolve().parent
LONG = ("demo", "quarter_hour")
# The kitchen dye looks alike at pH 6 and pH 5; this one goes on to yellow, so that too much
# titrant can be seen.
BLUE = {"blue_clean": "clean", "blue_overshoot": "overshoot"}


def main(names: list[str]) -> None:
    """Render the named presets, or all short ones."""
    for name in names or [*(name for name in PRESETS if name not in LONG), *BLUE]:
        scenario = load_preset(BLUE.get(name, name))
        if name in BLUE:
            bench = replace(scenario.bench, dyes={"bromothymol_blue": 1.0})
            scenario = scenario.model_copy(update={"bench": bench, "name": name})
        done = simulate(scenario, HERE / f"{name}{recording_suffix(scenario.recording)}")
        print(done.recording.name, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
