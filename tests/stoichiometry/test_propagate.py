"""The law of propagation, held against published budgets and two other packages."""

import json
import math

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values_norm, umath

from huehold.errors import InputError, UsageError
from huehold.stoichiometry.propagate import coverage_factor, improvements, propagate
from huehold.stoichiometry.uncertain import Input

normal, rectangular = Input.normal, Input.rectangular


def by_name(budget):
    return {row.name: row for row in budget.rows}


# ---- EURACHEM/CITAC Guide CG 4 (3rd ed. 2012), examples A2 and A3 ----

U_LINEARITY = 0.15e-3 / math.sqrt(3)
# C8H5KO4 with C 12.0107(8), H 1.00794(7), O 15.9994(3), K 39.0983(1), each rectangular
U_KHP = math.hypot(8 * 8e-4, 5 * 7e-5, 4 * 3e-4, 1e-4) / math.sqrt(3)
M_KHP = 8 * 12.0107 + 5 * 1.00794 + 4 * 15.9994 + 39.0983
SHARED = [
    normal("m", 0.3888, math.sqrt(2) * U_LINEARITY, "g"),
    rectangular("P", 1.0, 0.0005, ""),
    normal("M", M_KHP, U_KHP, "g/mol"),
]
EXPANSION = 2.1e-4 * 4 / math.sqrt(3)


def volume(name, value, half_width, nominal):
    u = math.hypot(half_width / math.sqrt(6), nominal * EXPANSION)
    return normal(name, value, u, "mL")


def a2():
    v = normal("V", 18.64, math.hypot(0.03 / math.sqrt(6), 0.006), "mL")
    inputs = [normal("R", 1.0, 0.0005, ""), *SHARED, v]
    return propagate(lambda x: x["R"] * 1000 * x["m"] * x["P"] / (x["M"] * x["V"]), inputs)


def a3_model(x):
    return x["R"] * 1000 * x["m"] * x["P"] * x["V2"] / (x["V1"] * x["M"] * x["V"])


def a3(repeatability, u_bias=None):
    v1, v2 = volume("V1", 18.64, 0.03, 19), volume("V2", 14.89, 0.03, 15)
    inputs = [normal("R", 1.0, repeatability, ""), *SHARED, volume("V", 15.0, 0.02, 15)]
    if u_bias is None:
        return propagate(a3_model, [*inputs, v1, v2])
    bias = [normal("b1", 0.05, u_bias, "mL"), normal("b2", 0.05, u_bias, "mL")]
    return propagate(
        lambda x: a3_model({**x, "V1": x["V1"] - x["b1"], "V2": x["V2"] - x["b2"]}),
        [*inputs, v1, v2, *bias],
    )


def test_eurachem_a2_result():
    budget = a2()
    assert budget.value == pytest.approx(0.10214, abs=5e-6)
    assert budget.value == pytest.approx(0.102136160, abs=5e-10)
    assert budget.u == pytest.approx(0.00010, abs=5e-6)
    assert budget.u == pytest.approx(0.000100501, abs=5e-10)
    # printed 0.00097 from the guide's rounded table; 0.000984 unrounded
    assert budget.u / budget.value == pytest.approx(0.000984, abs=5e-7)
    assert 2 * budget.u == pytest.approx(0.0002, abs=5e-6)


def test_eurachem_a2_inputs_and_contributions():
    rows = by_name(a2())
    printed = {"m": 0.00013, "P": 0.00029, "M": 0.0038, "V": 0.013, "R": 0.0005}
    for name, u in printed.items():
        # the guide rounds intermediate steps: 0.0001225 is printed as 0.00013
        assert rows[name].u == pytest.approx(u, rel=0.07)
    assert rows["M"].value == pytest.approx(204.2212, abs=5e-5)
    assert rows["M"].u == pytest.approx(0.003765, abs=5e-7)
    # contributions as the GTC documentation of this example prints them, mol/L
    published = {"V": 7.473e-5, "R": 5.107e-5, "m": 3.217e-5, "P": 2.948e-5, "M": 1.88e-6}
    for name, contribution in published.items():
        assert rows[name].contribution == pytest.approx(contribution, rel=2e-3)


def test_eurachem_a2_from_the_rounded_table():
    # relative standard uncertainties as printed: 0.0005, 0.00033, 0.00029, 0.000019, 0.0007
    rounded = [0.0005, 0.00033, 0.00029, 0.000019, 0.0007]
    inputs = [normal(f"x{i}", 1.0, u, "") for i, u in enumerate(rounded)]
    budget = propagate(lambda x: math.prod(x.values()), inputs)
    assert budget.u == pytest.approx(0.00097, abs=5e-6)


@pytest.mark.parametrize(
    ("repeatability", "published", "exact"),
    [
        # The web copy of the 2nd edition prints 0.00016 beside R = 0.001; arithmetic says 0.00018.
        (0.001, 0.00018, 0.000184339),
        (0.001 / math.sqrt(3), 0.00016, 0.000164705),
    ],
)
def test_eurachem_a3_result(repeatability, published, exact):
    budget = a3(repeatability)
    assert budget.value == pytest.approx(0.10139, abs=5e-6)
    assert budget.value == pytest.approx(0.101387161, abs=5e-10)
    assert budget.u == pytest.approx(published, abs=5e-6)
    assert budget.u == pytest.approx(exact, abs=5e-10)


def test_eurachem_a3_inputs_and_contributions():
    rows = by_name(a3(0.001))
    for name, u, printed in [
        ("V2", 0.01424, 0.015), ("V1", 0.01533, 0.016), ("V", 0.01094, 0.011)
    ]:  # fmt: skip
        assert rows[name].u == pytest.approx(u, abs=6e-6)
        assert rows[name].u == pytest.approx(printed, rel=0.06)
    published = {
        "R": 1.014e-4, "V2": 9.700e-5, "V1": 8.337e-5, "V": 7.392e-5,
        "m": 3.194e-5, "P": 2.927e-5, "M": 1.87e-6,
    }  # fmt: skip
    for name, contribution in published.items():
        assert rows[name].contribution == pytest.approx(contribution, rel=1e-3)


def test_eurachem_a3_with_indicator_bias():
    # The published figure takes the repeatability of the triplicate, 0.001 / sqrt(3).
    budget = a3(0.001 / math.sqrt(3), u_bias=0.03)
    rows = by_name(budget)
    assert budget.value == pytest.approx(0.10132, abs=5e-6)
    assert budget.u == pytest.approx(0.00031, abs=5e-6)
    assert budget.u == pytest.approx(0.0003096, abs=5e-8)
    assert math.hypot(rows["V1"].u, rows["b1"].u) == pytest.approx(0.033688, abs=5e-7)
    assert math.hypot(rows["V2"].u, rows["b2"].u) == pytest.approx(0.033210, abs=5e-7)


# ---- JCGM 100 (GUM) ----


def end_gauge(x):
    stretch = x["d_alpha"] * (x["theta_bar"] + x["cyclic"]) + x["alpha_s"] * x["d_theta"]
    return x["l_s"] + x["d0"] + x["d1"] + x["d2"] - x["l_s"] * stretch


END_GAUGE = [
    normal("l_s", 50_000_623, 25, "nm", dof=18),
    normal("d0", 215, 5.8, "nm", dof=24),
    normal("d1", 0, 3.9, "nm", dof=5),
    normal("d2", 0, 6.7, "nm", dof=8),
    rectangular("alpha_s", 11.5e-6, 2e-6, "1/C"),
    Input("d_alpha", 0, "1/C", 1e-6 / math.sqrt(3), "B", "rectangular", 50),
    Input("d_theta", 0, "C", 0.05 / math.sqrt(3), "B", "rectangular", 2),
    normal("theta_bar", -0.1, 0.2, "C"),
    Input.arcsine("cyclic", 0, 0.5, "C"),
]


def test_gum_h1_end_gauge():
    budget = propagate(end_gauge, END_GAUGE)
    rows = by_name(budget)
    assert budget.value == pytest.approx(50_000_838, abs=0.5)
    assert budget.u == pytest.approx(32, abs=0.5)
    assert budget.u == pytest.approx(31.664, abs=5e-4)
    assert budget.dof == pytest.approx(16.75, abs=5e-3)
    for name, nm in [
        ("l_s", 25), ("d_theta", 16.6), ("d2", 6.7), ("d0", 5.8), ("d1", 3.9), ("d_alpha", 2.9)
    ]:  # fmt: skip
        assert rows[name].contribution == pytest.approx(nm, abs=0.05)


def test_gum_h1_expanded():
    # nu truncated to 16, p = 0.99: k = 2.92; U = 93 nm with u rounded to 32, 92.5 nm unrounded
    expanded = propagate(end_gauge, END_GAUGE).expanded(0.99)
    assert expanded.dof == 16
    assert expanded.k == pytest.approx(2.92, abs=5e-3)
    assert expanded.k * 32 == pytest.approx(93, abs=0.5)
    half = expanded.U
    assert half == pytest.approx(92.5, abs=0.05)


def test_gum_g41_welch_satterthwaite():
    # relative u 0.25, 0.57, 0.82 % from 10, 5, 15 readings: u_c 1.03 %, nu 19.0, k 2.09, U 2.2 %
    given_ = [("x1", 0.25, 9), ("x2", 0.57, 4), ("x3", 0.82, 14)]
    budget = propagate(
        lambda x: 100 * math.prod(x.values()),
        [normal(name, 1.0, u / 100, "", dof=dof) for name, u, dof in given_],
    )
    assert budget.u == pytest.approx(1.03, abs=5e-3)
    assert budget.dof == pytest.approx(19.0, abs=0.05)
    assert budget.expanded().k == pytest.approx(2.09, abs=5e-3)
    half = budget.expanded().U
    assert half == pytest.approx(2.2, abs=0.05)


T_TABLE = {
    # Student t, two-sided, 90, 95, 95.45, 99 % (standard table)
    1: (6.3138, 12.7062, 13.9678, 63.6567),
    2: (2.9200, 4.3027, 4.5266, 9.9248),
    3: (2.3534, 3.1824, 3.3068, 5.8409),
    4: (2.1318, 2.7764, 2.8693, 4.6041),
    5: (2.0150, 2.5706, 2.6487, 4.0321),
    6: (1.9432, 2.4469, 2.5165, 3.7074),
    7: (1.8946, 2.3646, 2.4288, 3.4995),
    8: (1.8595, 2.3060, 2.3664, 3.3554),
    9: (1.8331, 2.2622, 2.3198, 3.2498),
    10: (1.8125, 2.2281, 2.2837, 3.1693),
    20: (1.7247, 2.0860, 2.1330, 2.8453),
    30: (1.6973, 2.0423, 2.0868, 2.7500),
}


@pytest.mark.parametrize("dof", T_TABLE)
def test_student_t_table(dof):
    factors = [coverage_factor(dof, p) for p in (0.90, 0.95, 0.9545, 0.99)]
    assert factors == pytest.approx(T_TABLE[dof], abs=6e-5)


def test_infinite_degrees_of_freedom_give_the_normal_factor():
    assert coverage_factor(math.inf, 0.95) == pytest.approx(1.95996, abs=5e-6)


# ---- other packages ----


def curved(x):
    return np.sqrt(x["a"]) * np.exp(-x["b"] / 3.0) / (x["c"] - 0.7 * x["a"])


CURVED = [
    normal("a", 2.0, 0.03, "", dof=5),
    normal("b", 1.1, 0.02, "", dof=11),
    normal("c", 4.0, 0.05, ""),
]


def test_agrees_with_gtc_including_degrees_of_freedom():
    a, b, c = (GTC.ureal(i.value, i.u, i.dof, i.name) for i in CURVED)
    y = GTC.sqrt(a) * GTC.exp(-b / 3.0) / (c - 0.7 * a)
    budget = propagate(curved, CURVED)
    assert budget.value == pytest.approx(y.x, rel=1e-12)
    assert budget.u == pytest.approx(y.u, rel=1e-9)
    assert budget.dof == pytest.approx(y.df, rel=1e-8)
    contributions = [GTC.rp.u_component(y, x) for x in (a, b, c)]
    assert [r.sensitivity * r.u for r in budget.rows] == pytest.approx(contributions, rel=1e-9)


def test_agrees_with_uncertainties_when_correlated():
    r = {("a", "b"): 0.6, ("b", "c"): -0.3, ("a", "c"): 0.2}
    matrix = [[1, 0.6, 0.2], [0.6, 1, -0.3], [0.2, -0.3, 1]]
    pairs = [(i.value, i.u) for i in CURVED]
    a, b, c = correlated_values_norm(pairs, np.array(matrix))
    y = umath.sqrt(a) * umath.exp(-b / 3.0) / (c - 0.7 * a)
    budget = propagate(curved, CURVED, r)
    assert budget.u == pytest.approx(y.std_dev, rel=1e-9)
    assert sum(row.share_percent for row in budget.rows) == pytest.approx(100)


def test_by_mass_budget_shares():
    # A whole by-mass budget worked with the uncertainties package: 1200 mg, u 7.9 mg,
    # shares of acidity, suspension density, titrant, sample 77, 19, 2, 1 %.
    inputs = [
        normal("sample", 5.222, 0.0041, "g"),
        normal("titrant", 16.561, 0.0150, "g"),
        rectangular("acidity", 5.0, 0.05, "g/100 mL"),
        normal("vinegar density", 1.00516, 0.0003, "g/mL"),
        normal("suspension density", 1.0444, 0.003, "g/mL"),
    ]

    def dose(x):
        moles = x["titrant"] * x["acidity"] / 100 / x["vinegar density"] / 60.052
        return 1000 * moles / 2 * 58.319 / x["sample"] * x["suspension density"] * 15

    budget = propagate(dose, inputs)
    rows = by_name(budget)
    assert budget.value == pytest.approx(1200, abs=0.5)
    assert budget.u == pytest.approx(7.9, abs=0.05)
    shares = [rows[n].share_percent for n in ("acidity", "suspension density", "titrant", "sample")]
    assert shares == pytest.approx([77, 19, 2, 1], abs=0.55)


# ---- properties ----

values = st.floats(0.1, 100.0)
doubts = st.floats(1e-6, 0.1)
coefficients = st.floats(-0.9, 0.9)


def ratio(x):
    return x["a"] * x["b"] / x["c"]


def ratio_inputs(numbers, us):
    return [
        normal(n, v, v * u, "g", dof=d)
        for n, v, u, d in zip("abc", numbers, us, (3.0, math.inf, 8.0), strict=True)
    ]


@given(st.tuples(values, values, values), st.tuples(doubts, doubts, doubts), coefficients)
def test_shares_sum_to_100_also_when_correlated(numbers, us, r):
    budget = propagate(ratio, ratio_inputs(numbers, us), {("a", "c"): r})
    assert sum(row.share_percent for row in budget.rows) == pytest.approx(100, abs=1e-6)


@given(
    st.tuples(values, values, values),
    st.tuples(doubts, doubts, doubts),
    st.integers(0, 2),
    st.floats(1.0, 5.0),
)
def test_more_uncertainty_in_never_gives_less_out(numbers, us, which, factor):
    inputs = ratio_inputs(numbers, us)
    worse = list(inputs)
    worse[which] = normal(
        "abc"[which], inputs[which].value, inputs[which].u * factor, "g", dof=inputs[which].dof
    )
    assert propagate(ratio, worse).u >= propagate(ratio, inputs).u * (1 - 1e-7)


@given(st.tuples(values, values, values), st.tuples(doubts, doubts, doubts), st.floats(1e-3, 1e3))
def test_scaling_numerator_and_denominator_changes_nothing(numbers, us, factor):
    a, b, c = numbers
    plain = propagate(ratio, ratio_inputs(numbers, us))
    scaled = propagate(ratio, ratio_inputs((a * factor, b, c * factor), us))
    assert scaled.value == pytest.approx(plain.value, rel=1e-12)
    assert scaled.u == pytest.approx(plain.u, rel=1e-6)


@given(st.tuples(values, values, values), st.tuples(doubts, doubts, doubts))
def test_relative_variances_add_in_a_quotient(numbers, us):
    budget = propagate(ratio, ratio_inputs(numbers, us))
    assert budget.u / budget.value == pytest.approx(math.hypot(*us), rel=1e-6)


@given(st.lists(st.floats(1.0, 40.0), min_size=2, max_size=5))
def test_effective_dof_lies_between_the_smallest_and_the_sum(dofs):
    inputs = [normal(f"x{i}", 0.0, 1.0, "", dof=d) for i, d in enumerate(dofs)]
    dof = propagate(lambda x: sum(x.values()), inputs).dof
    assert min(dofs) - 1e-9 <= dof <= sum(dofs) + 1e-9


# ---- correlated degrees of freedom, parts, edges ----


def test_fully_correlated_inputs_count_once_in_the_degrees_of_freedom():
    inputs = [normal("a", 1.0, 0.1, "", dof=4), normal("b", 1.0, 0.1, "", dof=4)]
    total = propagate(lambda x: x["a"] + x["b"], inputs, {("a", "b"): 1.0})
    assert (total.u, total.dof) == pytest.approx((0.2, 4.0))


def test_fully_correlated_inputs_cancel_in_a_difference():
    inputs = [normal("a", 5.0, 0.1, "", dof=4), normal("b", 3.0, 0.1, "")]
    budget = propagate(lambda x: x["a"] - x["b"], inputs, {("a", "b"): 1.0})
    assert budget.u == pytest.approx(0.0, abs=1e-8)


def test_part_splits_the_variance():
    r = {("a", "b"): 0.5}
    budget = propagate(curved, CURVED, r)
    runs, dof = budget.part({"a", "b"})
    shared, _ = budget.part(["c"])
    assert math.hypot(runs, shared) == pytest.approx(budget.u)
    assert dof == pytest.approx(5.0)
    with pytest.raises(UsageError, match=r"d is no input of this budget \(a, b, c\)"):
        budget.part(["d"])


def test_exactly_known_inputs_give_no_uncertainty_and_no_shares():
    budget = propagate(ratio, [normal(n, 2.0, 0.0, "g", dof=3) for n in "abc"])
    assert (budget.u, budget.dof) == (0.0, math.inf)
    assert [row.share_percent for row in budget.rows] == [0.0, 0.0, 0.0]
    assert budget.expanded().U == 0.0


@pytest.mark.parametrize(
    ("value", "u"), [(1e-30, 1e-33), (1e20, 1e16), (0.0, 1e-9), (1.0, 1e-13), (1e-9, 1.0)]
)
def test_derivatives_are_well_scaled(value, u):
    row = propagate(lambda x: 3.0 * x["a"] + 1.0, [normal("a", value, u, "")]).rows[0]
    # Below about 1e-13 of the result a difference is rounding; elsewhere it must be right.
    rel = 1e-7 if max(abs(value), u) > 1e-8 else 0.5
    if max(abs(value), u) > 1e-12:
        assert row.sensitivity == pytest.approx(3.0, rel=rel)
    assert propagate(lambda x: 3.0 * x["a"], [normal("a", value, u, "")]).u == pytest.approx(3 * u)


def test_derivative_is_local_when_the_value_is_far_from_zero():
    # A period of 6.3 at a value of 1e6: a step relative to the value would miss it entirely.
    row = propagate(lambda x: math.sin(x["t"]), [normal("t", 1e6, 0.01, "s")]).rows[0]
    assert row.sensitivity == pytest.approx(math.cos(1e6), rel=1e-6)


def test_budget_as_plain_values_is_json_without_nan():
    text = json.dumps(propagate(curved, CURVED, {("a", "b"): 0.5}).as_dict(), allow_nan=False)
    table = json.loads(text)
    assert table["rows"][2]["dof"] is None
    assert table["rows"][0]["name"] == "a"
    assert table["correlations"] == [["a", "b", 0.5]]


# ---- what is refused ----


def test_no_inputs_is_refused():
    with pytest.raises(UsageError, match="at least one input"):
        propagate(lambda _: 1.0, [])


@pytest.mark.parametrize("model", [lambda x: 1.0 / (x["a"] - 1.0), lambda x: np.log(x["a"] - 2.0)])
def test_a_result_that_is_no_number_is_refused_with_the_values(model):
    with pytest.raises(InputError, match="a = 1"):
        propagate(model, [normal("a", 1.0, 0.1, "g")])


@pytest.mark.parametrize(
    ("coverage", "hint"), [(95.0, "write 0.95"), (0.0, "0 and 1"), (math.nan, "nan")]
)
def test_coverage_out_of_range_is_refused(coverage, hint):
    with pytest.raises(UsageError, match=hint):
        coverage_factor(10, coverage)


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_degrees_of_freedom_out_of_range_are_refused(dof):
    with pytest.raises(UsageError, match="Degrees of freedom must be more than zero"):
        coverage_factor(dof, 0.95)


# ---- improvements ----


def test_improvements_reach_the_target_when_put_in():
    correlations = {("a", "b"): 0.4, ("b", "c"): -0.2}
    budget = propagate(curved, CURVED, correlations)
    target = 0.8 * budget.u
    found = improvements(budget, target)
    assert [i.name for i in found] == ["c", "a", "b"]
    reached = [i for i in found if i.u_needed is not None]
    assert reached
    for item in reached:
        better = [normal(i.name, i.value, item.u_needed if i.name == item.name else i.u, "")
                  for i in CURVED]  # fmt: skip
        assert propagate(curved, better, correlations).u == pytest.approx(target, rel=1e-6)
        assert item.u_needed < item.u_now


def test_improvements_say_what_is_not_reachable_alone():
    inputs = [normal("big", 0.0, 4.0, "mg"), normal("small", 0.0, 3.0, "mg")]
    big, small = improvements(propagate(lambda x: sum(x.values()), inputs), 3.5)
    assert big.u_needed == pytest.approx(math.sqrt(3.5**2 - 3.0**2))
    assert "big: u from 4 to 1.8 mg (2.22 times better)" in big.text
    assert small.u_needed is None
    assert "small: not reachable alone" in small.text


def test_improvements_of_a_target_already_reached():
    budget = propagate(lambda x: x["a"], [normal("a", 1.0, 0.1, "g")])
    assert "reached already" in improvements(budget, 0.2)[0].text


@pytest.mark.parametrize("target", [0.0, -1.0, math.nan, math.inf])
def test_improvements_refuse_a_senseless_target(target):
    budget = propagate(lambda x: x["a"], [normal("a", 1.0, 0.1, "g")])
    with pytest.raises(UsageError, match="more than zero"):
        improvements(budget, target)
