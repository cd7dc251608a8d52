"""Inputs and their correlations: what is refused, what is drawn."""

import math

import numpy as np
import pytest

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.uncertain import Input, correlation_matrix

SHAPES = [
    Input.normal("x", 3.0, 0.5, "g"),
    Input.rectangular("x", 3.0, 0.5, "g"),
    Input.triangular("x", 3.0, 0.5, "g"),
    Input.arcsine("x", 3.0, 0.5, "g"),
    Input.normal("x", 3.0, 0.5, "g", dof=7),
]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Input.normal("m", math.nan, 0.1, "g"), "m: the value nan is not a finite"),
        (lambda: Input.normal("m", 1.0, -0.1, "g"), "m: the standard uncertainty must be zero or"),
        (lambda: Input.normal("m", 1.0, math.nan, "g"), "m: the standard uncertainty"),
        (lambda: Input.normal("m", 1.0, 0.1, "g", dof=0), "m: degrees of freedom must be more"),
        (lambda: Input.normal("m", 1.0, 0.1, "g", dof=math.nan), "m: degrees of freedom"),
        (lambda: Input.rectangular("m", 1.0, -0.1, "g"), "m: the half width must be zero or more"),
        (lambda: Input.rectangular("m", 1.0, math.nan, "g"), "m: the half width"),
        (lambda: Input.rectangular("m", 1.0, math.inf, "g"), "m: the standard uncertainty"),
        (lambda: Input.type_a("m", [1.2], "g"), "m: 1 reading gives no scatter"),
        (lambda: Input.type_a("m", [], "g"), "m: 0 reading gives no scatter"),
        (lambda: Input.type_a("m", [1.2, math.inf], "g"), "m: reading 2 is not a finite number"),
        (lambda: Input("m", 1.0, "g", 0.1, distribution="t"), "m: a t distribution needs finite"),
    ],
)
def test_bad_numbers_are_refused_in_one_sentence(make, message):
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"name": ""}, "needs a name"),
        ({"kind": "C"}, "kind must be A or B"),
        ({"distribution": "lognormal"}, "is none of normal, rectangular"),
    ],
)
def test_unknown_words_are_refused(words, message):
    with pytest.raises(UsageError, match=message):
        Input(**{"name": "m", "value": 1.0, "unit": "g", "u": 0.1, **words})


def test_standard_uncertainty_of_bounded_distributions():
    # JCGM 100, 4.3.7 and 4.3.9; H.1.3.4 for the arcsine (0.5 C amplitude: 0.35 C)
    assert Input.rectangular("x", 0.0, 1.0, "").u == pytest.approx(1 / math.sqrt(3))
    assert Input.triangular("x", 0.0, 0.03, "mL").u == pytest.approx(0.01225, abs=5e-6)
    assert Input.arcsine("x", 0.0, 0.5, "C").u == pytest.approx(0.35, abs=0.005)


def test_type_a_twenty_readings():
    # JCGM 100, 4.4.3: mean 100.145 C, s 1.489 C, standard uncertainty 0.333 C
    readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
        100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    item = Input.type_a("t", readings, "C")
    assert item.value == pytest.approx(100.145, abs=5e-4)
    assert item.u * math.sqrt(20) == pytest.approx(1.489, abs=5e-4)
    assert item.u == pytest.approx(0.333, abs=5e-4)
    assert (item.kind, item.distribution, item.dof) == ("A", "t", 19)


@pytest.mark.parametrize("item", SHAPES, ids=lambda i: i.distribution)
def test_samples_have_the_stated_mean_and_spread(item):
    draws = item.sample(np.random.default_rng(5), 200_000)
    # A t distribution with scale u has variance u^2 nu / (nu - 2) (JCGM 101, 6.4.9.4).
    wider = math.sqrt(item.dof / (item.dof - 2)) if item.distribution == "t" else 1.0
    assert np.mean(draws) == pytest.approx(3.0, abs=5 * item.u / math.sqrt(2e5))
    assert np.std(draws) == pytest.approx(item.u * wider, rel=0.01)


@pytest.mark.parametrize("item", SHAPES, ids=lambda i: i.distribution)
def test_quantiles_match_the_samples(item):
    p = np.array([0.025, 0.2, 0.5, 0.8, 0.975])
    draws = item.sample(np.random.default_rng(6), 400_000)
    assert item.quantile(p) == pytest.approx(np.quantile(draws, p), abs=0.012)


def test_no_uncertainty_draws_a_constant():
    assert np.ptp(Input.rectangular("x", 2.5, 0.0, "g").sample(np.random.default_rng(1), 9)) == 0


A, B, C = (Input.normal(name, 1.0, 0.1, "g") for name in "abc")


@pytest.mark.parametrize("r", [1.01, -1.5, math.nan, math.inf])
def test_a_correlation_beyond_one_is_refused(r):
    with pytest.raises(InputError, match="of a with b must be between -1 and 1"):
        correlation_matrix([A, B], {("a", "b"): r})


def test_correlations_that_contradict_each_other_are_refused():
    with pytest.raises(InputError, match="contradict each other"):
        correlation_matrix([A, B, C], {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9})


@pytest.mark.parametrize(
    ("inputs", "pairs", "message"),
    [
        ([A, B], {("a", "d"): 0.5}, "names d, which is no input; inputs are a, b"),
        ([A, B], {("a", "a"): 1.0}, "pairs a with itself"),
        ([A, B], {("a", "b"): 0.5, ("b", "a"): 0.4}, "given twice, unequal"),
        ([A, A], {}, "both called a"),
    ],
)
def test_pairs_that_do_not_fit_are_refused(inputs, pairs, message):
    with pytest.raises(UsageError, match=message):
        correlation_matrix(inputs, pairs)


def test_correlation_of_exactly_one_is_allowed():
    matrix = correlation_matrix([A, B, C], {("a", "b"): 1.0, ("b", "c"): -1.0, ("c", "a"): -1.0})
    assert matrix.tolist() == [[1, 1, -1], [1, 1, -1], [-1, -1, 1]]
