"""Play a scenario: frames at once, or a recording with the truth and the masses beside it."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from huehold.core import Frame
from huehold.errors import InputError
from huehold.virtual.encode import RecordingWriter
from huehold.virtual.presets import Scenario
from huehold.virtual.simulate_show import Show
from huehold.virtual.simulate_truth import write_truth

__all__ = ["Simulated", "render_frames", "simulate"]


@dataclass(frozen=True, slots=True)
class Simulated:
    """Where a simulated run was written: the recording, its truth, the noted masses."""

    recording: Path
    truth: Path
    masses: Path


def render_frames(scenario: Scenario) -> Iterator[Frame]:
    """Play a scenario as upright frames, without a file in between.

    Parameters
    ----------
    scenario : Scenario

    Yields
    ------
    Frame
    """
    return Show(scenario).frames()


def simulate(
    scenario: Scenario,
    recording: Path,
    *,
    truth: Path | None = None,
    masses: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Simulated:
    """Write a recording of a scenario, its truth and its masses.

    Parameters
    ----------
    scenario : Scenario
    recording : Path
        Its ending chooses the container; it must suit the scenario's codec.
    truth, masses : Path, optional
        Beside the recording as NAME.truth.json and NAME.masses.csv if not given.
    progress : callable, optional
        Called with the number of frames written and of all frames.

    Raises
    ------
    UsageError
        If the container cannot hold the codec.
    InputError
        If a file cannot be written.
    """
    written = Simulated(
        recording,
        truth or recording.with_suffix(".truth.json"),
        masses or recording.with_suffix(".masses.csv"),
    )
    try:
        show = _record(scenario, recording, progress)
        write_truth(show, written.truth)
        _write_masses(show, written.masses)
    except OSError as problem:
        where = problem.filename or recording
        raise InputError(
            f"{where} cannot be written ({problem.strerror}); choose another place."
        ) from None
    return written


def _record(scenario: Scenario, path: Path, progress: Callable[[int, int], None] | None) -> Show:
    with RecordingWriter(path, scenario.recording) as writer:
        show = Show(scenario)
        for count, (time_s, picture) in enumerate(show.pictures(), start=1):
            writer.write(time_s, picture)
            if progress is not None:
                progress(count, len(show.times))
    return show


def _write_masses(show: Show, path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["time_s", "cumulative_g"])
        writer.writerows((f"{t:.2f}", f"{mass:.2f}") for t, mass in show.story.masses)
