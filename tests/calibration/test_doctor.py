"""The doctor: what is wrong is told with what to do; nothing hangs, nothing crashes."""

import json
import sqlite3
import time
from datetime import date

import pytest

from huehold.calibration.dropper import Weighing, calibrate
from huehold.calibration.store import Store
from huehold.core import Frame
from huehold.doctor import checks, clip, devices
from huehold.doctor.examination import Finding, _guarded, as_json, calibrations, examine
from tests.calibration.card_scene import Scene, render

MADE = date(2026, 11, 1)


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "calibration")
    made.save(calibrate([Weighing(20, 0.95), Weighing(20, 0.97)], name="kitchen", made=MADE))
    return made


def test_two_builds_of_opencv():
    found = checks.opencv(["opencv-python", "opencv-python-headless"])
    assert found.state == "fails"
    assert "installed over each other" in found.found
    assert "pip uninstall opencv-python opencv-python-headless" in found.advice
    assert checks.opencv(["opencv-python-headless"]).state == "works"


def test_a_library_that_is_missing():
    found = checks.libraries(["numpy>=2.0", "no-such-library<3; python_version>'3'"])
    assert found.state == "fails"
    assert found.advice == "pip install no-such-library"
    assert checks.libraries(["numpy>=2.0"]).state == "works"


@pytest.mark.parametrize(
    ("there", "state", "words"),
    [
        ({"libx264"}, "fails", "cannot read H.264"),
        ({"h264", "hevc", "vp9", "av1", "mjpeg"}, "limited", "cannot write H.264"),
        ({"h264", "vp9", "mjpeg", "libx264"}, "limited", "cannot read HEVC, AV1"),
        ({"h264", "hevc", "vp9", "av1", "mjpeg", "libx264"}, "works", "reads H.264"),
    ],
)
def test_codecs(there, state, words):
    found = checks.codecs(there)
    assert found.state == state
    assert words in found.found


@pytest.mark.parametrize(("free", "state"), [(0.1, "fails"), (2.0, "limited"), (50.0, "works")])
def test_disk(free, state):
    found = checks.disk(free)
    assert found.state == state
    assert bool(found.advice) == (state != "works")


def test_no_network_for_a_phone():
    assert checks.network(()).state == "limited"
    assert "192.0.2.7" in checks.network(("192.0.2.7",)).found


def test_a_folder_that_is_a_file(tmp_path):
    (tmp_path / "x").write_text("")
    assert checks.data_folder(tmp_path / "new" / "deep").state == "works"
    assert "made when first needed" in checks.data_folder(tmp_path / "new").found


def test_the_notebook(tmp_path):
    path = tmp_path / "notebook.sqlite3"
    assert "none yet" in checks.notebook(path).found
    path.write_bytes(b"not a notebook at all" * 100)
    assert checks.notebook(path).state == "fails"
    path.unlink()
    with sqlite3.connect(path) as book:
        book.execute("CREATE TABLE run (id INTEGER)")
        book.execute("INSERT INTO run VALUES (1)")
    book.close()
    found = checks.notebook(path)
    assert found.state == "works"
    assert found.found.startswith("1 run,")
    assert path.stat().st_size > 0


def test_calibrations_that_are_broken(store):
    (store.folder / "dropper.kitchen.toml").write_text("x")
    found = calibrations(store, MADE)
    assert found.state == "fails"
    assert "not valid TOML" in found.found


@pytest.mark.parametrize(
    ("today", "state", "words"),
    [
        (date(2026, 11, 11), "works", "dropper/kitchen@1 10 days"),
        (date(2028, 1, 1), "limited", "was to be repeated after 2027-04-30"),
        (date(2026, 1, 1), "limited", "still to come"),
    ],
)
def test_age_of_calibrations(store, today, state, words):
    store.use("kitchen")
    found = calibrations(store, today)
    assert found.state == state
    assert words in found.found


def test_no_calibrations_and_none_used(store, tmp_path):
    assert calibrations(Store(tmp_path / "none"), MADE).found == "none of your own"
    assert "huehold calibrate use" in calibrations(store, MADE).advice


def test_a_check_that_crashes_is_a_finding():
    (found,) = _guarded("odd", lambda: 1 / 0)
    assert found.state == "fails"
    assert "division by zero" in found.found


def test_a_device_that_hangs_is_given_up():
    started = time.monotonic()
    assert devices.probe("import time; time.sleep(60)", 0.5) is None
    assert time.monotonic() - started < 20
    assert devices.probe("import sys; sys.exit(3)", 20) is None
    assert devices.probe("print('noise'); print('[1, 2]')", 20) == [1, 2]


@pytest.mark.parametrize(
    ("answer", "state", "words"),
    [
        (None, "limited", "no answer within"),
        ([], "limited", "none on this computer"),
        ([{"index": 0, "size": [640, 480], "light": 5.0, "lock": {}}], "limited", "too dark"),
        (
            [{"index": 0, "size": [640, 480], "light": 120.0, "lock": {"exposure": "refused"}}],
            "limited", "does not lock exposure",
        ),
        (
            [{"index": 1, "size": [1280, 720], "light": 120.0, "lock": {"exposure": "locked"}}],
            "works", "camera 1 1280 x 720, locks, light enough",
        ),
    ],
)  # fmt: skip
def test_cameras(monkeypatch, answer, state, words):
    monkeypatch.setattr(devices.sys, "platform", "darwin")
    monkeypatch.setattr(devices, "probe", lambda code, limit_s: answer)
    (found,) = devices.cameras()
    assert found.state == state
    assert words in found.found


class Still:
    """A camera before a bench at rest; `dim` tells how its exposure wanders."""

    def __init__(self, rate_hz: float = 15.0, dim: float = 0.0) -> None:
        self.image = render(Scene(size=(640, 480), cup_px=110.0, light=(0.7, 0.7, 0.7))).image
        self.rate_hz, self.dim, self.now_s, self.closed = rate_hz, dim, 0.0, False

    def read(self):
        self.now_s += 1.0 / self.rate_hz
        return (self.image * (1.0 - self.dim * self.now_s)).astype(self.image.dtype)

    def clock(self) -> float:
        return self.now_s


def lines_of(camera: Still) -> dict[str, Finding]:
    frames = list(clip._frames(camera, camera.clock))
    lines = [devices._tell_check(0, finding) for finding in clip._findings(frames)]
    return {line.found.split(":")[0].removeprefix("camera 0 "): line for line in lines}


def test_a_clip_of_the_camera_is_judged_line_by_line():
    found = lines_of(Still())
    assert list(found) == ["light", "exposure", "white balance", "flicker", "frame rate", "focus"]
    assert {line.state for line in found.values()} == {"works"}
    wandering = lines_of(Still(dim=0.06))["exposure"]
    assert wandering.state == "limited"
    assert "wandered by" in wandering.found
    assert wandering.advice.startswith("Lock it")


def test_a_camera_too_slow_to_be_judged():
    (line,) = lines_of(Still(rate_hz=4.0)).values()
    assert line.state == "limited"
    assert "judged on at least 20 frames" in line.found


def test_each_camera_is_opened_locked_and_let_go(monkeypatch):
    camera = Still(rate_hz=30.0)
    camera.lock = lambda: type("Lock", (), {"exposure": "locked", "white_balance": "refused"})
    camera.close = lambda: setattr(camera, "closed", True)
    seen = type(
        "Seen", (), {"index": 2, "width_px": 640, "height_px": 480, "picture": camera.image}
    )
    monkeypatch.setattr(clip, "list_cameras", lambda most: [seen])
    monkeypatch.setattr(clip, "CameraDevice", lambda *a, **k: camera)
    monkeypatch.setattr(
        clip, "_frames", lambda device: [Frame(i / 15, camera.image) for i in range(45)]
    )
    (one,) = json.loads(json.dumps(clip.look(3), allow_nan=False))
    assert camera.closed
    assert (one["index"], one["size"]) == (2, [640, 480])
    first, *rest = devices._tell_camera(one)
    assert "does not lock white balance" in first.found
    assert len(rest) == 6


@pytest.mark.parametrize(
    ("answer", "state"), [(None, "limited"), ({"ok": False}, "limited"), ({"ok": True}, "works")]
)
def test_sound(monkeypatch, answer, state):
    monkeypatch.setattr(devices, "probe", lambda code, limit_s: answer)
    assert devices.sound().state == state


def test_all_of_it_here(store, monkeypatch):
    monkeypatch.setattr(devices, "probe", lambda code, limit_s: None)
    monkeypatch.setattr(checks, "_version", lambda name: "5" if name.endswith("less") else "")
    found = list(examine(MADE, store=store))
    names = [finding.name for finding in found]
    assert len(names) == len(set(names)) == 12
    data = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert data["schema"] == "huehold.doctor/1"
    for finding in found:
        line = finding.line()
        assert "\n" not in line
        assert line.split()[0] in {"ok", "note", "problem"}
        assert finding.advice or finding.state == "works"


def test_a_line_says_what_to_do():
    line = Finding("disk", "limited", "2 GB free.", "make room").line()
    assert line == "note    disk          2 GB free; make room"
