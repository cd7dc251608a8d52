"""`huehold compute` as a person uses it."""

import json
import subprocess
import sys

import pytest

from huehold.stoichiometry.assay import Assay
from tests.cli.calling import outcome

RUN = [
    "compute", "--sample-mass", "5.22", "--titrant-mass", "16,56", "--last-drop", "0.05",
    "--acidity", "5.0 %", "--density", "1.0444",
]  # fmt: skip


@pytest.mark.parametrize(
    ("extra", "code", "words"),
    [
        (["--sample-mass", "-5"], 3, "The sample mass is negative"),
        (["--sample-mass", "5.2 mL"], 3, "millilitres typed for grams"),
        (["--titrant-mass", "nan"], 3, "not a finite number"),
        (["--acidity", "50 %"], 3, "usually 2 to 15.5"),
        (["--acidity", "strong"], 3, "write for example 5.0 %"),
        (["--claim", "1200 g/15 mL"], 3, "more than a suspension can hold"),
        (["--claim", "1200 mg/15 ML"], 3, "did you mean 'mL'"),
        (["--readability", "0 g"], 3, "A balance that reads to 0 g"),
        (["--capacity", "3"], 3, "more than a balance takes"),
        (["--method", "magnesium"], 2, "did you mean 'magnesium-hydroxide-by-vinegar'"),
        (["--method", "mine.toml"], 3, "There is no method file"),
        (["--tolerance", "90-110 %"], 2, "needs a label claim"),
        (["--standard", "baking soda"], 2, "needs --standard-mass"),
        (["--density-mass", "10 g"], 2, "--density-mass and --density-volume"),
        (["--end-ph", "6.8"], 3, "needs its uncertainty"),
        (["--replicates", "none.csv"], 2, "Leave --sample-mass out"),
        (["--json", "/no/such/folder/x.json"], 3, "the folder /no/such/folder does not exist"),
        (["--explain", "text", "--json", "-"], 2, "both write to standard output"),
        (["--coverage", "95"], 2, "between 0 and 1"),
        (["--acidity-basis", "per-cup"], 2, "per-100-mL"),
    ],
)
def test_bad_input_is_one_line_and_its_exit_code(capsys, extra, code, words):
    got, out, err = outcome(capsys, *RUN, *extra)
    assert got == code
    assert words in err
    assert "Traceback" not in err
    assert out == ""


def test_masses_are_needed(capsys):
    code, _, err = outcome(capsys, "compute")
    assert code == 2
    assert "Give --sample-mass" in err


def test_result_with_cautions_on_the_terminal(capsys):
    code, out, err = outcome(capsys, *RUN, "--claim", "1200 mg/15 mL")
    assert code == 0
    for words in ("1197 ± 13 mg", "conforms to 90 to 115 %", "strength of vinegar", "Caution:"):
        assert words in out
    assert err == ""


def test_warnings_stand_with_the_result_and_beside_a_machine_s_on_standard_error(capsys):
    masses = ("compute", "--sample-mass", "5.22", "--titrant-mass", "16.56")
    _, out, err = outcome(capsys, *masses)
    assert "Warning: No strength was given" in " ".join(out.split())
    assert err == ""
    _, out, err = outcome(capsys, *masses, "--json")
    assert "Warning: No strength was given" in err
    assert json.loads(out)["warnings"]


@pytest.mark.parametrize("typed", ["1200mg/15ml", "1200 mg / 15 mL", "1,2 g/15 mL", "80mg/mL"])
def test_a_claim_as_people_type_it(capsys, typed):
    _, out, _ = outcome(capsys, *RUN, "--claim", typed, "--json")
    assert json.loads(out)["results"]["percent_of_label"]["value"] == pytest.approx(99.7, abs=0.5)


def test_a_claim_a_thousand_times_off_is_said(capsys):
    _, out, _ = outcome(capsys, *RUN, "--claim", "1.200 mg/15 mL")
    assert "998 times the label claim" in " ".join(out.split())


def test_a_calibration_that_was_used_is_named(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path))
    weighings = ("calibrate", "dropper", "--weighings", "20:0.95,20:0.97", "--name", "mine")
    assert outcome(capsys, *weighings, "--use")[0] == 0
    _, _, err = outcome(capsys, *RUN)
    assert "Calibrations used: dropper/mine@1" in err
    _, _, err = outcome(capsys, *RUN, "--drop-mass", "0.05")
    assert "Calibrations used" not in err


@pytest.mark.parametrize(
    ("form", "words"),
    [("text", "[g vinegar]"), ("markdown", "~~g vinegar~~"), ("html", "<math")],
)
def test_explain(capsys, form, words):
    code, out, _ = outcome(capsys, *RUN, "--explain", form)
    assert code == 0
    assert words in out


def test_explain_alone_is_text(capsys):
    _, out, _ = outcome(capsys, *RUN, "--explain")
    assert "Rounded once:" in out


def test_json_to_standard_output_is_computed_again(capsys):
    code, out, _ = outcome(capsys, *RUN, "--claim", "1200 mg/15 mL", "--json", "-")
    assert code == 0
    data = json.loads(out)
    assert Assay.from_json(data).main.text == data["results"]["dose"]["text"]
    assert data["cautions"]


def test_json_to_a_file(capsys, tmp_path):
    path = tmp_path / "result.json"
    code, out, _ = outcome(capsys, *RUN, "--json", str(path))
    assert code == 0
    assert json.loads(path.read_text("utf-8"))["schema"] == "huehold.assay/1"
    assert "1197 ± 13 mg" in out


def test_replicates(capsys, tmp_path):
    path = tmp_path / "runs.csv"
    path.write_text("sample_mass_g,titrant_mass_g\n5.22,16.56\n4.90,15.57\n5.05,16.02\n", "utf-8")
    code, out, _ = outcome(
        capsys, "compute", "--replicates", str(path), "--acidity", "5.0 %", "--density", "1.0444",
        "--claim", "1200 mg/15 mL", "--last-drop", "0.05",
    )  # fmt: skip
    assert code == 0
    for words in ("3 runs", "Grubbs", "Repeatability", "conforms"):
        assert words in out


def test_standardisation_and_measured_density(capsys):
    arguments = [a for a in RUN if a not in {"--acidity", "5.0 %", "--density", "1.0444"}]
    code, out, _ = outcome(
        capsys, *arguments, "--standard", "baking soda", "--standard-mass", "0.50",
        "--standard-titrant-mass", "7.19", "--density-mass", "10.44", "--density-volume", "10.0 mL",
        "--graduation", "0.2 mL",
    )  # fmt: skip
    assert code == 0
    assert "assay of baking soda" in out


def test_lists_and_shows_methods(capsys):
    code, out, _ = outcome(capsys, "compute", "--list-methods")
    assert code == 0
    assert "lime-water" in out
    code, out, _ = outcome(capsys, "compute", "--show-method", "--method", "lime-water")
    assert code == 0
    assert "Ca(OH)2 + 2 CH3COOH" in out


def test_help_is_complete(capsys):
    code, out, _ = outcome(capsys, "compute", "--help")
    assert code == 0
    for option in ("--claim", "--tolerance", "--explain", "--blank-mass", "--country"):
        assert option in out


def test_nothing_heavy_is_loaded():
    """No picture library and no scipy.stats at start: `compute` answers within a second."""
    code = (
        "import sys; from huehold.cli import run; run(['compute', '--sample-mass', '5.22', "
        "'--titrant-mass', '16.56']); "
        "print(sorted({m.partition('.')[0] for m in sys.modules} "
        "& {'cv2', 'matplotlib', 'colour', 'skimage', 'av'}), 'scipy.stats' in sys.modules, "
        "file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip().endswith("[] False")
