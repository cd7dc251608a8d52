"""Rendered recordings through the real review: verdict, onset, and no endpoint without cause.

The virtual bench renders each scenario at test time (cached); the truth comes from its
chemistry, not from what the detector sees.
"""

import pytest

from huehold.run import Settings
from huehold.session import review

ENDPOINTS = (
    "clean", "hand_and_dropper", "swirl_and_shift", "white_balance_drift", "exposure_hunting",
    "dim_and_noisy", "oblique", "portrait_hevc", "gap", "mjpeg", "green_table", "pale_dye",
    "flicker", "knocked",
)  # fmt: skip
OTHERS = {
    "long_fade": "not_reached",
    "never_reached": "not_reached",
    "overshoot": "overshoot",
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
