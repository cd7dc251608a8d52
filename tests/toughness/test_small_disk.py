"""A live run on a real file system that is too small, or turns read-only under it."""

import shutil
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from huehold.cli import run
from huehold.errors import InputError
from huehold.notebook import Notebook
from tests.toughness.scripted import Act, story
from tests.toughness.test_watch_parts import to_its_end, watch_of

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="mounts are made as Linux does")


@contextmanager
def mounted(folder: Path, size_kb: int):
    """A file system of its own in `folder`; left out where mounting is not permitted."""
    folder.mkdir()
    options = f"size={size_kb}k"
    command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("no small file system may be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def typed(watch, *at_s: float) -> list[Act]:
    calls = [
        Act(time_s, call=lambda n=n: watch.type_mass(f"{n + 1}.5")) for n, time_s in enumerate(at_s)
    ]
    return sorted([*story(30.0), *calls], key=lambda act: act.arrives_s)


def test_a_disk_that_fills_up_costs_nothing_that_was_typed(tmp_path):
    """The run outgrows the disk; when there is room again, all that waited is written."""
    with mounted(tmp_path / "small", 400) as folder, Notebook(folder / "book.sqlite3") as book:
        ballast = folder / "ballast"
        left = shutil.disk_usage(folder).free
        ballast.write_bytes(b"x" * (left - 40_000))

        def acts(watch):
            make_room = Act(25.0, call=ballast.unlink)
            return sorted([*typed(watch, 4.0, 10.0, 20.0), make_room], key=lambda a: a.arrives_s)

        watch = to_its_end(watch_of(acts, book=book))
        assert watch.error is None
        assert any("is full" in sentence for sentence in watch.warnings), watch.warnings
        assert [m.mass_g for m in book.masses(watch.run_id)] == [1.5, 2.5, 3.5]
        assert [m.mass_g for m in watch.masses] == [1.5, 2.5, 3.5]
        assert len(list(book.observations(watch.run_id))) == len(watch.finished.trace)
    assert watch.finished.readings[-1].mass_g == 3.5


def test_what_is_in_memory_alone_says_so(tmp_path):
    from huehold.page.desk import Desk
    from huehold.page.messages import MassIn

    with mounted(tmp_path / "small", 400) as folder, Notebook(folder / "book.sqlite3") as book:
        desk = Desk(lambda: watch_of([Act(1e9, story(0.1)[0].image)], book=book), book)
        watch = desk.watch
        assert desk.type_mass(MassIn(text="1.5")).entered_at
        ballast = folder / "ballast"
        ballast.write_bytes(b"x" * shutil.disk_usage(folder).free)
        while not watch.unsaved:  # what is left in the file's last page is used first
            desk.type_mass(MassIn(text="2"))
        assert [entry.entered_at != "" for entry in watch.masses][-1] is False
        ballast.unlink()
        assert desk.type_mass(MassIn(text="3")).entered_at
        assert watch.unsaved == 0
        assert all(entry.entered_at for entry in watch.masses)
        assert [m.mass_g for m in book.masses(watch.run_id)] == [m.mass_g for m in watch.masses]
        desk.close()


def test_a_read_only_file_system_is_one_sentence(tmp_path):
    with mounted(tmp_path / "small", 4000) as folder:
        path = folder / "book.sqlite3"
        Notebook(path).close()
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        for name in (path, folder / "new.sqlite3", folder / "new" / "book.sqlite3"):
            with pytest.raises(InputError, match=r"cannot be (written|used)"):
                Notebook(name)


def test_no_room_for_a_notebook_at_all_is_one_sentence(tmp_path, capsys):
    with mounted(tmp_path / "small", 16) as folder:
        (folder / "ballast").write_bytes(b"x" * 8192)
        code = run(["runs", "list", "--notebook", str(folder / "book.sqlite3")])
    said = capsys.readouterr().err
    assert code == 3
    assert said.count("\n") == 1
    assert "full" in said
