"""The cup of a plan: its pH against textbook values and the virtual bench's own saturation."""

import numpy as np
import pytest

from huehold.methods import list_methods, load_method
from huehold.planning.chemistry import Cup, cup_of, end_ph_of, why_not
from huehold.planning.colours import colour_words, dyes_of, liquid_colours
from huehold.planning.expected import Expected, target_of
from huehold.planning.request import PlanRequest
from huehold.planning.waters import TapWater, back_water_advice, tap_water, water_advice
from huehold.virtual.equilibrium import Composition, saturated

MILK = "magnesium-hydroxide-by-vinegar"
PURE = TapWater("distilled", 0.0, 7.0, False)


def milk_cup(tap=PURE, temperature_c=25.0, water_g=100.0):
    asked = PlanRequest(
        load_method(MILK), claim="80 mg/mL", strength="5 %", temperature_c=temperature_c
    )
    masses = Expected(asked, target_of(asked), 5.22, water_g)
    return cup_of(masses, tap), masses.equivalence_g


@pytest.mark.parametrize(
    ("name", "word"),
    [("ascorbic-acid-by-iodine", "redox"), ("total-hardness-by-edta", "metal complex")],
)
def test_what_cannot_be_followed_is_told_in_words(name, word):
    method = load_method(name)
    assert word in why_not(method)
    asked = PlanRequest(method)
    assert cup_of(Expected(asked, target_of(asked), 40.0, 0.0), PURE) is None


def test_unknown_species_are_named():
    method = load_method("acetic-acid-in-vinegar")
    other = method.model_copy(
        update={"sample": method.sample.model_copy(update={"analyte": "C4H6O6"})}
    )
    assert "no equilibrium of C4H6O6" in why_not(other)


def test_seven_of_the_ten_shipped_methods_have_a_curve():
    followed = [name for name in list_methods() if not why_not(load_method(name))]
    assert (len(followed), len(list_methods())) == (7, 10)


def test_suspension_starts_at_the_solubility_of_brucite():
    # phreeqc 1.1.1 with minteq.v4.dat: 10.40 at 25 C, 10.57 at 20 C, 10.23 at 30 C
    for celsius, published in ((25.0, 10.40), (20.0, 10.57), (30.0, 10.23)):
        cup, _ = milk_cup(temperature_c=celsius)
        ph, left = cup.settled(np.array([0.0]))
        assert ph[0] == pytest.approx(published, abs=0.02)
        assert 0.98 < left[0] < 1.0


def test_plateau_and_fall_follow_the_published_course():
    # phreeqc 1.1.1 with minteq.v4.dat, 80 mg in 51 g of water, 25 C
    course = {0.1: 9.80, 0.5: 9.56, 0.9: 9.49, 1.0: 8.30, 1.005: 6.90, 1.02: 6.30, 1.1: 5.60}
    cup = Cup(load_method(MILK), 80.0 / 58319.0, 0.0, 0.8283e-3, 1.04, 50.0, PURE, 25.0)
    equivalence = 2.0 * cup.analyte_mol / cup.titrant_mol_per_g
    ph, left = cup.settled(equivalence * np.array(list(course)))
    assert ph == pytest.approx(list(course.values()), abs=0.06)
    assert left[1] == pytest.approx(0.5, abs=0.01)


def test_undissolved_solid_holds_the_ph_that_saturation_gives():
    cup, equivalence = milk_cup(TapWater("tap", 2.5, 7.8, False))
    titrant = equivalence * np.array([0.05, 0.97])
    ph, left = cup.settled(titrant)
    for grams, held, share in zip(titrant, ph, left, strict=True):
        full = cup._composition(grams)
        wanted, dissolved = saturated(
            cup.water, "brucite", Composition(full.acids, {}, full.strong)
        )
        assert held == pytest.approx(wanted, abs=1e-4)
        assert share == pytest.approx(1.0 - dissolved / float(full.metals["magnesium"]), abs=1e-4)


def test_vinegar_with_hydroxide_turns_at_the_textbook_ph():
    # OpenStax table 14.4: 25 mL of 0.1 mol/L acetic acid, 8.72 at equivalence (no activities)
    cup = Cup(load_method("acetic-acid-in-vinegar"), 2.5e-3, 0.0, 1e-4, 0.15, 25.0, PURE, 25.0)
    ph, _ = cup.settled(np.array([0.0, 12.5, 25.0, 26.0]))
    assert ph == pytest.approx([2.87, 4.74, 8.72, 11.29], abs=0.12)


def test_blank_of_tap_water_is_what_its_alkalinity_asks():
    cup, _ = milk_cup(TapWater("tap", 2.5, 7.8, False))
    # to pH 4.5 all alkalinity (0.25 mmol in 100 g) is used up, by the acid that gave its proton
    given_up = 1.0 / (1.0 + 10 ** (4.757 - 4.5))
    assert cup.blank_g(4.5) * 0.8283 * given_up == pytest.approx(0.25, rel=0.05)
    assert cup.blank_g(6.8) < cup.blank_g(6.0) < cup.blank_g(4.5)
    hydrogen_carbonate_left = 1.0 / (1.0 + 10 ** (6.36 - 6.8))
    assert cup.blank_g(6.8) * 0.8283 == pytest.approx(
        0.25 * (1.0 - hydrogen_carbonate_left) - 0.25 * 0.035, rel=0.12
    )


def test_water_beyond_the_end_or_none_has_no_blank():
    cup, _ = milk_cup(TapWater("tap", 2.5, 7.0, False))
    assert cup.blank_g(7.4) == 0.0
    dry, _ = milk_cup(TapWater("tap", 2.5, 7.8, False), water_g=0.0)
    assert dry.blank_g(7.4) == 0.0


@pytest.mark.parametrize(
    ("water", "words"),
    [("tap", "assumed"), ("boiled", "boiled and cooled"), ("distilled", "no blank is needed")],
)
def test_water_is_told_with_its_cost(water, words):
    tap = tap_water(PlanRequest(load_method(MILK), water=water))
    assert words in water_advice(tap, (1.0, 2.0))


def test_a_given_alkalinity_is_not_called_assumed():
    tap = tap_water(PlanRequest(load_method(MILK), alkalinity_mmol_per_l=1.0))
    text = water_advice(tap, (0.3, 0.9))
    assert "50 mg/L as CaCO3)" in text
    assert "assumed" not in text
    assert "0.3 drops" in text


def test_what_is_not_modelled_is_called_so():
    tap = tap_water(PlanRequest(load_method("ascorbic-acid-by-iodine")))
    assert "not modelled" in water_advice(tap, None)


def test_water_of_a_back_titration_uses_up_reagent():
    tap = tap_water(PlanRequest(load_method("calcium-carbonate-antacid")))
    assert "looks like analyte" in back_water_advice(tap, 20.0)
    assert "no blank is needed" in back_water_advice(PURE, 0.0)


def test_colours_are_those_the_trade_knows():
    # orange-red at high pH, yellow near 8, green below 7
    dyes = dyes_of(load_method(MILK).indicator)
    rgb = liquid_colours(dyes, np.array([10.0, 8.0, 6.5]), np.zeros(3), 25.0)
    words, hue = colour_words(rgb)
    assert words == ["orange-red", "yellow", "green"]
    assert hue[0] < hue[1] < hue[2]


def test_indicators_without_spectra_or_ph_have_no_colours():
    assert dyes_of(load_method("ascorbic-acid-by-iodine").indicator) == {}
    assert dyes_of(load_method("total-hardness-by-edta").indicator) == {}
    assert list(dyes_of(load_method("lime-water").indicator)) == ["curcumin"]
    assert list(dyes_of(load_method("baking-soda-content").indicator)) == ["bromocresol_green"]


def test_grey_is_called_colourless():
    words, _ = colour_words(np.array([[0.5, 0.5, 0.5]]))
    assert words == ["colourless"]


def test_end_ph_of_a_method():
    assert end_ph_of(load_method(MILK)) == 7.4
    assert end_ph_of(load_method("total-hardness-by-edta")) is None
