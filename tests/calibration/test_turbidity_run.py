"""A turbidity calibration in a run: against the undissolved share that the virtual bench knows."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
from benchmarks import turbidity
from benchmarks.turbidity import Seen

from huehold.calibration.turbidity import TurbidityCalibration, calibrate
from huehold.core import Frame, Observation, SourceInfo
from huehold.methods import load_method
from huehold.report.html.tables import settings_pairs
from huehold.report.plot import trace_figure
from huehold.report.result import result_dict
from huehold.run import Run
from huehold.session import Session

METHOD = load_method("magnesium-hydroxide-by-vinegar")
SETTING = "from above, two and a half times the solid"


@cache
def watched(seed: int) -> Seen:
    return turbidity.watched(SETTING, seed, "recording.rate_hz=2")


def series(seed: int, method: str = "") -> TurbidityCalibration:
    """Calibrate by the moments of a run at which about seven shares were left."""
    return turbidity.made_from(watched(seed), turbidity.SHARES["seven points"], method)


def run_of(seed: int, *calibrations: TurbidityCalibration) -> Run:
    session = Session(METHOD, calibrations=calibrations)
    for observation in watched(seed)[0]:
        session.take(observation)
    return session.finish(SourceInfo("virtual", 480, 360))


def error(run: Run, seed: int) -> float:
    """RMS difference of the trace's turbidity from the share of solid."""
    good = (run.trace.trust > 0.5) & np.isfinite(run.trace.turbidity)
    return float(np.sqrt(np.mean((run.trace.turbidity - watched(seed)[1])[good] ** 2)))


def test_one_made_for_another_method_is_left_out_and_told():
    run = run_of(1, series(2, method="acid-by-caustic"))
    assert np.array_equal(run.trace.turbidity, run_of(1).trace.turbidity, equal_nan=True)
    assert any("turbidity/bench@1 was made for acid-by-caustic" in w for w in run.warnings)
    assert "turbidity" not in run.source.detail
    assert run.calibrations == ()


def test_outside_its_range_it_says_nothing_and_that_is_told():
    narrow = calibrate(
        [(0.0, 0.0), (0.25, 0.3), (0.5, 0.55), (1.0, 0.62)], name="bench", made=date(2026, 11, 1)
    )
    assert narrow.believed == (0.0, 0.5)
    run = run_of(1, narrow)
    seen = np.array([o.turbidity for o in watched(1)[0]])
    assert np.isnan(run.trace.turbidity[seen > 0.56]).all()
    assert np.isfinite(run.trace.turbidity[seen < 0.54]).all()
    told = [warning for warning in run.warnings if "turbidity lay outside 0.00 to 0.50" in warning]
    assert len(told) == 1
    assert None in result_dict(run)["trace"]["turbidity"]  # never NaN


def test_where_the_index_is_far_from_straight_the_trace_follows_the_solid_better(monkeypatch):
    """An index that saturates; docs/calibration.md says what it buys with vision's own."""
    bent = {seed: _saturated(*watched(seed)) for seed in (1, 2)}
    monkeypatch.setitem(globals(), "watched", bent.__getitem__)
    for seed, other in ((1, 2), (2, 1)):
        without, with_it = error(run_of(seed), seed), error(run_of(seed, series(other)), seed)
        print(f"{without:.3f} without, {with_it:.3f} with")
        assert without > 0.08
        assert with_it < 0.6 * without


def _saturated(seen: tuple[Observation, ...], left: np.ndarray) -> Seen:
    return tuple(replace(o, turbidity=np.sqrt(o.turbidity)) for o in seen), left


def test_events_and_verdict_do_not_change_with_it():
    plain, calibrated = run_of(1), run_of(1, series(2))
    assert (calibrated.events, calibrated.verdict) == (plain.events, plain.verdict)


def test_the_report_says_what_turbidity_means():
    run = run_of(1, series(2))
    words = run.source.detail["turbidity"]
    assert words.startswith("share of solid by turbidity/bench@1, believed from 0.00 to 1.00")
    assert ("Turbidity", words) in settings_pairs(run)
    assert result_dict(run)["source"]["detail"]["turbidity"] == words
    assert result_dict(run)["calibrations"] == ["turbidity/bench@1"]
    assert "share of solid" in [panel.get_ylabel() for panel in trace_figure(run).axes]
    assert "turbidity" in [panel.get_ylabel() for panel in trace_figure(run_of(1)).axes]


def test_a_live_view_shows_what_the_trace_holds_and_keeps_what_was_seen():
    seen, _ = watched(1)
    session = Session(METHOD, calibrations=[series(2)])
    made = iter(seen)
    session.observer.observe = lambda frame: next(made)  # type: ignore[method-assign]
    steps = [session.feed(Frame(o.time_s, np.zeros((8, 8, 3), np.uint8))) for o in seen[:40]]
    assert [s.observation for s in steps] == list(seen[:40])
    shown = np.array([s.shown.turbidity for s in steps])
    assert np.array_equal(shown, session.trace().turbidity, equal_nan=True)
    assert replace(steps[0].shown, turbidity=0.0) == replace(seen[0], turbidity=0.0)
