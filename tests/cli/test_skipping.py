"""Calibrations that cannot be read, in the commands that use them."""

import pytest

from tests.cli.calling import outcome

COMPUTE = ["compute", "--sample-mass", "5.22", "--titrant-mass", "16.56", "--strength", "5.0 %"]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path / "data"))


@pytest.fixture
def cut(tmp_path):
    path = tmp_path / "cut.toml"
    path.write_text('schema = "huehold.calibration/1"\nkind = "dro')
    return str(path)


def test_a_command_stops_at_one_that_was_named(capsys, cut):
    code, out, err = outcome(capsys, *COMPUTE, "--calibration", cut)
    assert (code, out) == (3, "")
    assert err.count("\n") == 1
    assert "cut.toml is not valid TOML" in err


def test_and_goes_on_without_it_if_asked_to(capsys, cut):
    without = outcome(capsys, *COMPUTE)
    code, out, err = outcome(capsys, *COMPUTE, "--calibration", cut, "--skip-unreadable")
    assert (code, out) == without[:2]
    assert "is not used: cut.toml is not valid TOML" in err
