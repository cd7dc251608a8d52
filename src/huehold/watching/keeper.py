"""Writing a live run to the notebook while it goes on."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from huehold.core import Event, Frame, Observation
from huehold.errors import HueholdError
from huehold.notebook import Claim, MassEntry, Notebook
from huehold.recorder import thumbnail
from huehold.run import Picture, Run

__all__ = ["Keeper"]

T = TypeVar("T")

_SAVE_EVERY_S = 1.0
_WAITS_S = 1800.0
_LET_GO = (
    "The notebook could not be written for half an hour: what was seen before that is missing in "
    "it; what was typed, the events and the result are not."
)
_LONGEST_PAUSE_S = 30.0
_PICTURE_EVERY_S = 2.0


class Keeper:
    """Writes to the notebook: observations once a second, masses at once.

    What cannot be written, as on a full disk, goes on waiting, and that is told; tries are then
    made less and less often, for each may take seconds in which no picture is looked at. What was
    typed and what was told waits without end, pictures and single looks for half an hour.
    """

    def __init__(self, notebook: Notebook | None, run_id: int | None, warnings: list[str]) -> None:
        self._notebook = notebook if run_id is not None else None
        self._run_id = run_id or 0
        self._warnings = warnings
        self._observations: list[Observation] = []
        self._events: list[Event] = []
        self._pictures: list[Picture] = []
        self._waiting: list[Callable[[], object]] = []  # what was typed
        self._written: dict[tuple[int, int], MassEntry] = {}
        self._writing = threading.Lock()  # masses are typed in other threads
        self._claim: Claim | None = None
        self._save_s = _SAVE_EVERY_S
        self._pause_s = _SAVE_EVERY_S
        self._picture_s = -_PICTURE_EVERY_S

    @property
    def unsaved(self) -> int:
        """How much of what was typed is in memory alone."""
        return len(self._waiting)

    def as_written(self, entry: MassEntry) -> MassEntry:
        """Return an entry as it stands in the notebook; as it is if it is in memory alone."""
        return self._written.get((entry.entry, entry.revision), entry)

    def add(self, observation: Observation, events: tuple[Event, ...], frame: Frame) -> None:
        """Take in what one frame brought; write when a second has passed."""
        if self._notebook is None:
            return
        self._observations.append(observation)
        self._events.extend(events)
        if frame.time_s >= self._picture_s + _PICTURE_EVERY_S:
            self._picture_s = frame.time_s
            self._pictures.append(Picture(frame.time_s, thumbnail(frame.image, 240)))
        if frame.time_s >= self._save_s:
            saved = self.save()
            self._pause_s = _SAVE_EVERY_S if saved else min(2.0 * self._pause_s, _LONGEST_PAUSE_S)
            self._save_s = frame.time_s + self._pause_s

    def save(self) -> bool:
        """Write what waits, and say whether nothing waits any longer."""
        if self._notebook is None:
            return True
        try:
            with self._writing:
                self._write_waiting()
            if self._observations:
                seen = self._observations, self._events, self._pictures
                self._notebook.append(self._run_id, *seen)
        except HueholdError as error:
            self._tell(str(error))
            self._let_go()
            return False
        self._observations, self._events, self._pictures = [], [], []
        return True

    def add_mass(self, time_s: float, mass_g: float, typed: str, number: int) -> MassEntry:
        """Write a mass down and return it as it stands."""
        entry = MassEntry(number, 1, time_s, mass_g, typed, "typed", False, "")
        book = self._notebook
        if book is None:
            return entry
        return self._write(lambda: book.add_mass(self._run_id, time_s, mass_g, typed), entry)

    def edit_mass(self, old: MassEntry, mass_g: float, typed: str, *, struck: bool) -> MassEntry:
        """Write another version of an entry down and return it."""
        changed = replace(old, mass_g=mass_g, typed=typed, struck=struck, revision=old.revision + 1)
        book = self._notebook
        if book is None:
            return changed
        return self._write(
            lambda: book.edit_mass(self._run_id, old.entry, mass_g, typed, struck=struck), changed
        )

    def add_note(self, time_s: float, text: str) -> None:
        """Write a remark down."""
        book = self._notebook
        if book is not None:
            self._write(lambda: book.add_note(self._run_id, time_s, text), None)

    def add_outline(self, time_s: float, what: str, shape: Mapping[str, float] | None) -> None:
        """Write down where the user says that the liquid or the white is."""
        book = self._notebook
        if book is not None:
            self._write(lambda: book.add_outline(self._run_id, time_s, what, shape), None)

    def set_inputs(self, inputs: Mapping[str, str]) -> None:
        """Write down what was weighed and read off labels."""
        book = self._notebook
        if book is not None:
            self._write(lambda: book.set_inputs(self._run_id, inputs), None)

    def _write(self, write: Callable[[], T], meant: T) -> T:
        """Write after what waits; if that cannot be, let it wait and return it as meant."""
        with self._writing:
            self._waiting.append(write)
            try:
                written: T = self._write_waiting()
                return written
            except HueholdError as error:
                self._tell(str(error))
                return meant

    def _write_waiting(self) -> Any:
        """Write what was typed in its order, and return what the last of it gave."""
        written: object = None
        while self._waiting:
            written = self._waiting[0]()
            if isinstance(written, MassEntry):
                self._written[written.entry, written.revision] = written
            del self._waiting[0]
        return written

    def _let_go(self) -> None:
        """Keep of what was seen only the newest part, so that memory stays bounded."""
        if not self._observations:
            return
        since_s = self._observations[-1].time_s - _WAITS_S
        if self._observations[0].time_s < since_s:
            self._tell(_LET_GO)
            self._observations = [seen for seen in self._observations if seen.time_s >= since_s]
            self._pictures = [seen for seen in self._pictures if seen.time_s >= since_s]

    def _tell(self, sentence: str) -> None:
        if sentence not in self._warnings:
            self._warnings.append(sentence)

    def claim(self) -> None:
        """Let no other program go on with this run while it is watched.

        Raises
        ------
        UsageError
            If another one watches it.
        """
        if self._notebook is not None:
            self._claim = Claim(self._notebook.path, self._run_id)

    def release(self) -> None:
        """Let go of the run."""
        if self._claim is not None:
            self._claim.release()

    def put_away(self) -> None:
        """Put a run away that never had a picture; it can be brought back."""
        if self._notebook is not None:
            self._notebook.remove(self._run_id)

    def finish(
        self,
        run: Run,
        summarise: Callable[[Run], Mapping[str, Any]] | None,
        told: Sequence[str] = (),
    ) -> None:
        """Close the run with its verdict and result, and with what only its pictures told."""
        if self._notebook is None:
            return
        self.save()
        verdict = {"kind": run.verdict.kind, "onset_s": run.verdict.onset_s}
        result = summarise(run) if summarise is not None else {}
        source = {
            **self._notebook.run(self._run_id).source,
            "name": run.source.name,
            "width_px": run.source.width_px,
            "height_px": run.source.height_px,
            "detail": dict(run.source.detail),
            "turbidity_basis": run.turbidity_basis,
            "warnings": list(told),
        }
        self._notebook.finish(self._run_id, verdict, result, source)
