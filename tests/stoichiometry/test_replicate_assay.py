"""Several runs together."""

import json

import pytest

from huehold.errors import InputError
from huehold.stoichiometry.assay import Settings, assay
from huehold.stoichiometry.replicate_assay import (
    assay_replicates,
    combine_assays,
    read_replicates,
)

METHOD = "magnesium-hydroxide-by-vinegar"
COMMON = {
    "strength": "5.0 %", "density": "1.0444", "claim": "1200 mg/15 mL", "bracket_mass": "0.05 g",
    "settings": Settings(trials=False),
}  # fmt: skip
RUNS = [
    {"sample_mass": "5.22", "titrant_mass": "16.56"},
    {"sample_mass": "4.90", "titrant_mass": "15.57"},
    {"sample_mass": "5.05", "titrant_mass": "16.02"},
]


def csv(tmp_path, text):
    path = tmp_path / "runs.csv"
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("sample_g,titrant_mass_g\n1,2\n", "column 'sample_g'; did you mean 'sample_mass_g'"),
        ("sample_mass_g\n1\n", "no column 'titrant_mass_g'"),
        ("", "no column 'sample_mass_g'"),
        ("sample_mass_g,titrant_mass_g\n5,22,16,56\n", "line 2: 4 values for 2 .*semicolons"),
    ],
)  # fmt: skip
def test_files_that_are_wrong(tmp_path, text, words):
    with pytest.raises(InputError, match=words):
        read_replicates(csv(tmp_path, text))


def test_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="There is no file"):
        read_replicates(tmp_path / "none.csv")


def test_one_run_is_no_replicate():
    with pytest.raises(InputError, match="at least two runs"):
        assay_replicates(METHOD, RUNS[:1], **COMMON)


def test_bad_run_is_named():
    with pytest.raises(InputError, match="run 2: the sample mass is negative"):
        assay_replicates(METHOD, [RUNS[0], {"sample_mass": "-5", "titrant_mass": "16"}], **COMMON)


def test_runs_of_different_methods():
    lime = assay("lime-water", sample_mass=40, titrant_mass=1.9, strength="5.0 %")
    with pytest.raises(InputError, match="only runs of one method are replicates"):
        combine_assays([assay(METHOD, **RUNS[0], **COMMON), lime])


def test_runs_with_different_claims():
    one = assay(METHOD, **RUNS[0], **COMMON)
    other = assay(METHOD, **RUNS[1], **{**COMMON, "claim": "415 mg/5 mL"})
    with pytest.raises(InputError, match="another label claim"):
        combine_assays([one, other])


def test_decimal_commas_with_semicolons(tmp_path):
    path = csv(tmp_path, "sample_mass_g;titrant_mass_g\n5,22;16,56\n\n4,90;15,57\n")
    assert read_replicates(path) == (
        {"sample_mass": "5,22", "titrant_mass": "16,56"},
        {"sample_mass": "4,90", "titrant_mass": "15,57"},
    )


def test_mean_and_its_doubt():
    found = assay_replicates(METHOD, RUNS, **COMMON)
    values = [one.results["dose"].value for one in found.assays]
    assert found.combined.value == pytest.approx(sum(values) / 3)
    assert found.repeatability.agrees
    one = found.assays[0].results["dose"].u
    # what all runs share (the strength of the vinegar) does not average out
    assert 0.9 * one < found.combined.u < one
    assert found.combined.u_common < found.combined.u
    assert found.conformity.outcome == "conforms"


def test_scatter_beyond_the_budget_is_said_and_used():
    wild = [*RUNS[:2], {"sample_mass": "5.05", "titrant_mass": "17.30"}]
    found = assay_replicates(METHOD, wild, **COMMON)
    assert not found.repeatability.agrees
    assert found.combined.u_run == pytest.approx(found.summary.s)
    assert len(found.assays) == 3  # nothing is dropped
    assert found.outliers


def test_as_plain_values():
    data = assay_replicates(METHOD, RUNS, **COMMON).to_json()
    again = json.loads(json.dumps(data, allow_nan=False))
    assert again["combined"]["text"].endswith("mg")
    assert len(again["runs"]) == 3
