"""Conforms, does not conform, cannot tell; and what would tell."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.decision import conformity_probability, decide
from huehold.stoichiometry.tolerances import acceptance_range

USP = acceptance_range("magnesium-hydroxide-suspension")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((math.nan, 1.0, 0.0, 2.0), "no finite number"),
        ((1.0, -1.0, 0.0, 2.0), "zero or more and finite"),
        ((1.0, math.nan, 0.0, 2.0), "zero or more and finite"),
        ((1.0, 1.0, 2.0, 0.0), r"lower limit \(2\) must be below the upper one \(0\)"),
        ((1.0, 1.0, 2.0, 2.0), "must be below"),
        ((1.0, 1.0, math.nan, 2.0), "must be below"),
    ],
)
def test_numbers_that_make_no_sense_are_refused(arguments, message):
    with pytest.raises(InputError, match=message):
        decide(*arguments)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"risk": 5.0}, "write 0.05"),
        ({"risk": 0.0}, "between 0 and 0.5"),
        ({"dof": 0.0}, "more than zero"),
        ({"runs": 0}, "one or more"),
        ({"u_run": 30.0, "runs": 3}, "does not fit a combined uncertainty of 8 over 3 runs"),
        ({"u_run": -1.0}, "does not fit"),
    ],
)
def test_options_out_of_range_are_refused(options, message):
    with pytest.raises(UsageError, match=message):
        decide(1194.0, 8.0, 1080.0, 1380.0, **options)


def test_no_limit_at_all_is_refused():
    with pytest.raises(UsageError, match="at least one limit"):
        decide(1.0, 1.0, None, None)


@pytest.mark.parametrize(
    ("percent", "inside"), [(89.9, False), (90.0, True), (115.0, True), (115.1, False)]
)
def test_limits_are_inclusive_without_uncertainty(percent, inside):
    # USP 29 / 32, Milk of Magnesia: 90.0 to 115.0 % of the labelled amount
    decision = decide(percent, 0.0, *USP.limits(100.0))
    assert decision.outcome == ("conforms" if inside else "does_not_conform")


def test_a_label_claim_met():
    decision = decide(1194.0, 8.0, *USP.limits(1200.0), unit="mg")
    assert decision.outcome == "conforms"
    assert decision.probability > 0.999999
    assert decision.guard_band == pytest.approx(1.6449 * 8.0, abs=1e-3)
    assert decision.accept_low == pytest.approx(1080 + 13.159, abs=1e-3)
    assert decision.accept_high == pytest.approx(1380 - 13.159, abs=1e-3)
    assert decision.sentence == (
        "1194 ± 16 mg conforms to 1080 to 1380 mg (probability that the true value is within: "
        "more than 99.9 %; 95 % asked for)."
    )
    assert decision.remedy == ""


def test_a_label_claim_missed():
    decision = decide(1000.0, 8.0, *USP.limits(1200.0), unit="mg")
    assert decision.outcome == "does_not_conform"
    assert "1000 ± 16 mg does not conform to 1080 to 1380 mg" in decision.sentence
    assert "less than 0.1 %" in decision.sentence


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        (1.6448, "cannot_tell"), (1.6450, "conforms"),
        (-1.6448, "cannot_tell"), (-1.6450, "does_not_conform"),
    ],
)  # fmt: skip
def test_guard_band_of_one_limit(value, outcome):
    # JCGM 106, 8.3: with one limit and 5 % the guard band is 1.6449 u
    assert decide(value, 1.0, 0.0, None).outcome == outcome
    assert decide(-value, 1.0, None, 0.0).outcome == outcome


def test_probability_with_few_degrees_of_freedom_uses_t():
    p = conformity_probability(1.0, 0.5, 0.0, 2.5, dof=2)
    assert p == pytest.approx(stats.t.cdf(3, 2) - stats.t.cdf(-2, 2))
    assert conformity_probability(1.0, 0.5, 0.0, math.inf, dof=2) == pytest.approx(
        stats.t.cdf(2, 2)
    )


def test_tiny_probabilities_keep_their_digits():
    for value in (-10.0, 12.0):
        p = conformity_probability(value, 1.0, 0.0, 2.0)
        assert p == pytest.approx(stats.norm.sf(10.0), rel=1e-9)


def test_uncertainty_too_large_for_any_value():
    decision = decide(1200.0, 200.0, 1080.0, 1380.0, unit="mg")
    assert decision.outcome == "cannot_tell"
    assert (decision.accept_low, decision.accept_high) == (None, None)


def test_what_would_tell_inside_the_limits():
    decision = decide(1100.0, 20.0, 1080.0, 1380.0, unit="mg")
    assert decision.outcome == "cannot_tell"
    assert decision.u_needed == pytest.approx(20.0 / 1.6449, rel=1e-4)
    assert decide(1100.0, decision.u_needed * 0.999, 1080.0, 1380.0).outcome == "conforms"
    assert "A standard uncertainty of 12 mg instead of 20 would tell" in decision.remedy


def test_what_would_tell_with_both_limits_close():
    decision = decide(0.0, 1.0, -1.0, 1.0)
    # both tails count: u = 1 / 1.96, not 1 / 1.645
    assert decision.u_needed == pytest.approx(1 / 1.95996, rel=1e-5)


def test_runs_that_would_tell():
    # 1100 needs u 12.16; of 20 = hypot(18.33, 8) only 18.33 averages out:
    # 18.33^2 / (12.16^2 - 8^2) = 4.005, so five runs
    u_run = math.sqrt(20.0**2 - 8.0**2)
    decision = decide(1100.0, 20.0, 1080.0, 1380.0, unit="mg", u_run=u_run)
    assert decision.runs_needed == 5
    assert "5 runs instead of 1" in decision.remedy
    with_five = math.sqrt(u_run**2 / 5 + 8.0**2)
    assert decide(1100.0, with_five, 1080.0, 1380.0).outcome == "conforms"
    with_four = math.sqrt(u_run**2 / 4 + 8.0**2)
    assert decide(1100.0, with_four, 1080.0, 1380.0).outcome == "cannot_tell"


def test_runs_alone_cannot_beat_what_they_share():
    decision = decide(1100.0, 20.0, 1080.0, 1380.0, u_run=10.0)
    assert decision.runs_needed is None
    assert "more runs alone do not reach it" in decision.remedy


def test_on_the_limit_nothing_would_tell():
    decision = decide(1080.0, 5.0, 1080.0, 1380.0, u_run=5.0)
    assert decision.outcome == "cannot_tell"
    assert decision.u_needed is None
    assert "lies on a limit" in decision.remedy


numbers = st.floats(-5.0, 5.0)


@given(numbers, st.floats(0.01, 3.0), st.floats(0.1, 4.0), st.sampled_from([math.inf, 2.0, 9.0]))
def test_what_is_needed_does_tell(value, u, half_width, dof):
    decision = decide(value, u, -half_width, half_width, dof=dof)
    if decision.u_needed is None:
        return
    assert 0.0 < decision.u_needed <= u * (1 + 1e-9)
    better = decide(value, decision.u_needed * (1 - 1e-6), -half_width, half_width, dof=dof)
    assert better.outcome != "cannot_tell"


@given(numbers, st.floats(0.01, 3.0), st.floats(1.0, 4.0))
def test_more_uncertainty_never_turns_cannot_tell_into_conforms(value, u, factor):
    if decide(value, u, -2.0, 2.0).outcome == "cannot_tell":
        assert decide(value, u * factor, -2.0, 2.0).outcome != "conforms"


@given(numbers, st.floats(0.0, 3.0), st.floats(0.1, 100.0))
def test_a_change_of_unit_changes_no_decision(value, u, factor):
    plain = conformity_probability(value, u, -2.0, 2.0)
    scaled = conformity_probability(value * factor, u * factor, -2.0 * factor, 2.0 * factor)
    assert scaled == pytest.approx(plain, rel=1e-6, abs=1e-12)


@given(numbers, st.floats(0.01, 3.0))
def test_conforming_values_lie_within_the_acceptance_interval(value, u):
    decision = decide(value, u, -2.0, 2.0)
    if decision.outcome == "conforms":
        assert decision.accept_low <= value <= decision.accept_high
