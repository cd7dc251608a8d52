"""The sample that comes with the package is what its seed makes it."""

from __future__ import annotations

import importlib.util
import itertools
import json
import tomllib
from pathlib import Path

import av
import numpy as np
import pytest

from huehold.virtual.presets import load_preset
from huehold.virtual.simulate_show import Show
from huehold.virtual.simulate_truth import truth_document

_FOLDER = Path(__file__).resolve().parents[2] / "sample_media"


@pytest.fixture(scope="module")
def make():
    """Return the script as a module."""
    spec = importlib.util.spec_from_file_location("make_sample", _FOLDER / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def show():
    return Show(load_preset("demo"))


def test_truth_is_that_of_the_preset(make, show):
    kept = json.loads((_FOLDER / "demo.truth.json").read_text(encoding="utf-8"))
    assert make.close(kept, json.loads(json.dumps(truth_document(show))))


def test_masses_are_those_of_the_run(show):
    lines = (_FOLDER / "demo.masses.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "time_s,cumulative_g"
    kept = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    np.testing.assert_allclose(kept, show.story.masses, atol=0.006)


def test_recording_begins_with_the_rendered_frames(show):
    with av.open(str(_FOLDER / "demo.mp4")) as container:
        stream = container.streams.video[0]
        assert stream.frames == len(show.times)
        pairs = itertools.islice(zip(container.decode(stream), show.frames(), strict=False), 4)
        for decoded, frame in pairs:
            image = decoded.to_ndarray(format="rgb24").astype(float)
            assert decoded.time == pytest.approx(frame.time_s, abs=1e-4)
            assert np.abs(image - frame.image).mean() < 6.0  # the codec takes the grain away
            assert np.abs(image.mean(axis=(0, 1)) - frame.image.mean(axis=(0, 1))).max() < 2.5


def test_recording_is_small():
    assert (_FOLDER / "demo.mp4").stat().st_size < 5e6


def test_what_the_class_typed_is_what_was_on_the_bench(show):
    typed = tomllib.loads((_FOLDER / "demo.toml").read_text(encoding="utf-8"))
    bench = show.scenario.bench
    given = typed["given"]
    assert given["sample_mass"] == f"{bench.sample_g:.2f} g"
    assert given["density"] == f"{bench.density_g_per_ml:.3f} g/mL"
    assert given["water_mass"] == f"{bench.water_g:.0f} g"
    assert float(given["blank_mass"].split()[0]) == pytest.approx(
        show.story.facts["blank_g"], abs=0.005
    )
    assert show.story.facts["endpoints_by_hold_s"][f"{typed['hold_s']}"] is not None


def test_check_finds_a_number_a_frame_and_a_file_that_differ(make, tmp_path):
    from huehold.virtual.presets_settings import with_settings
    from huehold.virtual.simulate import simulate

    tiny = ["sight.width_px=96", "sight.height_px=96", "recording.rate_hz=4", "length_s=6"]

    def rendered(name, *more):
        folder = tmp_path / name
        folder.mkdir()
        scenario = with_settings(load_preset("acid_from_start"), [*tiny, *more])
        return simulate(scenario, folder / "demo.mp4"), folder

    fresh, _ = rendered("fresh")
    assert make.compare(fresh, rendered("same")[1]) == []
    faults = make.compare(fresh, rendered("other", "light.level=0.3")[1])
    assert "demo.mp4: frame 0 shows something else." in faults
    (tmp_path / "same" / "demo.masses.csv").unlink()
    assert make.compare(fresh, tmp_path / "same") == ["demo.masses.csv is missing."]
    gappy = make.compare(fresh, rendered("gap", "faults.gap_s=0.1", "faults.gap_length_s=1")[1])
    assert any("number of frames" in fault or "another time" in fault for fault in gappy)
