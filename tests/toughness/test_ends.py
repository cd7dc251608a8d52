"""How a live run ends, and that the notebook then says the same of it."""

from types import SimpleNamespace

import pytest

from huehold.capture.playback import PlaybackSource
from huehold.cli.terminal import ended
from huehold.core import Frame, SourceInfo
from huehold.errors import CameraLostError, InputError
from huehold.masses import MassInputs
from huehold.notebook import Notebook
from huehold.past_runs import open_run, resume_watch
from huehold.report.result import result_dict
from huehold.watching import Watch
from huehold.watching.attention import Attention
from tests.toughness.scripted import Act, ScriptedCamera, paint, story
from tests.toughness.test_watch_parts import METHOD, begun, to_its_end, watch_of

GIVEN = {"sample_mass": "1.0", "strength": "5.0 %", "density": "1.04"}


def masses_typed(watch: Watch) -> list[Act]:
    """A run with a mass after each of its two additions, the last while no picture comes."""
    acts = story(40.0)
    acts.insert(80, Act(acts[80].arrives_s, call=lambda: watch.type_mass("2.00")))
    late = acts[-1].arrives_s + 6.0
    acts += [Act(late, call=lambda: watch.type_mass("2.05")), Act(late + 0.5)]
    return acts


def test_a_mass_typed_after_the_last_picture_counts_live_and_in_the_notebook(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        watch = watch_of(masses_typed, book=book)
        watch._summarise = result_dict
        watch.set_inputs(MassInputs.from_mapping(GIVEN, METHOD))
        live = to_its_end(watch).finished
        again = open_run(book, watch.run_id)
    assert live.assay is not None, live.assay_problem
    assert again.assay is not None, again.assay_problem
    assert again.assay.main.text == live.assay.main.text
    assert again.turbidity_basis == live.turbidity_basis
    assert again.source.detail == live.source.detail
    assert again.source.width_px == live.source.width_px
    assert set(live.warnings) <= set(again.warnings)


def test_a_mass_typed_while_the_run_is_concluded_is_in_the_result(monkeypatch):
    watch = watch_of(story(12.0))
    finish, typed = watch.session.finish, []

    def slow(*args, **options):
        if not typed:
            typed.append(watch.type_mass("1.50"))
        return finish(*args, **options)

    monkeypatch.setattr(watch.session, "finish", slow)
    over = to_its_end(watch)
    watch._thread.join(10.0)
    assert [reading.mass_g for reading in over.finished.readings] == [1.5]


def test_numbers_of_entries_are_never_used_twice(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        number = begun(book)
        kept = [book.add_mass(number, float(n), float(n), str(n)) for n in range(1, 4)]
        book.strike_mass(number, kept[1].entry)
        source = ScriptedCamera(story(4.0))
        watch = watch_of(story(4.0), book=book)
        to_its_end(watch)
        record = book.run(watch.run_id)
        first = [book.add_mass(record.id, float(n), float(n), str(n)) for n in range(1, 4)]
        book.strike_mass(record.id, first[1].entry)
        going_on = resume_watch(book, record, source)
        assert going_on.type_mass("3.5").entry == 4
        assert len({entry.entry for entry in going_on.masses}) == 4


def test_a_run_without_a_single_picture_is_put_away_unless_something_was_typed(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        empty = to_its_end(watch_of([], book=book))
        typed = watch_of([], book=book)
        typed.type_mass("1.0")
        to_its_end(typed)
        assert [record.id for record in book.runs()] == [typed.run_id]
        assert [record.id for record in book.runs(removed=True)] == [empty.run_id]


def test_a_played_recording_s_clock_passes_as_fast_as_it_is_played():
    clock = SimpleNamespace(now=100.0)
    source = PlaybackSource([], SourceInfo("x", 128, 96), speed=10.0, clock=lambda: clock.now)
    source._offer(Frame(0.0, paint(0.0)))
    clock.now += 1.5
    assert source.now_s == pytest.approx(15.0)


def test_going_on_with_a_run_calls_for_no_attention_at_once():
    quiet = SimpleNamespace(silent_s=0.0)
    assert list(Attention(300.0).cues(300.0, False, None, quiet)) == []
    assert [c.name for c in Attention(300.0).cues(310.0, False, None, quiet)] == ["attention"]


def test_the_exit_code_tells_of_a_lost_camera_and_of_masses_that_make_no_sense():
    fine = SimpleNamespace(error=None, finished=SimpleNamespace(assay_problem=""))
    assert ended(fine) == 0
    assert ended(SimpleNamespace(error=CameraLostError("gone"), finished=None)) == 4
    wrong = SimpleNamespace(error=None, finished=SimpleNamespace(assay_problem="no sense"))
    with pytest.raises(InputError, match="no sense"):
        ended(wrong)


def test_a_damaged_notebook_gives_way_to_a_backup_and_is_kept(tmp_path):
    with Notebook(tmp_path / "book.sqlite3") as book:
        begun(book)
        copy = book.back_up(tmp_path / "copy.sqlite3")
        path = book.path
    path.write_bytes(b"SQLite format 3\0" + b"\xff" * 5000)
    with pytest.raises(InputError):
        Notebook(path)
    kept = Notebook.restore(copy, path)
    assert kept.read_bytes().endswith(b"\xff")
    with Notebook(path) as book:
        assert len(book.runs()) == 1
