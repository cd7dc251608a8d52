"""The command line as a whole: what it says to a name it does not know."""

import pytest

from huehold.cli import COMMANDS, run


@pytest.mark.parametrize(
    ("typed", "words"), [("wach", "did you mean 'watch'"), ("xyzzy", "There is no command 'xyzzy'")]
)
def test_an_unknown_command_is_wrong_usage(capsys, typed, words):
    assert run([typed]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert words in said.err


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(capsys, name):
    assert run([name, "--help"]) == 0
    assert "Usage:" in capsys.readouterr().out


def test_an_output_that_is_full_is_told(monkeypatch, capsys):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("huehold.cli.cli.main", full)
    monkeypatch.setattr("huehold.cli._without_reader", lambda code: code)
    assert run(["plan"]) == 3
    assert "This cannot be written: No space left on device." in capsys.readouterr().err
