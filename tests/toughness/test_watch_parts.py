"""What a live run tells and keeps beside its frames: outlines, cues, locks, failures."""

import math
from dataclasses import asdict, replace

import numpy as np
import pytest

from huehold.core import Ellipse, Event, Frame, Observation, Rect
from huehold.cues import CUES, in_order
from huehold.errors import CameraLostError, HueholdError, InputError
from huehold.methods import load_method
from huehold.notebook import Notebook
from huehold.past_runs import open_run, resume_watch
from huehold.report.advice import advice
from huehold.run import Settings
from huehold.session import Session
from huehold.watching import Moment, Watch
from huehold.watching.attention import Attention
from huehold.watching.keeper import Keeper
from tests.toughness.scripted import RATE_HZ, VESSEL, WHITE, Act, ScriptedCamera, paint, story

METHOD = load_method("magnesium-hydroxide-by-vinegar")
SETTINGS = Settings(hold_s=10.0, vessel=VESSEL, white=WHITE)


def begun(book: Notebook) -> int:
    text = METHOD.model_dump_json(by_alias=True)
    return book.begin(method=text, settings={"hold_s": 10.0}, source={"name": "scripted"})


def watch_of(acts, *, book=None, settings=SETTINGS) -> Watch:
    """A watch of a script, not yet started; `acts` may be made from the watch."""
    source = ScriptedCamera([])
    run_id = begun(book) if book is not None else None
    watch = Watch(source, Session(METHOD, settings), notebook=book, run_id=run_id)
    source._acts.extend(acts(watch) if callable(acts) else acts)
    return watch


def to_its_end(watch: Watch) -> Watch:
    watch.start()
    assert watch.wait(60.0)
    return watch


# -- failures --------------------------------------------------------------------------------


class Broken(ScriptedCamera):
    """A camera whose library raises what nobody foresaw."""

    def frames(self, **_):
        for number, frame in enumerate(super().frames()):
            if number == 20:
                raise KeyError("a driver's secret")
            yield frame


def test_what_nobody_foresaw_ends_the_run_in_one_sentence(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        watch = Watch(Broken(story(10.0)), Session(METHOD, SETTINGS), notebook=book,
                      run_id=begun(book))  # fmt: skip
        watch.type_mass("1.5")
        told = []
        heard = []
        watch.listen(lambda moment, frame: heard.extend(cue.name for cue in moment.cues))
        watch.when_over(lambda: 1 / 0)
        watch.when_over(lambda: told.append(True))
        to_its_end(watch)
        assert told  # although the one before failed
        assert heard[-1] == "attention"
        assert type(watch.error) is HueholdError
        assert watch.error.exit_code == 1
        assert "KeyError" in str(watch.error)
        assert "kept" in str(watch.error)
        assert watch.finished is not None
        assert [m.mass_g for m in book.masses(watch.run_id)] == [1.5]
        assert len(list(book.observations(watch.run_id))) > 10
        assert book.run(watch.run_id).finished_at is not None


def test_a_result_that_fails_still_ends_the_run():
    def fails(run):
        raise RuntimeError("no result")

    watch = watch_of(story(3.0))
    watch._keeper.finish = lambda run, *_: fails(run)
    to_its_end(watch)
    assert "RuntimeError" in str(watch.error)


def test_an_order_that_fails_is_answered_and_the_run_goes_on(monkeypatch):
    def acts(watch):
        def bad() -> None:
            monkeypatch.setattr(watch.session, "note_mass", lambda *_: 1 / 0)
            watch.type_mass("1.5")

        return [*story(4.0), Act(4.1, call=bad), *story_after(4.2, 6.0)]

    watch = to_its_end(watch_of(acts))
    assert watch.error is None
    assert watch.finished.trace.time_s[-1] > 5.0
    assert any("ZeroDivisionError" in sentence for sentence in watch.warnings)
    assert [m.mass_g for m in watch.masses] == [1.5]


def story_after(start_s: float, end_s: float) -> list[Act]:
    return [act for act in story(end_s) if act.arrives_s > start_s]


def test_a_camera_library_that_raises_is_a_camera_that_failed():
    from huehold.capture.live import DeviceReader
    from huehold.core import SourceInfo

    def open_device():
        raise RuntimeError("ioctl")

    reader = DeviceReader(open_device, SourceInfo("camera 0", 0, 0))
    with reader, pytest.raises(CameraLostError, match=r"camera 0 failed \(RuntimeError: ioctl\)"):
        list(reader.frames(patience_s=0.01))


# -- outlines --------------------------------------------------------------------------------

BY_HAND = Ellipse(70.0, 50.0, 25.0, 20.0, 10.0)
PATCH = Rect(8.0, 12.0, 12.0, 20.0)


def placing(watch: Watch) -> list[Act]:
    """A script in which both outlines are set by hand, as from another thread."""

    def at_once(what, shape):
        return lambda: watch._orders.put(lambda: watch._outlines.place(watch._now_s, what, shape))

    acts = [Act(1.0, call=at_once("vessel", BY_HAND)), Act(2.0, call=at_once("white", PATCH)),
            Act(2.5, call=at_once("vessel", Ellipse(900.0, 50.0, 25.0, 20.0, 10.0)))]  # fmt: skip
    return sorted([*story(4.0), *acts], key=lambda act: act.arrives_s)


def test_outlines_set_by_hand_are_kept_with_their_times_and_used_on_going_on(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        watch = to_its_end(watch_of(placing, book=book, settings=Settings(hold_s=10.0)))
        said = book.outlines(watch.run_id)
        assert [(o.what, o.placed) for o in said] == [("vessel", BY_HAND), ("white", PATCH)]
        assert [o.time_s for o in said] == pytest.approx([1.0, 2.0], abs=0.3)
        assert any("outside the picture" in sentence for sentence in watch.warnings)
        assert open_run(book, watch.run_id).settings.white == PATCH
        again = resume_watch(book, book.run(watch.run_id), ScriptedCamera(story(3.0)))
        to_its_end(again)
        seen = list(book.observations(watch.run_id))[-1]
        assert (seen.vessel.x_px, seen.vessel.semi_major_px) == pytest.approx((70.0, 25.0), abs=6)
        assert again.session.white == PATCH


def test_an_outline_taken_back_is_found_anew_on_going_on(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        run_id = begun(book)
        patch = Rect(8.0, 9.0, 3.0, 3.0)
        book.add_outline(run_id, 1.0, "white", asdict(patch))
        book.add_outline(run_id, 2.0, "white", None)
        assert [o.placed for o in book.outlines(run_id)] == [patch, None]


def test_an_outline_of_another_picture_is_let_go(tmp_path):
    """The camera gives smaller pictures than those in which the white was set."""
    with Notebook(tmp_path / "book.sqlite3") as book:
        run_id = begun(book)
        far = {"x_px": 600.0, "y_px": 10.0, "width_px": 20.0, "height_px": 20.0}
        book.add_outline(run_id, 1.0, "white", far)
        first = watch_of(story(2.0), book=None)
        book.append(run_id, [to_its_end(first).moment.observation])
        watch = to_its_end(resume_watch(book, book.run(run_id), ScriptedCamera(story(3.0))))
    assert watch.error is None
    assert any("found anew" in sentence for sentence in watch.warnings)
    assert len(watch.finished.trace) > 10


def test_an_outline_of_the_command_line_outside_the_picture_is_a_mistake():
    watch = to_its_end(watch_of(story(2.0), settings=replace(SETTINGS, white=Rect(600, 1, 9, 9))))
    assert isinstance(watch.error, InputError)


@pytest.mark.parametrize("size", [(64, 48), (256, 192)])
def test_a_new_picture_size_ends_no_run_though_outlines_are_set(size):
    times = np.arange(0.0, 6.0, 1.0 / RATE_HZ).tolist()
    acts = [Act(t, paint(0.0, n, size if t > 3.0 else (128, 96)), t) for n, t in enumerate(times)]
    watch = to_its_end(watch_of(acts, settings=replace(SETTINGS, white=Rect(100, 60, 20, 20))))
    assert watch.error is None
    assert watch.finished.trace.time_s[-1] > 5.0


# -- locks -----------------------------------------------------------------------------------


def wandering(gains, length_s: float = 16.0) -> list[Act]:
    """A bench at rest under a camera whose channels go up by these gains, step by step."""
    acts = []
    for number, time_s in enumerate(np.arange(0.0, length_s, 1.0 / RATE_HZ).tolist()):
        gain = 1.0 + (np.array(gains) - 1.0) * (time_s > 0.5 * length_s)
        image = np.clip(paint(0.0, number) * gain, 0, 255).astype(np.uint8)
        acts.append(Act(time_s, image, time_s))
    return acts


@pytest.mark.parametrize(
    ("gains", "what"),
    [((0.9, 0.9, 0.9), "exposure"), ((0.88, 1.0, 1.08), "white balance"), ((1, 1, 1), None)],
)
def test_a_lock_that_does_not_hold_is_told_once(gains, what):
    watch = watch_of(wandering(gains))
    watch.source.locks.update({"exposure": "locked", "white balance": "locked", "focus": "refused"})
    to_its_end(watch)
    told = [sentence for sentence in watch.warnings if "is locked" in sentence]
    assert len(told) == (what is not None)
    if what is not None:
        assert f"its {what} is locked, but the pictures wandered by" in told[0]
        assert told[0] in watch.finished.warnings


@pytest.mark.parametrize(
    ("preset", "what"),
    [("white_balance_drift", "white balance"), ("waving", None), ("swirl_and_shift", None)],
)
def test_rendered_recordings_are_judged_rightly(rendered, preset, what):
    from huehold.capture.recording import open_recording
    from huehold.watching.sight import Steadiness

    source = ScriptedCamera([])
    source.locks.update({"exposure": "locked", "white balance": "locked"})
    steadiness = Steadiness(source)
    with open_recording(rendered(preset).recording, rate_hz=4.0) as recording:
        told = [sentence for frame in recording.frames() for sentence in steadiness.look(frame)]
    assert len(told) == (what is not None)
    assert what is None or f"its {what} is locked" in told[0]


def test_where_no_lock_is_claimed_nothing_is_told():
    watch = watch_of(wandering((0.9, 0.9, 0.9)))
    watch.source.locks.update({"exposure": "refused", "white balance": "unknown"})
    to_its_end(watch)
    assert watch.warnings == []


# -- cues and advice -------------------------------------------------------------------------


class Sees:
    """A source that gives pictures."""

    silent_s = 0.0
    state = "running"


def told(script) -> list[tuple[float, str]]:
    """Cues over a script of (time, whether the colour falls, kinds of events)."""
    attention, heard = Attention(), []
    for time_s, falling, kinds in script:
        events = tuple(Event(time_s, kind) for kind in kinds)
        for cue in attention.cues(time_s, falling, SEEN, Sees(), events):
            heard.append((time_s, cue.name))
    return heard


class SEEN:
    """An observation that can be trusted."""

    trust = 1.0


FADING, HOLDING, START = "fading back", "end colour, holding", "start colour"


def test_fading_back_is_said_when_it_is_seen_and_once():
    script = [(1.0, False, ()), (2.0, False, ("addition",)), (2.5, False, ()), (4.0, True, ()),
              (4.1, True, ()), (6.0, False, ("fade_back",))]  # fmt: skip
    assert told(script) == [(2.0, "addition"), (4.0, "fading_back")]


def test_a_fade_back_is_said_again_after_the_next_addition():
    one = [(2.0, False, ("addition",)), (3.0, False, ("hold_started",)),
           (5.0, False, ("fade_back",)), (5.5, False, ("hold_broken",))]  # fmt: skip
    two = [(time_s + 10.0, falling, kinds) for time_s, falling, kinds in one]
    names = [name for _, name in told(one + two)]
    assert names == ["addition", "hold_started", "fading_back", "hold_broken"] * 2


def test_over_a_run_each_fade_back_is_heard_and_shown_while_it_lasts():
    """The scripted run: an addition at 8 s that stands until 9.5 s and fades to 13.5 s, one that
    holds from 18 s.
    """
    watch = watch_of(story(32.0))
    moments = []
    watch.listen(lambda moment, _: moments.append(moment))
    to_its_end(watch)
    heard = [(cue.name, moment.time_s) for moment in moments for cue in moment.cues]
    names = [name for name, _ in heard]
    assert names.count("fading_back") == 1
    assert names.index("addition") < names.index("fading_back")
    assert 9.5 < dict(heard)["fading_back"] < 12.0

    shown = {"addition seen": [], "fading back": []}
    for moment in moments:
        shown.setdefault(moment.state, []).append(moment.time_s)
    fading_s = np.array(shown["fading back"])
    assert 10.0 < fading_s.min() < 13.0  # before that it holds, by the rule
    assert 12.0 < fading_s.max() < 14.5
    assert all(8.0 <= time_s < fading_s.min() or 18.0 <= time_s < 21.0
               for time_s in shown["addition seen"])  # fmt: skip


def test_of_several_cues_the_one_that_matters_most_is_heard():
    said = in_order([CUES["endpoint"], CUES["addition"], CUES["endpoint"], CUES["hold_broken"]])
    assert [cue.name for cue in said] == ["addition", "hold_broken", "endpoint"]


def moment(phase: str, **over: object) -> Moment:
    values = {"time_s": 9.0, "observation": None, "events": (), "cues": (), "phase": phase,
              "held_s": 0.0, "hold_s": 60.0, "forecast": None, "source": "running",
              "paused": False}  # fmt: skip
    return Moment(**{**values, **over})  # type: ignore[arg-type]


def left(count: float | None):
    from huehold.detection import Forecast

    return Forecast(0.1, "will probably fade", None, count, count, count)


@pytest.mark.parametrize(
    ("now", "words"),
    [
        (moment(FADING), "add nothing yet"),
        (moment(FADING, falling=True), "Still fading: wait, then add titrant when ready"),
        (
            moment(FADING, falling=True, forecast=left(4.2)),
            "then add the next when ready, perhaps 4 more",
        ),
        (moment(START, forecast=left(1.0)), "add a single drop"),
        (moment(START), "add titrant when ready"),
        (moment(HOLDING, held_s=20.0, falling=True), "going back: wait until it has"),
        (moment(HOLDING, held_s=20.0), "add nothing for 40 s"),
        (moment(HOLDING, held_s=20.0, forecast=left(1.0)), "probably fade"),
        (moment("endpoint"), "add nothing more"),
        (moment("overshoot"), "repeat with less"),
        (moment("waiting for the start colour"), "before any titrant"),
        (moment("cannot see"), "cannot be seen"),
        (moment(START, paused=True), "Paused"),
        (moment(START, source="stalled"), "check the camera"),
        (moment(START, source="lost"), "kept"),
    ],
)
def test_advice_for_every_phase(now, words):
    assert words in advice(now)


def test_what_waits_for_a_full_disk_is_bounded_and_what_was_typed_is_not_dropped(
    tmp_path, monkeypatch
):
    warnings: list[str] = []
    picture = np.zeros((4, 4, 3), np.uint8)
    with Notebook(tmp_path / "book.sqlite3") as book:
        number = begun(book)
        keeper = Keeper(book, number, warnings)
        with monkeypatch.context() as full:
            full.setattr(Notebook, "append", refused)
            full.setattr(Notebook, "add_mass", refused)
            for second in range(3 * 3600):
                seen = Observation(float(second), *[math.nan] * 7, vessel=None, trust=0.0)
                keeper.add(seen, (), Frame(float(second), picture))
                if second % 1000 == 0:
                    keeper.add_mass(float(second), second / 1000, f"{second / 1000}", 0)
        assert any("half an hour" in sentence for sentence in warnings)
        assert keeper.save()
        times = [o.time_s for o in book.observations(number)]
        assert times[-1] == 3 * 3600 - 1
        assert 1800 <= len(times) <= 1900
        assert len(book.pictures(number)) <= 950
        assert [m.mass_g for m in book.masses(number)] == [float(n) for n in range(11)]


def refused(*_):
    raise InputError("The disk is full.")
