"""`huehold calibrate` as a person uses it."""

import json
from datetime import date

import cv2
import numpy as np
import pytest

from huehold.calibration.store import Store
from huehold.cli import asking
from huehold.page.serve import PageServer
from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics
from huehold.vision.colour import encode_srgb
from tests.cli.calling import outcome

DROPS = ["calibrate", "dropper", "--weighings", "20:0.95,20:0.97,20:0.96", "--name", "Kitchen"]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path / "data"))
    for module in ("calibrate", "calibrate_guided"):
        monkeypatch.setattr(f"huehold.cli.{module}.today", lambda: date(2026, 11, 1))


def answer(monkeypatch, answers):
    """Sit somebody at the terminal who gives these answers, one after the other."""
    waiting = iter(answers)
    for module in ("asking", "calibrate_guided"):
        monkeypatch.setattr(f"huehold.cli.{module}.interactive", lambda: True)
    monkeypatch.setattr(asking.click, "prompt", lambda *a, **k: next(waiting))


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["dropper"], 2, "Give --weighings, or run this in a terminal"),
        (["dropper", "--weighings", "20"], 3, "is no weighing"),
        (["dropper", "--weighings", "20:0.95", "--name", "???"], 2, "makes no name"),
        (["dropper", "--weighings", "20:0.95", "--readability", "0"], 3, "cannot be used here"),
        (["dropper", "--weighings", "²:0.95"], 3, "is no count"),
        (["balance"], 2, "Nothing was weighed"),
        (["balance", "--repeat", "5,5.01", "--readability", "0"], 3, "cannot be used here"),
        (["balance", "--repeat", "5,5.01", "--capacity", "0"], 3, "'capacity_g' is 0.0"),
        (["balance", "--repeat", "5,inf"], 3, "not a finite number"),
        (["balance", "--check", "²x us-5-cents=5"], 2, "There is no coin"),
        (["balance", "--check", "=5"], 3, "is no check"),
        (["balance", "--repeat", "5.01"], 3, "at least twice"),
        (["balance", "--check", "5.01"], 3, "is no check"),
        (["balance", "--check", "us-6-cents=5.01"], 2, "did you mean"),
        (["balance", "--together", "5=5"], 3, "no such weighing"),
        (["balance", "--repeat", "5,5", "--zero", "5"], 3, "is no zero"),
        (["density"], 2, "Give --mass"),
        (["density", "--mass", "10.4"], 2, "Give --water or --volume"),
        (["density", "--mass", "10", "--volume", "10", "--water", "9"], 2, "not both"),
        (["density", "--mass", "104", "--volume", "10"], 3, "household liquid"),
        (["density", "--mass", "10", "--volume", "10", "--method", "x"], 2, "no method 'x'"),
        (["titrant"], 2, "Give --standard-mass"),
        (["titrant", "--standard", "chalk"], 2, "no standard 'chalk'"),
        (["titrant", "--standard-mass", "-1"], 3, "is no mass"),
        (["turbidity"], 2, "Give FILE=SHARE ... or --pairs"),
        (["turbidity", "--pairs", "0:0.1"], 3, "lacks the fresh suspension"),
        (["turbidity", "--pairs", "a:b"], 3, "'a' is not a number"),
        (["turbidity", "a.png=1", "--pairs", "0:0"], 2, "not both"),
        (["turbidity", "none.png=1"], 3, "There is no picture"),
        (["indicator"], 2, "Give FILE=PH ..."),
        (["indicator", "a.png"], 3, "is no picture with its value"),
        (["indicator", "none.png=7"], 3, "There is no picture or clip"),
        (["indicator", "--vessel", "1,2"], 3, "X,Y,R"),
        (["show", "nothing"], 2, "There is no calibration 'nothing'"),
        (["show", "nothing.toml"], 3, "There is no calibration file"),
        (["use", "nothing"], 2, "There is no calibration"),
        (["stop", "spoon"], 2, "no calibration of kind 'spoon'"),
        (["remove", "--yes", "indicator/starch"], 2, "comes with huehold"),
        (["spoon"], 2, "There is no command"),
    ],
)
def test_wrong_use_is_told_in_a_sentence(capsys, tmp_path, monkeypatch, arguments, code, words):
    monkeypatch.chdir(tmp_path)
    got, out, err = outcome(capsys, "calibrate", *arguments)
    assert (got, out) == (code, "")
    assert words in err
    assert "Traceback" not in err


def test_a_dropper_from_options_to_use(capsys):
    code, out, err = outcome(capsys, *DROPS)
    assert code == 0
    assert out.startswith("dropper kitchen: one drop weighs 0.0480")
    assert "huehold calibrate use dropper/kitchen" in err
    assert Store().chosen() == ((), ())
    assert outcome(capsys, "calibrate", "use", "kitchen")[0] == 0
    assert [found.ref for found in Store().chosen()[0]] == ["dropper/kitchen@1"]
    assert outcome(capsys, "calibrate", "stop", "dropper")[0] == 0
    assert Store().chosen() == ((), ())


def test_use_at_once_and_dry_run(capsys):
    outcome(capsys, *DROPS, "--use")
    assert Store().chosen()[0][0].ref == "dropper/kitchen@1"
    code, _, err = outcome(capsys, *DROPS, "--dry-run")
    assert code == 0
    assert "Nothing was kept" in err
    assert Store().get("kitchen").version == 1


def test_listed_shown_removed(capsys):
    outcome(capsys, *DROPS)
    outcome(capsys, *DROPS, "--use")
    _, out, _ = outcome(capsys, "calibrate", "list")
    assert "* dropper/kitchen@2" in out
    assert "indicator/thymol-blue@1" in out
    rows = json.loads(outcome(capsys, "calibrate", "list", "--json", "--earlier")[1])
    assert [r["name"] for r in rows if not r["shipped"]] == [
        "dropper/kitchen@2", "dropper/kitchen@1",
    ]  # fmt: skip
    _, out, _ = outcome(capsys, "calibrate", "show", "kitchen@1")
    assert "2026-11-01, measured" in out
    _, text, _ = outcome(capsys, "calibrate", "show", "kitchen", "--file")
    assert text.startswith('schema = "huehold.calibration/1"')
    assert outcome(capsys, "calibrate", "remove", "--yes", "kitchen")[0] == 0
    assert "dropper" not in outcome(capsys, "calibrate", "list")[1]


def test_a_broken_file_is_listed_and_can_be_removed(capsys):
    outcome(capsys, *DROPS)
    (Store().folder / "dropper.kitchen.toml").write_text("x")
    code, out, _ = outcome(capsys, "calibrate", "list")
    assert code == 0
    assert "! dropper.kitchen.toml:" in out
    assert outcome(capsys, "calibrate", "remove", "--yes", "dropper/kitchen")[0] == 0


def test_a_calibration_that_is_due(capsys, monkeypatch):
    outcome(capsys, *DROPS)
    monkeypatch.setattr("huehold.cli.calibrate.today", lambda: date(2028, 1, 1))
    assert "(due again)" in outcome(capsys, "calibrate", "list")[1]
    assert "was to be repeated" in outcome(capsys, "calibrate", "use", "kitchen")[2]


def test_asked_step_by_step(capsys, monkeypatch):
    answer(monkeypatch, ["20:0.95", "what?", "20:0.97", ""])
    code, out, err = outcome(capsys, "calibrate", "dropper")
    assert code == 0
    assert "one drop weighs 0.04800" in out
    assert "'what?' is no weighing" in err


def test_a_balance_step_by_step(capsys, monkeypatch):
    answer(monkeypatch, ["0.01", "us-5-cents=5.25", "", "5.01", "5.00", ""])
    code, out, err = outcome(capsys, "calibrate", "balance")
    assert code == 0
    assert "US 5 cents reads 5.25 g: outside 5.000 +/- 0.194 g" in err
    assert "repeats within 0.0071 g (2 readings)" in out


def test_the_result_as_a_file_beside_its_words(capsys, tmp_path):
    file = tmp_path / "made.json"
    code, out, _ = outcome(capsys, *DROPS, "--json", str(file))
    assert code == 0
    assert "one drop weighs" in out
    assert json.loads(file.read_text("utf-8"))["name"] == "kitchen"


def test_a_titrant_step_by_step(capsys, monkeypatch):
    answer(monkeypatch, ["baking soda", "-3", "1.05", "15.05"])
    code, out, err = outcome(capsys, "calibrate", "titrant", "--json")
    assert code == 0
    assert json.loads(out)["strength"]["value"] == pytest.approx(0.8277, abs=1e-3)
    assert "'-3' is no mass" in err


def test_a_density_step_by_step(capsys, monkeypatch):
    answer(monkeypatch, ["104.6, 104.61", "", "100.0; 100,01", ""])
    code, out, _ = outcome(capsys, "calibrate", "density", "--sample", "blue bottle")
    assert code == 0
    assert out.startswith("density blue-bottle: blue bottle: 1.04")


def cup(path, ph, doses=KITCHEN_DYES):
    paper = np.array([0.80, 0.79, 0.76])
    image = np.full((480, 640, 3), paper)
    rows, columns = np.mgrid[:480, :640]
    radius = np.hypot(columns - 320, rows - 240)
    image[radius < 128] = (0.55, 0.56, 0.57)
    image[radius < 120] = LiquidOptics(doses, 25.0).appearance(np.array(ph)).over(paper)
    cv2.imwrite(str(path), encode_srgb(image)[:, :, ::-1])
    return f"{path}={ph}+/-0.05"


def test_an_indicator_from_pictures(capsys, tmp_path):
    pictures = [cup(tmp_path / f"{ph}.png", ph) for ph in (5.0, 6.9, 7.6, 8.3, 9.2, 10.0, 10.9)]
    code, out, err = outcome(
        capsys, "calibrate", "indicator", *pictures, "--vessel", "320,240,118", "--name", "mine"
    )
    assert code == 0
    assert "indicator mine: turmeric and spirulina food colouring: green below pH" in out
    assert "Warning" not in err
    chart = Store().get("indicator/mine")
    assert chart.origin == "measured"
    low, high = chart.turning_ph()
    assert 6.5 < low < 8.0
    assert 9.0 < high < 10.5


def cloudy(path, solid_g_per_l):
    """A cup over a checked ground, seen through the dye with that much solid in it."""
    rows, columns = np.mgrid[:480, :640]
    checks = np.where((rows // 16 + columns // 16) % 2 == 0, 0.8, 0.15)[..., None] * np.ones(3)
    image = np.full((480, 640, 3), 0.8)
    radius = np.hypot(columns - 320, rows - 240)
    seen = LiquidOptics(KITCHEN_DYES, 25.0).appearance(np.array(9.5), np.array(solid_g_per_l))
    sharp = float(seen.sharp)
    inside = seen.veil + seen.through * (sharp * checks + (1.0 - sharp) * checks.mean())
    image[radius < 128] = 0.55
    image[radius < 120] = inside[radius < 120]
    cv2.imwrite(str(path), encode_srgb(image)[:, :, ::-1])
    return path


def test_turbidity_from_pictures(capsys, tmp_path):
    shares = (0.0, 0.25, 0.5, 1.0)
    pictures = [f"{cloudy(tmp_path / f'{share}.png', 2.0 * share)}={share}" for share in shares]
    code, out, err = outcome(capsys, "calibrate", "turbidity", *pictures, "--vessel", "320,240,118")
    assert code == 0, err
    assert "the share of solid may be believed between 0.00 and" in out
    assert len(Store().get("turbidity/turbidity").share) >= 3


def test_the_wrong_kind_of_green(capsys, tmp_path):
    green = {"phycocyanin": 0.0, "bromocresol_green": 0.2}
    pictures = [cup(tmp_path / f"{ph}.png", ph, green) for ph in (8.0, 9.0, 10.0)]
    code, out, err = outcome(capsys, "calibrate", "indicator", *pictures, "--vessel", "320,240,118")
    assert (code, out) == (3, "")
    assert "does not change between pH 8 and 10" in err


def test_the_page_is_served_until_it_is_stopped(capsys, monkeypatch):
    served = []
    monkeypatch.setattr(PageServer, "run", lambda self, **how: served.append((self, how)))
    code, _, err = outcome(capsys, "calibrate", "page", "--no-open")
    assert code == 0
    assert err.startswith("The page: http://127.0.0.1:")
    assert served[0][1] == {"open_browser": False}
    served[0][0]._listener.close()


def test_references_and_coins_are_listed(capsys):
    assert "buffer-7-00" in outcome(capsys, "calibrate", "indicator", "--list-references")[1]
    assert "us-5-cents" in outcome(capsys, "calibrate", "balance", "--list-coins")[1]


@pytest.mark.parametrize("part", ["indicator", "turbidity", "dropper", "balance", "density"])
def test_help_names_every_option_and_an_example(capsys, part):
    code, out, _ = outcome(capsys, "calibrate", part, "--help")
    assert code == 0
    assert f"Example: huehold calibrate {part}" in out
    assert "--dry-run" in out


@pytest.mark.parametrize(
    "text", ["20:0,95,20:0,97", "20:0,95;20:0,97", "20:0.95,20:0.97", "20:0,95, 20:0,97"]
)
def test_decimal_commas_in_weighings_are_understood(capsys, text):
    code, out, err = outcome(capsys, "calibrate", "dropper", "--weighings", text, "--dry-run")
    assert code == 0, err
    assert "0.04800" in out


def test_one_weighing_with_a_decimal_comma_is_one_weighing(capsys):
    code, out, _ = outcome(capsys, "calibrate", "dropper", "--weighings", "20:0,95", "--dry-run")
    assert code == 0
    assert "0.0475" in out


def test_readings_that_can_be_read_in_two_ways_are_asked_back(capsys):
    given = ("calibrate", "balance", "--dry-run", "--repeat")
    code, _, err = outcome(capsys, *given, "50,01,50,02")
    assert code == 3
    assert "50,01;50,02" in err
    assert outcome(capsys, *given, "50,01;50,02;50,01")[0] == 0
    assert outcome(capsys, *given, "50.01,50.02")[0] == 0
