"""Expected masses against published equivalents."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.errors import InputError, UsageError
from huehold.methods import list_methods, load_method
from huehold.planning.expected import Expected, target_of
from huehold.planning.request import PlanRequest
from huehold.stoichiometry.assay import Settings, assay
from huehold.stoichiometry.weighing import Balance

MILK = "magnesium-hydroxide-by-vinegar"


def request(name=MILK, **given):
    return PlanRequest(load_method(name), **given)


def expected(sample_g, water_g=50.0, name=MILK, **given):
    asked = request(name, **given)
    return Expected(asked, target_of(asked), sample_g, water_g)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"drop_g": 0.0}, "The drop is 0; it must be above zero"),
        ({"drop_g": 0.5}, "weigh 20 drops"),
        ({"drop_g": float("nan")}, "The drop is nan"),
        ({"squirt_g": 0.01}, "less than a drop"),
        ({"sample_g": -1.0}, "The sample is -1"),
        ({"water_g": -1.0}, "The water is -1; it cannot be negative"),
        ({"alkalinity_mmol_per_l": float("inf")}, "The alkalinity is inf"),
        ({"wanted_percent": 0.0}, "The wanted is 0"),
        ({"cup_ml": 0.0}, "The cup is 0"),
        ({"temperature_c": 80.0}, "it must be 5 to 40 C"),
    ],
)
def test_impossible_numbers_are_told(given, words):
    with pytest.raises(InputError, match=words):
        request(**given)


@pytest.mark.parametrize(("name", "value"), [("water", "mineral"), ("weighing", "spoon")])
def test_unknown_words_name_the_known_ones(name, value):
    with pytest.raises(UsageError, match="choose one of"):
        request(**{name: value})


def test_unreadable_claim_is_told():
    with pytest.raises(InputError, match="names no portion"):
        target_of(request(claim="1200 mg"))


def test_vinegar_for_a_dose_of_1200_mg():
    # 15 mL of 1200 mg: 49.68 g of vinegar of 5 g/100 mL (from molar masses, FDA CPG 525.825 and
    # CRC density)
    dose = expected(15.0 * 1.0444, claim="1200 mg/15 mL", strength="5 %", density="1.0444")
    assert dose.equivalence_g == pytest.approx(49.68, abs=0.05)
    assert dose.amount_mmol == pytest.approx(20.576, abs=0.01)
    assert dose.titrant_mol_per_g * 1000 == pytest.approx(0.8283, abs=0.0005)


def test_vinegar_for_a_gram_of_suspension():
    # 80 mg/mL by additive volumes is 76.6 mg/g: 3.172 g of vinegar
    gram = expected(1.0, claim="80 mg/mL", strength="5 %")
    assert gram.equivalence_g == pytest.approx(3.172, abs=0.002)
    assert gram.density_g_per_ml == pytest.approx(1.0444, abs=0.0003)


def test_edetate_for_calcium_carbonate():
    # USP 28: 1 mL of 0.05 mol/L edetate is 5.004 mg of CaCO3, so 0.01 mol/L is 1.0008 mg
    water = expected(100.0, 0.0, "total-hardness-by-edta", claim="100 mg/L", strength="0.01 mol/L")
    millilitres = water.equivalence_g / 0.999
    grams_of_water = 100.0 / 0.998
    assert millilitres * 1.0008 == pytest.approx(100.0 * grams_of_water / 1000.0, rel=1e-3)


def test_hydrochloric_acid_for_baking_soda():
    # Food Chemicals Codex: 1 mL of 1 N acid is 84.01 mg of NaHCO3
    soda = expected(0.2, name="baking-soda-content", claim="100 %", strength="0.1 mol/L")
    assert soda.equivalence_g / 1.001 * 8.401 == pytest.approx(200.0, rel=1e-3)


def test_back_titration_leaves_reagent_even_for_the_richest_sample():
    asked = request("calcium-carbonate-antacid", claim="500 mg per tablet", dose="1.3 g")
    target = target_of(asked)
    bare = Expected(asked, target, 0.4, 30.0)
    reagent_g = bare.enough_reagent_g()
    rich = Expected(asked, target, 0.4, 30.0, None, reagent_g, target.high)
    poor = Expected(asked, target, 0.4, 30.0, None, reagent_g, target.low)
    assert 0.0 < rich.titrant_g < poor.titrant_g
    # CaCO3 takes 2 HCl, NaOH one: what was added less what was used is what is left
    left = rich.reagent_mol - 2.0 * rich.amount_mmol / 1000.0
    assert rich.equivalence_g * rich.titrant_mol_per_g == pytest.approx(left, rel=1e-9)


@pytest.mark.parametrize("name", list_methods())
def test_the_assay_of_the_expected_masses_gives_the_target(name):
    bare = expected(30.0 if load_method(name).sample.state == "liquid" else 0.5, 40.0, name)
    asked = Expected(
        bare.request, bare.target, bare.sample_g, bare.water_g, None, bare.enough_reagent_g()
    )
    made = assay(name, **asked.arguments(asked.titrant_g), settings=Settings(trials=False))
    assert made.results["content"].value == pytest.approx(asked.target.content, rel=1e-6)


@settings(max_examples=12, deadline=None)
@given(
    sample_g=st.floats(0.2, 30.0),
    drop_g=st.floats(0.02, 0.12),
    content=st.integers(40, 250),
    acidity=st.floats(3.0, 12.0),
    blank_drops=st.one_of(st.none(), st.floats(0.5, 8.0)),
)
def test_any_plan_is_turned_back_by_the_assay(sample_g, drop_g, content, acidity, blank_drops):
    asked = request(
        drop_g=drop_g, claim=f"{content} mg/mL", strength=f"{acidity:.2f} %",
        balance=Balance(0.001),
    )  # fmt: skip
    blank = None if blank_drops is None else blank_drops * drop_g
    made = Expected(asked, target_of(asked), sample_g, 50.0, blank)
    result = assay(
        MILK, **made.arguments(made.titrant_g), claim=asked.claim, settings=Settings(trials=False)
    )
    assert result.percent_of_label == pytest.approx(100.0, abs=1e-4)
    assert made.titrant_g > made.equivalence_g > 0.0


@given(share=st.floats(0.3, 2.0))
@settings(max_examples=6, deadline=None)
def test_more_content_takes_more_titrant(share):
    asked = request(claim="80 mg/mL", strength="5 %")
    target = target_of(asked)
    less, more = (
        Expected(asked, target, 2.0, 50.0, share=s).titrant_g for s in (share, 1.01 * share)
    )
    assert less < more
