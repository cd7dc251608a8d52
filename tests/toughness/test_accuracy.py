"""The accuracy study's own judgement: what it calls false, missed, early and right."""

from types import MappingProxyType

import pytest
from benchmarks.accuracy import METHOD, report
from benchmarks.assays import weigh
from benchmarks.judging import judge

from huehold.core import Event, Verdict
from huehold.virtual.bench import brisk_bench
from huehold.virtual.operator import Operator
from huehold.virtual.run import run_bench

BENCH = brisk_bench(3)
WHO = Operator(patience_s=75.0, swirls=1.0)


@pytest.fixture(scope="module")
def truth():
    return run_bench(BENCH, WHO)


def judged(truth, onset_s, *, called=True, told=(), weighed=None):
    """Judge a verdict that puts the onset there, or none at all."""
    events = [Event(t, "addition", None, t, MappingProxyType({})) for t in told]
    if not called:
        return judge(7, BENCH, truth, 60.0, Verdict("not_reached"), events, weighed)
    at_s = onset_s + 60.0
    events.append(Event(at_s, "endpoint", None, at_s, MappingProxyType({"onset_s": onset_s})))
    verdict = Verdict("endpoint", onset_s=onset_s, confirmed_s=at_s)
    return judge(7, BENCH, truth, 60.0, verdict, events, weighed)


def test_a_hold_over_a_colour_that_was_back_is_false(truth):
    found = judged(truth, truth.additions[0].time_s)
    assert found.false_endpoint
    assert found.onset_error_s is None
    assert "false endpoints: 1 of 1" in report([found])


def test_an_endpoint_that_was_due_and_not_called_is_missed(truth):
    found = judged(truth, 0.0, called=False)
    assert found.due
    assert found.missed
    assert "endpoints missed: 1 of 1" in report([found])


def test_the_true_onset_is_right_in_time_and_mass(truth):
    found = judged(truth, truth.endpoint(60.0).onset_s)
    assert not any((found.false_endpoint, found.missed, found.premature, found.doubtful))
    assert found.onset_error_s == pytest.approx(0.0, abs=0.1)
    assert found.onset_off_s == pytest.approx(0.0, abs=0.1)
    assert found.mass_error_g == pytest.approx(0.0)
    largest = 100.0 * max(a.mass_g for a in truth.additions) / truth.turning_g
    assert abs(found.result_error_percent) < 0.5 * largest + 0.5


def test_additions_are_matched_one_to_one(truth):
    portions = [a.time_s for a in truth.additions]
    found = judged(truth, truth.onset_s, told=[portions[0] + 0.2, portions[0] + 0.3, -50.0])
    assert found.additions_told == 3
    assert found.portions_seen <= 2
    assert judged(truth, truth.onset_s, told=portions).portions_seen == found.portions


def test_the_assay_of_the_true_endpoint_holds_the_true_content(truth):
    at_s = truth.onset_s + 60.0
    verdict = Verdict("endpoint", onset_s=truth.onset_s, confirmed_s=at_s)
    events = [
        Event(a.time_s, "addition", None, a.time_s, MappingProxyType({})) for a in truth.additions
    ]
    found = weigh(7, BENCH, WHO.balance, truth, verdict, events, METHOD)
    assert found is not None
    assert found.covered
    assert weigh(7, BENCH, WHO.balance, truth, Verdict("not_reached"), events, METHOD) is None
