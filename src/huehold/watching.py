"""A live run: newest frames through a session, kept in the notebook, told to listeners.

The loop runs in a thread of its own and owns the session. Whoever types a mass or presses
a button calls a method here; what touches the session is done by the loop between frames.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from huehold.capture.live import LiveSource, LiveState
from huehold.core import Event, Frame, Observation, Reading
from huehold.cues import CUES, Cue, cue_for
from huehold.detection import Forecast
from huehold.errors import HueholdError
from huehold.masses import MassInputs, read_mass
from huehold.notebook import MassEntry, Notebook
from huehold.recorder import thumbnail
from huehold.run import Picture, Run
from huehold.session import Session

__all__ = ["Listener", "Moment", "Watch"]

_SAVE_EVERY_S = 1.0
_PICTURE_EVERY_S = 2.0
_BLIND_AFTER_S = 1.5
_REMIND_EVERY_S = 20.0
_DISTRUST_AFTER_S = 6.0


@dataclass(frozen=True, slots=True)
class Moment:
    """How the run stands after a frame, or after a while without one.

    Attributes
    ----------
    time_s : float
        Seconds from the first frame.
    observation : Observation or None
        What the newest frame said; None when no frame came.
    events : tuple of Event
        What could newly be told.
    cues : tuple of Cue
        What should be heard now.
    phase : str
        The detector's word for where the run stands.
    held_s, hold_s : float
        How long the end colour has held, and how long it must.
    forecast : Forecast or None
        Whether it is likely to hold.
    source : str
        What the camera is doing: opening, running, stalled, ended or lost.
    paused : bool
        Whether the user paused the run.
    """

    time_s: float
    observation: Observation | None
    events: tuple[Event, ...]
    cues: tuple[Cue, ...]
    phase: str
    held_s: float
    hold_s: float
    forecast: Forecast | None
    source: LiveState
    paused: bool


Listener = Callable[[Moment, Frame | None], None]


class Watch:
    """One live run.

    Parameters
    ----------
    source : LiveSource
        Where frames come from; started and closed here.
    session : Session
        New, or with the observations of an interrupted run already taken.
    notebook : Notebook or None
        Where the run is kept; None keeps it in memory only.
    run_id : int or None
        The run's number in the notebook.
    begin_s : float
        Time of the first frame: 0, or later when an interrupted run goes on.
    rate_hz : float
        Most frames analysed per second.
    summarise : callable, optional
        Turns the finished run into the result that the notebook keeps.
    """

    def __init__(
        self,
        source: LiveSource,
        session: Session,
        *,
        notebook: Notebook | None = None,
        run_id: int | None = None,
        begin_s: float = 0.0,
        rate_hz: float = 15.0,
        summarise: Callable[[Run], Mapping[str, Any]] | None = None,
    ) -> None:
        self.source = source
        self.session = session
        self.notebook = notebook
        self.run_id = run_id
        self.inputs = MassInputs()
        self.warnings: list[str] = []
        self.finished: Run | None = None
        self.error: HueholdError | None = None
        self.newest: Frame | None = None
        self.moment: Moment | None = None
        self._begin_s, self._rate_hz, self._summarise = begin_s, rate_hz, summarise
        self._listeners: list[Listener] = []
        self._orders: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._done = threading.Event()
        self._paused = False
        self._now_s = begin_s
        self._attention = _Attention()
        self._keeper = _Keeper(notebook, run_id, self.warnings)
        self._masses: list[MassEntry] = []
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)

    # -- for whoever shows or steers the run ---------------------------------------------

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Have `listener` called after every frame, in the loop's thread.

        Returns
        -------
        callable
            Call it to stop listening.
        """
        self._listeners.append(listener)

        def stop() -> None:
            with contextlib.suppress(ValueError):
                self._listeners.remove(listener)

        return stop

    def start(self) -> Watch:
        """Begin to watch; return self."""
        self._thread.start()
        return self

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the run is over; say whether it is."""
        return self._done.wait(timeout_s)

    def finish(self) -> Run | None:
        """End the run and return it; None if not a single frame came.

        Raises
        ------
        HueholdError
            If the masses make no sense; the run stays in the notebook.
        """
        self._stop.set()
        self.source.close()
        self._done.wait(30.0)
        return self.finished

    def pause(self, paused: bool) -> None:
        """Stop analysing, or go on; while paused nothing counts towards a hold."""
        self._paused = paused

    def type_mass(self, text: str) -> MassEntry:
        """Write down a cumulative titrant mass as typed, at the present time.

        Raises
        ------
        InputError
            If it is no mass, or falls below the one before it.
        """
        mass_g = read_mass(text, previous_g=self._last_mass_g())
        entry = self._keeper.add_mass(self._now_s, mass_g, text, len(self._masses) + 1)
        self._masses.append(entry)
        self._orders.put(lambda: self.session.detector.note_addition(entry.time_s))
        return entry

    def edit_mass(self, entry: int, text: str) -> MassEntry:
        """Give an entry another mass; the earlier one stays in its history."""
        changed = self._keeper.edit_mass(self._entry(entry), read_mass(text), text, struck=False)
        return self._put(changed)

    def strike_mass(self, entry: int) -> MassEntry:
        """Take an entry back."""
        old = self._entry(entry)
        return self._put(self._keeper.edit_mass(old, old.mass_g, old.typed, struck=True))

    @property
    def masses(self) -> tuple[MassEntry, ...]:
        """The entries as they stand, those struck out included."""
        return tuple(self._masses)

    def adopt_masses(self, entries: tuple[MassEntry, ...]) -> None:
        """Take over the entries of an interrupted run that goes on."""
        self._masses = list(entries)

    def note(self, text: str) -> None:
        """Write a remark down at the present time."""
        if self.notebook is not None and self.run_id is not None:
            self.notebook.add_note(self.run_id, self._now_s, text)

    def set_inputs(self, inputs: MassInputs) -> None:
        """Take what was weighed and read off labels, for the assay."""
        self.inputs = inputs
        if self.notebook is not None and self.run_id is not None:
            self.notebook.set_inputs(self.run_id, inputs.as_mapping())

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The typed masses that stand, as readings in time order."""
        standing = (entry for entry in self._masses if not entry.struck)
        found = [Reading(e.time_s, e.mass_g, e.source) for e in standing]
        return tuple(sorted(found, key=lambda reading: reading.time_s))

    def _entry(self, number: int) -> MassEntry:
        for entry in self._masses:
            if entry.entry == number:
                return entry
        raise HueholdError(f"There is no mass entry {number} in this run.")

    def _put(self, changed: MassEntry) -> MassEntry:
        self._masses = [changed if e.entry == changed.entry else e for e in self._masses]
        return changed

    def _last_mass_g(self) -> float | None:
        standing = [entry.mass_g for entry in self._masses if not entry.struck]
        return standing[-1] if standing else None

    # -- the loop --------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            with self.source:
                for frame in self.source.frames(rate_hz=self._rate_hz):
                    self._obey()
                    self._tell(self._step(frame), frame)
                    if self._stop.is_set():
                        break
        except HueholdError as error:
            self.error = error
        finally:
            self._close()

    def _obey(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                self._orders.get_nowait()()

    def _step(self, frame: Frame | None) -> Moment:
        if frame is None or self._paused:
            self._now_s = self._begin_s + self.source.now_s
            return self._moment(None, ())
        frame = replace(frame, time_s=frame.time_s + self._begin_s)
        self._now_s = frame.time_s
        self.newest = frame
        step = self.session.feed(frame)
        self._keeper.add(step.observation, step.events, frame)
        return self._moment(step.observation, step.events)

    def _moment(self, observation: Observation | None, events: tuple[Event, ...]) -> Moment:
        detector = self.session.detector
        cues = [cue for event in events if (cue := cue_for(event)) is not None]
        cues += self._attention.cues(self._now_s, str(detector.phase), observation, self.source)
        moment = Moment(
            time_s=self._now_s,
            observation=observation,
            events=events,
            cues=() if self._paused else tuple(cues),
            phase=str(detector.phase),
            held_s=detector.hold_progress_s,
            hold_s=detector.settings.hold_s,
            forecast=detector.forecast,
            source=self.source.state,
            paused=self._paused,
        )
        self.moment = moment
        return moment

    def _tell(self, moment: Moment, frame: Frame | None) -> None:
        for listener in tuple(self._listeners):
            listener(moment, frame)

    def _close(self) -> None:
        try:
            self._keeper.save()
            if self.newest is not None:
                masses = replace(self.inputs, readings=self.readings)
                warnings = (*self.source.warnings, *self.warnings)
                self.finished = self.session.finish(
                    self.source.info,
                    masses=masses,
                    frames_seen=self.source.frames_seen,
                    warnings=warnings,
                )
                self._keeper.finish(self.finished, self._summarise)
        except HueholdError as error:
            self.error = error
        finally:
            self._done.set()


class _Attention:
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


class _Keeper:
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
        if self._notebook is None:
            return MassEntry(number, 1, time_s, mass_g, typed, "typed", False, "")
        return self._notebook.add_mass(self._run_id, time_s, mass_g, typed)

    def edit_mass(self, old: MassEntry, mass_g: float, typed: str, *, struck: bool) -> MassEntry:
        if self._notebook is None:
            changed = replace(old, mass_g=mass_g, typed=typed, struck=struck)
            return replace(changed, revision=old.revision + 1)
        return self._notebook.edit_mass(self._run_id, old.entry, mass_g, typed, struck=struck)

    def finish(self, run: Run, summarise: Callable[[Run], Mapping[str, Any]] | None) -> None:
        if self._notebook is None:
            return
        verdict = {"kind": run.verdict.kind, "onset_s": run.verdict.onset_s}
        result = summarise(run) if summarise is not None else {}
        self._notebook.finish(self._run_id, verdict, result)
