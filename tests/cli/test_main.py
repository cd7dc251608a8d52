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
