"""The notebook keeps what it said it kept."""

import math
import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time

import numpy as np
import pytest

from huehold.core import Ellipse, Event, Observation
from huehold.errors import InputError
from huehold.notebook import Notebook
from huehold.run import Picture


def seen(time_s: float, **over: object) -> Observation:
    values: dict[str, object] = {
        "lightness": 60.0, "a": -20.0, "b": 50.0, "hue_deg": 112.0, "chroma": 54.0,
        "hue_sd_deg": 0.8, "turbidity": math.nan, "vessel": Ellipse(320, 240, 100, 90, 12),
        "trust": 0.9, "reasons": ("moving",), "strip": np.full((24, 3), 7, np.uint8),
    }  # fmt: skip
    return Observation(time_s, **{**values, **over})  # type: ignore[arg-type]


@pytest.fixture
def book(tmp_path):
    with Notebook(tmp_path / "notes" / "book.sqlite3") as book:
        yield book


def begin(book: Notebook) -> int:
    return book.begin(method="name = 'x'", settings={"hold_s": 60}, source={"name": "camera 0"})


def test_everything_comes_back_as_it_went_in(book):
    run = begin(book)
    observations = [seen(t / 10) for t in range(25)] + [seen(3.0, vessel=None, strip=None)]
    events = [Event(1.0, "addition", detail={"number": 1.0}), Event(2.0, "fade_back", end_s=2.5)]
    book.append(run, observations, events, [Picture(0.0, b"jpeg")])
    book.add_note(run, 2.0, "swirled")
    back = list(book.observations(run))
    assert len(back) == 26
    np.testing.assert_array_equal(back[3].strip, observations[3].strip)
    assert back[3].vessel == observations[3].vessel
    assert back[3].reasons == ("moving",)
    assert math.isnan(back[3].turbidity)
    assert back[-1].vessel is None
    assert [event.kind for event in book.events(run)] == ["addition", "fade_back"]
    assert book.events(run)[0].detail["number"] == 1.0
    assert book.pictures(run) == (Picture(0.0, b"jpeg"),)
    assert book.notes(run)[0].text == "swirled"


def test_masses_keep_their_history(book):
    run = begin(book)
    book.add_mass(run, 10.0, 1.52, "1,52")
    book.add_mass(run, 20.0, 19.6, "19.6")
    book.edit_mass(run, 2, 1.96, "1.96")
    assert [m.mass_g for m in book.masses(run)] == [1.52, 1.96]
    book.strike_mass(run, 2)
    assert [m.mass_g for m in book.masses(run)] == [1.52]
    assert [m.mass_g for m in book.masses(run, history=True)] == [1.52, 19.6, 1.96, 1.96]
    book.edit_mass(run, 2, 1.96, "1.96")
    assert [m.mass_g for m in book.masses(run)] == [1.52, 1.96]
    assert book.masses(run)[0].typed == "1,52"


def test_unknown_entry_and_run(book):
    run = begin(book)
    with pytest.raises(InputError, match="no mass entry 3"):
        book.edit_mass(run, 3, 1.0, "1")
    with pytest.raises(InputError, match="no run 99"):
        book.run(99)
    with pytest.raises(InputError, match="larger than any"):
        book.run(10**24)


def test_removed_runs_can_be_brought_back(book):
    run = begin(book)
    book.remove(run)
    assert book.runs() == ()
    assert [r.id for r in book.runs(removed=True)] == [run]
    book.bring_back(run)
    assert [r.id for r in book.runs()] == [run]


def test_a_finished_run_carries_its_result(book):
    run = begin(book)
    book.finish(run, {"kind": "endpoint"}, {"schema": "huehold.run/1"})
    record = book.run(run)
    assert record.verdict == {"kind": "endpoint"}
    assert book.result(run) == {"schema": "huehold.run/1"}
    assert record.finished_at is not None


def test_an_append_is_whole_or_not_at_all(book):
    run = begin(book)
    broken = Event(1.0, "addition", detail={"number": object()})  # type: ignore[dict-item]
    with pytest.raises(TypeError):
        book.append(run, [seen(0.0)], [broken])
    assert list(book.observations(run)) == []
    book.append(run, [seen(0.0)])
    assert len(list(book.observations(run))) == 1


def test_a_newer_notebook_is_refused_in_words(tmp_path):
    path = tmp_path / "book.sqlite3"
    Notebook(path).close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(InputError, match="newer version of huehold"):
        Notebook(path)


def test_a_foreign_database_is_refused_in_words(tmp_path):
    path = tmp_path / "other.sqlite3"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE things (x)")
    db.close()
    with pytest.raises(InputError, match="another program"):
        Notebook(path)


def test_a_file_that_is_no_database_is_refused_in_words(tmp_path):
    path = tmp_path / "text.sqlite3"
    path.write_text("not a database, only words " * 100)
    with pytest.raises(InputError, match="cannot be read as a notebook"):
        Notebook(path)
    assert path.read_text().startswith("not a database")


def test_a_held_notebook_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("huehold.notebook.file._BUSY_S", 0.1)
    with Notebook(tmp_path / "book.sqlite3") as book:
        run = begin(book)
        other = sqlite3.connect(book.path, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(InputError, match="held by another program"):
            book.add_mass(run, 1.0, 2.0, "2")
        other.execute("ROLLBACK")
        other.close()
        book.add_mass(run, 1.0, 2.0, "2")


def test_a_full_disk_is_told_and_nothing_is_lost(book):
    run = begin(book)
    book.add_mass(run, 1.0, 2.0, "2")
    pages = book._rows("PRAGMA page_count")[0][0]
    book._rows(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(InputError, match=r"full.*nothing saved so far is lost"):
        book.append(run, [seen(t / 10) for t in range(5000)])
    book._rows("PRAGMA max_page_count = 100000")
    assert [m.mass_g for m in book.masses(run)] == [2.0]
    book.add_mass(run, 2.0, 3.0, "3")


def test_backup_and_restore(book, tmp_path):
    run = begin(book)
    book.add_mass(run, 1.0, 2.0, "2")
    copy = book.back_up(tmp_path / "copy.sqlite3")
    with pytest.raises(InputError, match="exists already"):
        book.back_up(copy)
    book.add_mass(run, 2.0, 3.0, "3")
    book.close()
    kept = Notebook.restore(copy, book.path)
    with Notebook(book.path) as restored, Notebook(kept) as before:
        assert [m.mass_g for m in restored.masses(run)] == [2.0]
        assert [m.mass_g for m in before.masses(run)] == [2.0, 3.0]


WRITER = """
    import sys
    from huehold.notebook import Notebook
    from tests.notebook.test_store import seen, begin
    book = Notebook(sys.argv[1])
    run = begin(book)
    n = 0
    while True:
        book.append(run, [seen(n + k / 10) for k in range(10)])
        mass = book.add_mass(run, n, n / 10, str(n))
        n += 1
        print(n, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is of POSIX")
@pytest.mark.parametrize("wait_s", [0.0, 0.01, 0.023, 0.05])
def test_kill_at_any_moment_loses_nothing_that_was_told(tmp_path, wait_s):
    path = tmp_path / "book.sqlite3"
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(WRITER), str(path)], stdout=subprocess.PIPE,
        text=True, env={**os.environ, "PYTHONPATH": os.getcwd()},  # noqa: PTH109
    )  # fmt: skip
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(wait_s)
    process.send_signal(signal.SIGKILL)
    told = 1 + len(process.stdout.read().split())
    process.wait()
    process.stdout.close()
    with Notebook(path) as book:
        assert len(book.masses(1)) >= told
        assert len(list(book.observations(1))) >= 10 * told
        assert book.run(1).finished_at is None
