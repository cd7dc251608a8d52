"""`huehold plan` as a person uses it."""

import json
import subprocess
import sys

import pytest

from tests.cli.calling import outcome

PLAN = ["plan", "--claim", "1200 mg/15 mL", "--acidity", "5.0 %", "--sample-mass", "1.0"]


@pytest.mark.parametrize(
    ("extra", "code", "words"),
    [
        (["--method", "magnesium"], 2, "did you mean 'magnesium-hydroxide-by-vinegar'"),
        (["--sample-mass", "-1"], 3, "The sample is -1"),
        (["--sample-mass", "much"], 3, "is not a number"),
        (["--water-mass", "500"], 3, "do not fit"),
        (["--water", "sea"], 2, "tap"),
        (["--drop-mass", "0"], 3, "must be above zero"),
        (["--drop-mass", "0.05", "--twenty-drops", "1.0"], 2, "not both"),
        (["--twenty-drops", "20"], 3, "miscounted"),
        (["--readability", "5"], 3, "0.01 g is usual"),
        (["--capacity", "0"], 3, "The balance's capacity is zero"),
        (["--acidity", "50 %"], 3, "usually 2 to 15.5"),
        (["--claim", "1200 mg"], 3, "names no portion"),
        (["--uncertainty", "0"], 3, "must be above zero"),
        (["--alkalinity", "-2"], 3, "cannot be negative"),
        (["--temperature", "90"], 3, "5 to 40 C"),
        (["--plot", "plan.pdf"], 2, ".png or .svg"),
        (["--json", "/no/such/folder/x.json"], 3, "does not exist"),
    ],
)
def test_bad_input_is_one_line_and_its_exit_code(capsys, extra, code, words):
    got, out, err = outcome(capsys, *PLAN, *extra)
    assert got == code
    assert words in err
    assert "Traceback" not in err
    assert out == ""


def test_text_tells_masses_pace_colours_and_doubt(capsys, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    code, out, _ = outcome(capsys, *PLAN, "--uncertainty", "3")
    assert code == 0
    for words in (
        "3.17 g", "Where to slow down", "squirts", "orange-red", "green", "(k = 2)", "reached",
        "To halve it", "Caution:", "other solids",
    ):  # fmt: skip
        assert words in out
    assert "\x1b[" not in out


def test_json_to_standard_output_is_the_plan_alone(capsys):
    code, out, _ = outcome(capsys, *PLAN, "--twenty-drops", "0,90", "--json", "-")
    data = json.loads(out, parse_constant=lambda name: pytest.fail(name))
    assert code == 0
    assert data["schema"] == "huehold.plan/1"
    assert data["expect"]["drop_g"] == pytest.approx(0.045)
    assert data["expect"]["equivalence_g"] == pytest.approx(3.172, abs=0.003)
    assert len(data["curve"]["ph"]) == len(data["curve"]["colour"])


def test_a_method_without_ph_is_told_in_words(capsys):
    code, out, _ = outcome(capsys, "plan", "--method", "total-hardness-by-edta")
    assert code == 0
    told = " ".join(out.split())
    assert "shows a metal complex, not pH" in told
    assert "No strength was given for the EDTA solution: 0.01 mol/L ± 10 % is assumed" in told


@pytest.mark.parametrize(
    ("name", "start"), [("plan.png", b"\x89PNG"), ("plan.svg", b"<?xml"), ("PLAN.SVG", b"<?xml")]
)
def test_plot_and_json_files(capsys, tmp_path, name, start):
    plot, data = tmp_path / name, tmp_path / "plan.json"
    code, _, err = outcome(
        capsys, "plan", "--method", "lime-water", "--plot", str(plot), "--json", str(data)
    )
    assert code == 0, err
    assert plot.read_bytes().startswith(start)
    assert json.loads(data.read_text("utf-8"))["method"] == "lime-water"


def test_help_is_quick_to_load_and_imports_nothing_heavy():
    code = (
        "import sys; from huehold.cli import run; run(['plan', '--help']); "
        "heavy = {'cv2', 'scipy', 'matplotlib', 'av', 'colour', 'pint', 'numpy', 'skimage'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("[]")
    assert "--uncertainty" in done.stdout
