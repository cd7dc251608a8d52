"""A live run: newest frames through a session, kept in the notebook, told to listeners.

The loop runs in a thread of its own and owns the session. Whoever types a mass or presses
a button calls a method here; what touches the session is done by the loop between frames.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import replace
from typing import Any

from huehold.capture.live import LiveSource
from huehold.core import Ellipse, Event, Frame, Observation, Reading, Rect
from huehold.cues import CUES, in_order
from huehold.errors import HueholdError, InputError, UsageError
from huehold.masses import MassInputs
from huehold.notebook import MassEntry, Notebook
from huehold.run import Run
from huehold.session import Session
from huehold.vision.picture import single_threaded
from huehold.watching.attention import Attention
from huehold.watching.keeper import Keeper
from huehold.watching.masses import TypedMasses
from huehold.watching.moment import Listener, Moment
from huehold.watching.sight import Outlines, Steadiness

__all__ = ["LIVE_RATE_HZ", "Watch"]

_OBEYED_WITHIN_S = 5.0
_ENDED = "The run ended here, what was seen and typed is kept: something in the program failed"

LIVE_RATE_HZ = 15.0
"""Frames analysed per second of a live run, at most."""


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
        rate_hz: float = LIVE_RATE_HZ,
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
        self._enders: list[Callable[[], None]] = []
        self._orders: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._done = threading.Event()
        self._paused = False
        self._analysed = begin_s > 0.0
        self._now_s = begin_s
        self._attention = Attention(begin_s)
        self._keeper = Keeper(notebook, run_id, self.warnings)
        self._outlines = Outlines(session, self._keeper)
        self._steadiness = Steadiness(source)
        self._masses = TypedMasses(self._keeper)
        self._concluding = threading.Lock()
        self._concluded: MassInputs | None = None
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
            """Stop listening; more than once is no harm."""
            with contextlib.suppress(ValueError):
                self._listeners.remove(listener)

        return stop

    def when_over(self, call: Callable[[], None]) -> None:
        """Have `call` called once, in the loop's thread, when the run is over."""
        self._enders.append(call)

    @property
    def over(self) -> bool:
        """Whether the run has ended, with or without a result."""
        return self._done.is_set()

    def start(self) -> Watch:
        """Begin to watch; return self.

        Raises
        ------
        UsageError
            If another program watches this run.
        """
        self._keeper.claim()
        self._thread.start()
        return self

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the run is over; say whether it is."""
        return self._done.wait(timeout_s)

    def finish(self) -> Run | None:
        """End the run and return it; None if not a single frame came.

        What is wrong with the masses, if anything, is in its `assay_problem`.
        """
        self._stop.set()
        self.source.close()
        self._done.wait(30.0)
        return self.finished

    def pause(self, paused: bool) -> None:
        """Stop analysing, or go on; a pause is a gap, and a long one makes a hold start anew."""
        self._paused = paused

    def type_mass(
        self, text: str, *, typed: str | None = None, time_s: float | None = None
    ) -> MassEntry:
        """Write down a cumulative titrant mass.

        Parameters
        ----------
        text : str
            The mass, in grams unless stated.
        typed : str, optional
            What was really typed, where the mass was worked out from it.
        time_s : float, optional
            When it was typed, if that was earlier than now, as after a lost connection.

        Raises
        ------
        InputError
            If it is no mass, or falls below the one before it.
        """
        entry = self._masses.add(text, self._now_s, typed, time_s)
        self._orders.put(lambda: self.session.note_mass(entry.time_s, entry.mass_g))
        return entry

    def set_vessel(self, vessel: Ellipse | None) -> None:
        """Say where the vessel is from the next frame on; None has it found anew.

        Raises
        ------
        InputError
            If the outline makes no sense or lies outside the picture.
        """
        self._order(lambda: self._outlines.place(self._now_s, "vessel", vessel))

    def set_white(self, white: Rect | None) -> None:
        """Say where the white patch is from the next frame on; None has it found anew.

        Raises
        ------
        InputError
            If the patch makes no sense or reaches outside the picture.
        """
        self._order(lambda: self._outlines.place(self._now_s, "white", white))

    def _order(self, call: Callable[[], None]) -> None:
        """Have the loop do something between two frames, and wait for how it went."""
        answer: Future[None] = Future()

        def obey() -> None:
            """Do it in the loop, and hand over how it went."""
            try:
                call()
                answer.set_result(None)
            except Exception as error:
                answer.set_exception(_told(error, "That could not be done"))

        self._orders.put(obey)
        try:
            answer.result(timeout=_OBEYED_WITHIN_S)
        except TimeoutError:
            raise UsageError("The run is not being watched just now; try again.") from None

    def edit_mass(self, entry: int, text: str) -> MassEntry:
        """Give an entry another mass; the earlier one stays in its history."""
        return self._masses.edit(entry, text)

    def strike_mass(self, entry: int) -> MassEntry:
        """Take an entry back."""
        return self._masses.strike(entry)

    @property
    def masses(self) -> tuple[MassEntry, ...]:
        """The entries as they stand, those struck out included.

        One with an empty `entered_at` is in memory alone, as on a full disk.
        """
        return self._masses.entries()

    @property
    def unsaved(self) -> int:
        """How much of what was typed is in memory alone, for the notebook cannot be written."""
        return self._keeper.unsaved

    def adopt_masses(self, entries: tuple[MassEntry, ...]) -> None:
        """Take over the entries of an interrupted run that goes on."""
        self._masses.adopt(entries)

    def note(self, text: str) -> None:
        """Write a remark down at the present time."""
        self._keeper.add_note(self._now_s, text)

    def set_inputs(self, inputs: MassInputs) -> None:
        """Take what was weighed and read off labels, for the assay."""
        self.inputs = inputs
        self._keeper.set_inputs(inputs.as_mapping())

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The typed masses that stand, as readings in time order."""
        return self._masses.readings()

    # -- the loop --------------------------------------------------------------------------

    def reckon(self) -> None:
        """Work the result of a run that is over out anew, as after a corrected mass.

        Raises
        ------
        HueholdError
            If the notebook cannot take it.
        """
        if self.over and self.newest is not None:
            self._conclude(self.newest)

    def _run(self) -> None:
        try:
            with self.source, single_threaded():
                for frame in self.source.frames(rate_hz=self._rate_hz):
                    self._obey()
                    self._tell(self._safe_step(frame), frame)
                    if self._stop.is_set():
                        break
        except Exception as error:
            self.error = _told(error, _ENDED)
            with contextlib.suppress(Exception):  # a detector that fails cannot be asked either
                self._tell(replace(self._moment(None, ()), cues=(CUES["attention"],)), None)
        finally:
            self._close()

    def _obey(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                order = self._orders.get_nowait()
                try:
                    order()
                except Exception as error:
                    self._warn(str(_told(error, "Something typed was not understood by a part")))

    def _safe_step(self, frame: Frame | None) -> Moment:
        """Take a step; a picture that nobody foresaw counts as not seen, and the run goes on."""
        try:
            return self._step(frame)
        except InputError:
            if not self._analysed:
                raise
            self._warn(self._outlines.let_go())
            return self._moment(None, ())
        except HueholdError:
            raise
        except Exception as error:
            kind = type(error).__name__
            self._warn(f"Some pictures could not be analysed and count as not seen ({kind}).")
            return self._moment(None, ())

    def _step(self, frame: Frame | None) -> Moment:
        if frame is None or self._paused:
            self._now_s = self._begin_s + self.source.now_s
            return self._moment(None, ())
        frame = replace(frame, time_s=frame.time_s + self._begin_s)
        self._now_s = frame.time_s
        self.newest = frame
        step = self.session.feed(frame)
        self._analysed = True
        for sentence in self._steadiness.look(frame):
            self._warn(sentence)
        self._keeper.add(step.observation, step.events, frame)
        return self._moment(step.shown, step.events)

    def _moment(self, observation: Observation | None, events: tuple[Event, ...]) -> Moment:
        detector = self.session.detector
        phase = str(detector.phase)
        falling = detector.falling
        cues = tuple(self._attention.cues(self._now_s, falling, observation, self.source, events))
        moment = Moment(
            time_s=self._now_s,
            observation=observation,
            events=events,
            cues=in_order(() if self._paused else cues),
            phase=phase,
            held_s=detector.hold_progress_s,
            hold_s=detector.settings.hold_s,
            forecast=detector.forecast,
            source=self.source.state,
            paused=self._paused,
            white=self.session.white,
            falling=falling,
        )
        self.moment = moment
        return moment

    def _tell(self, moment: Moment, frame: Frame | None) -> None:
        for listener in tuple(self._listeners):
            try:
                listener(moment, frame)
            except Exception as error:
                # A view that fails must not cost the run.
                with contextlib.suppress(ValueError):
                    self._listeners.remove(listener)
                kind = type(error).__name__
                self._warn(f"A part that shows the run failed and was left out ({kind}).")

    def _warn(self, sentence: str) -> None:
        if sentence not in self.warnings:
            self.warnings.append(sentence)

    def _close(self) -> None:
        try:
            self._keeper.save()
            if self.newest is not None:
                self._conclude(self.newest)
            elif self._begin_s == 0.0 and not self._masses:
                self._keeper.put_away()
        except Exception as error:
            self.error = self.error or _told(error, _ENDED)
        finally:
            self._keeper.release()
            self._done.set()
            self._catch_up()
            for call in self._enders:
                with contextlib.suppress(Exception):  # one that fails must not keep the others
                    call()

    def _catch_up(self) -> None:
        """Conclude again if a mass was typed while the run was being concluded."""
        if self._concluded is not None and self._concluded != self._weighed():
            with contextlib.suppress(HueholdError):
                self.reckon()

    def _weighed(self) -> MassInputs:
        return replace(self.inputs, readings=self.readings)

    def _conclude(self, last: Frame) -> None:
        with self._concluding:
            weighed, told = self._weighed(), (*self.source.warnings, *self.warnings)
            self.finished = self.session.finish(
                self.source.info,
                masses=weighed.dated_by(last.time_s),
                frames_seen=self.source.frames_seen,
                warnings=told,
            )
            self._concluded = weighed
            self._keeper.finish(self.finished, self._summarise, told)


def _told(error: Exception, what: str) -> HueholdError:
    """Return an error as a sentence that a user can be told.

    Parameters
    ----------
    error : Exception
        One of ours is returned as it is.
    what : str
        How the sentence begins where nobody foresaw the error.
    """
    if isinstance(error, HueholdError):
        return error
    return HueholdError(f"{what} ({type(error).__name__}: {error}). Please report it.")
