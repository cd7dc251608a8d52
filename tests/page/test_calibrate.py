"""Guided calibration behind the page: what is refused, what is kept, and who may do it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from starlette.testclient import TestClient

from huehold.calibration.guided import make
from huehold.calibration.guides import list_guides
from huehold.calibration.store import Store
from huehold.notebook import Notebook
from huehold.page.app import make_app
from huehold.page.desk import Desk
from huehold.page.door import Keys, own_hosts
from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics
from huehold.vision.colour import encode_srgb
from tests.calibration.chart_scene import camera_patches, chart_picture
from tests.page.story import begin_watch, jpeg, picture_at, pushed_source

HOST = "http://127.0.0.1:8321"
DROPS = [{"drops": "20", "mass": mass} for mass in ("0.95", "0.97", "0,96")]
ROUTES = [
    ("GET", "/calibrate"), ("GET", "/api/calibrate"), ("POST", "/api/calibrate/pictures"),
    ("POST", "/api/calibrate/pictures/live"), ("GET", "/api/calibrate/pictures/1"),
    ("POST", "/api/calibrate/check"), ("POST", "/api/calibrate/result"),
    ("POST", "/api/calibrate/keep"), ("PUT", "/api/calibrate/use"),
]  # fmt: skip


def client_of(desk: Desk | None, role: str | None = "desk") -> TestClient:
    keys = Keys()
    app = make_app(desk, keys, own_hosts(["127.0.0.1"], 8321))
    client = TestClient(app, base_url=HOST, follow_redirects=False)
    if role:
        assert client.post("/enter", json={"token": keys.new_token(role)}).status_code == 200
    return client


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path / "data"))


@pytest.fixture
def page():
    with client_of(None) as client:
        yield client


@pytest.fixture
def desk(tmp_path):
    with Notebook(tmp_path / "notebook.sqlite3") as notebook:
        desk = Desk(lambda: begin_watch(notebook, pushed_source()), notebook)
        yield desk
        desk.close()


def cup(ph: float) -> bytes:
    """A cup of the kitchen dye at a pH, on paper, from above."""
    paper = np.array([0.80, 0.79, 0.76])
    image = np.full((360, 480, 3), paper)
    rows, columns = np.mgrid[:360, :480]
    radius = np.hypot(columns - 240, rows - 180)
    image[radius < 108] = (0.55, 0.56, 0.57)
    image[radius < 100] = LiquidOptics(KITCHEN_DYES, 25.0).appearance(np.array(ph)).over(paper)
    return jpeg(encode_srgb(image), 95)


def take(page: TestClient, data: bytes) -> dict:
    answer = page.post("/api/calibrate/pictures", content=data)
    assert answer.status_code == 201, answer.text
    return answer.json()


# -- failures -------------------------------------------------------------------------------


@pytest.mark.parametrize("role", [None, "phone"])
@pytest.mark.parametrize(("method", "path"), ROUTES)
def test_only_the_desk_may_calibrate(method, path, role):
    with client_of(None, role) as client:
        assert client.request(method, path).status_code == 403


def test_another_site_may_not(page):
    headers = {"origin": "https://elsewhere.example"}
    answers = {"weighings": DROPS}
    told = page.post(
        "/api/calibrate/keep", json={"kind": "dropper", "answers": answers}, headers=headers
    )
    assert told.status_code == 403
    assert not Store().folder.exists()


@pytest.mark.parametrize(
    ("given", "place", "words"),
    [
        ({"kind": "spoon"}, None, "no guide for 'spoon'"),
        ({"kind": "dropper", "step": "tea"}, None, "no step 'tea'"),
        ({"kind": "dropper", "step": "weighings"}, ("", -1), "at least one must be given"),
        (
            {"kind": "dropper", "step": "weighings",
             "answers": {"weighings": [{"drops": "20", "mass": ""}, {"drops": "x", "mass": "1"}]}},
            ("drops", 1), "'x' is no count",
        ),
        (
            {"kind": "dropper", "step": "start", "answers": {"readability": "0"}},
            ("readability", -1), "cannot be used here",
        ),
        (
            {"kind": "dropper", "step": "start", "answers": {"liquid": "v" * 300}},
            ("liquid", -1), "too long",
        ),
        ({"kind": "dropper", "answers": {"liquid": "v" * 5000}}, None, "too long"),
        (
            {"kind": "indicator", "step": "start", "answers": {"method": "/tmp/mine.toml"}},
            None, "does not come with the program",
        ),
        ({"kind": "dropper", "colour": 1}, None, "Extra inputs"),
        ({"kind": "dropper", "answers": {"weighings": [{"drops": 20}]}}, None, "valid string"),
    ],
)  # fmt: skip
def test_a_wrong_answer_is_told_with_its_place(page, given, place, words):
    told = page.post("/api/calibrate/check", json={"answers": {}, **given})
    assert told.status_code == 422
    assert words in told.json()["error"]
    if place is not None:
        assert (told.json()["field"], told.json()["row"]) == place


@pytest.mark.parametrize("data", [b"", b"hello", b"\xff\xd8\xff\xe0 cut short"])
def test_what_is_no_picture_is_refused(page, data):
    told = page.post("/api/calibrate/pictures", content=data)
    assert told.status_code == 422
    assert "no whole JPEG" in told.json()["error"]


def test_a_picture_beyond_its_size_is_refused(page):
    assert page.post("/api/calibrate/pictures", content=b"\xff" * (3 << 20)).status_code == 413
    tiny = jpeg(np.zeros((50, 50, 3), np.uint8))
    assert "too small" in page.post("/api/calibrate/pictures", content=tiny).json()["error"]


def test_a_picture_that_is_gone(page):
    answers = {"pictures": [{"picture": "picture 9", "ph": str(ph)} for ph in (5, 7, 9)]}
    told = page.post("/api/calibrate/result", json={"kind": "indicator", "answers": answers})
    assert told.status_code == 422
    assert "picture 9 is not here any more" in told.json()["error"]
    assert page.get("/api/calibrate/pictures/9").status_code == 422


def test_a_path_is_no_picture(page, tmp_path):
    path = tmp_path / "cup.jpg"
    path.write_bytes(cup(7.0))
    answers = {"picture": str(path)}
    told = page.post("/api/calibrate/result", json={"kind": "camera", "answers": answers})
    assert "is not here any more" in told.json()["error"]


def test_a_camera_that_gives_no_picture(page, desk):
    assert "No picture comes" in page.post("/api/calibrate/pictures/live").json()["error"]
    with client_of(desk) as running:
        told = running.post("/api/calibrate/pictures/live")
    assert told.status_code == 422
    assert "start it on the page of the run" in told.json()["error"]


@pytest.mark.parametrize("name", ["kitchen", "spoon/x", "dropper/none", "dropper/../x", "a/b.toml"])
def test_what_cannot_be_used(page, name):
    assert page.put("/api/calibrate/use", json={"name": name, "use": True}).status_code == 422


# -- what works -----------------------------------------------------------------------------


def test_without_a_run_the_page_is_the_calibration(page):
    assert "Calibrate" in page.get("/").text
    assert (
        page.get("/calibrate").headers["content-security-policy"].startswith("default-src 'none'")
    )
    assert page.get("/api/masses").status_code == 404


def test_the_guides_are_the_terminals(page):
    told = page.get("/api/calibrate").json()
    assert [guide["kind"] for guide in told["guides"]] == list(list_guides())
    assert (told["run"], told["kept"]) == (False, [])
    coins = next(g for g in told["guides"] if g["kind"] == "balance")["steps"][1]["fields"][0]
    assert any(key == "us-5-cents" for key, _ in coins["offered"])
    assert ["baking soda", "baking soda (NaHCO3)"] in told["standards"][
        "magnesium-hydroxide-by-vinegar"
    ]


def test_a_dropper_from_answers_to_use(page):
    given = {"kind": "dropper", "answers": {"liquid": "Vinegar", "weighings": DROPS}}
    shown = page.post("/api/calibrate/result", json=given).json()
    assert shown["summary"].startswith("one drop weighs 0.04800 +/- 0.0003")
    assert not Store().folder.exists()  # a result is not yet kept
    kept = page.post("/api/calibrate/keep", json={**given, "name": "My dropper", "use": True})
    assert kept.json() == {"ref": "dropper/my-dropper@1", "used": True}
    by_terminal = make(
        "dropper", given["answers"], name="my-dropper", made=Store().get("my-dropper").date
    )
    assert Store().get("my-dropper") == by_terminal.calibration.model_copy(update={"version": 1})
    row = page.get("/api/calibrate").json()["kept"][0]
    assert (row["name"], row["used"], row["reminder"]) == ("dropper/my-dropper@1", True, "")
    assert "file" not in row
    page.put("/api/calibrate/use", json={"name": row["name"], "use": False})
    assert Store().chosen() == ((), ())
    page.put("/api/calibrate/use", json={"name": row["name"], "use": True})
    assert [found.ref for found in Store().chosen()[0]] == ["dropper/my-dropper@1"]


@pytest.mark.parametrize(
    ("kind", "answers", "words"),
    [
        (
            "balance",
            {"check": [{"weight": "us-5-cents", "reading": "5.25"}],
             "repeat": [{"reading": "5.01"}, {"reading": "5,00"}, {"reading": ""}]},
            "repeats within 0.0071 g (2 readings)",
        ),
        (
            "density",
            {"sample": "blue", "mass": [{"mass": "104.6"}], "water": [{"mass": "100.0"}]},
            "blue: 1.04",
        ),
        ("density", {"mass": [{"mass": "10.44"}], "volume": "10.0", "graduation": "0.5"}, "1.04"),
        ("titrant", {"standard_mass": "1.05", "titrant_mass": "15.05"}, "took 15.05 g)"),
    ],
)  # fmt: skip
def test_what_is_weighed(page, kind, answers, words):
    shown = page.post("/api/calibrate/result", json={"kind": kind, "answers": answers})
    assert shown.status_code == 200, shown.text
    assert words in shown.json()["summary"]
    if kind == "balance":
        assert "outside 5.000 +/- 0.194 g" in shown.json()["doubts"][0]


def test_an_indicator_from_pictures(page):
    rows = []
    for ph in (5.0, 6.9, 7.6, 8.3, 9.2, 10.0, 10.9):
        shot = take(page, cup(ph))
        assert shot["vessel"]["x"] == pytest.approx(240, abs=4)
        rows.append({"picture": shot["name"], "ph": f"{ph} +/- 0.05"})
    given = {"kind": "indicator", "answers": {"pictures": rows, "light": "lamp"}}
    shown = page.post("/api/calibrate/result", json=given).json()
    assert "green below pH" in shown["summary"]
    assert len(shown["seen"]) == 7
    assert "where it turns" in dict(shown["facts"])["uncertainty"]
    red, green, _ = np.array(
        [[int(colour[i : i + 2], 16) for i in (1, 3, 5)] for _, colour in shown["swatches"]]
    ).T
    assert shown["swatches"][0][0] == "pH 5.0"
    assert green[0] > red[0] + 40  # green in acid, orange in base
    assert red[-1] > green[-1] + 40
    assert page.get("/api/calibrate/pictures/1").headers["content-type"] == "image/jpeg"
    page.post("/api/calibrate/keep", json=given)
    chart = Store().get("indicator/turmeric-and-spirulina-food-colouring")
    assert (chart.origin, chart.light) == ("measured", "lamp")


def cloudy(share: float) -> bytes:
    """A cup over a checked ground, seen through the dye with that share of solid in it."""
    rows, columns = np.mgrid[:360, :480]
    checks = np.where((rows // 12 + columns // 12) % 2 == 0, 0.8, 0.15)[..., None] * np.ones(3)
    image = np.full((360, 480, 3), 0.8)
    radius = np.hypot(columns - 240, rows - 180)
    seen = LiquidOptics(KITCHEN_DYES, 25.0).appearance(np.array(9.5), np.array(2.0 * share))
    sharp = float(seen.sharp)
    inside = seen.veil + seen.through * (sharp * checks + (1.0 - sharp) * checks.mean())
    image[radius < 108] = 0.55
    image[radius < 100] = inside[radius < 100]
    return jpeg(encode_srgb(image), 95)


def test_turbidity_from_two_pictures(page):
    rows = [
        {"picture": take(page, cloudy(share))["name"], "share": str(share)} for share in (0.0, 1.0)
    ]
    given = {"kind": "turbidity", "answers": {"pictures": rows, "vessel": "240,180,98"}}
    shown = page.post("/api/calibrate/result", json=given)
    assert shown.status_code == 200, shown.text
    assert (
        "2 points; the share of solid may be believed between 0.00 and 1.00"
        in (shown.json()["summary"])
    )
    assert "Two points" in shown.json()["doubts"][0]
    assert "of the share in the middle" in dict(shown.json()["facts"])["uncertainty"]


def test_a_camera_by_a_picture_of_the_chart(page):
    image, _ = chart_picture(camera_patches("A"))
    shot = take(page, jpeg(image, 97))
    answers = {"picture": shot["name"], "device": "Phone X", "light": "lamp"}
    shown = page.post("/api/calibrate/result", json={"kind": "camera", "answers": answers})
    assert shown.status_code == 200, shown.text
    assert shown.json()["name"] == "phone-x-lamp"
    assert "after (CIEDE2000" in shown.json()["summary"]


def test_a_picture_from_the_runs_camera(desk):
    for number in range(200):
        desk.phone.push(jpeg(picture_at(1.0, 480)), 100.0 + 0.1 * number)
        if desk.watch.newest is not None:
            break
        desk.watch.wait(0.1)
    with client_of(desk) as running:
        shot = running.post("/api/calibrate/pictures/live").json()
        shown = running.get(f"/api/calibrate/pictures/{shot['name'].split()[1]}").content
        told = running.get("/api/calibrate").json()
    assert told["run"] is True
    titrant = next(guide for guide in told["guides"] if guide["kind"] == "titrant")
    assert titrant["steps"][0]["fields"][0]["start"] == desk.watch.session.method.name
    assert (shot["width"], shot["height"]) == (480, 270)
    assert cv2.imdecode(np.frombuffer(shown, np.uint8), 1).shape == (270, 480, 3)
    assert "orange" in shot["says"]


def test_the_tray_holds_only_so_many(page):
    small = jpeg(np.full((130, 160, 3), 200, np.uint8))
    names = [take(page, small)["name"] for _ in range(26)]
    assert page.get(f"/api/calibrate/pictures/{names[0].split()[1]}").status_code == 422
    assert page.get(f"/api/calibrate/pictures/{names[-1].split()[1]}").status_code == 200
