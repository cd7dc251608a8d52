"""What the card says about light and tone: right within one unit, and wrong cards told."""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np
import pytest

from huehold.calibration.card import COVERAGES
from huehold.calibration.card_find import find_card
from huehold.calibration.card_guide import CardGuide, read_card
from huehold.calibration.card_light import Ramp, fit_tone, measure_light
from huehold.core import Frame
from huehold.vision import Observer
from huehold.vision.colour import lab_from_linear
from tests.calibration.card_scene import Picture, Scene, card_raster, render


def white_off(found: np.ndarray, true: np.ndarray) -> float:
    """CIEDE2000 between the found white and the true one, the true one being white."""
    lab = lab_from_linear(found, true)
    return float(colour.delta_E(lab, np.array([100.0, 0.0, 0.0]), method="CIE 2000"))


def measured(picture: Picture) -> np.ndarray:
    sight = find_card(picture.image)
    assert sight is not None
    light = measure_light(picture.image, sight)
    assert light is not None
    return light.white


def test_a_card_at_full_scale_gives_no_white() -> None:
    picture = render(Scene(light=(1.6, 1.5, 1.4)))
    reading = read_card(picture.image)
    assert reading is not None
    assert reading.light is None
    assert any("full scale" in fault for fault in reading.faults)


@pytest.mark.parametrize(
    "scene",
    [
        Scene(),
        Scene(tilt_deg=45, turn_deg=10),
        Scene(tilt_deg=20, turn_deg=120, blur_px=1.5, noise=0.02),
        Scene(cup_px=120, tilt_deg=35),
        Scene(hidden=(1,), cup=(0.6, 0.3, 0.05), tilt_deg=30),
        Scene(light=(0.20, 0.15, 0.10)),
        Scene(light=(0.9, 0.6, 0.3)),
        Scene(slope=(0.3, 0.2)),
        Scene(slope=(0.5, 0.4)),
        Scene(shadow=0.15),
        Scene(shadow=0.5),
        Scene(exponent=1.25),
        Scene(cup_mm=45, cup_px=150, tilt_deg=30),
    ],
    ids=str,
)
def test_white_at_the_cup_is_right_within_one(scene: Scene) -> None:
    picture = render(scene)
    assert white_off(measured(picture), picture.white) < 1.0


@pytest.mark.parametrize("scene", [Scene(shadow=0.3), Scene(slope=(0.6, 0.5))], ids=str)
def test_a_shaded_card_is_told(scene: Scene) -> None:
    reading = read_card(render(scene).image)
    assert reading is not None
    assert any("uneven" in fault for fault in reading.faults)


@pytest.mark.parametrize("exponent", [0.75, 1.0, 1.3, 1.5])
def test_the_tone_curve_is_found_with_its_doubt(exponent: float) -> None:
    reading = read_card(render(Scene(exponent=exponent, tilt_deg=20)).image)
    assert reading is not None
    assert reading.tone is not None
    tone = reading.tone
    assert abs(tone.exponent - exponent) < max(0.08, 1.5 * tone.exponent_sd)
    assert tone.off == (exponent != 1.0)
    assert any("contrast" in fault for fault in reading.faults) == tone.off
    light = np.array([0.05, 0.3, 0.8])
    assert tone.straight(light**tone.exponent) == pytest.approx(light)


def test_lines_that_are_resolved_say_nothing_of_tone() -> None:
    reading = read_card(
        render(Scene(cup_mm=45, cup_px=520, size=(1600, 1440), blur_px=0.4, exponent=1.4)).image
    )
    assert reading is not None
    assert reading.ramp is not None
    assert reading.ramp.resolved
    assert reading.tone is None


def test_a_pale_print_is_told() -> None:
    raster = card_raster(75, ink=0.36)
    reading = read_card(render(Scene(raster=raster)).image)
    assert reading is not None
    assert reading.ramp is not None
    assert reading.ramp.pale
    assert any("bad print" in fault for fault in reading.faults)


def test_a_stained_ladder_is_told() -> None:
    raster = card_raster(75).copy()
    height, width = raster.shape
    raster[height // 2 : int(0.58 * height), : int(0.14 * width)] = 0.08  # a field on the left
    raster[height // 2 : int(0.58 * height), int(0.86 * width) :] = 0.75
    reading = read_card(render(Scene(raster=raster)).image)
    assert reading is not None
    assert reading.ramp is not None
    assert reading.tone is None or reading.tone.misfit > 0.02 or reading.ramp.broken
    assert reading.ramp.broken or reading.tone is None


def test_a_ramp_of_too_few_steps_or_out_of_order_gives_no_curve() -> None:
    coverage = np.array(COVERAGES)
    light = 1.0 - 0.95 * coverage
    assert fit_tone(Ramp(coverage, light, resolved=False)) is not None
    assert fit_tone(Ramp(coverage[:3], light[:3], resolved=False)) is None
    assert fit_tone(Ramp(coverage, light[::-1], resolved=False)) is None
    assert fit_tone(Ramp(coverage, light, resolved=True)) is None


def test_printing_that_gains_ink_is_part_of_the_doubt() -> None:
    """Ten per cent more ink at half cover must not pass for a camera's curve beyond doubt."""
    coverage = np.array(COVERAGES)
    inked = coverage + 4 * 0.06 * coverage * (1 - coverage)
    tone = fit_tone(Ramp(coverage, 1.0 - 0.95 * inked, resolved=False))
    assert tone is not None
    assert abs(tone.exponent - 1.0) < 2.0 * tone.exponent_sd
    assert not tone.off


SCENE = Scene(tilt_deg=35, turn_deg=8, cup=(0.6, 0.3, 0.05), slope=(0.12, 0.1))
LIQUID = np.array([0.6, 0.3, 0.05])
PAPER = 0.85 * np.array([1.0, 0.995, 0.97])


def frames(count: int, **changes: object) -> list[Frame]:
    return [
        Frame(i / 12.0, render(replace(SCENE, seed=i, **changes)).image)  # type: ignore[arg-type]
        for i in range(count)
    ]


def test_a_run_without_a_card_goes_on_as_before_and_says_so() -> None:
    guide = CardGuide()
    plain, guided = Observer(), Observer(guide=guide)
    rng = np.random.default_rng(0)
    for i in range(3):
        noise = rng.integers(0, 255, (36, 64, 3), dtype=np.uint8).repeat(5, 0).repeat(5, 1)
        frame = Frame(i / 12.0, np.ascontiguousarray(noise))
        assert repr(plain.observe(frame)) == repr(guided.observe(frame))
    assert guide.used == 0.0
    assert "No bench card was used" in guide.summary
    assert guide.warnings == ()


def test_with_the_card_the_liquid_s_colour_is_right_within_one() -> None:
    guide = CardGuide()
    observer = Observer(guide=guide)
    for frame in frames(8):
        seen = observer.observe(frame)
    wanted = lab_from_linear(LIQUID, PAPER)
    found = np.array([seen.lightness, seen.a, seen.b])
    assert float(colour.delta_E(found, wanted, method="CIE 2000")) < 1.0
    assert "white_assumed" not in seen.reasons
    assert guide.used == 1.0
    assert "cup of 75 mm gave the white in 100 %" in guide.summary
    assert guide.warnings == ()


def test_the_white_is_carried_while_the_card_is_covered() -> None:
    guide = CardGuide()
    observer = Observer(guide=guide)
    for frame in frames(6):
        before = observer.observe(frame)
    blind = Frame(0.6, render(replace(SCENE, hidden=(0, 1, 2, 3), seed=9)).image)
    after = observer.observe(blind)
    assert after.lightness == pytest.approx(before.lightness, abs=0.5)
    assert after.b == pytest.approx(before.b, abs=0.5)


def test_the_guide_follows_a_knock() -> None:
    guide = CardGuide()
    picture = render(SCENE)
    guide.look(Frame(0.0, picture.image))
    moved = render(replace(SCENE, offset_px=(40.0, 20.0)))
    guidance = None
    for time_s in (0.1, 0.35, 0.45):
        guidance = guide.look(Frame(time_s, moved.image))
    assert guidance is not None
    assert guidance.place is not None
    assert guidance.white is not None
    assert guidance.place.x_px == pytest.approx(moved.cup.x_px, abs=1.0)
    assert white_off(guidance.white, moved.white) < 1.0


def test_the_user_s_white_goes_before_the_card() -> None:
    from huehold.core import Rect

    picture = render(SCENE)
    given = Observer(white=Rect(600, 560, 40, 20), guide=CardGuide())
    given.observe(Frame(0.0, picture.image))
    white = given.sight.white
    assert white is not None
    assert white.rect == Rect(600, 560, 40, 20)
