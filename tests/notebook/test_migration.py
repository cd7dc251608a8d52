"""A notebook of the format before: what it holds is found again in the new one."""

import json
import sqlite3

import pytest

from huehold.errors import InputError
from huehold.methods import load_method
from huehold.notebook import Notebook
from huehold.notebook.schema import MIGRATIONS
from huehold.past_runs import method_of

_INSERT = (
    "INSERT INTO run (started_at, finished_at, title, program, method, settings, source, verdict, "
    "result) VALUES ('2026-01-01T10:00:00+00:00', '2026-01-01T10:09:00+00:00', ?, '0.1', 'm', "
    "'{}', '{}', '{\"kind\": \"endpoint\"}', ?)"
)


def of_version_one(path, *results):
    with sqlite3.connect(path) as db:
        db.executescript(MIGRATIONS[0])
        db.execute(f"PRAGMA application_id = {0x48754848}")
        db.execute("PRAGMA user_version = 1")
        db.executemany(_INSERT, [(f"cup {n}", text) for n, text in enumerate(results)])
    db.close()


def result_of(key: str) -> str:
    return json.dumps({"assay": {"results": {key: {"text": f"{key} 1.2 g"}}}, "trace": {}})


def test_results_move_to_their_own_table(tmp_path):
    path = tmp_path / "book.sqlite3"
    of_version_one(path, result_of("dose"), result_of("content"), None, '{"assay": null}')
    with Notebook(path) as book:
        told = {record.title: record.main_result for record in book.runs()}
        assert told == {"cup 0": "dose 1.2 g", "cup 1": "content 1.2 g", "cup 2": "", "cup 3": ""}
        assert book.result(1) == json.loads(result_of("dose"))
        assert book.result(3) is None
        assert book.outlines(1) == ()
        book.add_outline(1, 2.0, "white", None)
    with Notebook(path) as again:
        assert len(again.runs()) == 4
        assert len(again.outlines(1)) == 1


def test_a_method_kept_with_a_key_of_old_is_read_again(tmp_path):
    path = tmp_path / "book.sqlite3"
    method = load_method("lime-water")
    kept = method.model_dump(mode="json", by_alias=True)
    kept["indicator"]["equivalence_ph"] = 8.6
    of_version_one(path, None)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE run SET method = ?", (json.dumps(kept),))
    db.close()
    with Notebook(path) as book:
        assert method_of(book.run(1)) == method


def test_a_damaged_result_hinders_nothing(tmp_path):
    path = tmp_path / "book.sqlite3"
    of_version_one(path, "{no json")
    with Notebook(path) as book:
        assert book.runs()[0].main_result == ""
        assert book.result(1) is None


@pytest.mark.parametrize("time_s", ["late", 1e300])
def test_a_time_that_makes_no_sense_is_told(tmp_path, time_s):
    with Notebook(tmp_path / "book.sqlite3") as book:
        run = book.begin(method="m", settings={}, source={})
        assert book.seen_until_s(run) is None
        columns = "(run_id, time_s, trust, reasons)"
        book._rows(f"INSERT INTO observation {columns} VALUES (?, ?, 1.0, '[]')", run, time_s)
        with pytest.raises(InputError, match="damaged"):
            book.seen_until_s(run)


@pytest.mark.parametrize(
    ("what", "shape"),
    [("cup", None), ("white", '{"x_px": 1}'), ("vessel", "[]"), ("white", '{"x_px": "left"}')],
)
def test_an_outline_that_makes_no_sense_is_told(tmp_path, what, shape):
    with Notebook(tmp_path / "book.sqlite3") as book:
        run = book.begin(method="m", settings={}, source={})
        book._rows("INSERT INTO outline VALUES (1, ?, 2.0, ?, ?, 'now')", run, what, shape)
        with pytest.raises(InputError, match="damaged"):
            book.outlines(run)
