"""Rendered recordings through the real review: verdict, onset, and no endpoint without cause.

The virtual bench rendered each scenario (tests/media); the truth comes from its chemistry, not
from what the detector sees.
"""

from importlib import resources
from itertools import accumulate

import pytest

from huehold.balance.bracket import titrant_bracket
from huehold.balance.masses import read_masses
from huehold.methods import load_method
from huehold.run import Settings
from huehold.session import review

ENDPOINTS = (
    "clean", "hand_and_dropper", "swirl_and_shift", "white_balance_drift", "exposure_hunting",
    "dim_and_noisy", "oblique", "portrait_hevc", "gap", "mjpeg", "green_table", "pale_dye",
    "flicker", "knocked", "webm", "av1",
)  # fmt: skip
OTHERS = {
    "long_fade": "not_reached",
    "never_reached": "not_reached",
    "acid_from_start": "no_start_colour",
}
HOLDS = {"long_fade": 60.0}  # the green of that scenario lasts longer than the others' hold
CONTROLS = ("empty_cup", "no_cup", "clear_water", "waving")


def reviewed(rendered, preset, hold_s):
    paths = rendered(preset)
    return review(paths.recording, settings=Settings(hold_s=hold_s)), paths.facts


def told(run):
    return f"{run.verdict.kind}: {' '.join(run.verdict.reasons)} {run.verdict.warnings}"


@pytest.mark.parametrize("preset", ENDPOINTS)
def test_the_endpoint_is_called_where_it_was(rendered, preset):
    run, truth = reviewed(rendered, preset, HOLDS.get(preset, 30.0))
    assert run.verdict.kind == "endpoint", told(run)
    # Chemistry's onset; swirling right after the drop may hide it for a moment.
    assert run.verdict.onset_s == pytest.approx(truth["onset_s"], abs=1.0)
    assert len(run.trace) > 0.8 * 8 * truth["duration_s"]


@pytest.mark.parametrize("preset", OTHERS)
def test_what_is_no_endpoint_is_told_apart(rendered, preset):
    run, _ = reviewed(rendered, preset, HOLDS.get(preset, 30.0))
    assert run.verdict.kind == OTHERS[preset], told(run)
    assert run.verdict.reasons


@pytest.mark.parametrize("preset", CONTROLS)
def test_nothing_titrated_is_never_an_endpoint(rendered, preset):
    run, _ = reviewed(rendered, preset, 20.0)
    assert run.verdict.kind in ("unreadable", "no_start_colour", "not_reached"), told(run)
    assert run.verdict.onset_s is None


BLUE = """[indicator]
name = "bromothymol blue"
start = { name = "blue", hue_deg = [185, 260] }
end = { name = "green", hue_deg = [118, 172] }
turning_ph = [6.0, 7.6]
"""


@pytest.fixture(scope="module")
def blue_method(tmp_path_factory):
    """The shipped method with another indicator, as a file of one's own."""
    folder = resources.files("huehold.methods") / "data"
    text = (folder / "magnesium-hydroxide-by-vinegar.toml").read_text("utf-8")
    before, rest = text.split("[indicator]")
    _, after = rest.split("[endpoint]")
    path = tmp_path_factory.mktemp("blue") / "blue.toml"
    path.write_text(f"{before}{BLUE}\n[endpoint]{after}", encoding="utf-8")
    return load_method(path)


@pytest.mark.parametrize(
    ("preset", "verdict"), [("blue_clean", "endpoint"), ("blue_overshoot", "overshoot")]
)
def test_another_indicator_and_too_much_titrant(rendered, blue_method, preset, verdict):
    """Bromothymol blue goes on from green to yellow, so that too much titrant shows."""
    paths = rendered(preset)
    run = review(paths.recording, method=blue_method, settings=Settings(hold_s=30.0))
    assert run.verdict.kind == verdict, told(run)


def test_titrant_after_the_endpoint_does_not_move_it(rendered):
    """The kitchen dye looks alike at pH 6 and 5: the bracket keeps what came later out."""
    run, truth = reviewed(rendered, "overshoot", 30.0)
    assert run.verdict.kind == "endpoint", told(run)
    assert run.verdict.onset_s == pytest.approx(truth["onset_s"], abs=1.0)
    additions = [event.time_s for event in run.events if event.kind == "addition"]
    found = titrant_bracket(read_masses(rendered("overshoot").masses), truth["onset_s"], additions)
    enough = next(
        total
        for total in accumulate(addition["mass_g"] for addition in truth["additions"])
        if total > truth["equivalence_g"]
    )
    assert found.after_g == pytest.approx(enough, abs=0.03)
    assert found.before_g is not None
    assert found.before_g < truth["equivalence_g"]
