"""The chart of 24 patches: found, read, fitted; colour-science is the reference."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from huehold.calibration.chart import (
    CHART,
    CameraCorrection,
    _terms,
    fit_chart,
    reference_linear,
    white_referred,
)
from huehold.calibration.chart_find import chart_at, find_chart, read_patches
from huehold.errors import InputError
from huehold.vision.colour import lab_from_linear
from tests.calibration.card_scene import Scene, render
from tests.calibration.chart_scene import camera_patches, chart_picture

ILLUMINANTS = ["A", "D50", "D65", "FL2", "FL7", "FL11", "LED-B1", "LED-B3"]


@pytest.mark.parametrize("name", ["coffee", "chelsea", "astronaut", "rocket"])
def test_no_chart_is_seen_in_real_photographs(name: str) -> None:
    data = pytest.importorskip("skimage.data")
    try:
        image = getattr(data, name)()
    except Exception:  # not every photograph comes with the wheel
        pytest.skip(f"{name} is not installed")
    assert find_chart(np.ascontiguousarray(image[..., :3])) is None


def test_the_bench_card_is_no_chart() -> None:
    assert find_chart(render(Scene()).image) is None


def test_a_grid_of_other_colours_is_no_chart() -> None:
    rng = np.random.default_rng(3)
    image, _ = chart_picture(rng.uniform(0.02, 0.9, (24, 3)))
    assert find_chart(image) is None


@pytest.mark.parametrize(
    ("corners", "message"),
    [
        ([(10, 10), (20, 10), (20, 20)], "four corners"),
        ([(10, 10), (2000, 10), (2000, 500), (10, 500)], "outside the picture"),
        ([(100, 100), (500, 500), (500, 100), (100, 500)], "do not go around"),
        ([(100, 100), (110, 100), (110, 110), (100, 110)], "do not go around"),
        ([(float("nan"), 0), (1, 1), (2, 2), (3, 3)], "four corners"),
    ],
)
def test_corners_that_cannot_be_are_refused(
    corners: list[tuple[float, float]], message: str
) -> None:
    image, _ = chart_picture(camera_patches("D65"))
    with pytest.raises(InputError, match=message):
        chart_at(image, corners)


def test_an_overexposed_chart_is_refused() -> None:
    image, at = chart_picture(camera_patches("D65"), exposure=1.4)
    with pytest.raises(InputError, match="at full scale"):
        read_patches(image, chart_at(image, [tuple(at[i]) for i in (0, 5, 23, 18)]))


def test_corners_off_the_patches_are_refused() -> None:
    image, at = chart_picture(camera_patches("D65"), turn_deg=0)
    off = at + np.array([49.0, 0.0])
    with pytest.raises(InputError, match="not of one colour"):
        read_patches(image, chart_at(image, [tuple(off[i]) for i in (0, 5, 23, 18)]))


def test_a_chart_the_wrong_way_round_is_refused() -> None:
    image, at = chart_picture(camera_patches("D65"))
    with pytest.raises(InputError, match="white to black"):
        fit_chart(read_patches(image, chart_at(image, [tuple(at[i]) for i in (23, 18, 0, 5)])))


def test_patches_of_another_thing_are_refused() -> None:
    patches = camera_patches("D65").copy()
    patches[:18] = patches[17::-1]
    with pytest.raises(InputError, match=r"not the chart|No correction"):
        fit_chart(patches)
    with pytest.raises(InputError, match="24 patches"):
        fit_chart(patches[:20])


def test_a_perfect_camera_is_left_alone() -> None:
    with pytest.raises(InputError, match="No correction is needed"):
        fit_chart(np.maximum(reference_linear(), 0.0))


@pytest.mark.parametrize("turn_deg", [0, 8, 90, 180, 200])
def test_the_chart_is_found_whichever_way_it_lies(turn_deg: float) -> None:
    image, at = chart_picture(camera_patches("A"), turn_deg=turn_deg)
    sight = find_chart(image)
    assert sight is not None
    assert np.abs(sight.middles - at).max() < 12.0  # of 98 from patch to patch


def test_terms_are_those_of_colour_science() -> None:
    """Finlayson, Mackiewicz and Hurlbert 2015, degree 2, as in colour-science."""
    rgb = np.random.default_rng(0).uniform(0.01, 1.0, (50, 3))
    wanted = colour.characterisation.polynomial_expansion_Finlayson2015(
        rgb, degree=2, root_polynomial_expansion=True
    )
    assert _terms(rgb, 2) == pytest.approx(wanted)


def test_published_values_are_those_of_the_chart() -> None:
    """Lab under D50 of white, red and cyan as the maker prints them for charts after Nov. 2014."""
    chart = colour.CCS_COLOURCHECKERS[CHART]
    lab = colour.XYZ_to_Lab(
        colour.xyY_to_XYZ(np.array(list(chart.data.values()))), chart.illuminant
    )
    assert lab[18] == pytest.approx([95.19, -1.03, 2.93], abs=0.02)
    assert lab[14] == pytest.approx([43.46 - 0.0, 51.0, 26.2], abs=4.0)
    assert reference_linear()[19:22].mean() == pytest.approx(0.38, abs=0.05)


@pytest.mark.parametrize("illuminant", ILLUMINANTS)
def test_correction_under_many_lights_is_within_one_and_a_half(illuminant: str) -> None:
    """Published reflectances seen by a measured camera; better than before, and when left out."""
    fit = fit_chart(0.7 * camera_patches(illuminant))
    assert fit.after.mean() <= 1.5
    assert fit.after.mean() < fit.before.mean()
    assert fit.left_out.mean() < 0.5 * fit.before.mean()
    assert fit.after.mean() <= fit.left_out.mean()


@pytest.mark.parametrize("illuminant", ["A", "D65", "LED-B3"])
def test_correction_from_a_picture_is_within_one_and_a_half(illuminant: str) -> None:
    image, _ = chart_picture(camera_patches(illuminant), balance=(1.0, 0.95, 0.8))
    sight = find_chart(image)
    assert sight is not None
    fit = fit_chart(read_patches(image, sight))
    assert fit.after.mean() <= 1.5 < fit.before.mean()


def test_clicks_do_as_well_as_finding() -> None:
    image, at = chart_picture(camera_patches("D65"))
    clicked = chart_at(image, [tuple(at[i] + 3.0) for i in (0, 5, 23, 18)])
    assert fit_chart(read_patches(image, clicked)).after.mean() <= 1.5


@pytest.mark.parametrize("power", [0.8, 1.3])
def test_a_camera_s_contrast_is_straightened_first(power: float) -> None:
    fit = fit_chart(np.maximum(camera_patches("D65"), 0.0) ** power)
    assert fit.correction.tone == pytest.approx(power, abs=0.03)
    assert fit.after.mean() <= 1.5


def test_correction_keeps_to_its_word_at_another_exposure() -> None:
    fit = fit_chart(camera_patches("A"))
    ratio = white_referred(camera_patches("A"))
    dim = fit.correction(0.3 * ratio)
    assert dim == pytest.approx(0.3 * fit.correction(ratio), rel=1e-6)
    assert fit.correction(np.ones(3)) == pytest.approx(np.ones(3))
    lab = lab_from_linear(fit.correction(ratio))
    assert float(np.mean(colour.delta_E(lab, lab_from_linear(reference_linear())))) <= 1.5


def test_identity_changes_nothing() -> None:
    rgb = np.array([0.2, 0.5, 0.9])
    assert CameraCorrection(np.eye(3))(rgb) == pytest.approx(rgb)
