"""The truth of a run: rules of the endpoint, and its files."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.core import Reading
from huehold.errors import InputError
from huehold.virtual.truth import Addition, Disturbance, Truth, last_entry


def made(onset: float | None = 40.0, additions: tuple[float, ...] = (10.0, 39.5)) -> Truth:
    time = np.arange(0.0, 100.0, 0.5)
    flat = np.full_like(time, 0.5)
    return Truth(
        time_s=time, ph=flat, plume_ph=flat, plume_fraction=flat, undissolved_fraction=flat,
        solid_g_per_l=flat, dye_left=flat, added_g=flat, liquid_g=flat,
        additions=tuple(Addition(t, 0.05) for t in additions),
        readings=(Reading(12.0, 0.05, "balance"), Reading(41.25, 0.1, "balance")),
        disturbances=(Disturbance(9.0, 11.0, "dropper"),),
        equivalence_g=0.1, blank_g=0.0, turning_g=0.1, turning_ph=7.9, onset_s=onset,
        settings={"bench": {"seed": 1}},
    )  # fmt: skip


def test_columns_must_be_finite_and_of_one_length():
    good = made()
    with pytest.raises(InputError, match="column ph must have the length"):
        replace(good, ph=good.ph[:-1])
    with pytest.raises(InputError, match="only finite numbers"):
        replace(good, added_g=np.where(good.time_s > 3.0, np.nan, 0.0))


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"schema": "huehold.run/1"}', '{"schema": NaN}', "3"]
)
def test_other_texts_are_not_a_truth(text):
    with pytest.raises(InputError, match="not the truth of a virtual run"):
        Truth.from_json(text)


def test_json_goes_round_and_holds_no_nan():
    truth = made()
    text = truth.to_json()
    assert json.loads(text, parse_constant=pytest.fail)["schema"] == "huehold.truth/1"
    back = Truth.from_json(text)
    assert back.to_json() == text
    assert back.additions == truth.additions
    assert back.disturbances == truth.disturbances
    assert back.readings == truth.readings
    assert np.array_equal(back.time_s, truth.time_s)


def test_a_number_that_is_not_finite_is_not_written():
    with pytest.raises(InputError, match="not finite cannot be written"):
        replace(made(), blank_g=float("inf")).to_json()


def test_saved_truth_is_read_again(tmp_path):
    made().save(tmp_path / "truth.json")
    assert Truth.from_json((tmp_path / "truth.json").read_text()).onset_s == 40.0


def test_endpoint_and_bracket():
    end = made().endpoint(50.0)
    assert end is not None
    assert (end.onset_s, end.before_g, end.mass_g) == pytest.approx((40.0, 0.05, 0.10))
    assert made().held_s == pytest.approx(59.5)


def test_too_short_a_hold_is_no_endpoint():
    assert made().endpoint(60.0) is None
    assert made(onset=None).endpoint(1.0) is None


def test_a_colour_lasts_only_with_enough_titrant():
    enough = replace(made(), added_g=np.full_like(made().time_s, 0.101))
    assert enough.lasting
    assert not replace(enough, turning_g=0.102).lasting
    assert not replace(enough, onset_s=None).lasting


def test_a_portion_during_the_hold_starts_it_anew():
    truth = made(additions=(10.0, 39.5, 60.0))
    assert truth.endpoint(30.0).onset_s == 60.0
    assert truth.endpoint(30.0).mass_g == pytest.approx(0.15)
    assert truth.endpoint(15.0).onset_s == 40.0


@given(st.lists(st.booleans(), min_size=1, max_size=40))
def test_last_entry_never_leaves(values):
    inside = np.array(values)
    entry = last_entry(np.arange(len(inside), dtype=float), inside)
    if entry is None:
        assert not inside[-1]
    else:
        assert inside[entry:].all()
        assert entry == 0 or not inside[entry - 1]


def test_interpolation_holds_the_ends():
    truth = replace(made(), added_g=made().time_s)
    assert truth.at("added_g", np.array([-1.0, 3.25, 500.0])) == pytest.approx([0.0, 3.25, 99.5])
