"""The assay of the main method: bad input first, then figures with their source."""

import json
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.errors import InputError, UsageError
from huehold.methods import load_method
from huehold.stoichiometry.assay import Assay, Request, Settings, assay
from huehold.stoichiometry.density import measured_density
from huehold.stoichiometry.standardise import Standardisation
from huehold.stoichiometry.steps import Chain, evaluate, needed, units_left
from huehold.stoichiometry.units import quantity
from huehold.stoichiometry.weighing import Balance

METHOD = load_method("magnesium-hydroxide-by-vinegar")
QUICK = Settings(trials=False)
RUN = {
    "sample_mass": "5.222 g",
    "titrant_mass": "16.561 g",
    "bracket_mass": "0.05 g",
    "strength": "5.0 %",
    "density": "1.0444",
}


def run(**changes):
    return assay(METHOD, **{"settings": QUICK, **RUN, **changes})


def test_a_request_is_computed_like_its_parts():
    given = RUN | {"claim": "1200 mg/15 mL", "water_mass": None}
    whole = assay(METHOD, Request(**given), settings=QUICK)
    assert whole.results == run(**given).results
    assert whole.given == run(**given).given
    assert whole.given["claim"] == "1200 mg/15 mL"
    assert "water_mass" not in whole.given
    with pytest.raises(UsageError, match="density in the request, not beside it"):
        assay(METHOD, Request(**given), density="1.04", settings=QUICK)
    with pytest.raises(TypeError, match="smaple_mass"):
        run(smaple_mass="5 g")


def with_equivalence(found, grams):
    """Evaluate what follows the equivalence point for a given mass there."""
    key = found.equivalence.key
    steps = [s for s in found.steps if s.result.key != key]
    values = {i.name: i.value for i in found.inputs} | {key: grams}
    return evaluate(steps, values)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sample_mass": "-5.2 g"}, "sample mass is negative"),
        ({"sample_mass": "0 g"}, "sample mass is zero.*tare forgotten"),
        ({"sample_mass": "nan"}, "not a finite number"),
        ({"sample_mass": float("nan")}, "not a finite number"),
        ({"sample_mass": "5.2 mL"}, "millilitres typed for grams"),
        ({"sample_mass": "5 kg"}, "more than a balance takes"),
        ({"sample_mass": "250 g", "balance": Balance(capacity_g=200)}, r"\(200 g\)"),
        ({"sample_mass": "5.2 fuß"}, "is not a unit"),
        ({"sample_mass": "1,200"}, "not clear whether"),
        ({"titrant_mass": "-1"}, "titrant mass is negative"),
        ({"titrant_mass": "many"}, "is not a number"),
        ({"titrant_mass": "125 g"}, r"603\.\d mg/mL .* more than a suspension can hold"),
        ({"strength": "50 %"}, "usually 2 to 15.5 % .*decimal point lost"),
        ({"density": "1044"}, "typed in kg/m3"),
        ({"density": "1.04 g"}, "must be a mass by a volume"),
        ({"blank_mass": "17 g"}, "was the blank larger than the titration"),
        ({"blank_mass": "-0.1 g"}, "blank is negative"),
        ({"bracket_mass": "16.51 g", "titrant_mass": "16.5"}, "more than all titrant"),
        ({"bracket_mass": "0 g"}, "last addition is zero"),
        ({"bracket_mass": "1 drop"}, "mass of one drop as well"),
        ({"water_mass": "-3 g"}, "mass of water is negative"),
        ({"end_ph": (99.0, 0.1)}, "makes no sense"),
        ({"end_ph": "6.8"}, "needs its uncertainty"),
        ({"end_ph": 6.8}, "a value with its uncertainty"),
        ({"dose": "1e9 g"}, "no portion anybody measures"),
        ({"claim": "1200"}, "names no portion"),
        ({"dose": "15"}, "must be a volume or a mass"),
        ({"claim": "1200 mg/15 mL", "tolerance": "milk"}, "no acceptance range called"),
    ],
)
def test_bad_input_is_one_sentence_with_its_cause(changes, words):
    with pytest.raises(InputError, match=words) as caught:
        run(**changes)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tolerance": "90-110 %"}, "needs a label claim"),
        ({"standardisation": Standardisation("baking soda", 1, 10)}, "not both"),
        ({"reagent_mass": "3 g"}, "has no reagent in excess"),
        ({"titrant_mass": None}, "titrant mass is needed"),
        ({"claim": 80.0}, "claim must be text"),
        (
            {"strength": None, "standardisation": Standardisation("chalk", 1, 10)},
            "no standard 'chalk'; it has baking soda",
        ),
    ],
)
def test_inputs_that_contradict_each_other(changes, words):
    with pytest.raises(UsageError, match=words):
        run(**changes)


def test_sample_and_titrant_exchanged_is_noticed():
    found = run(sample_mass="16.561 g", titrant_mass="5.222 g")
    assert any("is below what a suspension usually holds" in w for w in found.warnings)


def test_what_was_not_given_is_said():
    found = assay(METHOD, sample_mass="1 g", titrant_mass="3.2 g", settings=QUICK)
    text = " ".join((*found.warnings, *found.notes))
    for words in ("no strength was given", "last addition was not given", "no density", "no blank"):
        assert words in text


def test_equivalents_of_the_main_method():
    found = run()
    # check table 4.1 (FDA CPG 525.825, CRC densities): 24.15 mg per g of 5 % vinegar,
    # and 49.68 g of it for the 1200 mg of a dose
    per_gram = with_equivalence(found, 1.0)["amount"] * 58.32025
    assert per_gram == pytest.approx(24.154, abs=0.003)
    assert 1200 / per_gram == pytest.approx(49.68, abs=0.01)


def test_acid_equivalent_of_the_pharmacopoeia():
    # older USP assay: 1 mL of 1 N acid is 29.16 mg Mg(OH)2; USP 32: 0.0343 mEq per mg
    found = run(strength="1.0 mol/kg")
    milligrams = with_equivalence(found, 1.0)["amount"] * 58.32025
    assert milligrams == pytest.approx(29.16, abs=0.005)
    assert 1 / milligrams == pytest.approx(0.0343, abs=5e-5)


def test_dose_of_the_illustrative_budget():
    # check table 9.1: 1200 mg in 15 mL, u 7.9 mg; shares 77, 19, 2 and 1 %
    found = run(
        density=quantity(1.0444, "g/mL"),
        bracket_mass="0.0500 ± 0 g",
    )
    dose = found.results["dose"]
    by_hand = with_equivalence(found, 16.561)["dose"]
    assert by_hand == pytest.approx(1200, abs=0.5)
    # density here without its 0.003: 7.9 less 19 % of the variance
    assert dose.u == pytest.approx(7.9 * 0.81**0.5, rel=0.03)
    shares = {row.name: row.share_percent for row in found.budget}
    assert max(shares, key=shares.get) == "strength of vinegar"


def test_label_rounding_of_a_bare_five_percent():
    # check table 9.1: "5" +/- 0.5 gives 69 mg on 1200 mg
    assert run(strength="5 %").results["dose"].u == pytest.approx(69, rel=0.02)


def test_common_practice_run():
    """Common practice, no source: 0.65 g of density 1.07 took 2.04 g of 5 % vinegar."""
    found = run(sample_mass="0.65 g", titrant_mass="2.04 g", density="1.07", strength="5 %",
                strength_basis="per-100-g", claim="1200 mg/15 mL")  # fmt: skip
    unrounded = with_equivalence(found, 2.04)
    assert unrounded["content"] == pytest.approx(82, abs=0.6)
    assert unrounded["dose"] == pytest.approx(1223, abs=0.5)
    # rounding on the way, as by hand: 0.102 g acid, 0.0017 mol, 0.00085 mol, 0.050 g
    by_hand = round(round(round(0.102 / 60.05, 4) / 2, 5) * 58.32, 3) / 0.65 * 1.07 * 15 * 1000
    assert by_hand == pytest.approx(1230, abs=6)


def test_two_label_lines_of_one_product_agree():
    # US Drug Facts: 500 mg Mg and 1200 mg Mg(OH)2 per 15 mL
    one, other = run(claim="1200 mg/15 mL"), run(claim="500.1 mg Mg/15 mL")
    assert one.percent_of_label == pytest.approx(other.percent_of_label, rel=3e-4)


@pytest.mark.parametrize(
    ("percent", "outcome"),
    # USP 32, Milk of Magnesia: 90.0 to 115.0 %, both inclusive, with a negligible uncertainty
    [(80, "does_not_conform"), (100, "conforms"), (118, "does_not_conform")],
)
def test_decision_against_the_pharmacopoeial_range(percent, outcome):
    share = run(claim="1200 mg/15 mL").percent_of_label
    claim = f"{1200 * share / percent:.3f} mg/15 mL"
    found = run(claim=claim)
    assert found.percent_of_label == pytest.approx(percent, rel=1e-3)
    assert found.conformity.outcome == outcome


def test_without_digits_on_the_label_nobody_can_tell():
    found = run(strength="5 %", claim="1320 mg/15 mL")
    assert found.conformity.outcome == "cannot_tell"
    assert "would tell" in found.decision


def test_blank_drift_and_buoyancy():
    plain, corrected = run(), run(blank_mass="0.20 g", tare_drift="0.03 g")
    # blank less half of its own last drop, and the drift
    lost = plain.values[plain.equivalence.key] - corrected.values[corrected.equivalence.key]
    assert lost == pytest.approx(0.20 - 0.025 + 0.03, abs=5e-4)
    buoyant = run(buoyancy=True)
    # check table 4.1: cancels to 5e-5 in the ratio
    assert buoyant.results["content"].value == pytest.approx(
        plain.results["content"].value, rel=6e-5
    )
    assert buoyant.results["content"].value != plain.results["content"].value


def test_blank_of_nothing_is_a_blank():
    found = run(blank_mass=0)
    assert found.results["content"].value == run().results["content"].value
    assert not any("no blank" in note for note in found.notes)
    assert any("no blank" in note for note in run().notes)


def test_density_taken_as_one_biases_the_dose():
    # check table 4.1: -4.2 %
    right, wrong = run().results["dose"].value, run(density="1.0000").results["dose"].value
    assert wrong / right - 1 == pytest.approx(-0.042, abs=0.001)


def test_density_estimated_from_the_content():
    found = run(density=None)
    assert found.values["density of the sample"] == pytest.approx(1.0443, abs=0.001)


def test_density_measured_with_a_cylinder():
    found = run(density=measured_density("10.44 g", "10.0 mL", graduation="0.2 mL"))
    row = next(r for r in found.budget if r.name == "density of the sample")
    assert row.source.startswith("measured")


def test_standardisation_against_baking_soda():
    # 0.500 g of 100 % NaHCO3 is 5.952 mmol; in 7.186 g of vinegar 0.8283 mol/kg
    against = Standardisation("baking soda", "0.500 g", "7.186 g", "0.0001 g", "100.0 %")
    found = run(strength=None, standardisation=against)
    assert found.values["strength of vinegar"] == pytest.approx(0.8283, abs=1e-4)
    other = run(strength="0.82828 mol/kg")
    assert found.results["content"].value == pytest.approx(other.results["content"].value, rel=3e-4)


def test_assay_of_the_standard_counts():
    given = ("baking soda", "0.500 g", "7.186 g", "0.05 g")
    full = run(strength=None, standardisation=Standardisation(*given, assay="100.0 %"))
    moist = run(strength=None, standardisation=Standardisation(*given, assay="98.0 %"))
    assert moist.results["content"].value == pytest.approx(
        0.98 * full.results["content"].value, rel=2e-4
    )


@pytest.mark.parametrize("value", ["0.995", "150 %", "99 g"])
def test_assay_of_the_standard_that_cannot_be(value):
    with pytest.raises(InputError, match="assay of baking soda"):
        run(strength=None, standardisation=Standardisation("NaHCO3", 0.5, 7.186, 0.05, value))


def test_end_colour_sharpens_the_equivalence_point():
    small = {"sample_mass": "0.65 g", "titrant_mass": "2.04 g", "water_mass": "50 g"}
    plain, seen = run(**small), run(**small, end_ph=(6.8, 0.15))
    assert seen.equivalence.colour.gain > 1.5
    assert "times better" in seen.equivalence.text
    assert seen.results["content"].u < plain.results["content"].u
    assert any("last addition" in r.name for r in plain.budget)


def test_end_colour_that_contradicts_the_last_drop_is_said():
    found = run(end_ph=(4.5, 0.1))
    assert any("cannot have brought" in w for w in found.warnings)


def test_result_is_computed_again_from_its_own_file():
    found = assay(METHOD, **RUN, claim="1200 mg/15 mL", end_ph=(6.9, 0.2), blank_mass="0.05 g")
    data = json.loads(json.dumps(found.to_json(), allow_nan=False))
    results = data.pop("results")
    again = Assay.from_json(data)
    assert again.to_json()["results"] == results
    assert again.decision == found.decision
    assert again.working == found.working
    assert all(item["source"] for item in data["inputs"])


def test_changed_input_in_the_file_changes_the_result():
    data = run().to_json()
    for item in data["inputs"]:
        if item["name"] == "sample mass":
            item["value"] *= 2
    before = data["results"]["content"]["value"]
    assert Assay.from_json(data).results["content"].value == pytest.approx(before / 2)


@pytest.mark.parametrize("spoil", ["schema", "inputs", "steps", "method"])
def test_file_that_is_none(spoil):
    data = run().to_json()
    del data[spoil]
    with pytest.raises(InputError):
        Assay.from_json(data)


def test_first_order_and_monte_carlo_are_compared():
    found = run(settings=Settings())
    assert found.trials.mean == pytest.approx(found.results["content"].value, rel=2e-3)
    assert found.trials.u == pytest.approx(found.results["content"].u, rel=0.05)
    assert found.agreement.text in dict(found.summary)["Monte Carlo"]


def test_every_chain_leaves_the_unit_it_says():
    found = run(claim="1200 mg/15 mL", buoyancy=True)
    chains = [s for s in found.steps if isinstance(s, Chain)]
    assert chains
    for chain in chains:
        above, below = units_left(chain)
        symbol = chain.result
        assert list(above) == [(symbol.unit, symbol.of)]
        assert list(below) == ([(symbol.per_unit, symbol.per_of)] if symbol.per_unit else [])


def test_budget_sums_to_100_percent():
    assert sum(r.share_percent for r in run().budget) == pytest.approx(100)


masses = st.floats(0.5, 20.0)


@settings(max_examples=25)
@given(masses, st.floats(2.6, 3.6), st.floats(0.5, 3.0))
def test_scaling_all_masses_leaves_the_content_unchanged(sample, ratio, factor):
    def content(scale):
        found = run(
            sample_mass=sample * scale,
            titrant_mass=sample * ratio * scale,
            bracket_mass=0.05 * scale,
            water_mass=50.0 * scale,
        )
        return found.results["content"].value

    # the water's mass includes the sample, so the excess scales too
    assert content(factor) == pytest.approx(content(1.0), rel=1e-9)


@settings(max_examples=25)
@given(masses, st.floats(2.6, 3.6), st.sampled_from(["mg", "kg", "oz"]))
def test_units_change_nothing(sample, ratio, unit):
    plain = run(sample_mass=sample, titrant_mass=sample * ratio)
    converted = run(
        sample_mass=quantity(sample, "g").to(unit),
        titrant_mass=f"{quantity(sample * ratio, 'g').to(unit).magnitude!r} {unit}",
    )
    assert converted.results["dose"].value == pytest.approx(plain.results["dose"].value, rel=1e-9)
    assert converted.results["dose"].u == pytest.approx(plain.results["dose"].u, rel=1e-6)


@settings(max_examples=20)
@given(st.lists(st.floats(0.01, 0.5), min_size=2, max_size=4, unique=True).map(sorted))
def test_more_doubt_in_never_gives_less_out(doubts):
    us = [run(strength=f"5.0 ± {d!r} %").results["content"].u for d in doubts]
    assert all(a <= b for a, b in pairwise(us))


@settings(max_examples=20)
@given(st.lists(st.floats(0.001, 0.1), min_size=2, max_size=4, unique=True).map(sorted))
def test_a_coarser_balance_never_gives_less_doubt(digits):
    us = [run(balance=Balance(readability_g=d)).results["content"].u for d in digits]
    assert all(a <= b for a, b in pairwise(us))


def test_needed_steps_of_the_main_result_start_at_the_reading():
    found = run()
    first = needed(found.steps, "dose")[0]
    assert "titrant mass" in [key for _, key in first.terms]


def test_the_stated_interval_is_monte_carlos_when_first_order_fails():
    """JCGM 101, 8.1: a first-order interval that is not validated is not to be used."""
    common = {"sample_mass": "5.22", "titrant_mass": "16.56", "density": "1.0444"}
    limits = assay(
        "magnesium-hydroxide-by-vinegar", strength="5.0 %", **common
    )  # known by limits: rectangular
    assert limits.agreement is not None
    assert limits.trials is not None
    assert not limits.agreement.ok
    content = limits.results["content"]
    assert content.value - content.U <= limits.trials.low
    assert content.value + content.U >= limits.trials.high
    assert content.U < limits.propagation.expanded(0.95).U
    assert Assay.from_json(limits.to_json()).results["content"].U == content.U
