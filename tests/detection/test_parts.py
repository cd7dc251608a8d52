"""The detector's parts, each on its own."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from huehold.detection.axis import AxisLearner, Line
from huehold.detection.cause import Cause
from huehold.detection.crossing import crossing_s
from huehold.detection.forecast import fit_relaxation
from huehold.detection.notes import Notes
from huehold.detection.palette import Palette
from huehold.detection.plane import Sample, hue_deg, middle, sample_of
from huehold.detection.settings import DetectorSettings, HueBand, turn_deg
from huehold.detection.sight import Sight
from huehold.detection.smoothing import Smoother
from huehold.detection.trend import is_drifting_back, projected, theil_sen
from huehold.errors import UsageError
from tests.detection.traces import SETTINGS, observation


def colour(angle_deg: float, chroma: float) -> complex:
    return cmath.rect(chroma, math.radians(angle_deg))


# --- settings -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"hold_s": 0.0}, "hold_s"),
        ({"hold_s": math.nan}, "hold_s"),
        ({"max_blind_s": -1.0}, "max_blind_s"),
        ({"min_trust": 1.5}, "min_trust"),
        ({"start_hue_deg": (25.0, math.inf)}, "start_hue_deg"),
        ({"end_hue_deg": (80.0, 190.0)}, "overlap"),
        ({"end_hue_deg": (25.0, 92.0)}, "overlap"),
    ],
)
def test_settings_that_make_no_sense_are_refused(wrong: dict[str, object], words: str) -> None:
    values = {"start_hue_deg": (25.0, 92.0), "end_hue_deg": (102.0, 190.0)} | wrong
    with pytest.raises(UsageError, match=words):
        DetectorSettings(**values)  # type: ignore[arg-type]


def test_bands_know_their_width_middle_and_outside() -> None:
    band = HueBand(350.0, 70.0)
    assert band.width_deg == 80.0
    assert band.centre_deg == 30.0
    assert band.outside_deg(355.0) == 0.0
    assert band.outside_deg(340.0) == pytest.approx(-10.0)
    assert band.outside_deg(90.0) == pytest.approx(20.0)


def test_the_gap_between_the_bands_and_the_way_round() -> None:
    assert SETTINGS.gap_deg == pytest.approx(10.0)
    assert SETTINGS.turns_up
    back = DetectorSettings(start_hue_deg=(102.0, 190.0), end_hue_deg=(25.0, 92.0))
    assert not back.turns_up
    assert back.gap_deg == pytest.approx(10.0)


@pytest.mark.parametrize(("angle", "turned"), [(190.0, -170.0), (-190.0, 170.0), (360.0, 0.0)])
def test_turns_are_brought_into_half_a_circle(angle: float, turned: float) -> None:
    assert turn_deg(angle) == pytest.approx(turned)


# --- the plane ----------------------------------------------------------------------------


@pytest.mark.parametrize("gain", [0.4, 0.8, 1.25])
def test_exposure_does_not_move_a_colour_in_the_plane(gain: float) -> None:
    # CIE 15: L* = 116 f(Y) - 16, a* = 500 (f(X) - f(Y)), b* = 200 (f(Y) - f(Z)), f a cube root.
    def lab(x: float, y: float, z: float) -> tuple[float, float, float]:
        fx, fy, fz = np.cbrt([x, y, z])
        return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)

    light = np.array([0.35, 0.30, 0.12])
    plain = sample_of(observation(0.0, *lab(*light))).colour
    bright = sample_of(observation(0.0, *lab(*(gain * light)))).colour
    assert bright == pytest.approx(plain, abs=1e-9)


def test_hue_is_that_of_the_observation() -> None:
    assert hue_deg(sample_of(observation(0.0, 50.0, -20.0, 34.64)).colour) == pytest.approx(
        120.0, abs=0.01
    )


def test_the_middle_is_not_moved_by_one_wild_colour() -> None:
    assert middle([1 + 1j, 1 + 1j, 90 - 50j]) == 1 + 1j


# --- the line -----------------------------------------------------------------------------


def test_positions_are_nought_and_one_at_the_ends() -> None:
    line = Line(colour(50, 40), colour(130, 35))
    assert line.position(line.start) == pytest.approx(0.0)
    assert line.position(line.end) == pytest.approx(1.0)


def test_a_chroma_that_doubles_on_clearing_does_not_move_the_position() -> None:
    line = Line(colour(50, 40), colour(130, 35))
    for angle in (60.0, 90.0, 120.0):
        pale, deep = (line.position(colour(angle, chroma)) for chroma in (30.0, 70.0))
        assert pale == pytest.approx(deep, abs=1e-9)


def test_near_colourless_the_straight_line_decides() -> None:
    line = Line(colour(350, 45), 0.5 + 0.5j)  # pink to colourless
    assert line.position(0.5 * (line.start + line.end)) == pytest.approx(0.5)
    assert line.position(1.5 - 1j) == pytest.approx(0.95, abs=0.04)


def test_the_end_colour_is_learned_from_peaks_and_not_from_other_things() -> None:
    axis = AxisLearner(SETTINGS)
    assert not axis.learn_peak(colour(120, 30))  # no start colour yet
    assert axis.learn_start(colour(50, 40))
    assert not axis.learn_peak(colour(55, 42))  # hardly moved
    assert not axis.learn_peak(colour(300, 40))  # a blue sleeve
    assert not axis.learn_peak(colour(85, 45))  # yellow, half way
    assert axis.learn_peak(colour(122, 30))
    assert axis.line is not None
    assert hue_deg(axis.line.end) == pytest.approx(122.0)
    assert 0.5 <= axis.band.leave < axis.band.enter <= 0.7


def test_a_small_peak_does_not_pull_the_end_colour_back() -> None:
    axis = AxisLearner(SETTINGS)
    axis.learn_start(colour(50, 40))
    for _ in range(3):
        axis.learn_peak(colour(130, 35))
    axis.learn_peak(colour(100, 40))
    assert axis.line is not None
    assert hue_deg(axis.line.end) == pytest.approx(130.0, abs=0.1)


def test_light_that_turns_the_start_colour_turns_the_end_band_with_it() -> None:
    axis = AxisLearner(SETTINGS)
    axis.learn_start(colour(15, 40))  # ten degrees below the band
    assert axis.shift_deg == pytest.approx(-10.0)
    assert axis.end_hue_outside_deg(colour(95, 30)) == 0.0


def test_a_start_colour_that_turns_away_is_not_followed() -> None:
    axis = AxisLearner(SETTINGS)
    axis.learn_start(colour(50, 40))
    assert not axis.learn_start(colour(80, 40))


# --- smoothing and crossing ---------------------------------------------------------------


def test_the_smoothed_colour_resists_a_glint_and_needs_three_readings() -> None:
    smoother = Smoother()
    points = [smoother.add(Sample(0.1 * i, 90 + 90j if i == 6 else 10 + 20j)) for i in range(12)]
    assert points[:2] == [None, None]
    assert all(p is not None and p.colour == pytest.approx(10 + 20j) for p in points[2:])


def test_a_reading_weighs_as_much_as_the_time_it_stands_for() -> None:
    """A second of calm seen once outvotes a quarter of a second seen three times."""
    smoother = Smoother()
    times_s = [1.0, 2.0, 3.0, 3.08, 3.16, 3.24]
    points = [smoother.add(Sample(t, 90 + 90j if t > 3.0 else 10 + 20j)) for t in times_s]
    assert points[-1] is not None
    assert points[-1].colour == pytest.approx(10 + 20j)
    assert not smoother.settled
    for i in range(4, 12):
        last = smoother.add(Sample(3.0 + 0.08 * i, 90 + 90j))
    assert last is not None
    assert last.colour == pytest.approx(90 + 90j)
    assert smoother.settled


@pytest.mark.parametrize("stall_s", [0.5, 0.8, 1.0, 1.5])
def test_a_wild_reading_gains_nothing_from_a_pause_before_it(stall_s: float) -> None:
    smoother = Smoother()
    frame_s = 1.0 / 12.0
    times_s = [frame_s * i for i in range(24)]
    times_s += [times_s[-1] + stall_s + frame_s * i for i in range(12)]
    wild = 24
    told = [
        smoother.add(Sample(t, 90 + 90j if i == wild else 10 + 20j)) for i, t in enumerate(times_s)
    ]
    assert all(one is None or one.colour == pytest.approx(10 + 20j) for one in told)
    assert told[-1] is not None


def test_colours_before_and_after_a_gap_are_not_mixed() -> None:
    smoother = Smoother()
    for i in range(10):
        smoother.add(Sample(0.1 * i, 10 + 0j))
    after = [smoother.add(Sample(20.0 + 0.1 * i, 50 + 0j)) for i in range(4)]
    assert after[:2] == [None, None]
    assert after[3] is not None
    assert after[3].colour == 50 + 0j


def test_a_few_trusted_readings_among_many_untrusted_give_no_colour() -> None:
    smoother = Smoother()
    given = []
    for i in range(60):
        sample = Sample(0.1 * i, 10 + 0j, trust=1.0 if i % 5 == 0 else 0.1)
        given.append(smoother.add(sample) if i % 5 == 0 else smoother.glimpse(sample))
    assert given == [None] * 60


LINE = Line(colour(50, 40), colour(130, 35))


def rising(times: np.ndarray, at_s: float) -> list[Sample]:
    place = np.clip((times - at_s) / 0.4 + 0.5, 0.0, 1.0)
    return [Sample(float(t), colour(50 + 80 * p, 38.0)) for t, p in zip(times, place, strict=True)]


def test_the_crossing_is_found_between_readings() -> None:
    readings = rising(np.arange(0.0, 10.0, 0.13), 5.03)
    assert crossing_s(readings, (), LINE, 0.5, since_s=2.0) == pytest.approx(5.03, abs=0.03)


def test_no_crossing_is_invented() -> None:
    readings = rising(np.arange(0.0, 10.0, 0.13), 50.0)
    assert crossing_s(readings, (), LINE, 0.5, since_s=2.0) is None


def test_untrusted_readings_place_a_crossing_in_a_blind_stretch() -> None:
    readings = rising(np.arange(0.0, 10.0, 0.13), 4.0)
    sure = [s for s in readings if not 2.0 < s.time_s < 7.0]
    unsure = [s._replace(trust=0.3) for s in readings if 2.0 < s.time_s < 7.0]
    wild = [s._replace(trust=0.3, colour=complex(math.nan, 0.0)) for s in unsure[::7]]
    assert crossing_s(sure, unsure, LINE, 0.5, since_s=0.0) == pytest.approx(4.0, abs=0.15)
    assert crossing_s(sure, wild, LINE, 0.5, since_s=0.0) == pytest.approx(4.5, abs=2.5)


# --- trends -------------------------------------------------------------------------------


def test_theil_sen_gives_the_slope_in_spite_of_wild_points() -> None:
    times = np.arange(20.0)
    values = 3.0 - 0.25 * times
    values[[3, 11, 17]] += [9.0, -7.0, 4.0]
    slope, level = theil_sen(times, values)
    assert slope == pytest.approx(-0.25)
    assert level == pytest.approx(3.0 - 0.25 * 19.0)


def test_a_straight_fall_is_carried_on_straight() -> None:
    times = np.linspace(0.0, 60.0, 61)
    ahead = projected(times, 1.0 - 0.004 * times, 60.0)
    assert ahead == pytest.approx(1.0 - 0.004 * 120.0, abs=0.01)


def test_an_exponential_fall_is_carried_to_its_end() -> None:
    times = np.linspace(0.0, 60.0, 241)
    ahead = projected(times, 0.8 + 0.3 * np.exp(-times / 25.0), 60.0)
    assert ahead == pytest.approx(0.8 + 0.3 * math.exp(-120.0 / 25.0), abs=0.02)


def test_a_fall_that_grows_is_carried_on_as_fast_as_it_is() -> None:
    times = np.linspace(0.0, 60.0, 61)
    level = 1.0 - 0.2 * (times / 60.0) ** 3
    assert 0.3 < projected(times, level, 60.0) < 0.6
    assert is_drifting_back(times.tolist(), level.tolist(), ahead_s=60.0, edge=0.62)


@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_a_level_colour_is_not_drifting_back(noise: float) -> None:
    times = np.linspace(0.0, 60.0, 61)
    level = 0.9 + noise * np.random.default_rng(5).standard_normal(61)
    assert not is_drifting_back(times.tolist(), level.tolist(), ahead_s=60.0, edge=0.62)


def test_too_few_looks_cannot_clear_a_hold() -> None:
    assert is_drifting_back([0.0, 1.0, 2.0], [1.0, 1.0, 1.0], ahead_s=60.0, edge=0.6)


# --- forecast -----------------------------------------------------------------------------


@pytest.mark.parametrize(("tau_s", "stretch"), [(8.0, 1.0), (30.0, 2.5), (5.0, 0.6)])
def test_a_stretched_exponential_is_fitted_exactly(tau_s: float, stretch: float) -> None:
    ages = np.linspace(0.5, 20.0, 30)
    ratios = np.exp(-((ages / tau_s) ** stretch))
    fit = fit_relaxation(ages.tolist(), ratios.tolist())
    assert fit == pytest.approx((tau_s, stretch), rel=1e-6)


def test_nothing_is_fitted_to_a_colour_that_has_not_moved() -> None:
    assert fit_relaxation([1.0, 2.0, 3.0], [1.0, 1.0, 1.0]) is None
    assert fit_relaxation([2.0, 2.0, 2.0], [0.5, 0.5, 0.5]) is None


# --- bookkeeping --------------------------------------------------------------------------


def test_notes_find_the_addition_they_belong_to() -> None:
    notes = Notes()
    notes.claim(10.0)
    notes.add(62.0, 62.0)  # long after it was seen, as when the hold is over
    assert notes.due(100.0) == []
    notes.add(150.0, 150.0)
    notes.claim(151.0)  # typed just before it was seen
    assert notes.due(180.0) == []
    notes.add(190.0, 190.0)
    assert notes.due(191.0) == []
    assert [n.time_s for n in notes.due(194.0)] == [190.0]
    assert notes.due(200.0) == []


def test_a_note_waits_for_its_addition_though_it_fell_earlier() -> None:
    notes = Notes()
    notes.add(60.0, 54.0)  # noted six seconds after the hand was there
    assert notes.due(62.0) == []
    notes.claim(55.0)  # and the colour has turned in between
    assert notes.due(100.0) == []


def test_an_addition_before_the_last_note_explains_no_further_one() -> None:
    notes = Notes()
    notes.claim(10.0)
    notes.claim(14.0)
    notes.add(18.0, 18.0)  # one mass for both
    notes.add(26.0, 26.0)  # more titrant, though nothing was seen since
    assert [n.time_s for n in notes.due(40.0)] == [26.0]


def test_foreign_hues_are_told_from_the_indicators_own() -> None:
    own, foreign = Palette(SETTINGS), Palette(SETTINGS)
    for i in range(200):
        own.add(0.1 * i, colour(30 + 0.5 * i, 30))
        foreign.add(0.1 * i, colour(260.0 if i % 5 == 0 else 60.0, 30))
    assert not own.foreign
    assert foreign.foreign


def test_foreign_hues_without_chroma_do_not_count() -> None:
    palette = Palette(SETTINGS)
    for i in range(200):
        palette.add(0.1 * i, colour(260.0, 3.0))
    assert not palette.foreign


def test_a_rise_is_explained_by_an_addition_or_not() -> None:
    cause = Cause()
    cause.follow(0.0, 10.0)
    assert not cause.explains(12.0, 13.0, 13.0)  # nothing was added
    cause.added(11.5)
    assert cause.explains(12.0, 13.0, 13.0)
    cause.follow(0.1, 20.0)
    cause.added(30.0)
    assert not cause.explains(45.0, 46.0, 46.0)  # 25 s of seen rise, and no fade-back yet
    cause.faded_back()
    assert cause.explains(45.0, 46.0, 46.0)


def test_trusted_time_leaves_gaps_and_distrust_out() -> None:
    sight = Sight()
    for i in range(101):
        sight.add(0.1 * i, not 3.0 <= 0.1 * i < 5.0, ("hand",))
    assert sight.duration_s == pytest.approx(10.0)
    assert sight.trusted_s == pytest.approx(8.0, abs=0.2)
    closed = sight.add(30.0, True, ())
    assert [(d.kind, round(d.start_s, 3), d.end_s) for d in closed] == [("gap", 10.0, 30.0)]
    assert sight.trusted_share == pytest.approx(8.0 / 30.0, abs=0.01)
