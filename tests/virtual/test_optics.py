"""The look of the liquid: laws it must follow, and colours as the trade knows them."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.errors import InputError
from huehold.virtual.optics import Appearance, LiquidOptics, Scattering, two_flux

GROUND = 0.8
TO_XYZ = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ


def lab(look: Appearance) -> np.ndarray:
    return colour.XYZ_to_Lab(np.clip(look.over(GROUND), 0.0, 1.0) @ TO_XYZ.T)


def hue(look: Appearance) -> np.ndarray:
    values = lab(look)
    return np.degrees(np.arctan2(values[..., 2], values[..., 1])) % 360.0


@pytest.fixture(scope="module")
def kitchen() -> LiquidOptics:
    optics = LiquidOptics()
    optics.fast(7.0)  # makes the table
    return optics


@pytest.mark.parametrize(
    "wrong",
    [{"depth_mm": 0.0}, {"ground": 1.5}, {"haze_per_mm": -1.0}, {"dyes": {"curcumin": -0.1}}],
)
def test_senseless_liquids_are_refused(wrong):
    with pytest.raises(InputError, match=r"makes no sense|cannot be negative"):
        LiquidOptics(**wrong)


def test_negative_solid_is_refused(kitchen):
    for way in (kitchen.appearance, kitchen.fast):
        with pytest.raises(InputError, match="cannot be negative"):
            way(7.0, [0.1, -0.1])


@pytest.mark.parametrize("wrong", [{"extinction_per_mm": 0.0}, {"asymmetry": 1.0}])
def test_senseless_scattering_is_refused(wrong):
    with pytest.raises(InputError, match="makes no sense"):
        Scattering(**wrong)


@given(st.floats(0.0, 5.0), st.floats(1e-4, 5.0), st.floats(0.1, 100.0))
def test_two_flux_keeps_energy(absorption, scattering, depth):
    r, t = two_flux(np.array(absorption), np.array(scattering), depth)
    assert 0.0 <= r <= 1.0
    assert 0.0 <= t <= 1.0
    assert r + t <= 1.0 + 1e-9


def test_two_flux_limits():
    """Kubelka 1948: R = Sd/(1 + Sd) without absorption; exp(-Kd) without scattering;
    R = 1 + K/S - sqrt((K/S)^2 + 2 K/S) for an endless layer."""
    r, t = two_flux(np.array(0.0), np.array(0.5), 4.0)
    assert (r, t) == pytest.approx((2.0 / 3.0, 1.0 / 3.0), abs=1e-3)
    r, t = two_flux(np.array(0.3), np.array(0.0), 4.0)
    assert (r, t) == pytest.approx((0.0, np.exp(-1.2)), abs=1e-6)
    r, t = two_flux(np.array(0.4), np.array(0.2), 1e4)
    assert (r, t) == pytest.approx((3.0 - np.sqrt(8.0), 0.0), abs=1e-9)


def test_clear_liquid_follows_beer_and_lambert():
    """Twice the dose at half the depth looks the same; both ways through add up."""
    thick = LiquidOptics({"phenolphthalein": 0.3}, 40.0).appearance(11.0)
    thin = LiquidOptics({"phenolphthalein": 0.6}, 20.0).appearance(11.0)
    assert thick.through == pytest.approx(thin.through, rel=1e-6)
    assert thick.veil == pytest.approx(np.zeros(3), abs=1e-6)
    faint = LiquidOptics({"phenolphthalein": 1e-4}, 10.0).appearance(11.0)
    double = LiquidOptics({"phenolphthalein": 2e-4}, 10.0).appearance(11.0)
    assert 1.0 - double.through == pytest.approx(2.0 * (1.0 - faint.through), rel=1e-3)


def test_plain_water_changes_nothing():
    look = LiquidOptics({}).appearance(7.0)
    assert look.through == pytest.approx(np.ones(3), abs=1e-6)
    assert float(look.sharp) == pytest.approx(1.0)
    assert float(look.blur) == pytest.approx(0.0)


def test_colours_come_out_as_the_trade_knows_them(kitchen):
    """Orange-red at high pH, yellow near 8, yellow-green at 7.4, green below 7."""
    for solid in (0.0, 4.0):
        h = hue(kitchen.appearance([10.5, 10.0, 8.0, 7.4, 6.8, 5.5], solid))
        assert 30.0 < h[0] < 60.0
        assert 35.0 < h[1] < 65.0
        assert 84.0 < h[2] < 102.0
        assert 104.0 < h[3] < 124.0
        assert np.all((h[4:] > 116.0) & (h[4:] < 150.0))


def test_hue_rises_all_the_way_as_acid_is_added(kitchen):
    assert np.all(np.diff(hue(kitchen.appearance(np.linspace(10.5, 5.5, 51)))) > 0.0)


@pytest.mark.parametrize("light", ["D65", "A", "LED", "fluorescent"])
def test_start_and_end_are_far_apart_under_every_light(light):
    h = hue(LiquidOptics(illuminant=light).appearance([9.5, 6.5], 0.5))
    assert h[1] - h[0] > 40.0


def test_opaque_with_solid_clear_without(kitchen):
    look = kitchen.appearance(8.0, [0.0, 0.1, 1.0, 2.0])
    assert look.sharp[0] == pytest.approx(1.0)
    assert look.sharp[1] > 0.4
    assert look.sharp[2] < 0.05
    assert look.sharp[3] < 0.005
    assert np.all(np.diff(look.blur_mm[1:]) >= 0.0)
    assert np.all(np.diff(look.veil, axis=0) > 0.0)


def test_over_acidified_dye_turns_yellow_again_with_haze():
    """Phycocyanin falls out near pH 4.2 (check values, section 8.1)."""
    plain, falling = LiquidOptics(), LiquidOptics(precipitation=True)
    assert hue(plain.appearance(3.6)) > 110.0
    assert 80.0 < hue(falling.appearance(3.6)) < 105.0
    assert falling.appearance(3.6).blur > 0.5
    assert falling.appearance(6.5).blur < 0.02


@settings(deadline=None)
@given(st.floats(2.5, 12.5), st.one_of(st.just(0.0), st.floats(0.0, 60.0)))
def test_fast_way_stays_within_half_a_unit(kitchen, ph, solid):
    exact, quick = kitchen.appearance(ph, solid), kitchen.fast(ph, solid)
    assert colour.delta_E(lab(exact), lab(quick), method="CIE 2000") < 0.5
    assert quick.sharp == pytest.approx(exact.sharp, abs=0.02)


def test_fast_way_with_faded_dye(kitchen):
    exact, quick = kitchen.appearance(6.5, 0.5, 0.6), kitchen.fast(6.5, 0.5, 0.6)
    assert colour.delta_E(lab(exact), lab(quick), method="CIE 2000") < 1.0
    assert lab(quick)[0] > lab(kitchen.fast(6.5, 0.5))[0]


def test_arrays_broadcast(kitchen):
    look = kitchen.fast(np.array([[7.0], [9.0]]), np.array([0.0, 1.0, 2.0]))
    assert look.veil.shape == (2, 3, 3)
    assert look.sharp.shape == (2, 3)


@pytest.mark.parametrize(
    ("dye", "low", "high", "before", "after"),
    [
        ("bromothymol_blue", 5.5, 8.5, (60, 110), (200, 300)),
        ("methyl_red", 3.5, 7.0, (-30, 60), (60, 110)),
        ("bromocresol_green", 3.0, 7.0, (60, 110), (180, 300)),
        ("red_cabbage", 2.0, 9.0, (-45, 45), (150, 300)),
        ("eriochrome_black_t", 3.0, 8.0, (-60, 45), (200, 320)),
    ],
)
def test_other_indicators_have_the_colours_of_the_tables(dye, low, high, before, after):
    h = hue(LiquidOptics({dye: 0.3}).appearance([low, high]))
    for angle, (first, last) in zip(h, (before, after), strict=True):
        assert (angle - first) % 360.0 <= last - first


def test_colourless_sides_are_colourless():
    for dye, p in (("phenolphthalein", 6.0), ("starch_iodine", 9.0)):
        values = lab(LiquidOptics({dye: 0.3}).appearance(p))
        assert np.hypot(values[1], values[2]) < 2.0
