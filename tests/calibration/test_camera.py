"""The camera's calibration file, its command, and the check by a clip."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from huehold.calibration.camera import (
    CameraCalibration,
    CameraGate,
    calibration_by_card,
    calibration_by_chart,
)
from huehold.calibration.camera_check import CameraFinding, check_camera
from huehold.calibration.card_guide import read_card
from huehold.calibration.chart import fit_chart
from huehold.calibration.chart_picture import read_picture
from huehold.calibration.store import Store
from huehold.capture import camera
from huehold.capture.source import _device
from huehold.cli.calibrate_guided import command_of
from huehold.core import Ellipse, Frame, Observation, Rect, SourceInfo
from huehold.errors import InputError
from huehold.methods import load_method
from huehold.session import Session
from huehold.vision import Observer
from huehold.vision.colour import LINEAR_OF_CODE
from tests.calibration.card_scene import Scene, encode, render
from tests.calibration.chart_scene import camera_patches, chart_picture

MADE = dt.date(2026, 3, 1)
NOTHING_SEEN = Observation(0.0, *[float("nan")] * 7, None, 0.0, ("no_vessel",))


@pytest.fixture(scope="module")
def made() -> CameraCalibration:
    fit = fit_chart(0.8 * camera_patches("A") * np.array([1.0, 0.9, 0.6]))
    return calibration_by_chart(fit, name="phone", made=MADE, device="Phone X", light="lamp")


def write(path: Path, image: np.ndarray) -> Path:
    cv2.imwrite(str(path), image[..., ::-1])
    return path


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"matrix": ((1.0, 0.0, 0.0),) * 2}, "matrix"),
        ({"matrix": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0, 0.0, 0.0, 0.0))}, "3 rows"),
        ({"matrix": ((1.0, 0.5, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))}, "sum to 1"),
        ({"white": (0.5, 0.0, 0.5)}, "greater than 0"),
        ({"tone": 9.0}, "tone"),
        ({"matrix": ((float("nan"),) * 3,) * 3}, "finite"),
    ],
)
def test_a_file_that_cannot_be_is_refused(
    made: CameraCalibration, changes: dict[str, Any], message: str
) -> None:
    data = made.model_dump(by_alias=True) | changes
    with pytest.raises(ValueError, match=message):
        CameraCalibration.model_validate(data)


def test_frames_of_another_light_or_camera_are_refused(made: CameraCalibration) -> None:
    made.check_light(0.4 * np.array(made.white))
    made.check_light(np.array(made.white) * [1.0, 1.02, 1.08])
    with pytest.raises(InputError, match="does not fit these frames"):
        made.check_light([0.8, 0.8, 0.8])
    made.check_device("phone x")
    made.check_device("")
    with pytest.raises(InputError, match="of the camera 'Phone X'"):
        made.check_device("Webcam")


def test_it_is_kept_and_read_again(made: CameraCalibration, tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save(made)
    again = store.get("camera/phone")
    assert isinstance(again, CameraCalibration)
    rgb = np.array([0.3, 0.5, 0.2])
    assert again.correction()(rgb) == pytest.approx(made.correction()(rgb))
    assert again.remind_after == MADE + dt.timedelta(days=90)
    assert "after" in again.summary()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "cannot be read"),
        (b"", "not a picture"),
        (b"\xff\xd8\xff\xe0 cut short", "not a picture"),
        (b"hello", "not a picture"),
    ],
)
def test_a_file_that_is_no_picture_is_refused(
    tmp_path: Path, content: bytes | None, message: str
) -> None:
    path = tmp_path / "chart.jpg"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_picture(path)


def test_a_tiny_picture_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="too small"):
        read_picture(write(tmp_path / "a.png", np.zeros((50, 50, 3), np.uint8)))


def _run(monkeypatch: pytest.MonkeyPatch, folder: Path, *arguments: str) -> None:
    monkeypatch.setenv("HUEHOLD_DATA", str(folder / "data"))
    command_of("camera").main(list(arguments), standalone_mode=False)


def test_a_picture_without_chart_or_card_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "a.png", np.full((300, 400, 3), 128, np.uint8))
    with pytest.raises(InputError, match="nor a bench card"):
        _run(monkeypatch, tmp_path, str(path))
    assert not (tmp_path / "data").exists()


def test_the_command_keeps_a_calibration_by_the_chart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    image, at = chart_picture(camera_patches("A"))
    path = write(tmp_path / "chart.png", image)
    _run(monkeypatch, tmp_path, str(path), "--device", "Phone X", "--light", "kitchen lamp",
         "--use")  # fmt: skip
    told = capsys.readouterr()
    assert told.out.startswith("camera phone-x-kitchen-lamp: colours")
    assert "Runs use it from now on." in told.err
    chosen, faults = Store().chosen()
    assert [c.ref for c in chosen] == ["camera/phone-x-kitchen-lamp@1"]
    assert faults == ()
    corners = ",".join(f"{v:.1f}" for i in (0, 5, 23, 18) for v in at[i])
    _run(monkeypatch, tmp_path, str(path), "--corners", corners, "--name", "two", "--json")
    as_json = json.loads(capsys.readouterr().out)
    assert as_json["schema"] == "huehold.calibration/1"
    assert as_json["after"] <= 1.5
    assert [c.name for c in Store().chosen()[0]] == ["phone-x-kitchen-lamp"]


def test_the_bench_card_gives_tone_and_white_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write(tmp_path / "card.png", render(Scene(exponent=1.4, tilt_deg=20)).image)
    _run(monkeypatch, tmp_path, str(path), "--name", "tone")
    assert "tone straightened" in capsys.readouterr().out
    kept = Store().get("camera/tone")
    assert isinstance(kept, CameraCalibration)
    assert kept.before is None
    assert kept.tone == pytest.approx(1.4, abs=0.1)


def test_a_card_that_shows_nothing_to_correct_is_told() -> None:
    reading = read_card(render(Scene(tilt_deg=20)).image)
    assert reading is not None
    with pytest.raises(InputError, match="nothing to correct"):
        calibration_by_card(reading, name="a", made=MADE)


def test_the_observer_applies_a_correction_and_keeps_white(made: CameraCalibration) -> None:
    """A liquid as that camera sees it comes out as the chart's published colour of that patch."""
    linear = camera_patches("A")[6]  # orange
    image = np.full((240, 320, 3), encode(np.array([0.9, 0.9, 0.9])), np.uint8)
    cv2.circle(image, (160, 120), 60, encode(0.9 * linear).tolist(), -1)
    place = {"vessel": Ellipse(160, 120, 58, 58), "white": Rect(10, 10, 40, 40)}
    fit = fit_chart(camera_patches("A"))
    plain = Observer(**place).observe(Frame(0.0, image))
    gate = CameraGate(calibration_by_chart(fit, name="orange", made=MADE))
    right = Observer(**place, correction=gate).observe(Frame(0.0, image))
    assert gate.refused == ""
    wanted_hue = 57.6  # published, D50 (colour-science, chart after Nov. 2014)
    assert abs(right.hue_deg - wanted_hue) < abs(plain.hue_deg - wanted_hue)
    assert right.hue_deg == pytest.approx(wanted_hue, abs=5.0)
    white = fit.correction(np.ones(3))
    assert white == pytest.approx(np.ones(3))


def test_a_calibration_of_another_light_is_left_out_and_told(made: CameraCalibration) -> None:
    gate = CameraGate(made)
    rgb = np.array([0.3, 0.5, 0.2])
    assert gate(rgb, np.array([0.8, 0.8, 0.8])) == pytest.approx(rgb)
    assert "does not fit these frames" in gate.refused
    assert gate(rgb, np.array(made.white)) == pytest.approx(rgb), "decided once for the run"
    fits = CameraGate(made)
    assert fits(rgb, 0.5 * np.array(made.white)) == pytest.approx(made.correction()(rgb))


Gain = Callable[[int], tuple[float, float, float]]


def clip(
    count: int = 36, rate_hz: float = 15.0, gain: Gain = lambda _: (1.0, 1.0, 1.0), **changes: Any
) -> list[Frame]:
    """Render frames of a bench at rest: one picture, a gain for each frame, and new noise."""
    still = render(Scene(size=(640, 360), cup_px=110.0, noise=0.0, **changes)).image
    light = LINEAR_OF_CODE[still]
    rng = np.random.default_rng(0)
    return [
        Frame(i / rate_hz, encode(light * gain(i) + 0.003 * rng.standard_normal(light.shape)))
        for i in range(count)
    ]


def findings(frames: list[Frame]) -> dict[str, CameraFinding]:
    return {finding.what: finding for finding in check_camera(frames)}


def test_a_clip_too_short_is_refused() -> None:
    with pytest.raises(InputError, match="judged on at least"):
        check_camera(clip(6))
    with pytest.raises(InputError, match="0 frames"):
        check_camera([])


@pytest.mark.parametrize(
    ("what", "changes", "advice"),
    [
        ("light", {"light": (1.5, 1.4, 1.3)}, "Lower the exposure"),
        ("light", {"light": (0.03, 0.03, 0.03)}, "Add a lamp"),
        ("exposure", {"gain": lambda i: (1 - 0.005 * i,) * 3}, "Lock it"),
        ("white balance", {"gain": lambda i: (1 - 0.005 * i, 1, 1)}, "Lock it"),
        ("flicker", {"gain": lambda i: (1 + 0.08 * (i % 2),) * 3}, "1/50 or 1/100"),
        ("frame rate", {"rate_hz": 4.0}, "Add light"),
        ("focus", {"blur_px": 4.0}, "Tap on the cup"),
    ],
    ids=["clipped", "dark", "exposure", "balance", "flicker", "slow", "blur"],
)
def test_each_fault_is_told_with_advice(what: str, changes: dict[str, Any], advice: str) -> None:
    found = findings(clip(24 if "rate_hz" in changes else 36, **changes))[what]
    assert found.state == "bad"
    assert advice in found.advice


def test_a_good_camera_is_called_good() -> None:
    found = findings(clip())
    assert {finding.state for finding in found.values()} == {"good"}
    assert found["frame rate"].value == pytest.approx(15.0)


def test_what_cannot_be_seen_is_unknown_not_good() -> None:
    grey = np.full((120, 160, 3), 250, np.uint8)
    found = findings([Frame(i / 15.0, grey) for i in range(40)])
    assert found["focus"].state == found["exposure"].state == found["flicker"].state == "unknown"
    assert found["exposure"].value is None


@pytest.mark.parametrize(
    ("device", "fits"),
    [("", True), ("PHONE-X", True), ("Maker Phone X", True), ("Phone Y", False), ("x", True)],
)
def test_a_calibration_of_another_camera_is_left_out_and_told(
    made: CameraCalibration, device: str, fits: bool
) -> None:
    gate = CameraGate(made, device)
    white = np.array(made.white)
    ratio = np.array([0.5, 0.4, 0.3])
    assert np.array_equal(gate(ratio, white), ratio) is not fits
    assert bool(gate.refused) is not fits
    session = Session(load_method("magnesium-hydroxide-by-vinegar"), calibrations=[made],
                      device=device)  # fmt: skip
    session.take(NOTHING_SEEN)
    run = session.finish(SourceInfo("a", 8, 8))
    assert len([w for w in run.warnings if "of the camera" in w]) == (not fits)
    assert run.calibrations == ((made.ref,) if fits else ())


def test_phones_say_which_they_are() -> None:
    apple = {"com.apple.quicktime.make": "Maker ", "com.apple.quicktime.model": "Phone X"}
    assert _device(apple) == {"device": "Maker Phone X"}
    assert _device({"com.android.model": "Y" * 200}) == {"device": "Y" * 80}
    assert _device({"title": "Phone"}) == {}


def test_linux_says_which_camera_it_is(tmp_path: Path) -> None:
    (tmp_path / "video2").mkdir()
    (tmp_path / "video2" / "name").write_text("Desk camera\n")
    assert camera._device(2, tmp_path) == {"device": "Desk camera"}
    assert camera._device(3, tmp_path) == {}
