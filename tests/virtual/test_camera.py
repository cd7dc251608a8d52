"""The camera: tone, noise, gains, flicker, knocks."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from huehold.core import Ellipse
from huehold.virtual.camera import CameraModel, tone_table
from huehold.virtual.camera_faults import Gains, Shake, flicker_rows, moved_ellipse
from huehold.virtual.presets import Scenario
from huehold.virtual.presets_model import Camera, Faults, Light, Recording, Sight
from huehold.virtual.simulate_story import Act, still_story

_PLAIN = {
    "shot_noise": 0.0, "read_noise": 0.0, "vignette": 0.0, "contrast": 0.0, "saturation": 1.0,
    "white_error": (1.0, 1.0, 1.0), "white_drift": 0.0, "exposure_drift": 0.0,
    "exposure_metering": 0.0, "white_metering": 0.0, "blur_px": 0.0,
}  # fmt: skip
_WHITE = {"level": 1.0, "colour": (1.0, 1.0, 1.0), "gradient": 0.0}


def camera(story=None, recording=None, light=None, **changes) -> CameraModel:
    scenario = Scenario(
        sight=Sight(width_px=120, height_px=96),
        camera=Camera(**{**_PLAIN, **changes}),
        light=Light(**{**_WHITE, **(light or {})}),
        recording=recording or Recording(),
    )
    return CameraModel(scenario, story or still_story(60.0))


def flat(value=0.3):
    return np.full((96, 120, 3), value, dtype=np.float32)


def test_tone_without_contrast_is_srgb():
    linear = np.linspace(0, 1, 16384)
    expected = np.round(255 * colour.cctf_encoding(linear, function="sRGB"))  # IEC 61966-2-1
    assert np.abs(tone_table(0.0, 256).astype(float) - expected).max() <= 1


def test_contrast_darkens_shadows_and_lifts_lights_but_keeps_the_ends():
    plain, bent = tone_table(0.0, 256).astype(int), tone_table(1.0, 256).astype(int)
    assert (bent[0], bent[-1]) == (0, 255)
    assert bent[300] < plain[300]
    assert bent[9000] > plain[9000]
    assert (np.diff(bent) >= 0).all()


def test_plain_camera_only_encodes():
    picture = camera().expose(flat(0.3), 0.0)
    expected = round(255 * float(colour.cctf_encoding(0.3, function="sRGB")))
    assert picture.dtype == np.uint8
    assert np.abs(picture.astype(int) - expected).max() <= 1


def test_ten_bits_come_out_finer():
    ramp = np.broadcast_to(
        np.linspace(0.2, 0.3, 120, dtype=np.float32)[None, :, None], (96, 120, 3)
    )
    eight = camera().expose(ramp.copy(), 0.0)
    ten = camera(recording=Recording(bits=10, codec="hevc")).expose(ramp.copy(), 0.0)
    assert ten.dtype == np.uint16
    assert len(np.unique(ten)) > 2.5 * len(np.unique(eight))


def test_noise_grows_with_light_as_shot_and_read_noise_say():
    shot, read = 0.03, 0.004
    for level in (0.05, 0.4):
        model = camera(shot_noise=shot, read_noise=read)
        coded = np.stack([model.expose(flat(level), k / 10) for k in range(6)]) / 255.0
        linear = colour.cctf_decoding(coded, function="sRGB")
        expected = np.sqrt(shot**2 * level + read**2)
        assert linear.std() == pytest.approx(expected, rel=0.08)
        assert linear.mean() == pytest.approx(level, rel=0.01)


# Residual modulation |sin(pi f T) / (pi f T)| of 100 Hz light: none at 1/100 and 1/50 s,
# 17 % at 1/60 s and 76 % at 1/250 s.
@pytest.mark.parametrize(
    ("shutter", "left"), [(1 / 100, 0.0), (1 / 50, 0.0), (1 / 60, 0.165), (1 / 250, 0.757)]
)
def test_flicker_left_by_the_exposure_time(shutter, left):
    light, cam = Light(flicker_hz=100.0, flicker_depth=1.0), Camera(shutter_s=shutter)
    rows = flicker_rows(light, cam, 0.0, 4000)
    assert np.ptp(rows) / 2 == pytest.approx(left, abs=2e-3)


def test_flicker_bands_count_and_roll():
    light, cam = Light(flicker_hz=100.0, flicker_depth=0.5), Camera(readout_s=0.02)
    rows = flicker_rows(light, cam, 0.0, 1000)
    spectrum = np.abs(np.fft.rfft(rows - rows.mean()))
    assert spectrum.argmax() == 2  # 20 ms of read-out see two periods of 100 Hz
    assert not np.allclose(rows, flicker_rows(light, cam, 0.003, 1000))
    assert flicker_rows(Light(flicker_depth=0.0), cam, 0.0, 10) is None


def _gains(seconds=60.0, **changes):
    cam = Camera(**{**_PLAIN, **changes})
    gains = Gains(cam, Light(**_WHITE), seconds, np.random.default_rng(3))
    return np.array([gains.at(t) for t in np.arange(0.0, seconds, 0.1)])


def test_white_drift_moves_red_against_blue_and_exposure_all_alike():
    white = np.log(_gains(white_drift=0.1))
    assert np.corrcoef(white[:, 0], white[:, 2])[0, 1] < -0.9
    assert 0.05 < np.abs(white).max() <= 0.1301
    exposure = np.log(_gains(exposure_drift=0.1))
    np.testing.assert_allclose(exposure[:, 0], exposure[:, 2], atol=1e-12)
    assert np.ptp(exposure[:, 0]) > 0.05


def test_hunting_jumps_and_settles_back():
    stops = np.log(_gains(exposure_hunting=0.3)[:, 1])
    assert np.abs(stops).max() > 0.15
    assert np.abs(np.diff(stops)).max() > 0.02
    assert np.median(np.abs(stops)) < 0.06


def test_metering_pulls_a_brighter_scene_back_slowly():
    model = camera(exposure_metering=1.0)
    first = model.expose(flat(0.2), 0.0).mean()
    at_once = model.expose(flat(0.4), 0.1).mean()
    for k in range(60):
        later = model.expose(flat(0.4), 0.2 + 0.1 * k).mean()
    assert at_once > first + 20
    assert later == pytest.approx(first, abs=2)


def test_white_metering_greys_a_scene_that_turns_green():
    model = camera(white_metering=1.0)
    model.expose(flat(0.3), 0.0)
    green = flat(0.3) * np.array([0.7, 1.2, 0.7], dtype=np.float32)
    spread = [np.ptp(model.expose(green.copy(), 0.1 * k).mean(axis=(0, 1))) for k in range(1, 80)]
    assert spread[-1] < 0.1 * spread[0]


def test_dark_spell_dims_the_picture():
    model = camera(still_story(60.0, (Act(10.0, 12.0, "dark"),)))
    assert model.expose(flat(), 11.0).mean() < 0.5 * model.expose(flat(), 30.0).mean()


def test_knock_shifts_the_view_for_good_and_the_vessel_with_it():
    shake = Shake(Camera(), [10.0], 12.0, (320, 240), np.random.default_rng(2))
    assert shake.matrix(9.9) is None
    matrix = shake.matrix(20.0)
    middle = np.array([159.5, 119.5])
    moved = matrix[:, :2] @ middle + matrix[:, 2] - middle
    assert np.hypot(*moved) == pytest.approx(12.0, rel=1e-3)
    ellipse = Ellipse(140.0, 110.0, 50.0, 40.0, 20.0)
    after = moved_ellipse(ellipse, matrix)
    assert (after.x_px, after.y_px) == pytest.approx(matrix[:, :2] @ [140, 110] + matrix[:, 2])
    assert after.semi_major_px / after.semi_minor_px == pytest.approx(1.25)
    assert after.semi_major_px != ellipse.semi_major_px


def test_picture_of_a_mark_goes_where_the_vessel_track_says():
    story = still_story(60.0, (Act(5.0, 6.0, "knock"),))
    scenario = Scenario(
        sight=Sight(width_px=120, height_px=96), faults=Faults(knock_px=8.0),
        camera=Camera(**_PLAIN), light=Light(**_WHITE),
    )  # fmt: skip
    model = CameraModel(scenario, story)
    scene = flat(0.02)
    scene[38:43, 58:63] = 0.9
    picture = model.expose(scene, 20.0)[..., 1].astype(float)
    weight = np.where(picture > 120, picture, 0.0)
    ys, xs = np.indices(weight.shape)
    seen = (weight * xs).sum() / weight.sum(), (weight * ys).sum() / weight.sum()
    told = model.vessel(Ellipse(60.0, 40.0, 5.0, 5.0), 20.0)
    assert seen == pytest.approx((told.x_px, told.y_px), abs=0.3)
    assert np.hypot(told.x_px - 60, told.y_px - 40) > 5


def test_same_seed_exposes_the_same_pictures():
    first, again = (
        [camera(shot_noise=0.03).expose(flat(), t) for t in (0.0, 0.1)] for _ in range(2)
    )
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
