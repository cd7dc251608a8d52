"""The other shipped methods against published equivalents."""

import json

import pytest

from huehold.errors import InputError, UsageError
from huehold.methods import list_methods, load_method
from huehold.stoichiometry.assay import Assay, Settings, assay
from huehold.stoichiometry.standardise import Standardisation
from huehold.stoichiometry.steps import Chain, evaluate, units_left

QUICK = Settings(trials=False)
RUNS = {
    "magnesium-hydroxide-by-vinegar": {
        "sample_mass": 5.0, "titrant_mass": 16.0, "strength": "5.0 %",
    },
    "calcium-carbonate-antacid": {
        "sample_mass": 0.4, "titrant_mass": 60, "strength": "0.100 mol/L", "reagent_mass": 12.2,
        "reagent_strength": "1.00 mol/L", "claim": "500 mg per tablet", "dose": "0.66 g",
    },
    "acetic-acid-in-vinegar": {
        "sample_mass": 1.0, "titrant_mass": 8.4, "strength": "0.100 mol/L", "claim": "5.0 %",
    },
    "citric-acid-in-juice": {"sample_mass": 1.0, "titrant_mass": 9.0, "strength": "0.100 mol/L"},
    "ascorbic-acid-by-iodine": {"sample_mass": 20, "titrant_mass": 10, "strength": "5.0 mmol/L"},
    "total-hardness-by-edta": {"sample_mass": 50, "titrant_mass": 10, "strength": "0.0100 mol/L"},
    "hypochlorite-by-thiosulfate": {
        "sample_mass": 0.5, "titrant_mass": 6.5, "strength": "0.100 mol/L",
    },
    "baking-soda-content": {"sample_mass": 0.2, "titrant_mass": 23.8, "strength": "0.100 mol/L"},
    "lime-water": {"sample_mass": 40, "titrant_mass": 1.9, "strength": "5.0 %"},
    "alkalinity-of-water": {"sample_mass": 100, "titrant_mass": 4, "strength": "0.100 mol/L"},
}  # fmt: skip


def run(name, **changes):
    return assay(name, **{"settings": QUICK, **RUNS[name], **changes})


def per_millilitre(found, solution, molar):
    """Milligrams of what is reported for 1 mL of the titrant, by the assay's own steps."""
    values = {i.name: i.value for i in found.inputs}
    values[found.equivalence.key] = values[f"density of {solution}"]
    steps = [s for s in found.steps if s.result.key != found.equivalence.key]
    return evaluate(steps, values)["amount"] * molar


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("calcium-carbonate-antacid", {"titrant_mass": 200}, "used up more than the hydrochloric"),
        ("calcium-carbonate-antacid", {"dose": None}, "is for one tablet; give what it weighs"),
        (
            "baking-soda-content",
            {"titrant_mass": 60},
            r"251.7.* is more than a baking soda can hold",
        ),
        ("acetic-acid-in-vinegar", {"strength": "5 mol/L"}, "is it the right method"),
        ("total-hardness-by-edta", {"strength": "2 %"}, "is usually 0.005 to 0.02 mol/L"),
        ("baking-soda-content", {"dose": "15 mL"}, "give the dose in the same sense"),
    ],
)
def test_bad_input(name, changes, words):
    with pytest.raises(InputError, match=words):
        run(name, **changes)


def test_back_titration_without_its_reagent():
    with pytest.raises(UsageError, match="is a back titration: give the mass of hydrochloric"):
        run("calcium-carbonate-antacid", reagent_mass=None)


@pytest.mark.parametrize("name", list_methods())
def test_every_method_runs_is_usual_and_is_computed_again_from_its_file(name):
    found = run(name)
    assert not any("usually holds" in w for w in found.warnings)
    data = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert Assay.from_json(data).results == found.results
    for chain in (s for s in found.steps if isinstance(s, Chain)):
        above, _ = units_left(chain)
        assert list(above) == [(chain.result.unit, chain.result.of)]


@pytest.mark.parametrize(
    ("name", "solution", "molar", "expected", "tolerance"),
    [
        # USP 28, calcium carbonate: 0.1 N acid (0.1 mol/L NaOH in the back titration), per mL
        ("calcium-carbonate-antacid", "sodium hydroxide solution", 100.0868, 5.004, 0.001),
        # method sheet citing AOAC 930.35 J, exact factor 0.60052: 6.005 mg per mL of 0.1 N
        ("acetic-acid-in-vinegar", "sodium hydroxide solution", 60.0519, 6.005, 0.001),
        # AOAC 942.15: 0.0064 g anhydrous (0.0070 g monohydrate) per mL of 0.1 N
        ("citric-acid-in-juice", "sodium hydroxide solution", 192.1232, 6.404, 0.001),
        ("citric-acid-in-juice", "sodium hydroxide solution", 210.13855, 7.0, 0.01),
        # USP 29, Sodium Hypochlorite Solution: 3.722 mg NaClO per mL of 0.1 N thiosulfate
        ("hypochlorite-by-thiosulfate", "thiosulfate solution", 74.4407, 3.722, 0.001),
        # BP, Strong Sodium Hypochlorite Solution: 3.545 mg of available chlorine
        ("hypochlorite-by-thiosulfate", "thiosulfate solution", 70.903, 3.545, 0.001),
        # Food Chemicals Codex, Sodium Bicarbonate: 84.01 mg per mL of 1 N acid
        ("baking-soda-content", "hydrochloric acid", 84.00654, 8.401, 0.001),
    ],
)
def test_published_equivalents(name, solution, molar, expected, tolerance):
    found = run(name, blank_mass="100 g") if name.startswith("calcium") else run(name)
    assert per_millilitre(found, solution, molar) == pytest.approx(expected, abs=tolerance)


def test_edetate_equivalent():
    # USP 28: 1 mL of 0.05 mol/L edetate is 5.004 mg CaCO3; here 0.01 mol/L
    found = run("total-hardness-by-edta")
    assert per_millilitre(found, "EDTA solution", 5 * 100.0868) == pytest.approx(5.004, abs=0.001)


def test_saturated_lime_water():
    # minteq.v4.dat: 0.0212 mol/kg Ca(OH)2 at 25 C, 42.4 mmol of acid for a kilogram
    found = run("lime-water", sample_mass=40, titrant_mass=40 * 0.0424 / 0.8283 + 0.025)
    expected = 0.0212 * 74.093 * 0.999
    assert found.results["content"].value == pytest.approx(expected, rel=3e-3)


def test_iodine_twice_the_standard_gives_half_the_strength():
    given = {"sample_mass": 20, "titrant_mass": 10, "settings": QUICK}
    one, two = (
        assay(
            "ascorbic-acid-by-iodine",
            standardisation=Standardisation("ascorbic acid", "0.50 g", grams, "0.0001 g"),
            **given,
        )
        for grams in ("250 g", "500 g")
    )
    assert one.results["content"].value == pytest.approx(2 * two.results["content"].value, rel=1e-5)


def test_back_titration_by_blank_equals_the_one_by_strength():
    # a blank that used as much hydroxide as the acid's strength says
    blank = 12.2 / 1.016 * 1.00 / 0.100 * 1.005 + 0.025
    by_blank = run("calcium-carbonate-antacid", reagent_mass=None, blank_mass=blank)
    by_strength = run("calcium-carbonate-antacid")
    assert by_blank.results["content"].value == pytest.approx(
        by_strength.results["content"].value, rel=1e-6
    )
    assert by_blank.results["content"].u < by_strength.results["content"].u


def test_tablet_against_its_range():
    found = run("calcium-carbonate-antacid")
    assert (found.limits.low, found.limits.high) == (90, 110)
    assert found.percent_of_label == pytest.approx(99.7, abs=0.3)


def test_a_method_of_ones_own(tmp_path):
    from pathlib import Path

    import huehold.methods

    text = (Path(huehold.methods.__file__).parent / "data" / "lime-water.toml").read_text("utf-8")
    path = tmp_path / "pickling-lime.toml"
    path.write_text(text.replace('name = "lime-water"', 'name = "pickling-lime"'), "utf-8")
    found = assay(path, **RUNS["lime-water"], settings=QUICK)
    assert found.method.name == "pickling-lime"
    assert load_method("lime-water").name == "lime-water"
