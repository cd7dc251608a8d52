"""Whole simulated runs: frames, files, truth."""

from __future__ import annotations

import csv
import json
import subprocess
import sys

import av
import numpy as np
import pytest

from huehold.errors import InputError
from huehold.virtual.presets import Scenario, load_preset
from huehold.virtual.presets_settings import with_settings
from huehold.virtual.simulate import render_frames, simulate
from huehold.virtual.simulate_show import Show
from huehold.virtual.simulate_truth import liquid_lab, truth_document

_TINY = ("sight.width_px=96", "sight.height_px=96", "recording.rate_hz=4", "length_s=12")


def tiny(preset="acid_from_start", *more: str) -> Scenario:
    return with_settings(load_preset(preset), [*_TINY, *more])


def test_frames_come_in_time_order_upright_and_eight_bit():
    frames = list(render_frames(tiny()))
    assert len(frames) == 48
    assert frames[0].time_s == 0.0
    assert (np.diff([f.time_s for f in frames]) > 0).all()
    assert all(f.image.shape == (96, 96, 3) and f.image.dtype == np.uint8 for f in frames)


def test_ten_bit_scenario_gives_the_same_frames_within_rounding():
    eight = list(render_frames(tiny()))[5].image.astype(int)
    ten = list(render_frames(tiny("acid_from_start", "recording.codec=hevc", "recording.bits=10")))
    assert np.abs(ten[5].image.astype(int) - eight).max() <= 2


def test_files_are_written_and_tell_the_same_run(tmp_path):
    seen = []
    paths = simulate(
        tiny(), tmp_path / "run.mp4", progress=lambda done, total: seen.append((done, total))
    )
    assert seen[-1] == (48, 48)
    assert [p.name for p in (paths.recording, paths.truth, paths.masses)] == [
        "run.mp4", "run.truth.json", "run.masses.csv",
    ]  # fmt: skip
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in (
        paths.recording, paths.truth, paths.masses))  # fmt: skip
    with av.open(str(paths.recording)) as container:
        assert sum(1 for _ in container.decode(video=0)) == 48
    with paths.masses.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["time_s", "cumulative_g"]


def test_recording_shows_the_frames(tmp_path):
    scenario = tiny("acid_from_start", "recording.quality=10")
    simulate(scenario, tmp_path / "run.mp4")
    frames = list(render_frames(scenario))
    with av.open(str(tmp_path / "run.mp4")) as container:
        for decoded, frame in zip(container.decode(video=0), frames, strict=True):
            image = decoded.to_ndarray(format="rgb24").astype(int)
            assert abs(decoded.time - frame.time_s) < 1e-4
            assert np.abs(image.mean(axis=(0, 1)) - frame.image.mean(axis=(0, 1))).max() < 1.5


def test_same_scenario_gives_the_same_bytes_and_another_seed_others(tmp_path):
    def written(name, *more):
        paths = simulate(tiny("acid_from_start", *more), tmp_path / f"{name}.mp4")
        return paths.recording.read_bytes(), paths.truth.read_text(), paths.masses.read_text()

    assert written("a") == written("b")
    assert written("a")[0] != written("c", "seed=77")[0]


def test_truth_is_plain_json_without_nan(tmp_path):
    paths = simulate(tiny("empty_cup"), tmp_path / "run.mp4")

    def refuse(constant):
        raise AssertionError(constant)

    truth = json.loads(paths.truth.read_text(encoding="utf-8"), parse_constant=refuse)
    assert truth["schema"] == "huehold.simulation/1"
    assert truth["onset_s"] is None
    assert truth["columns"]["ph"][0] is None
    lengths = {len(column) for column in truth["columns"].values()}
    assert len(lengths) == 1


def test_truth_tells_vessel_in_pixels_of_the_file():
    plain = truth_document(Show(tiny()))["vessel"][0]
    large = truth_document(Show(tiny("acid_from_start", "recording.enlarge=2")))["vessel"][0]
    assert large["semi_major_px"] == pytest.approx(2 * plain["semi_major_px"], rel=1e-4)
    assert large["x_px"] == pytest.approx(2 * plain["x_px"] + 0.5, abs=1e-3)


def test_truth_lists_faults_and_people():
    scenario = tiny(
        "acid_from_start", "faults.knock_s=1", "faults.gap_s=2", "people.wandering_s=-4"
    )
    kinds = {d["kind"] for d in truth_document(Show(scenario))["disturbances"]}
    assert {"knock", "gap", "wander", "dropper"} <= kinds


def test_liquid_colour_turns_from_red_to_green():
    show = Show(load_preset("clean"))
    lab = liquid_lab(show, np.array([1.0, show.story.duration_s - 1.0]))
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    assert hue[0] < 75.0  # orange-red
    assert 105.0 < hue[1] < 150.0  # green
    assert np.hypot(lab[:, 1], lab[:, 2]).min() > 15.0


def test_masses_of_a_titration_reach_its_titrant():
    show = Show(load_preset("clean"))
    noted = dict(show.story.masses)
    assert max(noted.values()) == pytest.approx(show.story.titrant_g[-1], abs=0.03)


def test_full_disk_place_is_told(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        simulate(tiny(), tmp_path / "missing" / "run.mp4")


def test_rendered_recordings_are_kept(rendered):
    first = rendered("no_cup", "length_s=6", "sight.width_px=96", "sight.height_px=96")
    stamp = first.recording.stat().st_mtime_ns
    again = rendered("no_cup", "length_s=6", "sight.width_px=96", "sight.height_px=96")
    assert again.recording.stat().st_mtime_ns == stamp
    assert again.facts["preset"] == "no_cup"
    assert first.masses.exists()


def test_bench_knows_nothing_of_the_detector():
    code = (
        "import sys, huehold.virtual.simulate, huehold.virtual.observe;"
        "bad = [m for m in sys.modules if m.startswith(('huehold.vision', 'huehold.detection',"
        " 'huehold.capture', 'huehold.session'))];"
        "print(bad); sys.exit(bool(bad))"
    )
    outcome = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
