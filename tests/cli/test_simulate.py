"""`huehold simulate` as people call it."""

from __future__ import annotations

import json

import pytest

from huehold.cli import run
from huehold.virtual.presets import PRESETS

_TINY = [
    f"--set={each}"
    for each in (
        "sight.width_px=96", "sight.height_px=96", "recording.rate_hz=4", "length_s=8",
    )
]  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (["clean"], 2, "add --out FILE"),
        (["cleen", "--out", "a.mp4"], 2, "did you mean clean"),
        (["clean", "--out", "a.mp4", "--set", "camera.blur=2"], 2, "did you mean camera.blur_px"),
        (["clean", "--out", "a.avi"], 2, "cannot hold h264"),
        (["clean", "--out", "nowhere/a.mp4"], 3, "the folder nowhere does not exist"),
        (["clean", "--out", "a.mp4", "--seed", "-1"], 2, "--seed"),
    ],
)
def test_mistakes_end_with_a_sentence_and_a_code(
    arguments, code, message, capsys, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    assert run(["simulate", *arguments]) == code
    captured = capsys.readouterr()
    assert message in captured.err
    assert "Traceback" not in captured.err
    assert captured.out == ""
    assert list(tmp_path.iterdir()) == []


def test_list_names_every_preset_with_a_line(capsys):
    assert run(["simulate", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(PRESETS)
    assert all(len(line.split()) > 2 for line in lines)


def test_settings_can_be_listed(capsys):
    assert run(["simulate", "mjpeg", "--settings", "--set", "camera.blur_px=2.5"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert "recording.codec=mjpeg" in out
    assert any(line.startswith("camera.blur_px=2.5") for line in out)


def test_run_is_written_and_its_files_named(capsys, tmp_path):
    out = tmp_path / "run.mp4"
    assert run(["simulate", "acid_from_start", "--out", str(out), "--seed", "4", *_TINY]) == 0
    captured = capsys.readouterr()
    names = [tmp_path / n for n in ("run.mp4", "run.truth.json", "run.masses.csv")]
    assert captured.out.splitlines() == [str(n) for n in names]
    assert captured.err == ""
    assert all(n.stat().st_size > 0 for n in names)
    assert json.loads(names[1].read_text())["scenario"]["seed"] == 4


def test_existing_files_are_kept_unless_forced(capsys, tmp_path):
    out = tmp_path / "run.mp4"
    out.write_text("precious")
    command = ["simulate", "no_cup", "--out", str(out), *_TINY]
    assert run(command) == 2
    assert "run.mp4 is there already" in capsys.readouterr().err
    assert out.read_text() == "precious"
    assert run([*command, "--force"]) == 0
    assert out.stat().st_size > 100


def test_help_starts_from_an_example(capsys):
    assert run(["simulate", "--help"]) == 0
    out = capsys.readouterr().out
    assert "Example: huehold simulate" in out
    for option in ("--out", "--seed", "--set", "--list", "--settings", "--force"):
        assert option in out
