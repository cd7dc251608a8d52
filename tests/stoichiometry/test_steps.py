"""The calculation as data."""

import json

import numpy as np
import pytest

from huehold.errors import InputError
from huehold.stoichiometry.steps import (
    Chain,
    Factor,
    Formula,
    Sum,
    Symbol,
    Term,
    cancelled,
    evaluate,
    needed,
    steps_from_list,
    steps_to_list,
    units_left,
)

MASS = Sum(Symbol("m", "mass", "g", "acid"), ((1, "gross"), (-1, "tare")))
AMOUNT = Chain(
    Symbol("n", "amount", "mol", "HCl"),
    (
        Factor(Term("m", "g", "acid")),
        Factor(Term("w", "g", "HCl"), Term(100, "g", "acid")),
        Factor(Term(1, "mol", "HCl"), Term(36.46, "g", "HCl")),
    ),
)
OTHER = Sum(Symbol("x", "other"), ((1, "tare"),))
STEPS = (MASS, OTHER, AMOUNT)


@pytest.mark.parametrize(
    "data",
    [
        [{}],
        [{"kind": "sum"}],
        [{"kind": "chain", "result": {"key": "a"}, "reason": "", "factors": []}],
        [{"kind": "formula", "result": {"key": "a", "label": "a"}, "reason": "",
          "function": "os.system", "arguments": []}],
    ],
)  # fmt: skip
def test_steps_that_are_none(data):
    with pytest.raises(InputError, match="cannot be read"):
        steps_from_list(data)


def test_evaluation_of_floats_and_of_trials():
    one = evaluate(STEPS, {"gross": 12.0, "tare": 2.0, "w": 36.46})
    assert one["n"] == pytest.approx(0.1)
    many = evaluate(STEPS, {"gross": np.array([12.0, 22.0]), "tare": 2.0, "w": 36.46})
    assert many["n"] == pytest.approx([0.1, 0.2])


def test_units_that_cancel_and_what_is_left():
    assert dict(cancelled(AMOUNT)) == {("g", "acid"): 1, ("g", "HCl"): 1}
    above, below = units_left(AMOUNT)
    assert (dict(above), dict(below)) == ({("mol", "HCl"): 1}, {})


def test_grams_of_different_things_do_not_cancel():
    chain = Chain(Symbol("a", "a"), (Factor(Term(1, "g", "acid"), Term(1, "g", "base")),))
    assert not cancelled(chain)


def test_only_the_steps_a_result_needs():
    assert needed(STEPS, "n") == (MASS, AMOUNT)


def test_steps_survive_a_file():
    formula = Formula(
        Symbol("rho", "density", "g/mL"),
        "suspension_density",
        (("percent_ww", "w"), ("solid_g_per_ml", 2.37), ("water_g_per_ml", 0.9982)),
    )
    steps = (*STEPS, formula)
    assert steps_from_list(json.loads(json.dumps(steps_to_list(steps)))) == steps
