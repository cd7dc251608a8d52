"""What a live run does beside watching: calling for attention, writing to the notebook."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from huehold.capture.live import LiveSource
from huehold.core import Event, Frame, Observation
from huehold.cues import CUES, Cue
from huehold.errors import HueholdError
from huehold.notebook import MassEntry, Notebook
from huehold.recorder import thumbnail
from huehold.run import Picture, Run

__all__ = ["Attention", "Keeper"]

_SAVE_EVERY_S = 1.0
_PICTURE_EVERY_S = 2.0
_BLIND_AFTER_S = 1.5
_REMIND_EVERY_S = 20.0
_DISTRUST_AFTER_S = 6.0


class Attention:
    """Decides when to call for attention, and tells a fade-back as it begins."""

    def __init__(self) -> None:
        self._phase = ""
        self._called_s = -_REMIND_EVERY_S
        self._trusted_s = 0.0

    def cues(
        self, now_s: float, phase: str, observation: Observation | None, source: LiveSource
    ) -> Iterator[Cue]:
        """Yield what should be heard beside the events' own cues."""
        if phase != self._phase and phase == "fading back":
            yield CUES["fading_back"]
        self._phase = phase
        if observation is not None and observation.trust >= 0.5:
            self._trusted_s = now_s
        blind = source.silent_s > _BLIND_AFTER_S or now_s - self._trusted_s > _DISTRUST_AFTER_S
        if not blind:
            self._called_s = -_REMIND_EVERY_S
        elif now_s - self._called_s >= _REMIND_EVERY_S:
            self._called_s = now_s
            yield CUES["attention"]


class Keeper:
    """Writes to the notebook: observations once a second, masses at once."""

    def __init__(self, notebook: Notebook | None, run_id: int | None, warnings: list[str]) -> None:
        self._notebook = notebook if run_id is not None else None
        self._run_id = run_id or 0
        self._warnings = warnings
        self._observations: list[Observation] = []
        self._events: list[Event] = []
        self._pictures: list[Picture] = []
        self._saved_s = 0.0
        self._picture_s = -_PICTURE_EVERY_S

    def add(self, observation: Observation, events: tuple[Event, ...], frame: Frame) -> None:
        """Take in what one frame brought; write when a second has passed."""
        if self._notebook is None:
            return
        self._observations.append(observation)
        self._events.extend(events)
        if frame.time_s >= self._picture_s + _PICTURE_EVERY_S:
            self._picture_s = frame.time_s
            self._pictures.append(Picture(frame.time_s, thumbnail(frame.image, 240)))
        if frame.time_s >= self._saved_s + _SAVE_EVERY_S:
            self._saved_s = frame.time_s
            self.save()

    def save(self) -> None:
        """Write what waits; if it cannot be written it goes on waiting, and that is told."""
        if self._notebook is None or not self._observations:
            return
        try:
            self._notebook.append(self._run_id, self._observations, self._events, self._pictures)
        except HueholdError as error:
            if str(error) not in self._warnings:
                self._warnings.append(str(error))
            return
        self._observations, self._events, self._pictures = [], [], []

    def add_mass(self, time_s: float, mass_g: float, typed: str, number: int) -> MassEntry:
        """Write a mass down and return it as it stands."""
        if self._notebook is None:
            return MassEntry(number, 1, time_s, mass_g, typed, "typed", False, "")
        return self._notebook.add_mass(self._run_id, time_s, mass_g, typed)

    def edit_mass(self, old: MassEntry, mass_g: float, typed: str, *, struck: bool) -> MassEntry:
        """Write another version of an entry down and return it."""
        if self._notebook is None:
            changed = replace(old, mass_g=mass_g, typed=typed, struck=struck)
            return replace(changed, revision=old.revision + 1)
        return self._notebook.edit_mass(self._run_id, old.entry, mass_g, typed, struck=struck)

    def finish(self, run: Run, summarise: Callable[[Run], Mapping[str, Any]] | None) -> None:
        """Close the run with its verdict and result."""
        if self._notebook is None:
            return
        verdict = {"kind": run.verdict.kind, "onset_s": run.verdict.onset_s}
        result = summarise(run) if summarise is not None else {}
        self._notebook.finish(self._run_id, verdict, result)
