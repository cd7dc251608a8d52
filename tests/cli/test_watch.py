"""`huehold watch` without its page, and `huehold runs`: live, kept, gone through again."""

import json
import sqlite3

import av
import pytest

from huehold.cli import run
from huehold.notebook import Claim, Notebook


@pytest.fixture(scope="module")
def watched(rendered, tmp_path_factory):
    """A clip watched live in the terminal at six times its speed, recorded beside it."""
    folder = tmp_path_factory.mktemp("watched")
    book, film = folder / "book.sqlite3", folder / "film.mkv"
    code = run([
        "watch", "--play", str(rendered("clean").recording), "--speed", "6", "--no-page",
        "--no-sound", "--hold", "15", "--title", "cup 3", "--sample-mass", "2.0",
        "--notebook", str(book), "--record", str(film),
    ])  # fmt: skip
    return code, book, film


def test_a_live_run_calls_the_endpoint_and_is_kept(watched, rendered):
    code, path, film = watched
    assert code == 0
    with Notebook(path) as book:
        (record,) = book.runs()
        assert record.title == "cup 3"
        assert record.verdict["kind"] == "endpoint"
        assert record.verdict["onset_s"] == pytest.approx(
            rendered("clean").facts["onset_s"], abs=4.0
        )
        assert record.inputs == {"sample_mass": "2.0"}
        assert len(list(book.observations(record.id))) > 100
        assert book.pictures(record.id)
    with av.open(str(film)) as container:
        assert sum(1 for _ in container.decode(video=0)) > 100


def runs(path, *arguments):
    return run(["runs", "--notebook", str(path), *arguments])


def test_runs_are_listed_shown_and_exported(watched, tmp_path, capsys):
    path = watched[1]
    assert runs(path, "list") == 0
    assert "cup 3" in capsys.readouterr().out
    assert runs(path, "list", "--json") == 0
    assert json.loads(capsys.readouterr().out)[0]["verdict"] == "endpoint"
    target = tmp_path / "r.json"
    assert runs(path, "show", "1", "--json", str(target), "--plot", str(tmp_path / "r.png")) == 0
    assert json.loads(target.read_text("utf-8"))["verdict"] == "endpoint"
    capsys.readouterr()
    assert runs(path, "show", "1", "--hold", "500", "--json", "-") == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "not_reached"
    with Notebook(path) as book:
        assert book.run(1).verdict["kind"] == "endpoint"


def test_a_run_is_exported_to_a_folder(watched, tmp_path, capsys):
    folder = tmp_path / "new" / "folder"
    assert runs(watched[1], "export", "1", "--out", str(folder)) == 0
    assert {path.name for path in folder.iterdir()} == {
        "result.json", "trace.csv", "trace-events.csv", "trace.png", "report.html",
    }  # fmt: skip
    (tmp_path / "file").write_text("x")
    assert runs(watched[1], "export", "1", "--out", str(tmp_path / "file" / "x")) == 3
    assert "cannot be made" in capsys.readouterr().err


def test_what_was_typed_may_be_other_in_another_analysis(watched, tmp_path, capsys):
    path = tmp_path / "copy.sqlite3"
    with Notebook(watched[1]) as book:
        book.back_up(path)
    given = ("--titrant-mass", "6.5", "--acidity", "5.0 %", "--density", "1.044", "--json")
    contents = []
    for mass in ("2.0", "2.1"):
        assert runs(path, "show", "1", "--sample-mass", mass, *given) == 0
        assay = json.loads(capsys.readouterr().out)["assay"]
        contents.append(assay["results"]["content"]["value"])
    assert contents[0] / contents[1] == pytest.approx(2.1 / 2.0)
    with Notebook(path) as book:
        assert book.run(1).inputs == {"sample_mass": "2.0"}
        book.add_mass(1, 3.0, 1.0, "1.0")
    assert runs(path, "show", "1", *given) == 2
    assert "leave --titrant-mass out" in capsys.readouterr().err


def test_the_notebook_may_be_named_before_or_after_the_command(watched, capsys):
    path = str(watched[1])
    assert run(["runs", "--notebook", path, "list"]) == 0
    before = capsys.readouterr().out
    assert run(["runs", "list", "--notebook", path]) == 0
    assert capsys.readouterr().out == before
    assert run(["runs", "--notebook", "/nowhere/x", "show", "1", "--notebook", path]) == 0


def test_runs_are_put_away_and_brought_back(watched, capsys):
    path = watched[1]
    assert runs(path, "remove", "1") == 0
    capsys.readouterr()
    assert runs(path, "list") == 0
    assert "No runs yet" in capsys.readouterr().out
    assert runs(path, "back", "1") == 0
    assert runs(path, "show", "77") == 3
    assert "no run 77" in capsys.readouterr().err


def test_replicates_are_compared(watched, tmp_path, capsys):
    path = tmp_path / "two.sqlite3"
    with Notebook(watched[1]) as book:
        book.back_up(path)
    with sqlite3.connect(path) as db:
        db.execute(
            "INSERT INTO run SELECT 2, started_at, finished_at, title, program, method, "
            "settings, source, inputs, calibrations, verdict, NULL, main_result FROM run"
        )
        columns = [row[1] for row in db.execute("PRAGMA table_info(observation)")][1:]
        names = ", ".join(columns)
        db.execute(f"INSERT INTO observation SELECT 2, {names} FROM observation")
    db.close()
    picture = tmp_path / "both.svg"
    assert runs(path, "compare", "1", "2", "--plot", str(picture)) == 0
    said = capsys.readouterr().out
    assert said.count("Endpoint") == 2
    assert "run 2" in picture.read_text("utf-8")
    assert runs(path, "compare", "1") == 2


def test_backup_and_restore(watched, tmp_path, capsys):
    copy = tmp_path / "copy.sqlite3"
    assert runs(watched[1], "backup", str(copy)) == 0
    assert runs(watched[1], "backup", str(copy)) == 3
    other = tmp_path / "other.sqlite3"
    assert runs(other, "restore", str(copy)) == 0
    capsys.readouterr()
    assert runs(other, "list") == 0
    assert "cup 3" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "code", "part"),
    [
        ([], 2, "Name one camera"),
        (["--camera", "0", "--browser"], 2, "Name one camera"),
        (["--browser", "--no-page"], 2, "needs the page"),
        (["--camera", "front"], 2, "no camera number"),
        (["--camera", "7"], 4, "cannot be opened"),
        (["--camera", "0", "--size", "big"], 2, "no picture size"),
        (["--stream", "ftp://x/y"], 2, "no stream address"),
        (["--stream", "http://127.0.0.1:9/x"], 4, "does not answer"),
        (["--play", "none.mp4"], 3, "none.mp4"),
        (["--play", "none.mp4", "--record", "x.mp4"], 2, ".mkv"),
    ],
)
def test_what_cannot_be_watched_is_said(arguments, code, part, tmp_path, capsys):
    book = str(tmp_path / "book.sqlite3")
    got = run(["watch", *arguments, "--notebook", book, "--no-sound",
               *([] if "--browser" in arguments else ["--no-page"])])  # fmt: skip
    said = capsys.readouterr()
    assert got == code, said.err
    assert said.err.count(part) == 1
    assert "Traceback" not in said.err


def test_a_run_that_fails_in_the_middle_says_so_once_and_is_kept(
    tmp_path, rendered, capsys, monkeypatch
):
    from huehold.session import Session

    def fails(self, source, **_):
        raise RuntimeError("no verdict")

    monkeypatch.setattr(Session, "finish", fails)
    path = tmp_path / "book.sqlite3"
    code = run(["watch", "--play", str(rendered("clean").recording), "--speed", "60", "--no-page",
                "--no-sound", "--notebook", str(path)])  # fmt: skip
    said = capsys.readouterr().err
    assert code == 1
    assert said.count("RuntimeError") == 1
    assert "Traceback" not in said
    with Notebook(path) as book:
        assert next(book.observations(1))


def test_with_the_page_a_lost_camera_is_said_in_the_terminal_at_once(tmp_path, capsys, monkeypatch):
    said = []

    def served(self, **_):
        self._listener.close()
        assert self.app.state.desk.watch.wait(60.0)
        said.append(capsys.readouterr().err)

    monkeypatch.setattr("huehold.page.serve.PageServer.run", served)
    book = str(tmp_path / "book.sqlite3")
    assert run(["watch", "--camera", "7", "--notebook", book, "--no-sound"]) == 4
    assert said[0].count("Camera 7 cannot be opened") == 1
    assert "cannot be opened" not in capsys.readouterr().err


def test_a_notebook_from_a_newer_version(tmp_path, capsys):
    path = tmp_path / "book.sqlite3"
    Notebook(path).close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    assert runs(path, "list") == 3
    assert "newer version" in capsys.readouterr().err


def test_no_camera_is_said_when_listing(capsys, monkeypatch):
    monkeypatch.setattr("huehold.capture.camera.list_cameras", lambda **_: ())
    assert run(["watch", "--list-cameras"]) == 0
    assert "--phone" in capsys.readouterr().out


def test_a_run_that_is_watched_is_not_called_cut_off(tmp_path, capsys):
    path = tmp_path / "book.sqlite3"
    with Notebook(path) as book:
        number = book.begin(method="{}", settings={}, source={"name": "x"}, title="cup")
    claim = Claim(path, number)
    assert runs(path, "list", "--json") == 0
    assert json.loads(capsys.readouterr().out)[0]["verdict"] == "running"
    claim.release()
    assert runs(path, "list", "--json") == 0
    assert json.loads(capsys.readouterr().out)[0]["verdict"] == "cut off"
