"""The desk behind the page: masses, outlines, the end of a run, what pages are told."""

from __future__ import annotations

import asyncio
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from huehold.capture.browser import BrowserSource
from huehold.core import Ellipse, Observation, Rect, Trace
from huehold.errors import InputError, UsageError
from huehold.notebook import Notebook
from huehold.page.desk import Desk
from huehold.page.hub import Hub, Listening
from huehold.page.messages import MassIn, trace_values
from huehold.past_runs import open_run
from huehold.run import Settings
from huehold.session import Session
from tests.page.driving import eventually
from tests.page.story import (
    HOLD_S,
    METHOD,
    begin_watch,
    frames,
    jpeg,
    keep_run,
    observations,
    picture_at,
)


@pytest.fixture
def notebook(tmp_path: Path):
    with Notebook(tmp_path / "notebook.sqlite3") as book:
        yield book


class PacedSource(BrowserSource):
    """A browser's camera whose clock stands at the stamp of its newest picture."""

    def __init__(self) -> None:
        self._at_s = 0.0
        super().__init__(clock=lambda: self._at_s)

    def push(self, data: bytes, stamp_s: float) -> bool:
        self._at_s = stamp_s
        return super().push(data, stamp_s)


@pytest.fixture
def desk(notebook):
    desk = Desk(lambda: begin_watch(notebook, PacedSource()), notebook)
    yield desk
    desk.close()


def push(desk: Desk, until_s: float, rate_hz: float = 6.0) -> None:
    """Send the story's beginning, each picture once the one before it was analysed."""
    for frame in frames(until_s, rate_hz):
        push_one(desk, frame.image, 100.0 + frame.time_s)


def push_one(desk: Desk, image: np.ndarray, stamp_s: float) -> None:
    """Send a picture and wait until it has been analysed."""
    before = len(desk.watch.session.trace())
    assert desk.phone is not None
    assert desk.phone.push(jpeg(image), stamp_s)
    eventually(lambda: len(desk.watch.session.trace()) == before + 1)


# -- failures -------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["", " ", "x", "-1", "1,2,3", "NaN", "1e9 g", "5 mL", "2000 g"])
def test_what_is_no_mass_is_refused_and_not_kept(desk, text):
    with pytest.raises(InputError):
        desk.type_mass(
            MassIn.model_construct(text=text, key="", typed_s=None, tare="", falling=False)
        )
    assert desk.watch.masses == ()


def test_finishing_before_anything_was_seen(desk):
    with pytest.raises(UsageError, match="Nothing has been seen"):
        desk.finish()


def test_an_outline_outside_the_picture_is_refused_and_the_run_goes_on(desk):
    push(desk, 1.0)
    with pytest.raises(InputError, match="outside the picture"):
        desk.watch.set_vessel(Ellipse(5000.0, 10.0, 50.0, 40.0))
    with pytest.raises(InputError, match="outside the picture"):
        desk.watch.set_white(Rect(-50.0, 0.0, 40.0, 40.0))
    push_one(desk, picture_at(1.5, 320), 102.0)


def test_an_unknown_entry(desk):
    with pytest.raises(Exception, match="no mass entry 7"):
        desk.change_mass(7, None)


# -- masses ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "mass_g", "words"),
    [
        ({"text": "1,52"}, 1.52, "1,52"),
        ({"text": "1520 mg"}, 1.52, "1520 mg"),
        ({"text": "152.31", "tare": "150.79"}, 1.52, "152.31 - 150.79 g"),
        ({"text": "148,48 g", "tare": "150 g", "falling": True}, 1.52, "150 - 148.48 g"),
    ],
)
def test_masses_as_people_type_them(desk, typed, mass_g, words):
    entry = desk.type_mass(MassIn(**typed))
    assert entry.mass_g == pytest.approx(mass_g, abs=1e-9)
    assert entry.typed == words


def test_one_typing_is_written_down_once_however_often_it_comes(desk, notebook):
    typed = MassIn(text="2 g", key="k")
    assert desk.type_mass(typed) == desk.type_mass(typed)
    assert len(notebook.masses(desk.watch.run_id)) == 1


def test_a_mass_is_on_disk_before_the_page_is_told(desk, notebook):
    entry = desk.type_mass(MassIn(text="2 g"))
    with Notebook(notebook.path) as other:
        assert other.masses(desk.watch.run_id) == (entry,)


def test_edits_keep_their_history(desk, notebook):
    entry = desk.type_mass(MassIn(text="2 g"))
    desk.change_mass(entry.entry, MassIn(text="2,5 g"))
    desk.change_mass(entry.entry, None)
    desk.change_mass(entry.entry, MassIn(text="2.4 g"))
    history = notebook.masses(desk.watch.run_id, history=True)
    assert [(m.mass_g, m.struck) for m in history] == [
        (2.0, False), (2.5, False), (2.5, True), (2.4, False),
    ]  # fmt: skip
    assert desk.watch.readings[0].mass_g == 2.4


def test_a_mass_typed_out_of_touch_keeps_its_time(desk):
    push(desk, 4.0)
    entry = desk.type_mass(MassIn(text="1 g", typed_s=1.5))
    assert entry.time_s == 1.5
    late = desk.type_mass(MassIn(text="2 g", typed_s=99.0))
    assert late.time_s < 5.0
    early = desk.type_mass(MassIn(text="3 g", typed_s=0.1))  # not before the entry before it
    assert early.time_s == late.time_s


# -- a whole run ------------------------------------------------------------------------------


def test_masses_typed_after_the_hold_are_no_new_additions():
    """Each after its addition, the last one more than twenty seconds later."""
    session = Session(METHOD, Settings(hold_s=15.0))
    plan = [(16.0, 0.8), (28.0, 1.6), (62.0, 2.4)]
    for seen in slowly():
        while plan and plan[0][0] < seen.time_s:
            session.note_mass(*plan.pop(0))
        session.take(seen)
    assert not plan
    assert str(session.detector.phase) == "endpoint"
    assert sum(e.kind == "addition" for e in session.detector.events) == 3


def slowly() -> list[Observation]:
    """The story at half its pace, and its end for another twenty seconds."""
    seen = [replace(o, time_s=2.0 * o.time_s) for o in observations()]
    last = seen[-1]
    return [*seen, *(replace(last, time_s=last.time_s + n / 3) for n in range(1, 60))]


def test_a_run_gone_through_again_says_the_same(notebook):
    number = keep_run(notebook, "again")
    run = open_run(notebook, number)
    assert run.verdict.kind == "endpoint"
    assert sum(e.kind == "addition" for e in run.events) == 3
    assert run.assay is not None


def test_the_end_of_a_run_and_a_late_correction(desk, notebook):
    push(desk, 3.0)
    desk.type_mass(MassIn(text="0.8 g"))
    run = desk.finish()
    assert run.verdict.kind in ("not_reached", "unreadable")
    told = desk.finished_values()
    assert told["verdict"] == run.verdict.kind
    assert json.dumps(told, allow_nan=False)
    desk.set_inputs({"sample_mass": "0.61 g"})
    assert any("endpoint" in text for text in desk.finished_values()["warnings"])
    assert notebook.run(desk.watch.run_id).finished_at is not None
    desk.type_mass(MassIn(text="0.9 g"))
    assert [r.mass_g for r in desk.watch.finished.readings] == [0.8, 0.9]


def test_a_new_run_begins_and_ends_the_one_before(desk, notebook):
    push(desk, 1.0)
    first = desk.watch
    second = desk.new_run()
    assert first.over
    assert second.run_id == first.run_id + 1
    assert desk.hello()["run_id"] == second.run_id
    assert notebook.run(first.run_id).finished_at is not None


def test_hello_is_plain_json_at_every_stage(desk):
    for until_s in (0.0, 1.0):
        push(desk, until_s)
        told = json.loads(json.dumps(desk.hello(), allow_nan=False))
        assert told["type"] == "hello"
    assert told["method"]["name"] == METHOD.name
    assert told["hold_s"] == HOLD_S
    assert told["trace"]["time_s"]
    assert [band["name"].split(":")[0] for band in told["method"]["bands"]] == ["start", "end"]
    assert {field["key"] for field in told["input_fields"]} >= {"sample_mass", "claim"}


def test_outlines_by_hand_are_used(desk):
    push(desk, 1.5)
    by_hand = Ellipse(150.0, 85.0, 30.0, 28.0)
    desk.watch.set_vessel(by_hand)
    desk.watch.set_white(Rect(14.0, 16.0, 20.0, 20.0))
    push_one(desk, picture_at(2.0, 320), 103.0)
    vessel = desk.watch.session.trace().vessel[-1]
    assert math.hypot(vessel.x_px - 150.0, vessel.y_px - 85.0) < 6.0
    assert desk.watch.session.white == Rect(14.0, 16.0, 20.0, 20.0)


# -- what pages are told --------------------------------------------------------------------------


def test_a_long_trace_is_thinned_without_losing_a_fade_back():
    time_s = np.arange(0.0, 7200.0, 1 / 12)
    hue = np.where(time_s % 60.0 < 1.5, 130.0, 60.0)
    hue[5000:5100] = np.nan
    same = {name: np.ones_like(time_s) for name in ("a", "b", "lightness", "chroma", "trust")}
    trace = Trace(
        time_s=time_s, hue_deg=hue, hue_sd_deg=hue, turbidity=hue, vessel=(None,) * len(hue),
        reasons=((),) * len(hue), strip=(np.zeros((4, 3), np.uint8),) * len(hue), **same,
    )  # fmt: skip
    values = trace_values(trace)
    text = json.dumps(values, allow_nan=False)
    assert len(text) < 600_000
    assert len(values["time_s"]) <= 4000
    assert len(values["strips"]) <= 1000
    assert values["time_s"] == sorted(values["time_s"])
    shown = np.array(values["hue_deg"], float)
    assert ((shown[1:] == 130) & (shown[:-1] == 60)).sum() == 118  # one of 119 was not seen


def test_a_slow_page_is_let_go_and_gets_only_the_newest_picture():
    async def go() -> None:
        page = Listening()
        page.put_picture(b"old")
        page.put_picture(b"new")
        assert await page.next() == b"new"
        for n in range(400):
            page.put_text(str(n))
        assert page.behind
        assert await page.next() == "0"

    asyncio.run(go())


def test_pages_are_bounded():
    async def go() -> None:
        hub = Hub()
        pages = [hub.open() for _ in range(32)]
        assert hub.full
        hub.close(pages[0])
        assert not hub.full

    asyncio.run(go())
