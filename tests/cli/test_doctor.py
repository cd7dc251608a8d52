"""`huehold doctor` as a person uses it."""

import json

import pytest

from huehold.cli import run
from huehold.doctor import devices


@pytest.fixture(autouse=True)
def _no_devices(tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path))
    monkeypatch.setattr(devices, "probe", lambda code, limit_s: None)


def test_it_ends_well_though_things_fail(capsys, monkeypatch, tmp_path):
    (tmp_path / "notebook.sqlite3").write_text("no notebook")
    assert run(["doctor", "--no-camera"]) == 0
    out = capsys.readouterr().out
    lines = [line for line in out.splitlines() if line.startswith("problem")]
    assert any("notebook" in line and "cannot be opened" in line for line in lines)
    assert "camera" not in [line.split()[1] for line in out.splitlines()]


def test_one_line_each(capsys):
    assert run(["doctor"]) == 0
    out = capsys.readouterr().out
    assert all(line.split()[0] in {"ok", "note", "problem"} for line in out.splitlines())
    assert len(out.splitlines()) == 12


def test_as_json(capsys):
    assert run(["doctor", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["schema"] == "huehold.doctor/1"
    states = {finding["name"]: finding["state"] for finding in data["findings"]}
    assert states["Python"] == "works"
    assert set(states.values()) <= {"works", "limited", "fails"}
    assert "numpy" in next(f for f in data["findings"] if f["name"] == "libraries")["detail"]
