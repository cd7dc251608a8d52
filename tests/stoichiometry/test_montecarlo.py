"""Monte Carlo, held against the examples of JCGM 101 and closed forms."""

import math

import numpy as np
import pytest

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.montecarlo import compare, monte_carlo, numerical_tolerance
from huehold.stoichiometry.propagate import propagate
from huehold.stoichiometry.uncertain import Input

SEED = 20_251_125


def add(x):
    return sum(x.values())


def four(make, last=1.0):
    return [make(f"x{i}", u) for i, u in enumerate([1.0, 1.0, 1.0, last])]


def gaussian(name, u):
    return Input.normal(name, 0.0, u, "")


def flat(name, u):
    return Input.rectangular(name, 0.0, u * math.sqrt(3), "")


def test_jcgm_101_9_2_2_four_gaussians():
    # published: y 0, u 2.00, 95 % +/-3.92; first order is validated
    inputs = four(gaussian)
    trials = monte_carlo(add, inputs, seed=SEED)
    assert trials.converged
    assert trials.mean == pytest.approx(0.0, abs=0.05)
    assert trials.u == pytest.approx(2.00, abs=0.05)
    assert (trials.low, trials.high) == pytest.approx((-3.92, 3.92), abs=0.1)
    assert compare(propagate(add, inputs), trials).ok


def test_jcgm_101_9_2_3_four_rectangles():
    # published: Monte Carlo +/-3.88, first order +/-3.92; exact 2 sqrt(3) (2 - (3/5)^(1/4))
    inputs = four(flat)
    trials = monte_carlo(add, inputs, seed=SEED, digits=3)
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert exact == pytest.approx(3.8794, abs=5e-5)
    assert (trials.low, trials.high) == pytest.approx((-exact, exact), abs=0.01)
    budget = propagate(add, inputs)
    half = budget.expanded().U
    assert half == pytest.approx(3.92, abs=5e-3)
    assert compare(budget, trials, digits=1).ok
    # at three digits (tolerance 0.005) 3.92 and 3.88 differ, at two (0.05) they do not
    assert compare(budget, trials, digits=2).ok
    assert not compare(budget, trials, digits=3).ok


def test_jcgm_101_9_2_4_one_rectangle_dominates():
    # published: u 10.1 (sqrt 103), Monte Carlo +/-17.0, first order +/-19.9
    inputs = four(flat, last=10.0)
    trials = monte_carlo(add, inputs, seed=SEED)
    assert trials.u == pytest.approx(math.sqrt(103), abs=0.05)
    assert (trials.low, trials.high) == pytest.approx((-17.0, 17.0), abs=0.1)
    budget = propagate(add, inputs)
    half = budget.expanded().U
    assert half == pytest.approx(19.9, abs=0.05)
    agreement = compare(budget, trials, digits=2)
    assert not agreement.ok
    assert agreement.text == (
        "The figures stated are by Monte Carlo, made symmetric to hold both ends, since first "
        "order is not good enough here: the 95 % interval is [-20, 20] by first-order propagation "
        "and [-17, 17] by Monte Carlo."
    )
    assert agreement.low_difference == pytest.approx(2.9, abs=0.15)


def mass_calibration(x):
    lift = (x["rho_a"] - 1.2) * (1 / x["rho_W"] - 1 / x["rho_R"])
    return (x["m_R"] + x["d"]) * (1 + lift) - 100_000


MASS = [
    Input.normal("m_R", 100_000.000, 0.050, "mg"),
    Input.normal("d", 1.234, 0.020, "mg"),
    Input.rectangular("rho_a", 1.20, 0.10, "kg/m3"),
    Input.rectangular("rho_W", 8000, 1000, "kg/m3"),
    Input.rectangular("rho_R", 8000, 50, "kg/m3"),
]


def test_jcgm_101_9_3_mass_calibration():
    # first order: 1.2340 mg, u 0.0539, [1.1285, 1.3395]; Monte Carlo: 1.2341, u 0.0754
    # (exact 0.0754797 from the closed form of the variance), central interval [1.0844, 1.3836]
    budget = propagate(mass_calibration, MASS)
    half = budget.expanded().U
    assert budget.value == pytest.approx(1.2340, abs=5e-5)
    assert budget.u == pytest.approx(0.053852, abs=5e-7)
    assert (budget.value - half, budget.value + half) == pytest.approx((1.12845, 1.33955), abs=6e-6)
    trials = monte_carlo(mass_calibration, MASS, seed=SEED)
    assert trials.converged
    assert trials.mean == pytest.approx(1.2341, abs=3e-4)
    assert trials.u == pytest.approx(0.0754797, abs=3e-4)
    assert (trials.low, trials.high) == pytest.approx((1.0844, 1.3836), abs=1e-3)


def test_jcgm_101_9_3_first_order_is_not_validated():
    # published, one digit: tolerance 0.005, distances 0.0451 and 0.0430 (shortest interval)
    agreement = compare(
        propagate(mass_calibration, MASS), monte_carlo(mass_calibration, MASS, seed=1)
    )
    assert agreement.tolerance == pytest.approx(0.005)
    assert agreement.low_difference == pytest.approx(0.044, abs=2e-3)
    assert agreement.high_difference == pytest.approx(0.044, abs=2e-3)
    assert not agreement.ok


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [
        # JCGM 101, 7.9.2 examples: 0.000 35 g -> 0.000 005; 0.2 K or 2 (one digit) -> half a unit
        (0.00035, 2, 0.000005),
        (2.0, 1, 0.5),
        (0.053852, 1, 0.005),
        (9.99, 2, 0.5),
        (9.94, 2, 0.05),
        (0.0, 2, 0.0),
    ],
)
def test_numerical_tolerance(u, digits, tolerance):
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance)


# ---- correlated inputs ----


@pytest.mark.parametrize("r", [-1.0, -0.5, 0.3, 0.9, 1.0])
def test_correlated_normal_inputs_add_as_the_closed_form(r):
    inputs = [gaussian("a", 3.0), gaussian("b", 4.0)]
    trials = monte_carlo(add, inputs, {("a", "b"): r}, seed=SEED)
    exact = math.sqrt(25 + 24 * r)
    assert trials.u == pytest.approx(exact, abs=0.05)
    assert trials.high == pytest.approx(1.95996 * exact, abs=0.1)


def test_copula_keeps_the_margins_and_documents_the_coefficient():
    # Rectangular pair through a Gaussian copula: correlation 6/pi asin(r/2), 0.483 for 0.5.
    seen = {}

    def keep(x):
        seen.update(x)
        return x["a"] + x["b"]

    monte_carlo(keep, [flat("a", 1.0), flat("b", 1.0)], {("a", "b"): 0.5}, seed=SEED, digits=1)
    assert np.abs(seen["a"]).max() <= math.sqrt(3)
    assert np.std(seen["a"]) == pytest.approx(1.0, abs=0.02)
    assert np.corrcoef(seen["a"], seen["b"])[0, 1] == pytest.approx(0.483, abs=0.03)


def test_only_named_pairs_are_tied():
    seen = {}

    def keep(x):
        seen.update(x)
        return add(x)

    inputs = [gaussian(n, 1.0) for n in "abc"]
    monte_carlo(keep, inputs, {("a", "c"): -0.8}, seed=SEED, digits=1)
    assert np.corrcoef(seen["a"], seen["c"])[0, 1] == pytest.approx(-0.8, abs=0.03)
    assert np.corrcoef(seen["a"], seen["b"])[0, 1] == pytest.approx(0.0, abs=0.05)


# ---- the procedure ----


def test_same_seed_same_result():
    first, again = (monte_carlo(add, four(flat), seed=7) for _ in range(2))
    assert first == again
    assert monte_carlo(add, four(flat), seed=8) != first


def test_more_digits_take_more_trials():
    rough, fine = (monte_carlo(add, four(gaussian), seed=3, digits=d) for d in (1, 3))
    assert rough.trials == 100_000
    assert fine.trials > rough.trials


def test_stopping_early_by_chance_is_rare():
    # Endpoints must be within twice the tolerance of the closed form for every seed.
    for seed in range(40):
        trials = monte_carlo(add, four(gaussian), seed=seed)
        assert (trials.low, trials.high) == pytest.approx((-3.92, 3.92), abs=0.1)


def test_reaching_the_largest_number_of_trials_is_said():
    trials = monte_carlo(add, four(gaussian), seed=3, digits=4, max_trials=50_000)
    assert (trials.converged, trials.trials) == (False, 50_000)
    budget = propagate(add, four(gaussian))
    assert "not yet stable after 50000 trials" in compare(budget, trials).text


def test_high_coverage_uses_larger_blocks():
    # JCGM 101, 7.9.4: blocks of at least 100 / (1 - p) trials
    trials = monte_carlo(add, four(gaussian), seed=3, coverage=0.999, digits=1)
    assert trials.trials == 1_000_000
    assert trials.high == pytest.approx(2 * 3.2905, abs=0.2)


def test_three_readings_have_no_variance_and_it_is_said():
    # t with 2 degrees of freedom: u is not defined, the interval is: 4.3027 s / sqrt(3)
    item = Input.type_a("x", [1184.0, 1203.0, 1195.0], "mg")
    trials = monte_carlo(lambda x: x["x"], [item], seed=SEED)
    assert trials.heavy_tails
    assert trials.u is None
    assert trials.mean == pytest.approx(1194.0, abs=0.2)
    assert trials.high - 1194.0 == pytest.approx(23.70, abs=0.6)
    assert compare(propagate(lambda x: x["x"], [item]), trials).ok


def test_a_constant_is_stable_at_once():
    trials = monte_carlo(lambda x: x["x"], [gaussian("x", 0.0)], seed=1)
    assert (trials.u, trials.low, trials.high, trials.converged) == (0.0, 0.0, 0.0, True)
    assert trials.trials == 100_000


# ---- what is refused ----


def test_trials_that_cannot_be_computed_are_refused():
    with pytest.raises(InputError, match="trials gave no finite number"):
        monte_carlo(lambda x: np.log(x["x"]), [Input.normal("x", 1.0, 0.5, "g")], seed=1)


@pytest.mark.parametrize("model", [lambda x: math.exp(x["x"]), lambda x: x["x"][:5]])
def test_a_model_that_does_not_take_arrays_is_refused(model):
    with pytest.raises(UsageError, match="model"):
        monte_carlo(model, [gaussian("x", 1.0)], seed=1)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"coverage": 95.0}, "Coverage must lie between 0 and 1"),
        ({"digits": 0}, "Digits to be stable must be 1 to 4"),
        ({"digits": 9}, "Digits to be stable must be 1 to 4"),
    ],
)
def test_options_out_of_range_are_refused(options, message):
    with pytest.raises(UsageError, match=message):
        monte_carlo(add, four(gaussian), seed=1, **options)


def test_no_inputs_are_refused():
    with pytest.raises(UsageError, match="at least one input"):
        monte_carlo(add, [], seed=1)


def test_impossible_correlations_are_refused():
    with pytest.raises(InputError, match="between -1 and 1"):
        monte_carlo(add, four(gaussian), {("x0", "x1"): 1.2}, seed=1)
