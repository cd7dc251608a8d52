"""What a clumsy hand types is answered in a sentence, and nothing is lost by it."""

import pytest

from tests.cli.calling import outcome

FAST = ("plan", "--method", "total-hardness-by-edta")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ("rewiev x.mp4", "did you mean 'review'?"),
        ("calibrate droper", "did you mean 'dropper'?"),
        ("runs lst", "did you mean 'list'?"),
        ("runs xyzzy", "there are back, backup"),
        ("review", "Missing argument 'RECORDING'"),
        ("review --json clip.mp4", "--json took 'clip.mp4' as its file"),
        ("review a.mp4 b.mp4", "unexpected extra argument (b.mp4)"),
        ("review a.mp4 --hold abc", "'abc' is not a number from 1 to 600"),
        ("review a.mp4 --hold nan", "nan is not a number from 1 to 600"),
        ("review a.mp4 --vessel 10,20", "X,Y,R, such as 320,240,110"),
        ("card --cup-mm 7.5", "'7.5' is not a whole number"),
        ("runs show abc", "'abc' is not a whole number of 1 or more"),
        ("plan --temperature 22C", "'22C' is not a number"),
        ("watch --volume 50 --play a.mp4", "50 is not a number from 0 to 1"),
        ("compute --explain pdf", "'pdf' is not one of"),
        ("doctor --cam", "No such option"),
    ],
)
def test_wrong_usage_is_told_by_name_and_how_to_get_help(capsys, arguments, words):
    code, out, err = outcome(capsys, *arguments.split())
    assert code == 2
    assert out == ""
    assert err.startswith("huehold: ")
    assert words in err
    assert err.rstrip().splitlines()[-1].startswith("Try 'huehold")


def test_a_decimal_comma_is_a_number(capsys):
    code, out, _ = outcome(capsys, *FAST, "--temperature", "21,5", "--json")
    assert code == 0
    assert '"temperature_c": 21.5' in out


@pytest.mark.parametrize("flag", ["--json", "--csv", "--report"])
def test_no_report_is_written_over_a_recording(capsys, tmp_path, flag):
    film = tmp_path / "film.mp4"
    film.write_bytes(b"precious")
    code, _, err = outcome(capsys, "review", "other.mp4", flag, str(film))
    assert code == 2
    assert "is there already and is no report" in err
    assert film.read_bytes() == b"precious"


def test_no_json_of_other_commands_either(capsys, tmp_path):
    film = tmp_path / "film.mp4"
    film.write_bytes(b"precious")
    assert outcome(capsys, *FAST, "--json", str(film))[0] == 2
    assert film.read_bytes() == b"precious"


def test_no_numbers_that_json_does_not_know(capsys):
    _, out, _ = outcome(capsys, *FAST, "--json")
    assert not {"NaN", "Infinity"} & set(out.replace(",", " ").split())
    assert "000000" not in out
    assert "99999999" not in out


def test_a_strength_that_was_assumed_is_said_to_be_why(capsys):
    _, out, _ = outcome(capsys, "plan", "--claim", "1200 mg/15 mL")
    assert "Why so much: Mostly because no strength was given for the vinegar" in out
    assert "--acidity" in out
    _, out, _ = outcome(capsys, "plan", "--claim", "1200 mg/15 mL", "--acidity", "5.0 %")
    assert "Why so much" not in out
