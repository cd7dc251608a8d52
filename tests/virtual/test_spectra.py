"""Dyes as spectra, and spectra as colours."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.errors import InputError
from huehold.virtual.spectra import (
    ILLUMINANTS,
    WAVELENGTHS_NM,
    band,
    dye_names,
    load_dye,
    luminance_weights,
    rgb_weights,
)

# Maxima as published: check values, section 8.1 and indicator handbooks.
MAXIMA = [
    ("curcumin", 5.0, 425.0, 8.0),
    ("curcumin", 12.5, 480.0, 10.0),
    ("phycocyanin", 6.0, 618.0, 5.0),
    ("phenolphthalein", 11.0, 552.0, 5.0),
    ("bromothymol_blue", 4.0, 433.0, 5.0),
    ("bromothymol_blue", 10.0, 616.0, 5.0),
    ("red_cabbage", 1.0, 520.0, 5.0),
]

# Transition ranges of indicator tables (check values, section 8.2).
RANGES = [
    ("bromothymol_blue", 6.0, 7.6),
    ("phenolphthalein", 8.2, 10.0),
    ("methyl_red", 4.4, 6.2),
    ("phenol_red", 6.6, 8.4),
    ("bromocresol_green", 3.8, 5.4),
    ("thymol_blue", 8.0, 9.6),
]


def test_unknown_dye_is_named_with_the_known_ones():
    with pytest.raises(InputError, match=r"no indicator called 'beetroot'; known are curcumin"):
        load_dye("beetroot")


def test_unknown_light_is_named_with_the_known_ones():
    with pytest.raises(InputError, match=r"no light called 'candle'; known are D65"):
        rgb_weights("candle")


@pytest.mark.parametrize("values", [(500.0, 0.0, 1.0), (500.0, 1200.0, 1.0), (500.0, 50.0, -1.0)])
def test_senseless_bands_are_refused(values):
    with pytest.raises(InputError, match="makes no sense"):
        band(*values)


def test_a_band_has_its_height_and_width():
    spectrum = band(500.0, 80.0, 2.0)
    at = dict(zip(WAVELENGTHS_NM, spectrum, strict=True))
    assert at[500.0] == pytest.approx(2.0)
    assert at[460.0] == pytest.approx(1.0, rel=0.12)
    assert at[460.0] + at[540.0] == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize(("name", "ph", "maximum", "within"), MAXIMA)
def test_maxima_are_where_they_were_published(name, ph, maximum, within):
    visible = WAVELENGTHS_NM > 400.0
    spectrum = load_dye(name).absorbance_at(ph)
    assert WAVELENGTHS_NM[visible][np.argmax(spectrum[visible])] == pytest.approx(
        maximum, abs=within
    )


@pytest.mark.parametrize(("name", "low", "high"), RANGES)
def test_half_of_the_dye_has_turned_within_its_published_range(name, low, high):
    dye = load_dye(name)
    last = dye.fractions(np.array([low, high]))[:, -1]
    assert last[0] < 0.25
    assert last[1] > 0.75


@given(st.sampled_from(dye_names()), st.floats(-3.0, 17.0))
def test_shares_sum_to_one_and_absorb(name, p):
    dye = load_dye(name)
    shares = dye.fractions(p)
    assert shares.sum() == pytest.approx(1.0, abs=1e-12)
    assert np.all(shares >= 0.0)
    assert np.all(dye.absorbance_at(p) >= 0.0)


def test_at_its_constant_a_dye_is_half_and_half():
    assert load_dye("bromothymol_blue").fractions(7.1) == pytest.approx([0.5, 0.5])


def test_phycocyanin_falls_out_when_too_acid():
    dye = load_dye("phycocyanin")
    assert dye.fallen_out([3.5, 4.2, 5.0]) == pytest.approx([0.99, 0.5, 0.004], abs=0.01)
    assert np.all(load_dye("curcumin").fallen_out([1.0, 4.0]) == 0.0)


@pytest.mark.parametrize("light", ILLUMINANTS)
def test_white_is_white_under_every_light(light):
    assert np.ones(81) @ rgb_weights(light) == pytest.approx([1.0, 1.0, 1.0])
    assert luminance_weights(light).sum() == pytest.approx(1.0)


@pytest.mark.parametrize("patch", ["orange", "yellow green", "green", "red"])
def test_colours_of_known_spectra_agree_with_colour_science(patch):
    """ColorChecker spectra, integrated by the ASTM E308 routine of colour-science, under D65."""
    sd = colour.SDS_COLOURCHECKERS["ISO 17321-1"][patch]
    shape = colour.SpectralShape(380.0, 780.0, 5.0)
    sd = sd.copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    to_rgb = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB
    reference = to_rgb @ (colour.sd_to_XYZ(sd, observer, light, method="Integration") / 100.0)
    # The sRGB white is D65 rounded to four digits, hence the tolerance.
    assert sd.values @ rgb_weights("D65") == pytest.approx(reference, abs=2e-3)
