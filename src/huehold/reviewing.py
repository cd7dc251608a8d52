"""Which frames a review looks at: all of the usual rate, or fewer where nothing stirs.

Where key frames come about once a second, calm stretches are looked at by pairs of pictures a
second apart, and everything else at the full rate. A scout runs some seconds ahead over the
pairs alone; whatever stirs for it (a colour that moves, an event, a frame it cannot trust)
opens a stretch for a full look, well before and after. The review itself stays one session,
fed in time order.
"""

from __future__ import annotations

import copy
import math
from collections import deque
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import replace
from os import PathLike
from types import TracebackType
from typing import Literal, Self

from huehold.capture.colour import MatrixChoice
from huehold.capture.keyframes import KeyedRecording
from huehold.capture.prefetch import Prefetch
from huehold.capture.probing import Group, Layout, ProbePlan
from huehold.capture.recording import Recording, open_recording
from huehold.core import Event, Frame, Observation
from huehold.detection import Detector
from huehold.detection.detector import Phase
from huehold.vision import Observer
from huehold.vision.picture import single_threaded

__all__ = ["PassChoice", "Scout", "SparseReader", "frames_of", "open_reader"]

PassChoice = Literal["auto", "fast", "full"]

_WARM_UP_S = 6.0  # looked at in full, and further until the start colour is known
_LAG_S = 12.0  # how far the scout is ahead: longer than an event takes to be told
_EVENT_S = 2.0  # looked at in full before and after an event
_DOUBT_S = 1.5  # and around a frame in which something is amiss
_LIGHT_S = 6.0  # or in which the light is: that mostly lasts, and shows in some frames only
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
            return SparseReader(keyed, layout, rate_hz)
        keyed.close()
    return open_recording(path, rate_hz=rate_hz, matrix=matrix)


def _suits(keyed: KeyedRecording, layout: Layout, *, any_size: bool) -> bool:
    """Whether looking ahead at pairs is possible, and saves more than the scout costs."""
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
    """Looks ahead at pairs of frames and says which stretches deserve a full look.

    Parameters
    ----------
    observer, detector : Observer, Detector
        Taken over; hand in copies.
    """

    def __init__(self, observer: Observer, detector: Detector) -> None:
        self._observer = observer
        self._detector = detector
        self._colours: deque[tuple[float, complex]] = deque()
        self._start: complex | None = None
        self._second = True
        self._busy: deque[tuple[float, float]] = deque(maxlen=400)

    def look(self, group: Group) -> None:
        """Take the next pair of frames, in time order.

        One frame of the pair is analysed and stands for both: the detector wants to see a
        colour more than once before it believes it, and a scout may be credulous. It is the
        first and the second in turn, so that a light that flickers in step with the key frames
        does not go unnoticed.
        """
        self._second = not self._second
        seen = self._observer.observe(group.frames[-1 if self._second else 0])
        for frame in group.frames:
            for event in self._detector.update(replace(seen, time_s=frame.time_s)):
                self._note_event(event)
        if not _LASTING.issuperset(seen.reasons):
            margin_s = _DOUBT_S if _LIGHT.isdisjoint(seen.reasons) else _LIGHT_S
            self._note(seen.time_s - margin_s, seen.time_s + margin_s)
        else:
            self._note_colour(seen)

    def calm_from_s(self, start_s: float, end_s: float) -> float:
        """Return when what stirs between two times is over; `start_s` if nothing does."""
        stirring = [last for first, last in self._busy if first < end_s and last > start_s]
        return min(max(stirring, default=start_s), end_s)

    def _note(self, start_s: float, end_s: float) -> None:
        self._busy.append((start_s, end_s))

    def _note_event(self, event: Event) -> None:
        if event.kind == "disturbance":
            return  # untrusted frames have opened a stretch already
        for time_s in (event.time_s, event.end_s):
            if time_s is not None:
                self._note(time_s - _EVENT_S, time_s + _EVENT_S)

    def _note_colour(self, seen: Observation) -> None:
        """Notice a colour that moves away from the start colour, or aside.

        Going back is what it does after every addition; when that comes to matter, the
        detector tells of it.
        """
        here = complex(seen.a, seen.b)
        colours = self._colours
        while colours and seen.time_s - colours[0][0] > _MEMORY_S:
            colours.popleft()
        if any(self._moved(before, here) for _, before in colours):
            self._note(colours[0][0] - _DOUBT_S, seen.time_s + _DOUBT_S)
        colours.append((seen.time_s, here))

    def _moved(self, before: complex, here: complex) -> bool:
        if self._detector.phase is Phase.START:
            self._start = here if self._start is None else self._start + 0.05 * (here - self._start)
        if self._start is None:
            return abs(here - before) > _MOVED
        away, aside = abs(here - self._start) - abs(before - self._start), abs(here - before)
        return away > _MOVED or (aside > _LEAPT and away > -0.5 * aside)


class SparseReader:
    """A recording read in full where something stirs, and by pairs of frames elsewhere.

    Made by `open_reader`; read it by `frames_of`.

    Attributes
    ----------
    info : SourceInfo
    scale : float
        Delivered pixels per recorded pixel.
    frames_seen : int
        Pictures in the recording.
    warnings : list of str
    progress_s : float
    """

    def __init__(self, keyed: KeyedRecording, layout: Layout, rate_hz: float) -> None:
        self._keyed = keyed
        self._layout = layout
        self._skip_s = 1.6 / rate_hz  # frames right after a pair, which are close enough to it
        self.info = keyed.info
        self.scale = keyed.scale
        self.frames_seen = layout.pictures
        self.warnings = list(keyed.warnings)
        self.progress_s = 0.0
        self._stretch: _Stretch | None = None

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
        end_s = self._layout.end_s
        if self.progress_s < end_s - _END_S:
            self.warnings.append(
                f"The recording stops early: it can be read up to {self.progress_s:.1f} s of "
                f"{end_s:.1f} s; what came after is unknown."
            )

    def _chosen(self, observer: Observer, detector: Detector) -> Iterator[Frame]:
        self._stretch = _Stretch(self._keyed, 0.0)
        reached_s = yield from self._warm_up(self._stretch, detector)
        plan = ProbePlan(self._layout, from_s=reached_s)
        if not plan.moments_s:
            yield from self._stretch.until(math.inf)
            return
        yield from self._stretch.until(plan.moments_s[0])
        shared: dict[int, object] = {id(event): event for event in detector.events}  # immutable
        scout = Scout(*copy.deepcopy((observer, detector), shared))
        with closing(Prefetch(lambda: self._keyed.groups(plan))) as groups:
            for group in _lagging(groups, scout):
                last = group.next_s == math.inf
                end_s = math.inf if last else scout.calm_from_s(group.start_s, group.next_s)
                yield from self._deliver(group, end_s)
                reached_s = min(group.next_s, self._layout.end_s)
        if reached_s < self._layout.end_s - _END_S:
            self.warnings.append(
                f"The recording is damaged after {reached_s:.1f} s: pictures that could not be "
                "trusted were left out; the gaps stay gaps."
            )
            yield from _Stretch(self._keyed, reached_s).until(math.inf)

    def _warm_up(self, stretch: _Stretch, detector: Detector) -> Generator[Frame, None, float]:
        """Read in full until the session knows the start colour; return how far it went."""
        for frame in stretch.until(math.inf):
            yield frame
            known = detector.phase not in (Phase.WAITING, Phase.BLIND)
            if known and frame.time_s >= _WARM_UP_S:
                return frame.time_s
        return math.inf

    def _deliver(self, group: Group, end_s: float) -> Iterator[Frame]:
        """Give a pair of frames, and all frames up to `end_s` where that is later."""
        busy = end_s > group.start_s
        if self._stretch is not None and not busy:
            self._stretch.close()
            self._stretch = None
        if self._stretch is None:
            yield from group.frames
            if busy:
                after_s = max(group.start_s + self._skip_s, group.frames[-1].time_s + 1e-6)
                self._stretch = _Stretch(self._keyed, after_s)
        if self._stretch is not None:
            yield from self._stretch.until(end_s)

    def close(self) -> None:
        """Stop reading and let go of the file; may be called twice."""
        self._keyed.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class _Stretch:
    """A full reading from some time on, taken piece by piece."""

    def __init__(self, keyed: KeyedRecording, start_s: float) -> None:
        self._frames = keyed.frames_between(start_s, math.inf)
        self._next: Frame | None = None

    def until(self, end_s: float) -> Iterator[Frame]:
        """Go on up to, not including, `end_s`."""
        while True:
            frame = self._next if self._next is not None else next(self._frames, None)
            self._next = None
            if frame is None:
                return
            if frame.time_s >= end_s:
                self._next = frame
                return
            yield frame

    def close(self) -> None:
        """Read no further."""
        self._frames.close()


def _lagging(groups: Iterator[Group], scout: Scout) -> Iterator[Group]:
    """Hand groups on when the scout is far enough ahead of them."""
    held: deque[Group] = deque()
    for group in groups:
        scout.look(group)
        held.append(group)
        while group.start_s - held[0].next_s > _LAG_S:
            yield held.popleft()
    yield from held
