"""Which frames a review looks at: all of the usual rate, or fewer where nothing stirs.

Where key frames come about once a second, calm stretches are looked at by single pictures a
second apart, and everything else at the full rate. A scout runs some seconds ahead over those
looks alone; whatever stirs for it (a colour that moves, an event, a frame it cannot trust)
opens a stretch for a full reading, from the last calm look to the next. The review itself stays
one session, fed in time order.
"""

from __future__ import annotations

import copy
import math
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from itertools import pairwise
from os import PathLike
from typing import Literal, Self

from huehold.capture.colour import MatrixChoice
from huehold.capture.keyframes import KeyedRecording
from huehold.capture.prefetch import Prefetch
from huehold.capture.probing import Layout, Look, ProbePlan
from huehold.capture.recording import Recording, open_recording
from huehold.core import Event, Frame
from huehold.detection import Detector
from huehold.detection.detector import Phase
from huehold.vision import Observer
from huehold.vision.picture import single_threaded

__all__ = ["PassChoice", "Scout", "SparseReader", "frames_of", "open_reader"]

PassChoice = Literal["auto", "fast", "full"]

_WARM_UP_S = 6.0  # looked at in full, and further until the start colour is known
_SHORT_HOLD_S = 10.0  # looks a second apart are too few to judge a hold below this
_LAG_S = 12.0  # how far the scout is ahead: longer than an event takes to be told
_EVENT_S = 0.8  # how far the scout's detector, which smooths, may put an event from its place
_TOLD_S = 3.0  # an event of the session this near is the same one
_LIGHT_S = 6.0  # read in full around a look at which the light is amiss: it shows in some only
_CHANGED = 0.8  # change of the colour from look to look in which an event may lie
_UNKNOWN = complex(math.nan, math.nan)
_AHEAD = 12  # looks held ready, so that both cores are at work while a stretch is read
_LIGHT = frozenset(("flicker", "exposure_step", "white_lost"))
_LASTING = frozenset(("white_assumed", "white_carried"))  # what may be amiss all the time
_MOVED = 1.6  # change of the colour in CIELAB a, b since the last looks that opens a stretch
_LEAPT = 4.0  # the same, aside from the way back to the start colour
_MEMORY_S = 2.3
_END_S = 2.5
_LARGE_PX_PER_S = 8e6  # below this, decoding everything is cheap against analysing it


def open_reader(
    path: str | PathLike[str],
    *,
    rate_hz: float = 12.0,
    matrix: MatrixChoice = "auto",
    passes: PassChoice = "auto",
) -> Recording | SparseReader:
    """Open a recording for review, the cheaper way if it allows one.

    Parameters
    ----------
    path : str or path-like
        A video file.
    rate_hz : float
        Frames analysed per second where something happens.
    matrix : {"auto", "bt601", "bt709"}
        Colour matrix of an untagged recording.
    passes : {"auto", "fast", "full"}
        "full" reads everything at the full rate; "fast" looks less often where nothing stirs,
        if key frames allow it; "auto" does so where decoding is what costs.

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    if passes != "full":
        keyed = KeyedRecording(path, rate_hz=rate_hz, matrix=matrix)
        layout = keyed.layout()
        if _suits(keyed, layout, any_size=passes == "fast"):
            return SparseReader(keyed, layout)
        keyed.close()
    return open_recording(path, rate_hz=rate_hz, matrix=matrix)


def _suits(keyed: KeyedRecording, layout: Layout, *, any_size: bool) -> bool:
    """Whether looking ahead is possible, and saves more than the scout costs."""
    pixels_per_s = keyed.info.width_px * keyed.info.height_px / max(layout.period_s, 1e-3)
    large = any_size or pixels_per_s >= _LARGE_PX_PER_S
    return large and _is_whole(keyed, layout) and ProbePlan(layout).worth_it


def frames_of(
    reader: Recording | SparseReader, observer: Observer, detector: Detector
) -> Iterator[Frame]:
    """Frames to be analysed, in time order; may be asked for once.

    Parameters
    ----------
    reader : Recording or SparseReader
        From `open_reader`.
    observer, detector : Observer, Detector
        Those of the session that is fed with the frames one by one; a scout starts from what
        they have learnt.
    """
    with single_threaded():
        if isinstance(reader, SparseReader):
            yield from reader.frames(observer, detector)
        else:
            yield from reader.frames()


def _is_whole(keyed: KeyedRecording, layout: Layout) -> bool:
    """Whether nothing is missing, as far as packets tell: gaps and damage need a full look."""
    length_s = keyed.info.duration_s
    missing_s = 0.0 if length_s is None else length_s - layout.end_s
    return keyed.exact and layout.even and missing_s <= max(1.0, 0.02 * layout.end_s)


class Scout:
    """Looks ahead at single frames and says which stretches deserve a full reading.

    Parameters
    ----------
    observer, detector : Observer, Detector
        Taken over; hand in copies.
    period_s : float
        From one picture of the recording to the next.
    """

    def __init__(self, observer: Observer, detector: Detector, period_s: float) -> None:
        self._observer = observer
        self._detector = detector
        self._period_s = period_s
        self._looks: deque[tuple[float, complex]] = deque(maxlen=20)
        self._start: complex | None = None
        self._busy: deque[tuple[float, float]] = deque(maxlen=400)
        self._events: deque[tuple[Event, float, float]] = deque(maxlen=400)

    def look(self, look: Look) -> None:
        """Take the next look, in time order.

        It stands for two frames: the detector wants to see a colour more than once before it
        believes it, and a scout may be credulous.
        """
        seen = self._observer.observe(look.frame)
        sound = _LASTING.issuperset(seen.reasons)
        here = complex(seen.a, seen.b) if sound else _UNKNOWN
        if sound:
            self._note_movement(seen.time_s, here, look.next_s)
        elif _LIGHT.isdisjoint(seen.reasons):
            self._note(self._looks[-1][0] if self._looks else seen.time_s, look.next_s)
        else:
            self._note(seen.time_s - _LIGHT_S, seen.time_s + _LIGHT_S)
        self._looks.append((seen.time_s, here))
        for time_s in (seen.time_s, seen.time_s + self._period_s):
            for event in self._detector.update(replace(seen, time_s=time_s)):
                self._note_event(event, look.next_s)

    def calm_from_s(
        self, start_s: float, end_s: float, told: Sequence[Event] | None = None
    ) -> float:
        """Return when what stirs between two times is over; `start_s` if nothing does.

        Given what the session has `told` so far, events of the scout that are not among it stir.
        """
        spans = list(self._busy)
        if told is not None:
            spans += [(first, last) for e, first, last in self._events if not _is_told(e, told)]
        stirring = [last for first, last in spans if first < end_s and last > start_s]
        return min(max(stirring, default=start_s), end_s)

    def _note(self, start_s: float, end_s: float) -> None:
        self._busy.append((start_s, end_s))

    def _note_event(self, event: Event, next_s: float) -> None:
        """Have the second read in which an event is, and those beside it if the colour changes."""
        if event.kind == "disturbance":
            return  # untrusted frames have opened a stretch already
        for time_s in (event.time_s, event.end_s):
            if time_s is None:
                continue
            for (from_s, before), (to_s, after) in pairwise([*self._looks, (next_s, _UNKNOWN)]):
                near = from_s < time_s + _EVENT_S and to_s > time_s - _EVENT_S
                alike = abs(after - before) <= _CHANGED  # not if one of them is unknown
                if from_s <= time_s < to_s or (near and not (alike and event.kind == "addition")):
                    self._events.append((event, from_s, to_s))

    def _note_movement(self, time_s: float, here: complex, next_s: float) -> None:
        """Notice a colour that moves away from the start colour, or aside.

        Going back is what it does after every addition; when that comes to matter, the
        detector tells of it.
        """
        still_s = [
            before_s
            for before_s, before in self._looks
            if time_s - before_s <= _MEMORY_S and self._moved(before, here)
        ]
        if still_s:
            self._note(still_s[-1], next_s)

    def _moved(self, before: complex, here: complex) -> bool:
        if self._detector.phase is Phase.START:
            self._start = here if self._start is None else self._start + 0.05 * (here - self._start)
        if self._start is None:
            return abs(here - before) > _MOVED
        away, aside = abs(here - self._start) - abs(before - self._start), abs(here - before)
        return away > _MOVED or (aside > _LEAPT and away > -0.5 * aside)


def _is_told(event: Event, told: Sequence[Event]) -> bool:
    return any(
        one.kind == event.kind
        and abs(one.time_s - event.time_s) < _TOLD_S
        and abs((one.end_s or 0.0) - (event.end_s or 0.0)) < _TOLD_S
        for one in told[-20:]
    )


class SparseReader:
    """A recording read in full where something stirs, and by single frames elsewhere.

    Made by `open_reader`; read it by `frames_of`.

    Attributes
    ----------
    info : SourceInfo
    scale : float
        Delivered pixels per recorded pixel.
    warnings : list of str
    progress_s : float
    """

    def __init__(self, keyed: KeyedRecording, layout: Layout) -> None:
        self._keyed = keyed
        self._layout = layout
        self.info = keyed.info
        self.scale = keyed.scale
        self.warnings = list(keyed.warnings)
        self.progress_s = 0.0
        self._ended = False

    @property
    def frames_seen(self) -> int:
        """Pictures in the recording, or up to the newest frame if the reading was stopped."""
        if self._ended or self._layout.period_s <= 0.0:
            return self._layout.pictures
        return min(round(self.progress_s / self._layout.period_s) + 1, self._layout.pictures)

    def frames(self, observer: Observer, detector: Detector) -> Generator[Frame, None, None]:
        """Frames to be analysed, in time order; may be read once.

        Parameters
        ----------
        observer, detector : Observer, Detector
            Those of the session that is fed with the frames.

        Yields
        ------
        Frame
            The same pictures and times as the recording has, at the full rate or fewer.
        """
        for frame in self._chosen(observer, detector):
            self.progress_s = frame.time_s
            yield frame
        self._ended = True
        end_s = self._layout.end_s
        if self.progress_s < end_s - _END_S:
            self.warnings.append(
                f"The recording stops early: it can be read up to {self.progress_s:.1f} s of "
                f"{end_s:.1f} s; what came after is unknown."
            )

    def _chosen(self, observer: Observer, detector: Detector) -> Iterator[Frame]:
        plan = yield from self._warm_up(detector)
        if plan is None:
            return
        shared: dict[int, object] = {id(event): event for event in detector.events}  # immutable
        scout = Scout(*copy.deepcopy((observer, detector), shared), plan.period_s)
        reached_s = plan.moments_s[0]
        with closing(Prefetch(lambda: self._keyed.looks(plan), _AHEAD)) as looks:
            for first, end_s in _scouted(looks, scout, detector):
                yield first
                if end_s > first.time_s:
                    yield from self._keyed.frames_between(first.time_s, end_s, seen=True)
                reached_s = max(first.time_s + plan.period_s, min(end_s, self._layout.end_s))
        if reached_s < self._layout.end_s - _END_S:
            self.warnings.append(
                f"Pictures after {reached_s:.1f} s do not stand alone or are damaged: from there "
                "on everything was read, and what could not be trusted was left out."
            )
            yield from self._keyed.frames_between(reached_s, math.inf)

    def _warm_up(self, detector: Detector) -> Generator[Frame, None, ProbePlan | None]:
        """Read in full until the session knows the start colour; return what to do then."""
        plan, end_s = None, math.inf
        enough = detector.settings.hold_s >= _SHORT_HOLD_S
        with closing(self._keyed.frames_between(0.0, math.inf)) as frames:
            for frame in frames:
                if frame.time_s >= end_s:
                    return plan
                yield frame
                known = detector.phase not in (Phase.WAITING, Phase.BLIND)
                if plan is None and enough and known and frame.time_s >= _WARM_UP_S:
                    plan = ProbePlan(self._layout, from_s=frame.time_s)
                    end_s = min(plan.moments_s, default=math.inf)
        return None

    def close(self) -> None:
        """Stop reading and let go of the file; may be called twice."""
        self._keyed.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _scouted(
    looks: Iterator[Look], scout: Scout, detector: Detector
) -> Iterator[tuple[Frame, float]]:
    """Hand looks on when the scout is far enough ahead of them, each with the end of what stirs.

    Looks within a stretch that is to be read in full are not handed on.
    """
    held: deque[Look] = deque()
    for look in looks:
        scout.look(look)
        held.append(look)
        while held and look.frame.time_s - held[0].next_s > _LAG_S:
            yield _next(held, scout, detector)
    while held:
        yield _next(held, scout, detector)


def _next(held: deque[Look], scout: Scout, detector: Detector) -> tuple[Frame, float]:
    """Take the next look, and those after it that lie in the stretch it begins."""
    first = look = held.popleft()
    end_s = scout.calm_from_s(look.frame.time_s, look.next_s, detector.events)
    if detector.on_the_brink or not detector.settled:
        end_s = look.next_s
    while end_s == look.next_s < math.inf and held:
        follows_s = scout.calm_from_s(held[0].frame.time_s, held[0].next_s)
        if follows_s <= held[0].frame.time_s:
            break
        look, end_s = held.popleft(), follows_s
    return first.frame, math.inf if look.next_s == math.inf else end_s
