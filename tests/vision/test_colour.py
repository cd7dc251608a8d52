"""Colour against published values; each source is named beside its check."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.vision.colour import (
    HUE_SD_MAX_DEG,
    LINEAR_OF_CODE,
    chroma_and_hue,
    decode_srgb,
    encode_srgb,
    lab_from_linear,
    lab_with_uncertainty,
)

# Sharma, Wu and Dalal (2005), Color Research & Application 30, 21-30, table 1: a choice of
# the pairs that catch wrong implementations (blue turn, greys, hue averaging, large).
SHARMA = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
    ((50.0, 2.8361, -74.0200), (50.0, 0.0, -82.7485), 3.4412),
    ((50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0009), 7.1792),
    ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]

# IEC 61966-2-1: encoded value of a linear one by the standard's own two branches.
IEC_POINTS = [(0.0, 0), (1.0, 255), (0.0031308, 10), (0.2158605, 128), (0.5028865, 188)]

# CIELAB D65 of 8-bit sRGB, by the matrix printed in IEC 61966-2-1 (colour-science 0.4.7).
LAB_OF_SRGB = [
    ((255, 0, 0), (53.233, 80.111, 67.224), 40.001),
    ((255, 128, 0), (67.050, 42.834, 74.031), 59.946),
    ((255, 255, 0), (97.138, -21.554, 94.489), 102.850),
    ((154, 205, 50), (76.535, -37.988, 66.593), 119.703),
    ((0, 255, 0), (87.737, -86.183, 83.188), 136.013),
    ((0, 0, 255), (32.303, 79.198, -107.850), 306.291),
]

# ColorChecker24 - After November 2014, CIELAB under D50 as published with the chart's data;
# the patches an indicator of this kind runs through, and two neutrals.
CHART = {
    "orange": (62.73, 35.83, 56.50),
    "yellow": (81.80, 2.67, 80.41),
    "yellow green": (71.77, -24.13, 58.19),
    "green": (54.38, -39.72, 32.27),
    "neutral 5": (50.76, -0.13, 0.14),
}


@pytest.mark.parametrize(("one", "other", "published"), SHARMA)
def test_ciede2000_that_colours_are_held_to(one, other, published):
    measured = colour.delta_E(np.array(one), np.array(other), method="CIE 2000")
    assert measured == pytest.approx(published, abs=5e-5)


def test_wrong_white_is_seen_in_the_result():
    orange = decode_srgb(np.array([224, 124, 48], np.uint8))
    right = lab_from_linear(orange)
    wrong = lab_from_linear(orange, (0.9, 1.0, 1.1))
    assert colour.delta_E(right, wrong, method="CIE 2000") > 1.0


@pytest.mark.parametrize(("linear", "code"), IEC_POINTS)
def test_srgb_curve_of_the_standard(linear, code):
    assert encode_srgb(linear) == code
    assert LINEAR_OF_CODE[code] == pytest.approx(linear, abs=5e-6 if code != 10 else 2e-4)


def test_srgb_code_survives_the_way_there_and_back():
    codes = np.arange(256, dtype=np.uint8)
    np.testing.assert_array_equal(encode_srgb(decode_srgb(codes)), codes)


@pytest.mark.parametrize(("code", "published", "hue_deg"), LAB_OF_SRGB)
def test_lab_of_srgb_colours(code, published, hue_deg):
    lab = lab_from_linear(decode_srgb(np.array(code, np.uint8)))
    np.testing.assert_allclose(lab, published, atol=0.02)
    assert chroma_and_hue(lab[1], lab[2])[1] == pytest.approx(hue_deg, abs=0.01)


def test_whole_srgb_cube_is_within_half_a_ciede2000_of_colour_science():
    steps = np.linspace(0, 255, 18).round().astype(np.uint8)
    codes = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    reference = colour.XYZ_to_Lab(
        colour.sRGB_to_XYZ(codes / 255.0), colour.CCS_ILLUMINANTS[
            "CIE 1931 2 Degree Standard Observer"]["D65"]
    )  # fmt: skip
    off = colour.delta_E(reference, lab_from_linear(decode_srgb(codes)), method="CIE 2000")
    assert off.max() < 0.02  # the house asks for 0.5


@pytest.mark.parametrize("name", CHART)
def test_chart_patches_keep_their_hue(name):
    """Chart values under D50, adapted to D65 (Bradford), coded in 8 bits, measured again."""
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    xyz = colour.Lab_to_XYZ(CHART[name], d50)
    srgb = colour.XYZ_to_sRGB(xyz, d50, chromatic_adaptation_transform="Bradford")
    code = np.rint(255 * np.clip(srgb, 0, 1)).astype(np.uint8)
    lab = lab_from_linear(decode_srgb(code))
    off = colour.delta_E(np.array(CHART[name]), lab, method="CIE 2000")
    assert off < (0.6 if name == "neutral 5" else 4.0)  # D50 and D65 Lab differ by adaptation
    chroma, hue_deg = chroma_and_hue(lab[1], lab[2])
    if chroma > 10:
        published = chroma_and_hue(*CHART[name][1:])[1]
        assert abs(hue_deg - published) < 4.0


def test_the_white_itself_has_no_colour():
    lab = lab_from_linear([0.5, 0.42, 0.3], [0.5, 0.42, 0.3])
    np.testing.assert_allclose(lab, [100.0, 0.0, 0.0], atol=1e-9)


@given(st.tuples(*[st.floats(0.02, 0.9)] * 3), st.tuples(*[st.floats(0.3, 1.6)] * 3))
def test_gain_of_the_camera_cancels_with_its_white(rgb, gain):
    seen = np.array(rgb) * gain
    np.testing.assert_allclose(lab_from_linear(seen, gain), lab_from_linear(rgb), atol=1e-9)


@given(st.floats(0.0, 1.0), st.floats(0.0, 360.0, exclude_max=True))
def test_hue_is_always_an_angle_from_0_to_360(chroma, hue):
    a, b = chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))
    assert 0.0 <= chroma_and_hue(a, b)[1] < 360.0


def test_hue_uncertainty_grows_as_the_colour_pales():
    grey = np.array([0.4, 0.4, 0.4])
    strong, weak = (
        lab_with_uncertainty(grey + k * np.array([0.3, 0.0, -0.3]), linear_sd=[0.002] * 3)
        for k in (1.0, 0.03)
    )
    assert weak.hue_sd_deg > 10 * strong.hue_sd_deg
    assert lab_with_uncertainty(grey, linear_sd=[0.01] * 3).hue_sd_deg == HUE_SD_MAX_DEG


def test_hue_uncertainty_agrees_with_monte_carlo():
    rgb, sd = np.array([0.45, 0.2, 0.05]), np.array([0.01, 0.006, 0.004])
    stated = lab_with_uncertainty(rgb, linear_sd=sd)
    draws = lab_from_linear(rgb + sd * np.random.default_rng(1).standard_normal((20_000, 3)))
    hues = np.degrees(np.arctan2(draws[:, 2], draws[:, 1]))
    assert stated.hue_sd_deg == pytest.approx(hues.std(), rel=0.1)
