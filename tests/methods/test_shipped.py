"""What every shipped method must have for the steps that read it."""

import pytest

from huehold.errors import UsageError
from huehold.methods import list_methods, load_method
from huehold.stoichiometry.reactions import mole_ratio

NAMES = list_methods()


def test_the_household_titrations_of_the_plan_are_there():
    assert {
        "magnesium-hydroxide-by-vinegar", "calcium-carbonate-antacid", "acetic-acid-in-vinegar",
        "citric-acid-in-juice", "ascorbic-acid-by-iodine", "total-hardness-by-edta",
        "hypochlorite-by-thiosulfate", "baking-soda-content", "lime-water",
    } <= set(NAMES)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_file_and_method_have_one_name(name):
    assert load_method(name).name == name


@pytest.mark.parametrize("name", NAMES)
def test_start_and_end_colour_do_not_overlap(name):
    indicator = load_method(name).indicator
    if indicator.start.hue_deg is None or indicator.end.hue_deg is None:
        assert indicator.start.colourless != indicator.end.colourless
        return
    start, end = _hues(indicator.start.hue_deg), _hues(indicator.end.hue_deg)
    assert not start & end


def test_a_colour_without_hue_cannot_be_followed():
    with pytest.raises(UsageError, match="the end colour of starch is colourless"):
        load_method("hypochlorite-by-thiosulfate").indicator.hue_bands()
    with pytest.raises(UsageError, match="the start colour of starch"):
        load_method("ascorbic-acid-by-iodine").indicator.hue_bands()
    assert load_method("lime-water").indicator.hue_bands() == ((20, 72), (82, 112))


@pytest.mark.parametrize("name", NAMES)
def test_turning_range_contains_the_end_ph(name):
    indicator = load_method(name).indicator
    if indicator.turning_ph is not None:
        assert indicator.end_ph is not None
        assert indicator.turning_ph[0] <= indicator.end_ph.value <= indicator.turning_ph[1]


@pytest.mark.parametrize("name", NAMES)
def test_sources_and_cautions_are_sentences(name):
    method = load_method(name)
    for text in (*method.cautions, *method.interferences, *method.procedure):
        assert text.endswith(".")
        assert text[0].isupper()


def test_magnesium_method_as_the_camera_reads_it():
    method = load_method("magnesium-hydroxide-by-vinegar")
    assert method.endpoint.hold_s == 60
    assert method.endpoint.clearing
    assert method.endpoint.max_blind_s == 10
    assert method.indicator.end.hue_deg == (102, 190)


@pytest.mark.parametrize(
    ("name", "ratio"),
    [
        ("magnesium-hydroxide-by-vinegar", 1 / 2),
        ("calcium-carbonate-antacid", 1 / 2),
        ("citric-acid-in-juice", 1 / 3),
        ("ascorbic-acid-by-iodine", 1),
        ("hypochlorite-by-thiosulfate", 1 / 2),
        ("total-hardness-by-edta", 1),
    ],
)
def test_moles_of_analyte_for_one_mole_of_titrant(name, ratio):
    method = load_method(name)
    assert mole_ratio(method.parsed_reactions, method.titrant.path) == pytest.approx(ratio)


def _hues(band):
    low, high = band
    span = (high - low) % 360
    return {round(low + step) % 360 for step in range(int(span) + 1)}
