"""A live run while everything goes wrong: the hold stays honest, nothing typed is lost."""

import random
import sqlite3
from dataclasses import replace

import numpy as np
import pytest

import huehold.notebook.file
from huehold.core import Event
from huehold.errors import CameraLostError
from huehold.methods import load_method
from huehold.notebook import Notebook
from huehold.run import Run, Settings
from huehold.session import Session
from huehold.virtual.bench import brisk_bench
from huehold.virtual.observe import View, observe
from huehold.virtual.operator import brisk_operator
from huehold.virtual.run import run_bench
from huehold.watching import Watch
from tests.toughness.scripted import (
    RATE_HZ,
    VESSEL,
    WHITE,
    Act,
    ScriptedCamera,
    paint,
    share_at,
    story,
    without,
)

METHOD = load_method("magnesium-hydroxide-by-vinegar")
BLIND_S = METHOD.endpoint.max_blind_s
HOLD_S = 10.0
ONSET_S = 18.3  # of the scripted story
SETTINGS = Settings(hold_s=HOLD_S, vessel=VESSEL, white=WHITE)
STEP_S = 1.0 / RATE_HZ


@pytest.fixture(scope="module")
def acts() -> list[Act]:
    return story(34.0)


def watched(acts, *, book=None, settings=SETTINGS, prepare=None, give_up_s=600.0) -> Watch:
    """Watch a script to its end; `prepare` gets the watch before it starts."""
    run_id = None
    if book is not None:
        run_id = book.begin(
            method=METHOD.model_dump_json(by_alias=True), settings={}, source={"name": "scripted"}
        )
    source = ScriptedCamera([], give_up_s=give_up_s)
    watch = Watch(source, Session(METHOD, settings), notebook=book, run_id=run_id)
    source._acts.extend(acts(watch) if callable(acts) else acts)
    if prepare is not None:
        prepare(watch)
    watch.start()
    assert watch.wait(100.0)
    assert watch.finished is not None, watch.error
    check_hold_was_seen(watch.finished)
    return watch


def check_hold_was_seen(run: Run) -> None:
    """An endpoint's hold has no stretch without trusted observations longer than allowed."""
    assert np.all(np.diff(run.trace.time_s) > 0.0)
    if run.verdict.kind == "endpoint":
        check_no_blind_stretch(
            run.trace.time_s[run.trace.trust >= 0.5], run.verdict.onset_s, run.verdict.confirmed_s
        )


def check_no_blind_stretch(trusted_s, onset_s, confirmed_s) -> None:
    inside = trusted_s[(trusted_s >= onset_s) & (trusted_s <= confirmed_s)]
    assert confirmed_s - onset_s >= HOLD_S - 0.2
    assert np.diff([onset_s, *inside, confirmed_s]).max() <= BLIND_S + 2.0 * STEP_S


def endpoint_of(watch: Watch) -> tuple[float, float]:
    verdict = watch.finished.verdict
    assert verdict.kind == "endpoint"
    return verdict.onset_s, verdict.confirmed_s


# -- frames ----------------------------------------------------------------------------------


def test_frames_that_come_late_doubled_and_out_of_order_change_nothing(acts):
    rng = random.Random(3)
    late = [replace(act, arrives_s=act.arrives_s + rng.uniform(0.0, 0.3)) for act in acts]
    doubled = [replace(act, arrives_s=act.arrives_s + 0.2) for act in acts[::3]]
    watch = watched(sorted(late + doubled, key=lambda act: act.arrives_s))
    assert endpoint_of(watch)[0] == pytest.approx(ONSET_S, abs=0.6)


def test_a_hold_begins_anew_after_a_picture_missing_for_too_long(acts):
    gap_s = BLIND_S + 2.0
    later = [
        replace(act, arrives_s=act.arrives_s + gap_s, stamp_s=act.stamp_s + gap_s)
        for act in acts
        if act.arrives_s >= 21.0
    ]
    watch = watched([*(act for act in acts if act.arrives_s < 21.0), *later])
    onset_s, confirmed_s = endpoint_of(watch)
    assert onset_s >= 21.0 + gap_s - 2 * STEP_S
    assert confirmed_s >= 21.0 + gap_s + HOLD_S - 2 * STEP_S


def test_a_short_gap_is_no_reason_to_begin_anew(acts):
    watch = watched(without(acts, 22.0, 3.0))
    assert endpoint_of(watch)[0] == pytest.approx(ONSET_S, abs=0.4)


@pytest.mark.parametrize("step_s", [-3600.0, -2.0, 2.0, 3600.0])
def test_a_step_of_the_senders_clock_does_not_lengthen_the_hold(acts, step_s):
    stepped = [
        replace(act, stamp_s=act.stamp_s + (step_s if act.arrives_s > 22.0 else 0.0))
        for act in acts
    ]
    watch = watched(stepped)
    onset_s, confirmed_s = endpoint_of(watch)
    assert onset_s == pytest.approx(ONSET_S, abs=0.4)
    assert confirmed_s <= acts[-1].arrives_s + 0.2
    assert watch.finished.trace.time_s[-1] <= acts[-1].arrives_s + 0.2


def test_a_camera_that_stays_away_ends_the_run_and_keeps_it(acts):
    half = [act for act in acts if act.arrives_s < 12.0]
    never = Act(1000.0, acts[0].image, 1000.0)
    watch = watched([*half, never], give_up_s=20.0, prepare=lambda w: w.type_mass("1.5"))
    assert isinstance(watch.error, CameraLostError)
    assert watch.finished.verdict.kind == "not_reached"
    assert [reading.mass_g for reading in watch.readings] == [1.5]


def test_pictures_may_change_their_size_in_mid_run():
    times = np.arange(0.0, 34.0, STEP_S)
    sizes = ((128, 96), (256, 192), (160, 160))
    acts = [
        Act(float(t), paint(share_at(float(t)), n, sizes[int(t > 5.0) + int(t > 23.0)]), float(t))
        for n, t in enumerate(times)
    ]
    watch = watched(acts, settings=Settings(hold_s=HOLD_S))
    assert watch.warnings == []
    assert watch.error is None
    if watch.finished.verdict.kind == "endpoint":
        assert watch.finished.verdict.onset_s >= ONSET_S - 0.4


@pytest.mark.parametrize("gains", [(0.6, 1.1, 1.0), (1.15, 1.0, 0.6)])
@pytest.mark.parametrize("white", [WHITE, None])
def test_another_camera_in_mid_run_is_no_endpoint(gains, white):
    times = np.arange(0.0, 24.0, STEP_S)
    acts = []
    for n, t in enumerate(times):
        image = paint(0.0, n)
        if t > 8.0:  # the liquid stays at its start colour; only the camera's colours change
            image = np.clip(image * np.array(gains), 0, 255).astype(np.uint8)
        acts.append(Act(float(t), image, float(t)))
    watch = watched(acts, settings=replace(SETTINGS, white=white))
    assert watch.finished.verdict.kind != "endpoint"
    assert not [e for e in watch.finished.events if e.kind == "endpoint"]


# -- what is typed ---------------------------------------------------------------------------


TYPED = ((6.0, "1.50"), (12.0, "3,02"), (20.0, "4.55 g"), (30.0, "4.60"))


def typing(acts, watch, *more: tuple[float, object]) -> list[Act]:
    """Add to a script that masses are typed and that further calls are made, in their order."""
    calls = [Act(t, call=lambda text=text: watch.type_mass(text)) for t, text in TYPED]
    calls += [Act(t, call=call) for t, call in more]
    return sorted([*acts, *calls], key=lambda act: act.arrives_s)


def check_all_masses(watch: Watch) -> None:
    masses_g = [1.5, 3.02, 4.55, 4.6]
    assert [entry.mass_g for entry in watch.masses] == masses_g
    assert [reading.mass_g for reading in watch.finished.readings] == masses_g


def fill(book: Notebook):
    """Return a call that lets the file grow no more, as on a full disk."""

    def full() -> None:
        pages = book._connection.execute("PRAGMA page_count").fetchone()[0]
        book._connection.execute(f"PRAGMA max_page_count = {pages}")

    return full


def free(book: Notebook):
    return lambda: book._connection.execute("PRAGMA max_page_count = 1000000")


def test_on_a_disk_that_fills_up_the_run_and_its_masses_go_on(acts, tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        watch = watched(lambda w: typing(acts, w, (10.0, fill(book))), book=book)
        check_all_masses(watch)
        assert endpoint_of(watch)[0] == pytest.approx(ONSET_S, abs=0.4)
        assert any("full" in sentence for sentence in watch.warnings)


def test_what_waited_while_the_disk_was_full_is_written_later(acts, tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        more = ((5.0, fill(book)), (25.0, free(book)))
        watch = watched(lambda w: typing(acts, w, *more), book=book)
        check_all_masses(watch)
        kept = book.masses(watch.run_id)
        assert [(m.entry, m.mass_g, m.typed) for m in kept] == [
            (m.entry, m.mass_g, m.typed) for m in watch.masses
        ]
        assert [m.time_s for m in kept] == pytest.approx([m.time_s for m in watch.masses])
        assert len(list(book.observations(watch.run_id))) == len(watch.finished.trace)
        assert book.run(watch.run_id).verdict["kind"] == "endpoint"


@pytest.mark.parametrize("how", ["read-only", "locked"])
def test_a_notebook_that_cannot_be_written_loses_nothing_typed(acts, tmp_path, how, monkeypatch):
    monkeypatch.setattr(huehold.notebook.file, "_BUSY_S", 0.01)
    path = tmp_path / "book.sqlite3"
    other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    with Notebook(path) as book:

        def bar() -> None:
            if how == "locked":
                other.execute("BEGIN IMMEDIATE")
            else:
                book._connection.execute("PRAGMA query_only = ON")

        def correct() -> None:
            watch = corrected[0]
            watch.edit_mass(2, "3.10")
            watch.edit_mass(2, "3.02")
            watch.strike_mass(watch.type_mass("4.70").entry)

        corrected: list[Watch] = []
        watch = watched(
            lambda w: typing(acts, w, (5.0, bar), (31.0, correct)),
            book=book,
            prepare=corrected.append,
        )
        assert [reading.mass_g for reading in watch.readings] == [1.5, 3.02, 4.55, 4.6]
        assert watch.finished.verdict.kind == "endpoint"
        assert any("held by" in s or "cannot be written" in s for s in watch.warnings)
        other.execute("ROLLBACK" if how == "locked" else "SELECT 1")
        book._connection.execute("PRAGMA query_only = OFF")
        watch.reckon()
        assert [m.mass_g for m in book.masses(watch.run_id)] == [1.5, 3.02, 4.55, 4.6]
    other.close()


# -- parts that fail -------------------------------------------------------------------------


def test_a_view_that_fails_is_left_out_and_told(acts):
    heard: list[tuple[Event, ...]] = []

    def broken(moment, frame) -> None:
        if moment.time_s > 3.0:
            raise ZeroDivisionError("a view that fails")

    def prepare(watch: Watch) -> None:
        watch.listen(broken)
        watch.listen(lambda moment, frame: heard.append(moment.events))

    watch = watched(acts, prepare=prepare)
    assert any(event.kind == "endpoint" for events in heard for event in events)
    assert any("ZeroDivisionError" in sentence for sentence in watch.warnings)


def test_pictures_that_cannot_be_analysed_count_as_not_seen(acts):
    def prepare(watch: Watch) -> None:
        observe_as_ever = watch.session.observer.observe

        def observe_or_fail(frame):
            if 19.0 < frame.time_s < 19.0 + BLIND_S + 1.0:
                raise ValueError("nobody foresaw this")
            return observe_as_ever(frame)

        watch.session.observer.observe = observe_or_fail

    watch = watched(acts, prepare=prepare)
    assert watch.finished.verdict.kind == "not_reached"
    assert any("could not be analysed" in sentence for sentence in watch.warnings)


# -- many runs, without pictures -------------------------------------------------------------


@pytest.fixture(scope="module")
def seen():
    bench = brisk_bench(5)
    truth = run_bench(bench, brisk_operator())
    return observe(truth, bench, View(rate_hz=6.0))


@pytest.mark.parametrize("seed", range(6))
def test_no_hold_is_counted_across_blindness_on_the_virtual_bench(seen, seed):
    """Stretches of 1 to 30 s are missing or covered, anywhere: no hold bridges a long one."""
    rng = np.random.default_rng(seed)
    observations = list(seen)
    end_s = observations[-1].time_s
    for start_s in rng.uniform(0.0, end_s, 6):
        stop_s = start_s + rng.uniform(1.0, 30.0)
        if rng.random() < 0.5:
            observations = [o for o in observations if not start_s < o.time_s < stop_s]
        else:
            observations = [
                replace(o, trust=0.1, reasons=("hand",)) if start_s < o.time_s < stop_s else o
                for o in observations
            ]
    session = Session(METHOD, Settings(hold_s=HOLD_S))
    events = [event for o in observations for event in session.take(o)]
    trusted_s = np.array([o.time_s for o in observations if o.trust >= 0.5])
    for event in events:
        if event.kind == "endpoint":
            check_no_blind_stretch(trusted_s, float(event.detail["onset_s"]), event.time_s)


def test_the_virtual_run_has_an_endpoint_when_all_is_seen(seen):
    session = Session(METHOD, Settings(hold_s=HOLD_S))
    assert any(event.kind == "endpoint" for o in seen for event in session.take(o))
