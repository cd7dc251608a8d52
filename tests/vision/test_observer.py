"""The observer as a whole: what it refuses, what it distrusts, what it measures."""

from __future__ import annotations

import sys
from dataclasses import fields

import cv2
import numpy as np
import pytest
import skimage.data
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.core import TRUSTED, Ellipse, Frame, Observation, Rect
from huehold.errors import InputError
from huehold.vision import Observer
from huehold.vision.colour import lab_from_linear
from huehold.vision.surroundings import _displacement
from huehold.vision.trust import REASONS, weigh

from .painter import GREEN, ORANGE, PALE_GREEN, Picture

STEP_S = 1 / 12


def watch(pictures, observer=None):
    observer = observer or Observer()
    return [observer.observe(p.frame(i * STEP_S)) for i, p in enumerate(pictures)]


def still(picture, count, first_seed=0):
    return [picture.but(seed=first_seed + i) for i in range(count)]


SMALL = Picture(width_px=320, height_px=240)


def true_lab(picture, card=0.70):
    return lab_from_linear(picture.liquid, [card] * 3)


# What it refuses


@pytest.mark.parametrize(
    "image",
    [
        np.zeros((40, 40), np.uint8),
        np.zeros((40, 40, 4), np.uint8),
        np.zeros((40, 40, 3), np.float32),
        np.zeros((8, 40, 3), np.uint8),
    ],
)
def test_refuses_what_is_not_a_picture(image):
    with pytest.raises(InputError, match="three 8-bit channels"):
        Observer().observe(Frame(0.0, image))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"vessel": Ellipse(10, 10, float("nan"), 5)}, "makes no sense"),
        ({"vessel": Ellipse(10, 10, 0.0, 0.0)}, "at least 2 pixels"),
        ({"white": Rect(0, 0, 1, 1)}, "at least 2 pixels"),
    ],
)
def test_refuses_senseless_places(given, message):
    with pytest.raises(InputError, match=message):
        Observer(**given)


def test_refuses_places_outside_the_picture():
    frame = SMALL.frame()
    with pytest.raises(InputError, match="outside the picture of 320 x 240"):
        Observer(vessel=Ellipse(900, 20, 30, 30)).observe(frame)
    with pytest.raises(InputError, match="reaches outside the picture"):
        Observer(white=Rect(300, 10, 40, 20)).observe(frame)


# What it does not see


@pytest.mark.parametrize("level", [0, 255])
def test_an_even_picture_has_no_vessel(level):
    seen = Observer().observe(Frame(0.0, np.full((120, 160, 3), level, np.uint8)))
    assert seen.vessel is None
    assert seen.trust == 0.0
    assert seen.reasons[0] == "no_vessel"
    assert np.isnan([seen.lightness, seen.hue_deg, seen.turbidity]).all()


def test_an_empty_table_is_never_trusted():
    for seen in watch(still(SMALL.but(cup=False, check=0.8), 12)):
        assert seen.trust == 0.0


def test_a_vessel_that_is_taken_away_is_lost():
    pictures = still(SMALL, 12) + still(SMALL.but(cup=False), 60)
    seen = watch(pictures)
    assert seen[11].trust > 0.9
    assert seen[-1].vessel is None
    assert "vessel_lost" in seen[-1].reasons
    assert all(o.trust < TRUSTED for o in seen[14:])


# What it measures


@pytest.mark.parametrize("liquid", [ORANGE, GREEN, PALE_GREEN])
@pytest.mark.parametrize("table", ["wood", "green", "white"])
def test_colour_of_the_liquid_against_what_was_painted(liquid, table):
    p = SMALL.but(liquid=liquid, table=table)
    seen = watch(still(p, 10))[-1]
    lightness, a, b = true_lab(p)
    assert seen.trust > 0.9
    assert seen.lightness == pytest.approx(lightness, abs=1.5)
    assert np.hypot(seen.a - a, seen.b - b) < 2.0
    assert seen.chroma == pytest.approx(np.hypot(seen.a, seen.b))
    assert 0 < seen.hue_sd_deg < 3


def test_first_sight_is_not_trusted_yet():
    seen = watch(still(SMALL, 10))
    assert seen[0].reasons == ("searching",)
    assert seen[0].trust < TRUSTED < seen[-1].trust


@pytest.mark.parametrize("harm", [{"glare": 0.35}, {"plume": 0.35}, {"dropper": True}], ids=str)
def test_foreign_pixels_do_not_pull_the_colour(harm):
    clean = watch(still(SMALL, 10))[-1]
    seen = watch([*still(SMALL, 9), SMALL.but(seed=9, **harm)])[-1]
    assert np.hypot(seen.a - clean.a, seen.b - clean.b) < 2.0


@pytest.mark.parametrize("gain", [(0.7, 0.7, 0.7), (1.15, 1.0, 0.8), (0.85, 1.0, 1.2)])
@pytest.mark.parametrize("card", [True, False])
def test_the_camera_changing_its_mind_is_not_chemistry(gain, card):
    base = SMALL.but(card=card, check=0.5)
    seen = watch(still(base, 12) + still(base.but(gain=gain), 12, 50))
    before, after = seen[11], seen[-1]
    assert np.hypot(after.a - before.a, after.b - before.b) < 2.5
    assert after.lightness == pytest.approx(before.lightness, abs=2.0)
    assert "exposure_step" in seen[12].reasons
    assert ("white_assumed" in after.reasons) is not card


def test_chemistry_is_not_taken_for_the_camera():
    seen = watch(still(SMALL, 12) + still(SMALL.but(liquid=GREEN), 6, 30))
    _, a, b = true_lab(SMALL.but(liquid=GREEN))
    assert np.hypot(seen[-1].a - a, seen[-1].b - b) < 2.0
    assert seen[-1].trust > 0.9


def test_a_covered_white_patch_is_carried_on():
    card = SMALL.card_rect
    observer = Observer(white=card)
    seen = watch(still(SMALL, 12), observer)
    frame = SMALL.but(seed=77).frame(12 * STEP_S)
    image = frame.image.copy()
    top, left = int(card.y_px), int(card.x_px)
    image[top : top + int(card.height_px), left : left + int(card.width_px)] = (90, 60, 40)
    hidden = observer.observe(Frame(frame.time_s, image))
    assert "white_carried" in hidden.reasons
    assert np.hypot(hidden.a - seen[-1].a, hidden.b - seen[-1].b) < 1.5


def test_a_white_at_full_scale_is_not_used():
    bright = SMALL.but(gain=(1.6, 1.6, 1.6))
    seen = watch(still(bright, 8), Observer(white=SMALL.card_rect))[-1]
    assert "white_assumed" in seen.reasons


def test_given_vessel_is_used_and_not_sought_elsewhere():
    given = Ellipse(60.0, 180.0, 25.0, 25.0)
    for seen in watch(still(SMALL, 8), Observer(vessel=given)):
        assert seen.vessel is not None
        assert np.hypot(seen.vessel.x_px - 60, seen.vessel.y_px - 180) < 6


def test_strip_shows_the_liquid():
    strip = watch(still(SMALL, 2))[-1].strip
    assert strip is not None
    assert strip.dtype == np.uint8
    assert 24 <= len(strip) <= 32
    assert (strip[:, 0].astype(int) > strip[:, 2]).all()


# What it follows and distrusts


def test_follows_a_swirl():
    turn = np.linspace(0, 4 * np.pi, 40)
    swirl = [
        SMALL.but(x=0.5 + 0.03 * np.sin(t), y=0.5 + 0.04 * (np.cos(t) - 1), seed=i)
        for i, t in enumerate(turn)
    ]
    start = still(SMALL, 12, 100)
    seen = watch(start + swirl)[12:]
    for observation, picture in zip(seen, swirl, strict=True):
        true = picture.ellipse
        off = np.hypot(observation.vessel.x_px - true.x_px, observation.vessel.y_px - true.y_px)
        assert off < 0.08 * true.semi_major_px
    assert any("moving" in o.reasons for o in seen)


@pytest.mark.parametrize("size", [(45, 60), (54, 72), (40, 71), (27, 45)])
def test_a_picture_that_only_got_noisier_has_not_moved(size):
    rng = np.random.default_rng(4)
    cells = rng.uniform(0.1, 0.8, (3, *size)).astype(np.float32)
    noisy = cells + np.float32(0.15) * rng.standard_normal(cells.shape).astype(np.float32)
    far = np.ones(size, dtype=bool)
    assert _displacement(cells, noisy, far) is None


def test_follows_a_knocked_camera():
    frames = [p.frame(i * STEP_S) for i, p in enumerate(still(SMALL.but(check=0.5), 30))]
    knocked = [
        Frame(f.time_s, np.roll(f.image, (9, -14), axis=(0, 1)) if i >= 15 else f.image)
        for i, f in enumerate(frames)
    ]
    observer = Observer()
    seen = [observer.observe(f) for f in knocked]
    assert "knock" in seen[15].reasons
    assert seen[-1].trust > 0.9
    assert seen[-1].vessel.x_px == pytest.approx(SMALL.ellipse.x_px - 14, abs=3)
    assert seen[-1].hue_deg == pytest.approx(seen[14].hue_deg, abs=1.5)


def test_a_hand_over_the_cup_is_not_trusted():
    seen = watch(still(SMALL, 12) + still(SMALL.but(hand=0.75, hand_width=0.8), 3, 40))
    assert all("hand" in o.reasons for o in seen[12:])
    assert all(o.trust < TRUSTED for o in seen[12:])


@pytest.mark.parametrize("reach", [0.32, 0.40, 0.48, 0.55, 0.6])
def test_a_hand_over_a_part_is_left_out_or_told(reach):
    seen = watch(still(SMALL, 12) + still(SMALL.but(hand=reach), 3, 40))
    for o in seen[12:]:
        assert "hand" in o.reasons
        off = np.hypot(o.a - seen[11].a, o.b - seen[11].b)
        assert off < 3.0 or o.trust < TRUSTED


def test_a_repeated_picture_is_frozen():
    frame = SMALL.frame()
    observer = Observer()
    seen = [observer.observe(Frame(i * STEP_S, frame.image)) for i in range(30)]
    assert "frozen" in seen[-1].reasons
    assert seen[-1].trust < TRUSTED


def test_darkness_is_told():
    seen = watch(still(SMALL, 12) + still(SMALL.but(gain=(0.004,) * 3), 3, 30))
    assert "dark" in seen[-1].reasons
    assert seen[-1].trust < TRUSTED


def test_bands_of_a_flickering_lamp_leave_the_hue_alone():
    base = SMALL.but(check=0.5, height_px=240)
    observer = Observer()
    rows = np.arange(240)[:, None, None]
    seen = []
    for i in range(40):
        image = base.but(seed=i).frame().image / 255.0
        factor = 1.0 + 0.3 * np.sin(2 * np.pi * rows / 130 + 1.9 * i)
        light = np.clip(image**2.2 * factor * 0.7, 0, 1) ** (1 / 2.2)
        seen.append(observer.observe(Frame(i * STEP_S, (255 * light).astype(np.uint8))))
    hues = np.array([o.hue_deg for o in seen[12:]])
    assert np.ptp(hues) < 4.0
    assert np.mean([o.trust >= TRUSTED for o in seen[12:]]) > 0.9
    assert any("flicker" in o.reasons for o in seen)


# What holds whatever comes


def test_same_frames_same_observations():
    pictures = still(SMALL, 6) + still(SMALL.but(liquid=GREEN, hand=0.4), 6)
    first, second = watch(pictures), watch(pictures)
    for one, other in zip(first, second, strict=True):
        for field in fields(Observation):
            np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name))


def test_frames_are_not_changed():
    frame = SMALL.frame()
    before = frame.image.copy()
    Observer().observe(frame)
    np.testing.assert_array_equal(frame.image, before)


def _size(thing, seen):
    if id(thing) in seen:
        return 0
    seen.add(id(thing))
    if isinstance(thing, np.ndarray):
        return thing.nbytes
    inner = getattr(thing, "__dict__", None) or {
        name: getattr(thing, name) for name in getattr(type(thing), "__slots__", ())
    }
    inner = list(inner.values()) + (list(thing) if isinstance(thing, (list, tuple)) else [])
    return sys.getsizeof(thing) + sum(_size(value, seen) for value in inner)


def test_memory_does_not_grow_with_the_run():
    observer, sizes = Observer(), []
    frames = [p.frame() for p in still(Picture(width_px=160, height_px=120), 16)]
    for i in range(160):
        observer.observe(Frame(i * STEP_S, frames[i % 16].image))
        sizes.append(_size(observer, set()))
    assert max(sizes[80:]) <= 1.05 * max(sizes[20:80])


@settings(max_examples=25, deadline=None)
@given(
    st.integers(16, 90),
    st.integers(16, 90),
    st.integers(0, 2**31),
    st.sampled_from(["noise", "blocks"]),
)
def test_anything_gives_a_sound_observation(height, width, seed, kind):
    rng = np.random.default_rng(seed)
    observer = Observer()
    for i in range(3):
        image = rng.integers(0, 256, (height, width, 3)).astype(np.uint8)
        if kind == "blocks":
            image = cv2.resize(image[:4, :4], (width, height), interpolation=cv2.INTER_NEAREST)
        seen = observer.observe(Frame(float(i), image))
        assert 0.0 <= seen.trust <= 1.0
        assert set(seen.reasons) <= set(REASONS)
        assert (seen.vessel is None) == np.isnan(seen.hue_deg)
        assert np.isnan(seen.turbidity) or 0.0 <= seen.turbidity <= 1.0


def test_a_real_cup_is_trusted():
    coffee = cv2.resize(skimage.data.coffee(), (480, 320))
    rng = np.random.default_rng(0)
    observer = Observer()
    for i in range(10):
        noisy = np.clip(coffee + rng.normal(0, 2, coffee.shape), 0, 255).astype(np.uint8)
        seen = observer.observe(Frame(i * STEP_S, noisy))
    assert seen.trust > 0.8
    assert 55 < seen.hue_deg < 80  # brown, between orange and yellow


def test_weighing_sorts_and_multiplies():
    trust, reasons = weigh({"flicker": 1.0, "hand": 1.0, "glare": 0.0})
    assert reasons == ("hand", "flicker")
    assert trust == pytest.approx(REASONS["hand"][0] * REASONS["flicker"][0])
    assert weigh({}) == (1.0, ())
