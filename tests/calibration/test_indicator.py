"""Indicator charts: dyes that are none, wrong inputs, then known pKa and pH found again."""

from datetime import date

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.calibration import indicator_model
from huehold.calibration.files import read_calibration, to_toml
from huehold.calibration.indicator import IndicatorChart, circular_range, colour_word
from huehold.calibration.indicator_fit import ColourPoint, check_dye, fit_chart, suits
from huehold.calibration.indicator_measure import frames_of_file, point_of
from huehold.calibration.references import known_ph, list_references, reference
from huehold.calibration.store import Store, slug
from huehold.core import Ellipse
from huehold.errors import InputError, UsageError
from huehold.methods import list_methods, load_method
from huehold.shipped import shipped_file
from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics
from huehold.virtual.spectra import load_dye
from huehold.vision import Observer
from huehold.vision.colour import encode_srgb, lab_from_linear

MADE = date(2026, 11, 1)
PAPER = np.array([0.80, 0.79, 0.76])
# Dyes of one step in the range measured, with the pKa the virtual bench gives them.
KNOWN = {
    "bromothymol_blue": 7.1, "phenol_red": 7.7, "methyl_red": 5.0, "bromocresol_green": 4.7,
    "phenolphthalein": 9.3, "thymol_blue": 8.9, "phycocyanin": 7.7,
}  # fmt: skip


def looks(doses, ph):
    seen = LiquidOptics(doses, 25.0).appearance(np.asarray(ph, dtype=float)).over(PAPER)
    return lab_from_linear(np.maximum(seen, 1e-4), PAPER)


def chart_of(doses, ph, seed=0, noise=0.5, u_ph=0.03):
    rng = np.random.default_rng(seed)
    lab = looks(doses, ph) + rng.normal(0.0, noise, (len(ph), 3))
    off = rng.normal(0.0, u_ph, len(ph))
    points = [ColourPoint(p + o, u_ph, *c, u=noise) for p, o, c in zip(ph, off, lab, strict=True)]
    return fit_chart(points, name="x", dye="dye", made=MADE)


def point(ph, a, b, **more):
    return ColourPoint(ph, 0.05, 60.0, a, b, **more)


# ---- what is refused


def test_a_food_colouring_is_not_the_plant_based_kind():
    same = [point(ph, -40.0 + 0.3 * ph, 35.0) for ph in (4.0, 7.0, 10.0)]
    with pytest.raises(InputError, match="This green does not change between pH 4 and 10") as told:
        fit_chart(same, name="x", dye="green", made=MADE)
    assert "it is not the plant-based kind" in str(told.value)


def test_water_without_dye_is_told():
    with pytest.raises(InputError, match="No colour is seen between pH 4 and 10"):
        check_dye([point(ph, 0.5, 1.0) for ph in (4.0, 7.0, 10.0)])


def test_noise_does_not_pass_for_a_change():
    rng = np.random.default_rng(3)
    noisy = [point(ph, *rng.normal((-30, 30), 4.0), u=5.0) for ph in np.linspace(4, 10, 9)]
    with pytest.raises(InputError, match="does not change"):
        check_dye(noisy)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "given were none"),
        ([point(4, 0, 60), point(10, 60, 0)], "three pH or more"),
        ([point(7.0, 0, 60), point(7.2, 20, 60), point(7.4, 60, 0)], "span at least 1"),
        ([point(4, 0, 60), point(7, 20, 60), point(15, 60, 0)], "pH lie between 0 and 14"),
        ([point(4, 0, 60), point(7, float("nan"), 60), point(9, 60, 0)], "makes no sense"),
    ],
)
def test_points_that_make_no_chart(points, words):
    with pytest.raises(InputError, match=words):
        fit_chart(points, name="x", dye="dye", made=MADE)


def test_colours_off_the_chart_give_no_ph():
    chart = chart_of({"bromothymol_blue": 0.15}, np.arange(5.1, 9.2, 0.5))
    assert chart.ph(70.0, 40.0) is None
    for wrong in ((float("nan"), 0.0), (0.0, float("inf"))):
        with pytest.raises(InputError, match="is not one a pH can be read from"):
            chart.ph(*wrong)
    with pytest.raises(InputError):
        chart.ph(0.0, 0.0, u=0.0)


def test_a_turning_range_outside_the_chart_is_told():
    chart = chart_of({"bromothymol_blue": 0.15}, np.arange(5.1, 9.2, 0.5))
    with pytest.raises(InputError, match="it cannot say how the dye turns between 3 and 4"):
        chart.bands(turning_ph=(3.0, 4.0))


def test_a_colourless_side_has_no_hue_band():
    chart = Store("nowhere").get("indicator/phenolphthalein")
    with pytest.raises(InputError, match="colourless at pH"):
        chart.bands()


def test_columns_of_unequal_length_are_told(tmp_path):
    chart = chart_of({"bromothymol_blue": 0.15}, np.arange(5.1, 9.2, 0.5))
    place = tmp_path / "indicator.x.toml"
    text = to_toml(chart)
    at = text.index("[curve]")
    place.write_text(text[:at] + text[at:].replace("ph = [\n  5.", "ph = [\n  4.9, 5.", 1))
    with pytest.raises(InputError, match="the columns differ in length"):
        read_calibration(place)


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("tap water", UsageError, "differs from place to place"),
        ("buffer-7.01", UsageError, "did you mean 'buffer-7-00'"),
        ("15", InputError, "lies between 0 and 14"),
        ("7 +/- 9", InputError, "lies between 0 and 14"),
        ("nan", InputError, "lies between 0 and 14"),
        ("", UsageError, "There is no reference"),
    ],
)
def test_references_that_are_none(text, error, words):
    with pytest.raises(error, match=words):
        known_ph(text)


# ---- what is found


def test_slopes_of_the_model_agree_with_differences():
    rng = np.random.default_rng(0)
    ph = np.linspace(6.0, 9.0, 7)
    problem = indicator_model._Problem(
        ph, np.full(7, 0.05), rng.normal(50, 20, (7, 3)), np.full(7, 0.5), 2
    )
    x = np.concatenate([[7.0, 8.2], rng.uniform(0.05, 0.6, problem.n_bands), rng.normal(0, 0.3, 7)])
    steps = 1e-6 * np.eye(len(x))
    numeric = np.array(
        [(problem.residuals(x + s) - problem.residuals(x - s)) / 2e-6 for s in steps]
    )
    np.testing.assert_allclose(problem.jacobian(x), numeric.T, atol=1e-5)


@given(st.lists(st.floats(2, 12), min_size=1, max_size=4), st.floats(0, 14))
def test_shares_are_shares(pka, ph):
    share = indicator_model.shares(ph, sorted(pka))
    assert np.all(share >= 0)
    assert share.sum() == pytest.approx(1.0)


def test_at_its_pka_half_of_the_dye_has_changed():
    np.testing.assert_allclose(indicator_model.shares(7.1, [7.1]), [0.5, 0.5])
    np.testing.assert_allclose(indicator_model.shares(8.1, [7.1])[1], 10 / 11)


@pytest.mark.parametrize("dose", [0.08, 0.15])
@pytest.mark.parametrize("dye", KNOWN)
def test_known_pka_are_found_within_a_tenth(dye, dose):
    pka = KNOWN[dye]
    chart = chart_of({dye: dose}, np.arange(pka - 2, pka + 2.01, 0.5), noise=0.3, seed=1)
    assert chart.basis == "protolysis"
    (found,) = chart.pka
    assert found.value == pytest.approx(pka, abs=0.1)
    assert abs(found.value - pka) < 2.5 * found.u
    assert found.u < 0.25


@pytest.mark.parametrize(
    "dye", ["bromothymol_blue", "methyl_red", "bromocresol_green", "thymol_blue"]
)
def test_ph_over_the_turning_range_within_two_tenths(dye):
    pka = KNOWN[dye]
    chart = chart_of({dye: 0.2}, np.arange(pka - 2, pka + 2.01, 0.5), noise=0.3, seed=2)
    off, u = errors(chart, {dye: 0.2}, np.linspace(pka - 1, pka + 1, 60))
    assert np.abs(off).max() < 0.2
    assert np.mean(np.abs(off) < 2.0 * u) >= 0.88
    assert np.median(u) < 0.1


@pytest.mark.parametrize(
    ("light", "kind"), [("bulb", "bulb"), ("fluorescent tri-band", "tri-band")]
)
def test_known_pka_are_found_under_other_lights(light, kind):
    rng, ph = np.random.default_rng(5), np.arange(2.7, 6.8, 0.5)
    seen = LiquidOptics({"bromocresol_green": 0.15}, 25.0, light).appearance(ph).over(PAPER)
    lab = lab_from_linear(seen, PAPER) + rng.normal(0.0, 0.3, (len(ph), 3))
    points = [ColourPoint(p, 0.03, *c, u=0.3) for p, c in zip(ph, lab, strict=True)]
    (found,) = fit_chart(points, name="x", dye="d", made=MADE, illuminant=kind).pka
    assert found.value == pytest.approx(4.7, abs=0.1)


def test_a_light_that_is_not_known():
    with pytest.raises(UsageError, match="There is no light 'candle'"):
        fit_chart([], name="x", dye="d", made=MADE, illuminant="candle")


def test_ph_of_the_kitchen_mixture_where_it_turns():
    chart = chart_of(KITCHEN_DYES, np.arange(5.0, 11.1, 0.5), seed=4, noise=0.3)
    off, u = errors(chart, KITCHEN_DYES, np.linspace(7.0, 9.0, 60))
    assert np.abs(off).max() < 0.2
    assert np.mean(np.abs(off) < 2.0 * u) >= 0.9


def test_a_cup_dyed_more_or_less_stays_inside_its_interval():
    chart = chart_of(KITCHEN_DYES, np.arange(5.0, 11.1, 0.5), seed=4, noise=0.3)
    for factor in (0.85, 1.15):
        doses = {name: factor * dose for name, dose in KITCHEN_DYES.items()}
        off, u = errors(chart, doses, np.linspace(7.2, 9.0, 30), dose_rel=0.15)
        assert np.mean(np.abs(off) < 2.0 * u) > 0.85


def test_where_it_does_not_turn_the_interval_is_wide():
    chart = chart_of({"bromothymol_blue": 0.2}, np.arange(4.6, 9.7, 0.5))
    _, a, b = chart.colour(4.8)
    assert chart.ph(a, b)[1] > 0.2
    _, a, b = chart.colour(7.1)
    assert chart.ph(a, b)[1] < 0.1


def errors(chart, doses, ph, noise=0.5, dose_rel=0.0):
    rng = np.random.default_rng(9)
    lab = looks(doses, ph) + rng.normal(0.0, noise, (len(ph), 3))
    read = [chart.ph(a, b, u=noise, dose_rel=dose_rel) for _, a, b in lab]
    assert None not in read
    found, u = np.array(read).T
    return found - ph, u


def test_intervals_of_the_pka_cover_it():
    misses = 0
    for seed in range(25):
        chart = chart_of(
            {"bromothymol_blue": 0.12}, np.arange(5.1, 9.2, 0.5), seed=seed, noise=0.8, u_ph=0.08
        )
        misses += abs(chart.pka[0].value - 7.1) > 2.0 * chart.pka[0].u
    assert misses <= 4


def test_more_steps_only_where_the_colours_ask_for_them():
    assert len(chart_of(KITCHEN_DYES, np.arange(5.0, 11.1, 0.5), noise=0.3).pka) >= 2
    assert len(chart_of({"phenol_red": 0.1}, np.arange(5.7, 9.8, 0.5)).pka) == 1


def test_what_no_protolysis_explains_is_smoothed():
    zigzag = [point(ph, 45.0 * (-1) ** i, 40.0 + 3 * i) for i, ph in enumerate(range(3, 12))]
    chart = fit_chart(zigzag, name="x", dye="odd", made=MADE)
    assert chart.basis == "monotone"
    assert chart.pka == ()
    assert chart.colour(5.0)[1] == pytest.approx(45.0)
    assert max(chart.curve.u) > 5.0  # between points it may run anywhere


def test_three_points_make_a_chart_without_a_model():
    made = [point(4.0, -40, 60), point(7.0, 0, 65), point(10.0, 45, 60)]
    chart = fit_chart(made, name="x", dye="dye", made=MADE)
    assert chart.basis == "monotone"
    ph, u = chart.ph(0.0, 65.0)
    assert abs(ph - 7.0) < 2 * u


def test_bands_of_the_kitchen_mixture_are_those_of_its_method():
    method = load_method("magnesium-hydroxide-by-vinegar")
    chart = Store("nowhere").get(f"indicator/{slug(method.indicator.name)}")
    bands = chart.bands(method.endpoint.direction, method.indicator.turning_ph)
    low, high = method.indicator.start.hue_deg
    assert low <= bands.start[0] < bands.start[1] <= high + 6
    low, high = method.indicator.end.hue_deg
    assert low <= bands.end[0] < bands.end[1] <= high
    assert bands.start[1] < bands.end[0]
    other = chart.bands("acid-to-base", method.indicator.turning_ph)
    assert (other.start, other.end) == (bands.end, bands.start)


def test_right_and_wrong_dyes_for_a_method():
    store, method = Store("nowhere"), load_method("magnesium-hydroxide-by-vinegar")
    right = store.get("indicator/turmeric-and-spirulina-food-colouring")
    assert suits(right, method) == ()
    wrong = suits(store.get("indicator/bromocresol-green"), method)
    assert any("turns between pH 3.7 and 5.5" in sentence for sentence in wrong)
    assert any("expects orange-red" in sentence for sentence in wrong)


def test_every_method_has_a_shipped_chart_marked_as_computed():
    for name in list_methods():
        chart = Store("nowhere").get(f"indicator/{slug(load_method(name).indicator.name)}")
        assert isinstance(chart, IndicatorChart)
        assert chart.origin == "virtual bench"
        assert "not measured" in chart.note
        assert chart.u_scale >= 0.2


def test_shipped_charts_are_what_the_script_writes():
    chart = Store("nowhere").get("indicator/thymol-blue")
    lab = looks({"thymol_blue": 0.15}, chart.curve.ph)
    np.testing.assert_allclose(chart.curve.b, lab[:, 2], atol=0.02)
    assert load_dye("thymol_blue").steps[1] in [v.value for v in chart.pka]


def test_a_chart_reads_back_the_same(tmp_path):
    chart = chart_of(KITCHEN_DYES, np.arange(5.0, 11.1, 1.0))
    saved = Store(tmp_path).save(chart)
    assert Store(tmp_path).get("indicator/x") == saved
    assert saved.points.source[0] == "given"


@settings(max_examples=50)
@given(st.lists(st.floats(0, 359.99), min_size=1, max_size=20), st.floats(0, 10))
def test_arcs_hold_all_their_hues(hues, margin):
    low, high = circular_range(np.array(hues), margin)
    width = (high - low) % 360.0 if (low, high) != (0.0, 360.0) else 360.0
    assert all((hue - low + 1e-6) % 360.0 <= width + 2e-6 for hue in hues)


def test_an_arc_through_zero():
    assert circular_range(np.array([350.0, 10.0, 0.0]), 2.0) == (348.0, 12.0)


@pytest.mark.parametrize(
    # Hue of 24-patch chart colours (D50 CIELAB), after November 2014, colour-science 0.4.7.
    ("a", "b", "word"),
    [(35.83, 56.50, "orange"), (2.67, 80.41, "yellow"), (-24.13, 58.19, "yellow-green"),
     (-39.72, 32.27, "green"), (51.05, 28.62, "red"), (15.42, -49.80, "blue"),
     (-0.13, 0.14, "colourless")],
)  # fmt: skip
def test_colours_by_their_names(a, b, word):
    assert colour_word(a, b) == word


@pytest.mark.parametrize(
    ("text", "ph", "u"),
    [("7", 7.0, 0.1), ("7,2 +/- 0,3", 7.2, 0.3), ("9.18±0.02", 9.18, 0.02),
     ("buffer-4.01", 4.01, 0.02), ("Baking soda", 8.3, 0.15)],
)  # fmt: skip
def test_references_as_typed(text, ph, u):
    found = known_ph(text)
    assert (found.ph, found.u) == (ph, u)


def test_references_say_where_they_are_from():
    for known in list_references():
        assert known.how in {"standard", "computed", "common practice"}
        assert known.u > 0
    # Constants read in phreeqc.dat and minteq.v4.dat: carbonic acid 6.352, 10.329; acetic 4.757.
    soda, vinegar = reference("baking-soda"), reference("vinegar")
    assert soda.ph == pytest.approx((6.352 + 10.329) / 2, abs=soda.u)
    assert vinegar.ph == pytest.approx((4.757 - np.log10(0.83261)) / 2, abs=vinegar.u)
    assert 10.2 <= reference("milk-of-magnesia").ph <= 10.5


# ---- pictures


def cup(path, linear, size=(480, 640)):
    """A cup of one colour on paper, seen from above."""
    image = np.full((*size, 3), PAPER)
    rows, columns = np.mgrid[: size[0], : size[1]]
    radius = np.hypot(columns - size[1] / 2, rows - size[0] / 2)
    image[radius < 130] = (0.55, 0.56, 0.57)
    image[radius < 120] = linear
    coded = encode_srgb(image)
    cv2.imwrite(str(path), coded[:, :, ::-1])
    return path


def observe_file(path, vessel=None):
    observer = Observer(vessel)
    return [observer.observe(frame) for frame in frames_of_file(path, 0.0)]


def measure_colour(path, known, vessel=None):
    return point_of(observe_file(path, vessel), known, path.name)


def test_the_colour_of_a_picture_is_measured(tmp_path):
    seen = LiquidOptics(KITCHEN_DYES, 25.0).appearance(np.array(8.3)).over(PAPER)
    path = cup(tmp_path / "soda.png", seen)
    expected = lab_from_linear(seen, PAPER)
    for vessel in (None, Ellipse(320, 240, 118, 118)):
        found = measure_colour(path, known_ph("baking-soda"), vessel=vessel)
        assert found.ph == 8.3
        assert np.hypot(found.a - expected[1], found.b - expected[2]) < 1.5
    assert "baking soda" in found.source


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: None, "There is no picture or clip"),
        (lambda p: p.write_bytes(b"not a picture"), "not a picture that can be read"),
        (lambda p: p.write_bytes(b""), "not a picture that can be read"),
        (lambda p: cv2.imwrite(str(p), np.zeros((8, 8, 3), np.uint8)), "too small, 8 x 8 pixels"),
        (lambda p: cv2.imwrite(str(p), np.full((240, 320, 3), 200, np.uint8)), "no cup is seen"),
    ],
)
def test_pictures_that_cannot_be_measured(tmp_path, make, words):
    path = tmp_path / "x.png"
    make(path)
    with pytest.raises(InputError, match=words):
        measure_colour(path, known_ph("7"))


def test_the_same_picture_gives_the_same_observations(tmp_path):
    path = cup(tmp_path / "a.png", [0.5, 0.4, 0.05])
    first, second = (observe_file(path, Ellipse(320, 240, 118, 118)) for _ in range(2))
    assert [o.a for o in first] == [o.a for o in second]


def test_a_clip_is_measured_as_well():
    # The shipped recording begins with the suspension of an antacid and its dye, pH near 10.
    found = measure_colour(shipped_file("sample_media", "demo.mp4"), known_ph("milk-of-magnesia"))
    assert colour_word(found.a, found.b) in {"red", "orange", "orange-yellow"}
    assert 0.4 < found.u < 5.0
