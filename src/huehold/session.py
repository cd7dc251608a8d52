"""One run, wired: the only place where the steps meet.

Watching live and reviewing a recording go through the same `Session`: frames in, steps
out, a bounded amount of work for each frame.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from huehold.balance.additions import masses_of_additions, rises
from huehold.calibration.applied import hue_bands
from huehold.calibration.camera import CameraCalibration, CameraGate
from huehold.calibration.card_guide import CardGuide
from huehold.calibration.model import Calibration
from huehold.calibration.turbidity import solid_share
from huehold.core import (
    TRUSTED,
    Ellipse,
    Event,
    Frame,
    Observation,
    Reading,
    Rect,
    SourceInfo,
    Trace,
    Verdict,
)
from huehold.detection import Detector, DetectorSettings
from huehold.detection.detector import Phase
from huehold.errors import HueholdError
from huehold.masses import MassInputs, assay_of
from huehold.methods import Method, load_method
from huehold.recorder import Gallery, TraceRecorder, scaled_vessel, scaled_white, unique
from huehold.reviewing import PassChoice, SparseReader, frames_of, open_reader
from huehold.run import Run, Settings
from huehold.vision import Observer, Sight

if TYPE_CHECKING:
    from huehold.capture.recording import Recording
    from huehold.stoichiometry.assay import Assay

__all__ = ["Session", "Step", "detector_settings", "review"]


@dataclass(frozen=True, slots=True)
class Step:
    """What one frame brought.

    ``shown`` is the observation for people, its turbidity as the share of solid where a
    calibration gives that; ``observation`` is what was seen, to be kept.
    """

    frame: Frame
    observation: Observation
    events: tuple[Event, ...]
    sight: Sight
    shown: Observation


def detector_settings(
    method: Method, settings: Settings, calibrations: Sequence[Calibration] = ()
) -> DetectorSettings:
    """Say to the detector what the method asks for.

    Parameters
    ----------
    method : Method
        The titration as data.
    settings : Settings
        The user's choices, which go before the method's.
    calibrations : sequence of Calibration
        A measured chart of the dye among them goes before the method's hue bands.
    """
    endpoint = method.endpoint
    measured = hue_bands(calibrations, method) if calibrations else None
    start_hue_deg, end_hue_deg = measured or method.indicator.hue_bands()
    return DetectorSettings(
        hold_s=settings.hold_s or endpoint.hold_s,
        max_blind_s=endpoint.max_blind_s,
        start_hue_deg=start_hue_deg,
        end_hue_deg=end_hue_deg,
        clearing=endpoint.clearing,
    )


def _camera_gate(calibrations: Sequence[Calibration], device: str) -> CameraGate | None:
    found = [known for known in calibrations if isinstance(known, CameraCalibration)]
    return CameraGate(found[-1], device) if found else None


class Session:
    """Frames in, observations and events out, a `Run` at the end.

    Parameters
    ----------
    method : Method
        The titration as data.
    settings : Settings, optional
        The user's choices; vessel and white in pixels of the source.
    scale : float
        Pixels of a frame for one pixel of the source, where frames come reduced.
    calibrations : sequence of Calibration
        What was measured beforehand, at most one of a kind. A camera's corrects the colours if
        it fits device and light, else the run warns and goes on without; a measured chart of the
        dye gives the hue bands; one of turbidity turns the trace's index into the share of solid
        (the detector keeps to the index); the others serve the assay.
    device : str
        The camera the frames are from, if it is known.
    """

    def __init__(
        self,
        method: Method,
        settings: Settings | None = None,
        *,
        scale: float = 1.0,
        calibrations: Sequence[Calibration] = (),
        device: str = "",
    ) -> None:
        self.method = method
        self.settings = settings or Settings()
        self.calibrations = tuple(calibrations)
        self.detector = Detector(detector_settings(method, self.settings, self.calibrations))
        self.card = CardGuide()
        self.camera = _camera_gate(self.calibrations, device)
        self.solid, self._left_out = solid_share(self.calibrations, method.name)
        self.observer = Observer(
            vessel=scaled_vessel(self.settings.vessel, scale),
            white=scaled_white(self.settings.white, scale),
            guide=self.card,
            correction=self.camera,
        )
        self._recorder = TraceRecorder(scale)
        self._gallery = Gallery()
        self._noted_g = 0.0  # the last mass written down

    def feed(self, frame: Frame) -> Step:
        """Take the next frame.

        Parameters
        ----------
        frame : Frame
            Later in time than the one before it.

        Returns
        -------
        Step
            The frame with what was seen in it and what could be told after it.
        """
        observation = self.observer.observe(frame)
        self._gallery.add(frame)
        shown, events = self._take(observation)
        return Step(frame, observation, events, self.observer.sight, shown)

    def take(self, observation: Observation) -> tuple[Event, ...]:
        """Take an observation made elsewhere, as from the notebook, and tell what follows.

        Parameters
        ----------
        observation : Observation
            Later in time than the one before it.
        """
        return self._take(observation)[1]

    def _take(self, observation: Observation) -> tuple[Observation, tuple[Event, ...]]:
        shown = observation if self.solid is None else self.solid(observation)
        self._recorder.add(shown)
        return shown, self.detector.update(observation)

    def note_mass(self, time_s: float, mass_g: float) -> None:
        """Tell the detector of an addition that a titrant mass speaks of.

        A mass that has not grown speaks of none; nor does one typed after the endpoint: it
        belongs to the addition that brought it.

        Parameters
        ----------
        time_s, mass_g : float
            When it was written down, and the cumulative grams.
        """
        grown, self._noted_g = mass_g > self._noted_g, mass_g
        if grown and self.detector.phase not in (Phase.ENDPOINT, Phase.OVERSHOOT):
            self.detector.note_addition(time_s)

    def place_vessel(self, vessel: Ellipse | None) -> None:
        """Take the user's word on where the vessel is; see `Observer.place_vessel`."""
        self.observer.place_vessel(vessel)

    def place_white(self, white: Rect | None) -> None:
        """Take the user's word on where the white patch is; see `Observer.place_white`."""
        self.observer.place_white(white)

    @property
    def white(self) -> Rect | None:
        """Where the white patch was last measured; None without one."""
        white = self.observer.sight.white
        return white.rect if white is not None else None

    def trace(self) -> Trace:
        """Return the observations so far."""
        return self._recorder.trace()

    def finish(
        self,
        source: SourceInfo,
        *,
        masses: MassInputs | None = None,
        frames_seen: int | None = None,
        warnings: Iterable[str] = (),
        interrupted: bool = False,
    ) -> Run:
        """Close the run: verdict, masses to the additions, and the assay.

        Parameters
        ----------
        source : SourceInfo
            Where the frames came from.
        masses : MassInputs, optional
            What was weighed; without it there is no assay.
        frames_seen : int, optional
            Frames in the source; the number analysed if not given.
        warnings : iterable of str
            What the source had to say.
        interrupted : bool
            Whether the user stopped the run before its end.

        Notes
        -----
        Masses that lie outside the run or make no sense leave the run without an assay;
        what is wrong with them is then in `Run.assay_problem` and among the warnings.
        """
        verdict = self.detector.finish()
        events = tuple(sorted(self.detector.events, key=lambda event: event.time_s))
        trace = self._recorder.trace(last=True)
        if interrupted:
            end_s = float(trace.time_s[-1]) if len(trace) else 0.0
            masses = _until(masses, end_s)
            warnings = (*warnings, f"Stopped by the user at {end_s:.1f} s; the rest was not seen.")
        readings: tuple[Reading, ...] = masses.readings if masses else ()
        events = _with_masses(events, readings)
        assay, mass_warnings, problem = self._assay(verdict, events, masses, trace)
        return Run(
            source=replace(source, detail={**source.detail, **self._sight_detail()}),
            method=self.method,
            settings=self.settings,
            verdict=verdict,
            events=events,
            trace=trace,
            readings=readings,
            assay=assay,
            warnings=unique(
                (*warnings, *verdict.warnings, *mass_warnings, *self._sight_warnings())
            ),
            frames_seen=len(self._recorder) if frames_seen is None else frames_seen,
            frames_used=len(self._recorder),
            pictures=self._gallery.pictures(),
            interrupted=interrupted,
            assay_problem=problem,
            calibrations=self._used(),
            turbidity_basis=self.observer.turbidity_basis,
        )

    def _used(self) -> tuple[str, ...]:
        """Name the calibrations that fit the method and were not refused."""
        refused = self.camera is not None and bool(self.camera.refused)
        return tuple(
            known.ref
            for known in self.calibrations
            if known.method in ("", self.method.name) and not (refused and known.kind == "camera")
        )

    def _sight_detail(self) -> dict[str, str]:
        """Say what the bench card gave, and what the turbidity means."""
        card = {"bench card": self.card.summary}
        return card if self.solid is None else {**card, "turbidity": self.solid.summary}

    def _sight_warnings(self) -> tuple[str, ...]:
        """Say what was wrong with the card and the calibrations of camera and turbidity."""
        refused = self.camera.refused if self.camera is not None else ""
        solid = self.solid.warnings if self.solid is not None else ()
        return (*self.card.warnings, *([refused] if refused else []), *self._left_out, *solid)

    def _assay(
        self,
        verdict: Verdict,
        events: tuple[Event, ...],
        masses: MassInputs | None,
        trace: Trace,
    ) -> tuple[Assay | None, tuple[str, ...], str]:
        """Compute the assay; masses that make no sense must not cost the trace and verdict."""
        try:
            assay, warnings = assay_of(
                self.method,
                verdict,
                events,
                masses,
                float(trace.time_s[-1]) if len(trace) else 0.0,
                self.calibrations,
                _held_colour(trace, verdict),
            )
        except HueholdError as error:
            return None, (f"There is no result: {error}",), str(error)
        return assay, warnings, ""


def _until(masses: MassInputs | None, end_s: float) -> MassInputs | None:
    """Leave out the masses of what was not looked at any more."""
    if masses is None:
        return None
    seen = tuple(reading for reading in masses.readings if reading.time_s <= end_s)
    return replace(masses, readings=seen)


def _held_colour(trace: Trace, verdict: Verdict) -> tuple[float, float] | None:
    """Return a* and b* of the colour that held; None without a hold that was seen."""
    if verdict.onset_s is None or verdict.confirmed_s is None:
        return None
    within = (trace.time_s >= verdict.onset_s) & (trace.time_s <= verdict.confirmed_s)
    seen = within & (trace.trust >= TRUSTED) & np.isfinite(trace.a)
    if not seen.any():
        return None
    return float(np.median(trace.a[seen])), float(np.median(trace.b[seen]))


def _with_masses(events: tuple[Event, ...], readings: tuple[Reading, ...]) -> tuple[Event, ...]:
    """Give the additions their masses as far as the readings tell them."""
    if not readings:
        return events
    additions = [event.time_s for event in events if event.kind == "addition"]
    known = {found.time_s: found for found in masses_of_additions(readings, additions)}

    def weighed(event: Event) -> Event:
        """Return an addition with its mass; another event as it is."""
        found = known.get(event.time_s) if event.kind == "addition" else None
        if found is None:
            return event
        detail = {"mass_g": found.mass_g, "cumulative_g": found.cumulative_g}
        return replace(event, detail={**event.detail, **detail})

    return tuple(weighed(event) for event in events)


def review(
    recording: str | PathLike[str],
    *,
    method: str | Path | Method = "magnesium-hydroxide-by-vinegar",
    settings: Settings | None = None,
    masses: MassInputs | None = None,
    matrix: Literal["auto", "bt601", "bt709"] = "auto",
    passes: PassChoice = "auto",
    calibrations: Sequence[Calibration] = (),
    on_open: Callable[[SourceInfo], None] | None = None,
    on_step: Callable[[Step, float], None] | None = None,
) -> Run:
    """Review a recording of a titration.

    Parameters
    ----------
    recording : path
        A video file.
    method : str, path or Method
        Name of a shipped method, path of a method file, or a loaded method.
    settings : Settings, optional
        Hold, vessel, white and rate, where they differ from what is found or usual.
    masses : MassInputs, optional
        What was weighed; without it there is no assay.
    matrix : {"auto", "bt601", "bt709"}
        Colour matrix of an untagged recording.
    passes : {"auto", "fast", "full"}
        "auto" looks less often where nothing stirs, if the pictures are large and the recording
        has key frames about once a second, and tells the same; "full" analyses all of it at the
        same rate; "fast" is "auto" for small pictures too.
    calibrations : sequence of Calibration
        What was measured beforehand; see `huehold.calibration.applied.gather`.
    on_open : callable, optional
        Called once with what is known of the recording, before its first frame.
    on_step : callable, optional
        Called after each analysed frame with the step and the seconds of the recording
        gone through. If it raises KeyboardInterrupt, what there is until then is kept.

    Returns
    -------
    Run
        Trace, events, verdict and, with masses, the assay.

    Raises
    ------
    InputError
        If the recording, the method or the masses cannot be read.
    """
    chosen = method if isinstance(method, Method) else load_method(method)
    settings = settings or Settings()
    reader = open_reader(recording, rate_hz=settings.rate_hz, matrix=matrix, passes=passes)
    with reader as source:
        session = Session(
            chosen, settings, scale=source.scale, calibrations=calibrations,
            device=source.info.detail.get("device", ""),
        )  # fmt: skip
        if on_open is not None:
            on_open(source.info)
        return _reviewed(source, session, masses, on_step)


def _reviewed(
    source: Recording | SparseReader,
    session: Session,
    masses: MassInputs | None,
    on_step: Callable[[Step, float], None] | None,
) -> Run:
    """Take the frames of a recording, and its masses as they fall due, and close the run."""
    interrupted = False
    weighed = deque(rises(masses.readings) if masses is not None else ())
    try:
        for frame in frames_of(source, session.observer, session.detector):
            while weighed and weighed[0].time_s <= frame.time_s:
                reading = weighed.popleft()
                session.note_mass(reading.time_s, reading.mass_g)
            step = session.feed(frame)
            if on_step is not None:
                on_step(step, source.progress_s)
    except KeyboardInterrupt:
        interrupted = True
    return session.finish(
        source.info,
        masses=masses,
        frames_seen=source.frames_seen,
        warnings=source.warnings,
        interrupted=interrupted,
    )
