"""A slice of the fuzz campaign, and the inputs that once failed."""

import json

import pytest
from benchmarks.fuzz import Worker, campaign, fault_of, file_cases, recording_cases, typed_cases

from huehold.cli import run
from huehold.errors import InputError
from huehold.notebook import Notebook
from huehold.stoichiometry.assay import assay
from huehold.stoichiometry.assay_result import Assay
from huehold.stoichiometry.formulae import parse_formula

GIVEN = ("--strength", "5 %", "--density", "1.044")


def test_the_harness_tells_what_is_wrong(tmp_path):
    with Worker(guard_s=20.0) as worker:
        sound = worker.run({"arguments": ["runs", "--notebook", str(tmp_path / "b"), "list"]})
        assert fault_of(sound) == ""
        unfit = worker.run({"call": "no such call", "path": "x"})
        assert "KeyError" in fault_of(unfit)
    assert "exit code 1" in fault_of({**sound, "code": 1})
    assert "MB" in fault_of({**sound, "peak_mb": 1e5})


def test_a_hang_is_found_and_ended(tmp_path):
    with Worker(guard_s=4.0) as worker:
        assert "no answer" in fault_of(worker.run({"call": "wait", "path": "30"}))


def test_damaged_files_give_a_sentence_and_an_exit_code(tmp_path):
    outcome = campaign(file_cases(60, seed=11, folder=tmp_path))
    assert outcome.failures == []
    assert outcome.count == 60
    assert any(key.endswith(": 0") for key in outcome.codes)


def test_damaged_recordings_give_a_sentence_and_an_exit_code(tmp_path):
    outcome = campaign(recording_cases(24, seed=11, folder=tmp_path))
    assert outcome.failures == []
    assert {"recording: 0", "recording: 3"} <= set(outcome.codes)


def test_options_that_make_no_sense_give_a_sentence_and_an_exit_code(tmp_path):
    outcome = campaign(typed_cases(90, seed=11, folder=tmp_path))
    assert outcome.failures == []
    assert {"options: 0", "options: 2", "options: 3"} <= set(outcome.codes)


@pytest.mark.parametrize(
    ("table", "part"),
    [
        ("sample_mass_g,titrant_mass_g\n,16.5\n5.2,16.4\n", "line 2"),
        ("sample_mass_g,titrant_mass_g\n5.2,\n5.2,16.4\n", "titrant_mass_g"),
        ("sample_mass_g,titrant_mass_g\n" + "5.2,16.4\n" * 3000, "more than 100"),
        ("sample_mass_g,sample_mass_g,titrant_mass_g\n5,5,16\n5,5,16\n", "twice"),
    ],
)
def test_replicates_that_lack_a_mass_are_told_by_line(table, part, tmp_path, capsys):
    path = tmp_path / "runs.csv"
    path.write_text(table)
    assert run(["compute", "--replicates", str(path), *GIVEN]) == 3
    assert part in capsys.readouterr().err


@pytest.mark.parametrize("text", ["a = " + "[" * 3000, "[" * 3000])
def test_a_method_nested_without_end_is_told(text, tmp_path, capsys):
    path = tmp_path / "deep.toml"
    path.write_text(text)
    masses = ("--sample-mass", "5", "--titrant-mass", "16")
    assert run(["compute", "--method", str(path), *masses]) == 3
    assert "deep.toml" in capsys.readouterr().err


def test_a_key_named_like_a_part_of_the_program_is_an_unknown_key(tmp_path, capsys):
    path = tmp_path / "odd.toml"
    path.write_text("[Indicator]\nstart = 1\n")
    assert run(["compute", "--method", str(path), "--sample-mass", "5", "--titrant-mass", "9"]) == 3
    assert "unknown key 'Indicator'" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["C0H22O11", "0 NaCl", "C99999999"])
def test_a_formula_with_a_number_that_cannot_be_is_refused(text):
    with pytest.raises(InputError, match="not a chemical formula"):
        parse_formula(text)


def test_isotopes_of_an_element_add_up():
    assert parse_formula("O[16]O[18]").atoms == {"O": 2.0}


def test_a_device_is_no_method(capsys):
    masses = ("--sample-mass", "5", "--titrant-mass", "16")
    assert run(["compute", "--method", "/dev/zero", *masses]) == 3
    assert "no method file" in capsys.readouterr().err


def test_an_assay_with_a_number_beyond_all_bounds_is_refused():
    plain = assay(
        "magnesium-hydroxide-by-vinegar", sample_mass=5.22, titrant_mass=16.56, strength="5 %",
        density="1.044 g/mL",
    ).to_json()  # fmt: skip
    text = json.dumps(plain)
    for item in plain["inputs"]:
        broken = json.loads(text)
        next(i for i in broken["inputs"] if i["name"] == item["name"])["value"] = 10**400
        with pytest.raises(InputError):
            Assay.from_json(broken)


@pytest.mark.parametrize(
    ("change", "command"),
    [
        ("UPDATE run SET method = 'x'", ["show", "1"]),
        ('UPDATE run SET settings = \'{"hold_s": "long"}\'', ["show", "1"]),
        ("UPDATE run SET settings = '{\"hold_s\": -1}'", ["show", "1"]),
        ("UPDATE run SET source = '[1, 2]'", ["list"]),
        ("UPDATE run SET calibrations = '{'", ["list", "--json"]),
        ("UPDATE run SET started_at = x'00ff'", ["list"]),
        ("UPDATE run SET source = '" + "[" * 5000 + "'", ["list"]),
        ("UPDATE observation SET reasons = '5'", ["show", "1"]),
        ("UPDATE observation SET vessel = '[]'", ["show", "1"]),
        ("UPDATE observation SET trust = 1e308", ["show", "1"]),
        ("UPDATE observation SET strip = x'00'", ["show", "1"]),
        ("UPDATE mass SET mass_g = 9e999", ["show", "1"]),
        ("UPDATE mass SET time_s = 'soon'", ["show", "1"]),
        ("UPDATE picture SET jpeg = 5", ["show", "1"]),
    ],
)
def test_a_damaged_notebook_is_told_in_a_sentence(change, command, notebook_file, tmp_path, capsys):
    path = tmp_path / "book.sqlite3"
    path.write_bytes(notebook_file.read_bytes())
    with Notebook(path) as book:
        assert book._connection.execute(change).rowcount > 0
    assert run(["runs", "--notebook", str(path), *command]) == 3
    said = capsys.readouterr().err
    assert "restore" in said
    assert "Traceback" not in said


@pytest.fixture(scope="module")
def notebook_file(tmp_path_factory):
    from benchmarks.fuzz_bases import write_notebook

    return write_notebook(tmp_path_factory.mktemp("book") / "book.sqlite3")


def test_a_notebook_with_garbled_names_is_told_in_a_sentence(notebook_file, tmp_path, capsys):
    path = tmp_path / "book.sqlite3"
    path.write_bytes(notebook_file.read_bytes().replace(b"CREATE INDEX", b"CRE\xc6TE INDEX"))
    assert run(["runs", "--notebook", str(path), "list"]) == 3
    assert "cannot be read as a notebook" in capsys.readouterr().err
