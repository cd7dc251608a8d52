"""Presets keep what their names promise, and settings can be changed by name."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError, UsageError
from huehold.virtual.presets import PRESETS, Scenario, load_preset
from huehold.virtual.presets_settings import list_settings, with_settings
from huehold.virtual.run import turning_ph
from huehold.virtual.simulate_chemistry import story_of
from huehold.virtual.simulate_show import frame_times

_ENDING = (
    "clean", "hand_and_dropper", "swirl_and_shift", "white_balance_drift", "exposure_hunting",
    "dim_and_noisy", "oblique", "portrait_hevc", "gap", "mjpeg", "green_table",
    "pale_dye", "flicker", "knocked", "webm", "av1",
)  # fmt: skip
_CONTROLS = ("empty_cup", "no_cup", "clear_water", "waving")


@pytest.fixture(scope="module")
def stories():
    """Stories by preset, each run once."""
    held = {}

    def get(name):
        if name not in held:
            held[name] = story_of(load_preset(name))
        return held[name]

    return get


def excursions_s(story, middle_ph):
    """Lengths of the stays in the end colour that did not last."""
    inside = np.concatenate([[0], (story.ph < middle_ph).astype(int), [0]])
    edges = np.diff(inside)
    spans = zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True)
    lengths = [(b - a) * 0.1 for a, b in spans if b < len(story.ph)]
    return np.array(lengths)


@pytest.mark.parametrize("name", _ENDING)
def test_titration_ends_and_its_end_holds(stories, name):
    story = stories(name)
    held = story.duration_s - max(story.onset_s, story.portions[-1].time_s)
    assert held > 40.0
    assert 5.3 < story.ph[-1] < 7.9
    assert story.ph[0] > 10.0
    assert story.undissolved[0] > 0.9
    assert story.undissolved[-1] < 0.005
    assert story.look[0, 6] < 0.1  # the mixture begins opaque
    assert story.look[-1, 6] > 0.8  # and ends clear
    assert len(story.portions) >= 5
    middle = turning_ph(load_preset(name).bench)
    assert (excursions_s(story, middle) > 1.0).sum() >= 4  # fade-backs long enough to be seen


def test_long_fade_holds_most_of_a_minute_and_goes_back_to_the_start_colour(stories):
    story = stories("long_fade")
    longest = excursions_s(story, turning_ph(load_preset("long_fade").bench)).max()
    assert 45.0 < longest < 59.0
    assert story.onset_s is None
    assert story.ph[-1] > 9.0
    assert story.undissolved[-1] > 0.005


def test_never_reached_never_holds(stories):
    story = stories("never_reached")
    assert story.onset_s is None
    assert story.undissolved[-1] > 0.03
    assert story.facts["endpoints_by_hold_s"]["30"] is None


def test_overshoot_goes_on_after_an_end_that_had_held(stories):
    story = stories("overshoot")
    mass = sum(p.mass_g for p in story.portions)
    assert mass > 1.5 * story.facts["equivalence_g"]
    assert story.ph[-1] < 5.0
    assert story.portions[-1].time_s > story.onset_s + 40.0
    assert story.facts["endpoints_by_hold_s"]["40"]["onset_s"] == pytest.approx(story.onset_s)


def test_acid_from_start_never_shows_the_start_colour(stories):
    story = stories("acid_from_start")
    assert story.ph.max() < 6.0
    assert story.onset_s is None
    assert len(story.portions) > 2


@pytest.mark.parametrize("name", _CONTROLS)
def test_controls_have_no_titration(stories, name):
    story = stories(name)
    assert not story.portions
    assert np.isnan(story.ph).all()
    assert story.onset_s is None


def test_demo_is_an_evening_of_minutes(stories):
    story = stories("demo")
    assert 300.0 < story.duration_s < 420.0
    end = story.facts["endpoints_by_hold_s"]["60"]
    assert end is not None
    assert end["mass_g"] == pytest.approx(story.facts["equivalence_g"], rel=0.02)


def test_quarter_hour_lasts_about_that(stories):
    assert 600.0 < stories("quarter_hour").duration_s < 1200.0


def test_short_presets_are_short_enough_for_tests(stories):
    for name in (
        *_ENDING,
        *_CONTROLS,
        "long_fade",
        "never_reached",
        "overshoot",
        "acid_from_start",
    ):
        frames = frame_times(load_preset(name), stories(name))
        assert len(frames) < 2000


def test_gap_leaves_frames_out_and_stamps_are_uneven():
    scenario = load_preset("gap")
    from huehold.virtual.simulate_show import Show

    times = Show(scenario).times
    steps = np.diff(times)
    assert times[0] == 0.0
    assert (steps > 0).all()
    assert (steps > 5.9).sum() == 2
    assert np.ptp(steps[steps < 1.0]) > 0.05


def test_masses_are_noted_as_the_balance_shows_them(stories):
    masses = np.array(stories("clean").masses)
    assert (np.diff(masses[:, 0]) > 0).all()
    assert masses[-1, 1] == pytest.approx(
        sum(p.mass_g for p in stories("clean").portions), abs=0.03
    )


def test_unknown_preset_names_the_nearest():
    with pytest.raises(UsageError, match="did you mean oblique"):
        load_preset("obliqe")
    with pytest.raises(UsageError, match="--list"):
        load_preset("xyzzy")


@pytest.mark.parametrize("name", ["demo", "mjpeg", "green_table"])
def test_every_listed_setting_can_be_set_to_its_own_value(name):
    scenario = load_preset(name)
    assignments = [f"{key}={value}" for key, value, _ in list_settings(scenario)]
    assert len(assignments) > 80
    again = with_settings(scenario, assignments)
    for (key, value, _), (_, other, _) in zip(
        list_settings(scenario), list_settings(again), strict=True
    ):
        assert value == other, key


def test_settings_of_each_kind():
    scenario = with_settings(
        Scenario(),
        ["seed=9", "camera.blur_px=1.5", "faults.knock_s=-5,20", "people.sleeve=0.1,0.2,0.3",
         "ground.table=green", "people.waving=true", "bench.sample_g=1.5", "operator.few=5",
         "operator.stop_s=80", "bench.dyes=curcumin:0.3"],
    )  # fmt: skip
    assert scenario.seed == 9
    assert scenario.camera.blur_px == 1.5
    assert scenario.faults.knock_s == (-5.0, 20.0)
    assert scenario.people.sleeve == (0.1, 0.2, 0.3)
    assert scenario.ground.table == "green"
    assert scenario.people.waving
    assert scenario.bench.sample_g == 1.5
    assert scenario.operator.few == 5
    assert scenario.operator.stop_s == 80.0
    assert dict(scenario.bench.dyes) == {"curcumin": 0.3}


@pytest.mark.parametrize(
    ("assignment", "message"),
    [
        ("camera.blur=1", "did you mean camera.blur_px"),
        ("nonsense.at_all=1", "There is no setting 'nonsense.at_all'"),
        ("camera.blur_px", "sets nothing; write it as section.name=value"),
        ("camera.blur_px=fast", "camera.blur_px=fast makes no sense: .*valid number"),
        ("camera.blur_px=-1", "greater than or equal to 0"),
        ("camera.blur_px=nan", "camera.blur_px=nan makes no sense"),
        ("ground.table=marble", "should be 'wood'"),
        ("people.sleeve=0.1,0.2", "people.sleeve=0.1,0.2 makes no sense"),
        ("recording.codec=mjpeg", "always full range"),
        ("seed=-3", "seed=-3 makes no sense: .*greater than or equal to 0"),
        ("chemistry=magic", "chemistry=magic makes no sense"),
        ("bench.sample_g=heavy", "bench.sample_g=heavy makes no sense"),
        ("bench.dyes=curcumin", "bench.dyes=curcumin makes no sense"),
        ("bench.seed=3", "There is no setting"),
    ],
)
def test_wrong_settings_get_one_clear_sentence(assignment, message):
    with pytest.raises(UsageError, match=message) as caught:
        with_settings(Scenario(), [assignment])
    assert "\n" not in str(caught.value)


def test_settings_that_need_each_other_may_come_in_any_order():
    wanted = ["recording.codec=mjpeg", "recording.full_range=true"]
    for order in (wanted, wanted[::-1]):
        assert with_settings(Scenario(), order).recording.codec == "mjpeg"


def test_impossible_chemistry_is_told():
    with pytest.raises(InputError, match=r"cannot be|must be"):
        with_settings(Scenario(), ["bench.sample_g=-2"])


@given(value=st.floats(0.0, 12.0))
def test_numbers_arrive_as_given(value):
    assert with_settings(Scenario(), [f"camera.blur_px={value!r}"]).camera.blur_px == value


def test_presets_are_listed_under_their_own_names():
    assert all(name == scenario.name for name, scenario in PRESETS.items())
    assert all(scenario.about for scenario in PRESETS.values())
