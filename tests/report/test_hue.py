"""Hue on a straight axis: the cut, the lift, the breaks, the bands."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.methods import load_method
from huehold.report.bands import hue_axis, in_band
from huehold.report.hue import hue_cut, lift, with_breaks
from tests.report.factory import make_run

arcs = st.tuples(st.floats(0, 360), st.floats(1, 250))


@given(arcs)
def test_the_cut_never_falls_into_hues_that_are_used(arc: tuple[float, float]) -> None:
    start, width = arc
    hues = (start + np.linspace(0, width, 400)) % 360
    cut = hue_cut(hues)
    assert (cut - start) % 360 > width or (cut - start) % 360 == pytest.approx(0, abs=1e-6)
    assert np.ptp(lift(hues, cut)) == pytest.approx(width, abs=1e-6)


@given(st.floats(-720, 720), st.floats(-359, 359))
def test_lifting_keeps_the_angle_and_stays_within_one_turn(hue: float, cut: float) -> None:
    lifted = float(lift(np.array(hue), cut))
    assert cut <= lifted <= cut + 360
    assert np.cos(np.deg2rad(lifted - hue)) == pytest.approx(1.0, abs=1e-9)


def test_no_hue_at_all_cuts_at_zero() -> None:
    assert hue_cut(np.array([])) == 0.0
    assert hue_cut(np.full(4, np.nan)) == 0.0


def test_stray_hues_of_no_chroma_do_not_move_the_cut() -> None:
    hues = np.r_[np.full(1000, 40.0), np.full(1000, 120.0), np.linspace(150, 350, 50)]
    weight = np.r_[np.full(2000, 40.0), np.full(50, 0.3)]
    assert lift(np.array([40.0, 120.0]), hue_cut(hues, weight)).tolist() == [40.0, 120.0]


def test_a_line_breaks_over_a_wrap_and_over_a_gap_and_nowhere_else() -> None:
    t = np.array([0.0, 0.1, 0.2, 0.3, 5.0, 5.1])
    hue = np.array([350.0, 355.0, 2.0, 4.0, 5.0, 6.0])
    time_s, broken = with_breaks(t, hue, gap_s=1.0)
    assert np.flatnonzero(np.isnan(broken)).tolist() == [2, 5]
    assert len(time_s) == len(broken) == 8
    np.testing.assert_array_equal(broken[~np.isnan(broken)], hue)


def test_runs_through_red_stay_in_one_piece() -> None:
    run = make_run(length_s=90.0, count=3, turn_deg=-55.0, pictures=0)
    assert np.nanmin(run.trace.hue_deg) < 10
    assert np.nanmax(run.trace.hue_deg) > 340
    axis = hue_axis(run.trace, run.method)
    lifted = lift(run.trace.hue_deg[run.trace.trust > 0.5], axis.cut_deg)
    assert np.nanmax(np.abs(np.diff(lifted))) < 90
    assert axis.high_deg - axis.low_deg < 360


def test_bands_are_those_of_the_method_in_words() -> None:
    method = load_method("magnesium-hydroxide-by-vinegar")
    run = make_run(length_s=90.0, count=2, pictures=0)
    axis = hue_axis(run.trace, method)
    assert [band.role for band in axis.bands] == ["start", "end"]
    assert [band.name for band in axis.bands] == [
        method.indicator.start.name,
        method.indicator.end.name,
    ]
    for band, colour in zip(
        axis.bands, (method.indicator.start, method.indicator.end), strict=True
    ):
        assert (band.low_deg % 360, band.high_deg % 360) == colour.hue_deg
        assert axis.low_deg < band.low_deg < band.high_deg < axis.high_deg


@pytest.mark.parametrize(
    ("hue", "band", "inside"),
    [
        (130.0, (102.0, 190.0), True),
        (95.0, (102.0, 190.0), False),
        (355.0, (340.0, 20.0), True),
        (10.0, (340.0, 20.0), True),
        (180.0, (340.0, 20.0), False),
        (10.0, None, False),
    ],
)
def test_bands_may_run_through_zero(
    hue: float, band: tuple[float, float] | None, inside: bool
) -> None:
    assert in_band(hue, band) is inside
