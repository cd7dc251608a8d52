"""The online detector: observations in, events out, the verdict at the end.

The order of things for one observation: how much is seen (`sight`), the steady colour
(`smoothing`), the start colour and the line (`start`, `axis`), additions and fade-backs
(`additions`, `fadeback`), and the hold (`hold`). Work and memory for one observation are
bounded, and nothing depends on how observations are handed over.
"""

from __future__ import annotations

import enum
import math
from dataclasses import replace

from huehold.core import Event, EventKind, Observation, Verdict
from huehold.detection.additions import AdditionFinder, Peak, Step
from huehold.detection.axis import COLOURED, AxisLearner, Line
from huehold.detection.cause import Cause
from huehold.detection.crossing import crossing_s
from huehold.detection.fadeback import FadeBack, FadeBackWatch
from huehold.detection.forecast import Forecast, Forecaster
from huehold.detection.hold import Hold, HoldWatch
from huehold.detection.notes import Notes
from huehold.detection.palette import Palette
from huehold.detection.plane import Sample, chroma, hue_deg, is_readable, sample_of
from huehold.detection.settings import DetectorSettings
from huehold.detection.sight import Sight
from huehold.detection.smoothing import Point, Smoother
from huehold.detection.start import PlateauFinder
from huehold.detection.telling import Teller
from huehold.detection.verdict import Findings, reach_verdict

__all__ = ["Detector", "Phase"]

_LOOK_BACK_S = 9.0  # an entry is told this long after it at most, behind a swirl and a hand
_START_SIDE = 0.15  # plateaus below this position are the start colour
_END_PLATEAU_S = 2.0
_BEYOND_DEG = 12.0  # hue past the far side of the end band: overshoot
_BRINK = 0.25  # of the way about the edge of the end band
_LOST = 0.25  # of the way: a called colour this far down, and added to, was no endpoint
_TURBIDITY_LAST_S = 15.0


class Phase(enum.StrEnum):
    """Where the run stands, in plain words."""

    WAITING = "waiting for the start colour"
    START = "start colour"
    FADING = "fading back"
    HOLDING = "end colour, holding"
    ENDPOINT = "endpoint"
    OVERSHOOT = "overshoot"
    BLIND = "cannot see"


class Detector:
    """Tells additions, fade-backs, holds and the endpoint as they come.

    Parameters
    ----------
    settings : DetectorSettings
        What the method asks for.

    Notes
    -----
    The same observations give the same events, live or reviewed. Observations that are
    not later than the one before are passed over.
    """

    def __init__(self, settings: DetectorSettings) -> None:
        self.settings = settings
        self._teller = Teller()
        self._sight = Sight()
        self._smoother = Smoother()
        self._plateaus = PlateauFinder(settings)
        self._axis = AxisLearner(settings)
        self._palette = Palette(settings)
        self._finder = AdditionFinder()
        self._notes = Notes()
        self._cause = Cause()
        self._fadeback = FadeBackWatch()
        self._forecaster = Forecaster(settings.hold_s)
        self._watch = HoldWatch(settings.hold_s, heed_clearing=settings.clearing)
        self._now_s = -math.inf
        self._colour: complex | None = None
        self._end_first_s: float | None = None
        self._began_at_end = False
        self._additions = 0
        self._late_additions = 0
        self._confirmed_s: float | None = None
        self._withdrawn_s: float | None = None
        self._overshot = False
        self._cleared_from: float | None = None
        self._verdict: Verdict | None = None

    # --- what goes in -----------------------------------------------------------------

    def update(self, observation: Observation) -> tuple[Event, ...]:
        """Take the next observation.

        Parameters
        ----------
        observation : Observation
            Later in time than the one before it.

        Returns
        -------
        tuple of Event
            What could be told with it, mostly nothing.
        """
        if not observation.time_s > self._now_s or self._verdict is not None:
            return ()
        self._now_s = observation.time_s
        readable = is_readable(observation)
        trusted = readable and observation.trust >= self.settings.min_trust
        covered_s = self._sight.covered_s(self._now_s)
        self._break_if_blind()
        closed = self._sight.add(self._now_s, trusted, observation.reasons)
        self._teller.tell_disturbances(self._now_s, closed)
        self._follow_notes()
        if "hand" in observation.reasons:
            self._finder.hand(self._now_s)
        if trusted:
            self._see(sample_of(observation), covered_s)
        else:
            self._smoother.glimpse(sample_of(observation))
            self._finder.trouble(self._now_s)
        return self._teller.new()

    def note_addition(self, time_s: float) -> None:
        """Take note that titrant was added, as typed or read from a balance.

        Parameters
        ----------
        time_s : float
            When it was noted; the addition itself may have been some seconds earlier.

        Notes
        -----
        A note belongs to what was seen to be added since the note before; else it is told
        as an addition that was not seen, with one of the next observations, at the time
        something was last over the vessel.
        """
        self._notes.add(time_s, self._finder.likely_s(time_s))

    def finish(self) -> Verdict:
        """Close the run and reach the verdict; calling it again returns the same."""
        if self._verdict is None:
            self._teller.tell_disturbances(self._now_s, self._sight.finish())
            self._verdict = reach_verdict(self._findings())
        return self._verdict

    # --- what can be asked ------------------------------------------------------------

    @property
    def events(self) -> tuple[Event, ...]:
        """All events so far, in the order they were told."""
        return tuple(self._teller.events)

    @property
    def phase(self) -> Phase:
        """Where the run stands now."""
        if self._unseen_s() > self.settings.max_blind_s:
            return Phase.BLIND
        if self._confirmed_s is not None:
            return Phase.OVERSHOOT if self._overshot or self._late_additions else Phase.ENDPOINT
        if self._axis.line is None:
            return Phase.WAITING
        if self._watch.hold is not None and self._watch.hold.brought:
            return Phase.HOLDING
        if self._fadeback.fading or self._finder.rising:
            return Phase.FADING
        return Phase.START

    @property
    def falling(self) -> bool:
        """Whether the colour of the last addition is seen to go back."""
        return self._fadeback.falling

    @property
    def hold_progress_s(self) -> float:
        """Seconds the present hold has lasted; 0 without one."""
        hold = self._watch.hold
        return max(self._now_s - hold.onset_s, 0.0) if hold and hold.brought else 0.0

    @property
    def settled(self) -> bool:
        """Whether the smoothed colour has caught up with the newest observations."""
        return self._smoother.settled

    @property
    def on_the_brink(self) -> bool:
        """Whether the colour is so near the edge of the end band that single readings decide."""
        line, band, colour = self._axis.line, self._axis.band, self._colour
        if line is None or colour is None:
            return False
        place = line.position(colour)
        return band.leave - _BRINK < place < band.enter + _BRINK

    @property
    def forecast(self) -> Forecast | None:
        """What is likely to come; None before the first addition and after the endpoint."""
        if self._confirmed_s is not None:
            return None
        return self._forecaster.forecast(self._now_s, self._axis.line, self._axis.band)

    # --- one trusted reading ----------------------------------------------------------

    def _see(self, sample: Sample, covered_s: float) -> None:
        point = self._smoother.add(sample)
        if point is None:
            return
        self._colour = point.colour
        self._palette.add(point.time_s, point.colour)
        self._learn_start(point)
        line = self._axis.line
        if line is None:
            return
        self._forecaster.add(point)
        self._cause.follow(line.position(point.colour), self._sight.trusted_s)
        self._watch_additions(point, line)
        self._watch_fade_back(point)
        self._watch_hold(point)
        calm = not self._finder.in_trouble(point.time_s)
        self._watch.see(point, sample.turbidity, covered_s, calm=calm)
        self._watch_complete()

    def _learn_start(self, point: Point) -> None:
        line = self._axis.line
        if line is None:
            self._note_end_first(point)
        elif self._finder.rising or line.position(point.colour) > _START_SIDE:
            self._plateaus.restart()
            return
        plateau = self._plateaus.add(point)
        if plateau is not None:
            self._axis.learn_start(plateau)

    def _note_end_first(self, point: Point) -> None:
        """Notice an end colour seen steadily before any start colour."""
        colour = point.colour
        if chroma(colour) < COLOURED or self._axis.end_hue_outside_deg(colour) != 0.0:
            self._end_first_s = None
        elif self._end_first_s is None:
            self._end_first_s = point.time_s
        elif point.time_s - self._end_first_s >= _END_PLATEAU_S:
            self._began_at_end = True

    def _watch_additions(self, point: Point, line: Line) -> None:
        found = self._finder.add(point, line, self._smoother, end_colour=self._axis.band.enter)
        if isinstance(found, Step):
            self._tell_fade_back(self._fadeback.interrupt(found, line))
            self._plateaus.restart()
            self._forecaster.begin(found.time_s, found.base)
            self._notes.claim(found.time_s)
            self._withdraw_if_faded(found, line)
            self._add_addition(found.time_s, seen=True)
        elif isinstance(found, Peak):
            self._axis.learn_peak(found.colour)
            self._fadeback.start(found)

    def _watch_fade_back(self, point: Point) -> None:
        assert self._axis.line is not None
        self._tell_fade_back(self._fadeback.add(point, self._axis.line, self._axis.band))

    def _tell_fade_back(self, back: FadeBack | None) -> None:
        if back is not None:
            self._cause.faded_back()
            self._forecaster.faded(back)
            self._teller.tell(self._now_s, "fade_back", back.peak_s, end_s=back.back_s)

    # --- the hold ---------------------------------------------------------------------

    def _watch_hold(self, point: Point) -> None:
        watch, line, band = self._watch, self._axis.line, self._axis.band
        assert line is not None
        if watch.hold is None:
            if watch.enters(point, line, band):
                self._start_hold(point, line)
            return
        left_s = watch.leaves(point, line, band)
        if left_s is not None:
            self._break_hold(watch.hold, left_s, "faded")

    def _start_hold(self, point: Point, line: Line) -> None:
        seen, level, cause = self._smoother, self._axis.band.enter, self._cause
        since_s = point.centre_s - _LOOK_BACK_S
        onset_s = crossing_s(seen.recent, seen.glimpses, line, level, since_s=since_s)
        if onset_s is None:
            onset_s = self._watch.entering_s
        onset_s = self._seen_from_s(onset_s)
        brought = cause.explains(onset_s, self._now_s, self._sight.trusted_s)
        if cause.recent(onset_s):
            onset_s = max(onset_s, cause.last_addition_s)
        self._watch.start(onset_s, brought=brought)
        if brought:
            self._teller.tell(self._now_s, "hold_started", onset_s)

    def _seen_from_s(self, onset_s: float) -> float:
        """Return from when on an entry was seen without too long a blind stretch."""
        last_s = -math.inf
        for sample in self._smoother.recent:
            blind_s = sample.time_s - last_s
            if sample.time_s > onset_s and blind_s > self.settings.max_blind_s:
                onset_s = sample.time_s
            last_s = sample.time_s
        return onset_s

    def _break_hold(self, hold: Hold, time_s: float, reason: str) -> None:
        if self._confirmed_s is not None:
            self._withdrawn_s = time_s
            self._confirmed_s, self._overshot, self._late_additions = None, False, 0
            reason = "faded after the endpoint was called"
        self._tell_broken(hold, time_s, reason)
        self._watch.away()

    def _tell_broken(self, hold: Hold, time_s: float, reason: str) -> None:
        if hold.brought:
            lasted_s = max(time_s - hold.onset_s, 0.0)
            detail: dict[str, float | str | None] = {"reason": reason, "lasted_s": lasted_s}
            self._teller.tell(self._now_s, "hold_broken", time_s, detail)

    def _watch_complete(self) -> None:
        line, hold = self._axis.line, self._watch.hold
        if line is None or hold is None or self._palette.foreign:
            return
        if not self._watch.completes(self._now_s, line, self._axis.band):
            return
        rose_s = hold.rose_from_s(line)
        if rose_s is not None:
            self._recount_from(hold, rose_s)
            return
        self._watch.complete()
        self._confirmed_s, self._withdrawn_s = self._now_s, None
        self._cleared_from = hold.cleared_from()
        self._overshot = self._beyond_deg(hold) > _BEYOND_DEG
        detail = {"onset_s": hold.onset_s, "entered_s": hold.entered_s}
        kind: EventKind = "overshoot" if self._overshot else "endpoint"
        self._teller.tell(self._now_s, kind, self._now_s, detail)

    def _recount_from(self, hold: Hold, time_s: float) -> None:
        self._tell_broken(hold, time_s, "the colour rose again")
        hold.restart(time_s)
        self._teller.tell(self._now_s, "hold_started", time_s)

    def _break_if_blind(self) -> None:
        """Break a hold that has not been seen for longer than the method allows."""
        hold = self._watch.hold
        if hold is None or self._confirmed_s is not None:
            return
        if self._unseen_s() > self.settings.max_blind_s:
            self._break_hold(hold, self._now_s - self._unseen_s(), "blind")

    def _unseen_s(self) -> float:
        last_s = self._sight.last_trusted_s
        return 0.0 if last_s is None else self._now_s - last_s

    def _beyond_deg(self, hold: Hold) -> float:
        colour = hold.colour
        if colour is None or chroma(colour) < COLOURED:
            return 0.0
        outside = self._axis.end_hue_outside_deg(colour)
        return max(outside if self.settings.turns_up else -outside, 0.0)

    # --- additions --------------------------------------------------------------------

    def _follow_notes(self) -> None:
        for note in self._notes.due(self._now_s):
            if self._colour is not None:
                self._forecaster.begin(note.time_s, self._colour)
            self._add_addition(note.time_s, seen=False)

    def _add_addition(self, time_s: float, *, seen: bool) -> None:
        self._additions += 1
        self._cause.added(time_s)
        basis = "seen" if seen else "noted"
        detail: dict[str, float | str | None] = {"number": self._additions, "basis": basis}
        self._teller.tell(self._now_s, "addition", time_s, detail)
        hold = self._watch.hold
        if self._confirmed_s is not None:
            self._late_additions += 1
            late = {"reason": "addition after the endpoint"}
            self._teller.tell(self._now_s, "overshoot", time_s, late)
        elif hold is not None and time_s > hold.onset_s:
            self._restart_hold(hold, time_s)

    def _withdraw_if_faded(self, step: Step, line: Line) -> None:
        """Take an endpoint back if titrant is added to a mixture that has lost the colour."""
        hold = self._watch.hold
        if self._confirmed_s is None or hold is None:
            return
        place = line.position(step.base)
        lost = hold.colour is not None and line.position(hold.colour) - place > _LOST
        if lost or place < self._axis.band.enter:
            self._break_hold(hold, step.time_s, "faded")

    def _restart_hold(self, hold: Hold, time_s: float) -> None:
        self._tell_broken(hold, time_s, "addition")
        hold.restart(time_s)
        hold.brought = True
        self._cause.root()
        self._teller.tell(self._now_s, "hold_started", time_s)

    # --- the end ----------------------------------------------------------------------

    def _findings(self) -> Findings:
        sight, hold, unseen = self._sight, self._watch.hold, self._sight.unseen_s
        found = Findings(
            duration_s=sight.duration_s,
            trusted_s=sight.trusted_s,
            trusted_share=sight.trusted_share,
            observations=sight.observations,
            main_obstacle=max(unseen, key=unseen.__getitem__) if unseen else None,
            start_seen=self._axis.line is not None,
            began_at_end=self._began_at_end,
            additions=self._additions,
            fade_backs=self._cause.fade_backs,
            hold_s=self.settings.hold_s,
            clearing=self.settings.clearing,
            late_additions=self._late_additions,
            overshot=self._overshot,
            confirmed_s=self._confirmed_s,
            withdrawn_s=self._withdrawn_s,
            cleared_from=self._cleared_from,
            foreign=self._palette.foreign,
        )
        return found if hold is None else self._with_hold(found, hold)

    def _with_hold(self, found: Findings, hold: Hold) -> Findings:
        colour = hold.colour
        coloured = colour is not None and chroma(colour) >= COLOURED
        return replace(
            found,
            onset_s=hold.onset_s,
            entered_s=hold.entered_s,
            lasted_s=max(self._now_s - hold.onset_s, 0.0),
            hue_deg=hue_deg(colour) if colour is not None and coloured else None,
            turbidity=hold.turbidity(_TURBIDITY_LAST_S),
            beyond_deg=self._beyond_deg(hold),
            unbrought=not hold.brought,
            drifting=self._watch.drifting,
            still_clearing=self._watch.clearing,
            seen_too_little=self._watch.seen_too_little(self._now_s),
        )
