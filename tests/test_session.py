"""The one streaming core: live and review the same, asking changes nothing."""

from dataclasses import asdict, replace
from datetime import datetime, timedelta
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.capture.playback import PlaybackSource
from huehold.capture.recording import open_recording
from huehold.core import Ellipse, Event, Observation, Rect, SourceInfo, Verdict
from huehold.errors import InputError, UsageError
from huehold.mass_fields import FIELDS
from huehold.masses import MassInputs, assay_of, read_mass
from huehold.methods import load_method
from huehold.notebook import Claim, Notebook
from huehold.past_runs import cut_off_run, open_run, resume_watch
from huehold.recorder import scaled_vessel
from huehold.run import Settings
from huehold.session import Session, review
from huehold.watching import Watch

METHOD = load_method("magnesium-hydroxide-by-vinegar")
INFO = SourceInfo("made up", 320, 240)


@cache
def observations() -> tuple[Observation, ...]:
    """A brisk titration of the virtual bench at the level of observations."""
    from huehold.virtual.bench import brisk_bench
    from huehold.virtual.observe import observe
    from huehold.virtual.operator import brisk_operator
    from huehold.virtual.run import run_bench

    bench = brisk_bench(5)
    return tuple(observe(run_bench(bench, brisk_operator(30.0)), bench))


@cache
def reference():
    session = Session(METHOD, Settings(hold_s=20.0))
    for observation in observations():
        session.take(observation)
    run = session.finish(INFO)
    return run.verdict, run.events


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, 5000), max_size=12), st.booleans())
def test_looking_in_between_changes_nothing(cuts, ask_much):
    session = Session(METHOD, Settings(hold_s=20.0))
    stops = {cut % len(observations()) for cut in cuts}
    for number, observation in enumerate(observations()):
        session.take(observation)
        if number in stops:
            detector = session.detector
            assert detector.phase
            assert detector.hold_progress_s >= 0
            _ = detector.forecast, detector.events
            if ask_much:
                assert len(session.trace()) == number + 1
    run = session.finish(INFO)
    assert (run.verdict, run.events) == reference()


def test_a_live_run_gives_what_its_review_gives(rendered, tmp_path):
    """The same frames as a live run and as a review: same events, same verdict."""
    paths = rendered("clean")
    reviewed = review(paths.recording, settings=Settings(hold_s=30.0))

    class Unhurried(PlaybackSource):
        """Every frame, as fast as it is taken."""

        def frames(self, *, rate_hz=15.0, patience_s=0.25):
            for frame in self._frames:
                self._offer(frame)
                yield frame
            self._ended = True

        def _run(self):
            pass

    with open_recording(paths.recording) as recording, Notebook(tmp_path / "n.sqlite3") as book:
        run_id = book.begin(
            method=METHOD.model_dump_json(by_alias=True),
            settings={"hold_s": 30.0},
            source={"name": "x"},
        )
        source = Unhurried(recording.frames(), recording.info)
        session = Session(METHOD, Settings(hold_s=30.0))
        watch = Watch(source, session, notebook=book, run_id=run_id).start()
        assert watch.wait(100)
        live = watch.finished
        assert live is not None
        assert live.verdict == reviewed.verdict
        assert live.events == reviewed.events
        again = open_run(book, run_id)
        assert again.verdict.kind == reviewed.verdict.kind
        assert again.verdict.onset_s == pytest.approx(reviewed.verdict.onset_s)
        longer = open_run(book, run_id, settings=Settings(hold_s=300.0))
        assert longer.verdict.kind == "not_reached"
        assert book.run(run_id).verdict == {
            "kind": "endpoint", "onset_s": live.verdict.onset_s,
        }  # fmt: skip


def test_a_run_that_was_cut_off_goes_on_with_a_gap(tmp_path):
    class Nothing(PlaybackSource):
        pass

    with Notebook(tmp_path / "n.sqlite3") as book:
        run_id = book.begin(
            method=METHOD.model_dump_json(by_alias=True), settings={}, source={"name": "x"}
        )
        seen = observations()[:300]
        book.append(run_id, seen)
        book.add_mass(run_id, 5.0, 0.8, "0,8")
        record = cut_off_run(book)
        assert record is not None
        watch = resume_watch(book, record, Nothing([], INFO))
        assert len(watch.session.trace()) == 300
        assert [entry.mass_g for entry in watch.masses] == [0.8]
        assert watch._begin_s > seen[-1].time_s
        started = datetime.fromisoformat(record.started_at)
        last = started + timedelta(seconds=seen[-1].time_s)
        assert cut_off_run(book, last + timedelta(minutes=59)) is not None
        assert cut_off_run(book, last + timedelta(minutes=61)) is None
        book.finish(run_id, {"kind": "not_reached"}, {})
        assert cut_off_run(book) is None


def test_a_run_that_is_watched_is_not_offered_though_it_stands_still(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        number = book.begin(
            method=METHOD.model_dump_json(by_alias=True), settings={}, source={"name": "x"}
        )
        book.append(number, observations()[:300])
        record = cut_off_run(book)
        claim = Claim(book.path, number)
        assert cut_off_run(book) is None
        with pytest.raises(UsageError, match="watched by another program"):
            resume_watch(book, record, PlaybackSource([], INFO)).start()
        claim.release()
        assert cut_off_run(book) == record


def test_outlines_and_device_of_a_reduced_recording_go_on(tmp_path):
    """Frames of half the size: outlines by hand are in their pixels, settings in the source's."""
    source = PlaybackSource([], replace(INFO, detail={"device": "Cam 1"}))
    source.scale = 0.5
    given = Ellipse(160.0, 120.0, 60.0, 60.0, 0.0)
    with Notebook(tmp_path / "book.sqlite3") as book:
        number = book.begin(
            method=METHOD.model_dump_json(by_alias=True),
            settings={"vessel": asdict(given)},
            source={"name": "x", "scale": 0.5, "device": "Cam 1"},
        )
        book.append(number, observations()[:300])
        book.add_outline(number, 1.0, "white", asdict(Rect(8.0, 9.0, 10.0, 10.0)))
        again = resume_watch(book, book.run(number), source).session
        assert again.settings.vessel == given
        assert again.settings.white == Rect(16.0, 18.0, 20.0, 20.0)
        halved = observations()[0].vessel
        assert again.trace().vessel[0] == scaled_vessel(halved, 2.0)
        assert open_run(book, number).trace.vessel[0] == scaled_vessel(halved, 2.0)


@pytest.mark.parametrize(
    ("text", "grams"), [("1,52", 1.52), ("1.52 g", 1.52), ("1520 mg", 1.52), (" 3 ", 3.0)]
)
def test_masses_as_people_type_them(text, grams):
    assert read_mass(text) == pytest.approx(grams)


@pytest.mark.parametrize("text", ["", "abc", "-1", "1.5 mL", "nan", "1e9", "5 kg", "1001"])
def test_what_is_no_titrant_mass(text):
    with pytest.raises(InputError):
        read_mass(text)


def test_a_mass_cannot_fall():
    with pytest.raises(InputError, match="cumulative"):
        read_mass("1.2", previous_g=1.5)


def test_unknown_inputs_are_named():
    with pytest.raises(InputError, match="smaple"):
        MassInputs.from_mapping({"smaple": "1"}, METHOD)
    given = MassInputs.from_mapping({"sample_mass": " 5,22 g ", "claim": ""}, METHOD)
    assert given.as_mapping() == {"sample_mass": "5,22 g"}
    asked = {field["key"] for field in MassInputs.fields(METHOD)}
    assert asked < {field.key for field in FIELDS}
    assert "reagent_mass" not in asked
    back = load_method("calcium-carbonate-antacid")
    assert "reagent_mass" in {field["key"] for field in MassInputs.fields(back)}


def test_titrant_added_under_the_end_colour_is_said_not_to_be_in_the_uncertainty():
    given = {"sample_mass": "5.22", "titrant_mass": "16.56", "strength": "5.0 %"}
    inputs = MassInputs.from_mapping(given, METHOD)
    held = Verdict("endpoint", onset_s=60.0, confirmed_s=120.0)
    for entered_s, count in ((22.0, 1), (59.6, 0)):
        told = Event(120.0, "endpoint", detail={"onset_s": 60.0, "entered_s": entered_s})
        _, warnings = assay_of(METHOD, held, (told,), inputs, 200.0)
        assert sum("is not in it" in text for text in warnings) == count


def test_what_is_typed_beside_a_run_reaches_the_assay_like_that_of_compute():
    given = {
        "sample_mass": "5.22", "titrant_mass": "16.56", "bracket_mass": "1 drop",
        "drop_mass": "0.048", "strength": "5.0 %", "readability": "0.1 g", "dose": "15 mL",
    }  # fmt: skip
    inputs = MassInputs.from_mapping(given, METHOD)
    held = Verdict("endpoint", onset_s=10.0, confirmed_s=70.0)
    coarse, _ = assay_of(METHOD, held, (), inputs, 100.0)
    usual = {k: v for k, v in given.items() if k != "readability"}
    fine, _ = assay_of(METHOD, held, (), MassInputs.from_mapping(usual, METHOD), 100.0)
    assert coarse is not None
    assert fine is not None
    widths = [one.main.U for one in (coarse, fine)]
    assert widths[0] > 1.2 * widths[1]
