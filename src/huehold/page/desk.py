"""What the page steers: the present run, and the runs of the notebook."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

from huehold.capture.browser import BrowserSource
from huehold.core import Frame
from huehold.errors import HueholdError, UsageError
from huehold.masses import MassInputs
from huehold.notebook import MassEntry, Notebook
from huehold.page.hub import Hub
from huehold.page.messages import (
    MassIn,
    bands_of,
    cue_values,
    event_values,
    for_phones,
    mass_values,
    moment_values,
    result_values,
    trace_values,
)
from huehold.run import Run
from huehold.watching import Moment, Watch

__all__ = ["Desk"]

_SENDER_GONE_S = 3.0


class Desk:
    """The present run and what may be done to it.

    Parameters
    ----------
    new_watch : callable
        Makes the watch of a new run, not yet started.
    notebook : Notebook
        Where runs are kept.
    on_moment : sequence of callable
        Further listeners for every run, such as the loudspeaker.
    """

    def __init__(
        self,
        new_watch: Callable[[], Watch],
        notebook: Notebook,
        first: Watch | None = None,
        on_moment: tuple[Callable[..., None], ...] = (),
    ) -> None:
        self.hub = Hub()
        self.notebook = notebook
        self._new_watch = new_watch
        self._listeners = (self.hub.moment, self._tell_warnings, *on_moment)
        self._warned: list[str] = []
        self._unsaved = 0
        self._lock = threading.Lock()
        self._typing = threading.Lock()
        self._typed: dict[str, int] = {}
        self._sender = ("", -_SENDER_GONE_S)
        self.watch = first or new_watch()
        self._begin(self.watch)

    def _begin(self, watch: Watch) -> None:
        for listener in self._listeners:
            watch.listen(listener)
        watch.when_over(lambda: self._say(_over_values(watch)))
        watch.start()

    def _tell_warnings(self, moment: Moment, frame: Frame | None) -> None:
        warnings = _warnings(self.watch)
        if warnings != self._warned:
            self._warned = warnings
            self.hub.say({"type": "warnings", "warnings": warnings})
        if self.watch.unsaved != self._unsaved:
            self._unsaved = self.watch.unsaved
            self._say_masses()

    def new_run(self) -> Watch:
        """End the present run and begin another.

        Raises
        ------
        HueholdError
            If the camera cannot be had.
        """
        with self._lock:
            if not self.watch.over:
                self.watch.finish()
            self._typed.clear()
            self.watch = self._new_watch()
            self._begin(self.watch)
        self._say(self.hello())
        return self.watch

    def finish(self) -> Run:
        """End the present run.

        Raises
        ------
        HueholdError
            If nothing was seen, or the masses make no sense.
        """
        with self._lock:
            run = self.watch.finish()
        if self.watch.error is not None and run is None:
            raise self.watch.error
        if run is None:
            raise UsageError("Nothing has been seen yet, so there is no run to finish.")
        return run

    def type_mass(self, typed: MassIn) -> MassEntry:
        """Write a mass down, once however often the page sends it.

        Raises
        ------
        InputError
            If it is no mass.
        """
        with self._typing:
            known = self._typed.get(typed.key) if typed.key else None
            if known is not None:
                return next(entry for entry in self.watch.masses if entry.entry == known)
            text, words = typed.worked_out()
            entry = self.watch.type_mass(text, typed=words, time_s=typed.typed_s)
            if typed.key:
                self._typed[typed.key] = entry.entry
        self.masses_changed()
        return entry

    def change_mass(self, number: int, typed: MassIn | None) -> MassEntry:
        """Give an entry another mass, or take it back.

        Raises
        ------
        HueholdError
            If there is no such entry, or it is no mass.
        """
        with self._typing:
            if typed is None:
                entry = self.watch.strike_mass(number)
            else:
                entry = self.watch.edit_mass(number, typed.worked_out()[0])
        self.masses_changed()
        return entry

    def set_inputs(self, values: dict[str, str]) -> MassInputs:
        """Take what was weighed and read off labels.

        Raises
        ------
        InputError
            If one of them cannot be read.
        """
        inputs = MassInputs.from_mapping(values, self.watch.session.method)
        self.watch.set_inputs(inputs)
        self.hub.say({"type": "inputs", "inputs": inputs.as_mapping()})
        self._reckon()
        return inputs

    def takes(self, sender: str) -> bool:
        """Say whether this sender's pictures are wanted: one camera at a time.

        Parameters
        ----------
        sender : str
            A name that the sending page made up for itself.
        """
        now_s = time.monotonic()
        known, last_s = self._sender
        if sender != known and now_s - last_s < _SENDER_GONE_S:
            return False
        self._sender = (sender, now_s)
        return True

    @property
    def phone(self) -> BrowserSource | None:
        """The source that takes pictures pushed by a page, if the run has one."""
        source = self.watch.source
        return source if isinstance(source, BrowserSource) else None

    def hello(self) -> dict[str, Any]:
        """Return all a page needs to draw the run from nothing."""
        watch = self.watch
        session, moment = watch.session, watch.moment
        return {
            "type": "hello",
            "run_id": watch.run_id,
            "method": _method_values(watch),
            "source": {
                "name": watch.source.info.name,
                "width_px": watch.source.info.width_px,
                "height_px": watch.source.info.height_px,
                "pushed": self.phone is not None,
            },
            "hold_s": session.detector.settings.hold_s,
            "trace": trace_values(session.trace()),
            "events": [event_values(event) for event in session.detector.events],
            "masses": [mass_values(entry) for entry in watch.masses],
            "inputs": watch.inputs.as_mapping(),
            "input_fields": MassInputs.fields(session.method),
            "moment": moment_values(moment) if moment is not None else None,
            "cues": cue_values(),
            "warnings": _warnings(watch),
            "finished": _over_values(watch) if watch.over else None,
        }

    def finished_values(self) -> dict[str, Any]:
        """Return how the run that is over ended, for the page."""
        return _over_values(self.watch)

    def masses_changed(self) -> None:
        """Tell every page the masses as they stand, and what follows for a finished run."""
        self._say_masses()
        self._reckon()

    def _say_masses(self) -> None:
        entries = [mass_values(entry) for entry in self.watch.masses]
        self.hub.say({"type": "masses", "masses": entries})

    def _reckon(self) -> None:
        watch = self.watch
        if not watch.over:
            return
        problem = None
        try:
            watch.reckon()
        except HueholdError as error:
            problem = str(error)
        self._say({**_over_values(watch), **({"error": problem} if problem else {})})

    def _say(self, message: dict[str, Any]) -> None:
        self.hub.say(message, for_phones(message))

    def close(self) -> None:
        """End the present run, keeping what there is."""
        if not self.watch.over:
            self.watch.finish()


def _warnings(watch: Watch) -> list[str]:
    return list(dict.fromkeys((*watch.source.warnings, *watch.warnings)))


def _over_values(watch: Watch) -> dict[str, Any]:
    values: dict[str, Any] = {
        "type": "finished",
        "run_id": watch.run_id,
        "verdict": None,
        "error": str(watch.error) if watch.error is not None else None,
    }
    if watch.finished is not None:
        values.update(result_values(watch.finished))
    return values


def _method_values(watch: Watch) -> dict[str, Any]:
    method = watch.session.method
    return {
        "name": method.name,
        "title": method.title,
        "start": method.indicator.start.name,
        "end": method.indicator.end.name,
        "bands": bands_of(method),
        "sample": method.sample.name,
        "titrant": method.titrant.name,
        "cautions": list(method.all_cautions),
    }
