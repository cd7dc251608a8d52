"""Colours of decoded recordings against the colours that were encoded.

Patches are encoded without loss by colour-science's ITU-R formulae; the floor of 8-bit
video is the rounding of its codes, about 0.3 to 0.4 on average (CIE 1976 difference).
"""

from __future__ import annotations

import colour
import numpy as np
import pytest

from huehold.capture.colour import ColourTags, plan_colours
from huehold.capture.convert import matrix_to_rgb, reduction
from huehold.capture.recording import open_recording
from huehold.capture.widegamut import (
    HLG_WHITE_LINEAR,
    hlg_to_light,
    light_to_srgb,
    primaries_to_srgb,
    srgb_to_light,
)
from huehold.errors import InputError, UsageError

from .clips import (
    LOSSLESS,
    MATRIX_CODES,
    PATCHES,
    delta_e,
    patch_means,
    patch_picture,
    write_clip,
    yuv_frame,
)

HD = (1280, 720)
SD = (640, 480)


def patch_clip(folder, *, size=SD, codec="libx264", pix_fmt="yuv420p", matrix="bt709", full=False,
               tagged=True, name="clip.mkv", tags=None, rotation_deg=0):  # fmt: skip
    frame = lambda: yuv_frame(patch_picture(size), pix_fmt, matrix, full)  # noqa: E731
    if tags is None and tagged:
        tags = {"colorspace": MATRIX_CODES[matrix], "color_range": 2 if full else 1,
                "color_trc": 1, "color_primaries": 1}  # fmt: skip
    return write_clip(folder / name, (frame() for _ in range(3)), codec=codec, tags=tags,
                      rotation_deg=rotation_deg)  # fmt: skip


def read_patches(path, **how):
    with open_recording(path, **how) as recording:
        images = [frame.image for frame in recording.frames()]
        return patch_means(images[-1]), recording


@pytest.mark.parametrize(
    ("size", "matrix", "full", "codec", "pix_fmt"),
    [
        (HD, "bt709", False, "libx264", "yuv420p"),
        (SD, "bt601", False, "libx264", "yuv420p"),
        (SD, "bt709", True, "libx264", "yuv420p"),
        (SD, "bt601", True, "libx264", "yuv420p"),
        (SD, "bt709", False, "libx265", "yuv420p10le"),
        (SD, "bt601", True, "libx265", "yuv420p10le"),
        (SD, "bt709", False, "ffv1", "yuv422p"),
        (SD, "bt601", False, "ffv1", "yuv444p"),
        (SD, "bt2020", False, "ffv1", "yuv444p10le"),
        ((1920, 1080), "bt709", False, "libx264", "yuv420p"),
        ((322, 246), "bt601", False, "libx264", "yuv420p"),
    ],
)
def test_tagged_recordings_keep_their_colours(tmp_path, size, matrix, full, codec, pix_fmt):
    path = patch_clip(tmp_path, size=size, matrix=matrix, full=full, codec=codec, pix_fmt=pix_fmt)
    means, recording = read_patches(path)
    error = delta_e(means, PATCHES)
    assert error.mean() < 0.5
    assert error.max() < 1.2
    assert recording.info.detail["matrix"] == matrix
    assert recording.info.detail["range"] == ("full" if full else "limited")
    assert not recording.warnings


@pytest.mark.parametrize(
    ("size", "matrix", "spoken"), [(HD, "bt709", "BT.709"), (SD, "bt601", "BT.601")]
)
def test_untagged_recording_follows_custom_and_says_so(tmp_path, size, matrix, spoken):
    means, recording = read_patches(patch_clip(tmp_path, size=size, matrix=matrix, tagged=False))
    assert delta_e(means, PATCHES).mean() < 0.5
    assert len(recording.warnings) == 1
    assert spoken in recording.warnings[0]


def test_matrix_override_wins_over_tags_and_is_told(tmp_path):
    path = patch_clip(tmp_path, matrix="bt709")
    wrong, recording = read_patches(path, matrix="bt601")
    assert delta_e(wrong, PATCHES).mean() > 2.0
    assert "BT.601 was used as asked" in recording.warnings[0]


def test_override_repairs_a_recording_that_breaks_custom(tmp_path):
    path = patch_clip(tmp_path, size=HD, matrix="bt601", tagged=False)
    assert delta_e(read_patches(path)[0], PATCHES).mean() > 2.0
    means, recording = read_patches(path, matrix="bt601")
    assert delta_e(means, PATCHES).mean() < 0.5
    assert not recording.warnings


def test_unknown_override_is_refused(tmp_path):
    with pytest.raises(UsageError, match="auto, bt601 or bt709, not 'bt2020'"):
        open_recording(patch_clip(tmp_path), matrix="bt2020")


def test_mjpeg_avi_is_full_range(tmp_path):
    frames = [yuv_frame(patch_picture(SD), "yuvj420p", "bt601", full=True) for _ in range(3)]
    path = write_clip(
        tmp_path / "clip.avi", frames, codec="mjpeg", options={"qmin": "1", "qmax": "1"}
    )
    means, recording = read_patches(path)
    assert delta_e(means, PATCHES).mean() < 0.8
    assert recording.info.detail["range"] == "full"


def test_rgb_recording(tmp_path):
    import av

    picture = patch_picture(SD).astype(np.uint8)
    frames = [
        av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format="bgr0") for _ in range(3)
    ]
    path = write_clip(tmp_path / "clip.mkv", frames, codec="ffv1")
    assert delta_e(read_patches(path)[0], PATCHES).max() < 0.1


@pytest.mark.parametrize(
    ("turn", "shape"), [(90, (640, 480)), (-90, (640, 480)), (180, (480, 640))]
)
def test_rotation_is_applied_once(tmp_path, turn, shape):
    path = patch_clip(tmp_path, name="clip.mp4", rotation_deg=turn)
    with open_recording(path) as recording:
        image = next(iter(recording.frames())).image
    assert image.shape[:2] == shape
    assert (recording.info.height_px, recording.info.width_px) == shape
    upright = np.rot90(patch_picture(SD), turn // 90)
    spots = [(60, 60), (60, shape[1] - 60), (shape[0] - 60, 60)]
    seen = np.array([image[spot] for spot in spots])
    assert delta_e(seen, np.array([upright[spot] for spot in spots])).max() < 1.2


def test_large_pictures_are_reduced_by_a_whole_number(tmp_path):
    path = patch_clip(tmp_path, size=(1280, 722))
    with open_recording(path, longest_px=500) as recording:
        image = next(iter(recording.frames())).image
    assert image.shape == (240, 426, 3)
    assert recording.scale == pytest.approx(1 / 3)
    assert delta_e(patch_means(image), PATCHES).max() < 1.2
    assert (recording.info.width_px, recording.info.height_px) == (1280, 722)


@pytest.mark.parametrize(
    ("size", "longest", "factor"),
    [
        ((1920, 1080), 1280, 2),
        ((3840, 2160), 1280, 3),
        ((1280, 720), 1280, 1),
        ((1281, 9), 1280, 2),
    ],
)
def test_reduction(size, longest, factor):
    assert reduction(*size, longest) == factor


# --- Arithmetic against published values -----------------------------------------------


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("matrix", ["bt709", "bt601", "bt2020"])
def test_matrix_against_colour_science(matrix, full):
    weights = {"bt709": "ITU-R BT.709", "bt601": "ITU-R BT.601", "bt2020": "ITU-R BT.2020"}[matrix]
    codes = np.random.default_rng(3).integers(30, 220, (200, 3))
    ours = (
        codes @ matrix_to_rgb(matrix, full, 8, 1.0)[:, :3].T
        + matrix_to_rgb(matrix, full, 8, 1.0)[:, 3]
    )
    theirs = colour.YCbCr_to_RGB(
        codes, K=colour.WEIGHTS_YCBCR[weights], in_bits=8, in_legal=not full, in_int=True,
        out_legal=False,
    )  # fmt: skip
    np.testing.assert_allclose(ours, theirs, atol=2e-3 if full else 1e-9)


def test_nominal_levels():
    """ITU-R BT.709-6, item 4.6: black at 16 and 64, peak at 235 and 940."""
    for bits, black, white in ((8, 16, 235), (10, 64, 940)):
        matrix = matrix_to_rgb("bt709", False, bits, 255.0)
        middle = 1 << (bits - 1)
        np.testing.assert_allclose(matrix @ [black, middle, middle, 1], 0.0, atol=1e-9)
        np.testing.assert_allclose(matrix @ [white, middle, middle, 1], 255.0)


def test_hlg_curve_against_colour_science():
    signal = np.linspace(0, 1, 501)
    theirs = colour.models.oetf_inverse_BT2100_HLG(signal)
    np.testing.assert_allclose(hlg_to_light(signal), theirs, atol=1e-7)


def test_hlg_curve_at_published_points():
    """ITU-R BT.2100-2, table 5: E' = sqrt(3 E) up to E = 1/12 (E' = 0.5), and E = 1 at E' = 1."""
    np.testing.assert_allclose(
        hlg_to_light([0.0, 0.25, 0.5, 1.0]), [0, 1 / 48, 1 / 12, 1], atol=1e-6
    )


def test_srgb_curve_against_colour_science():
    value = np.linspace(0, 1, 256)
    np.testing.assert_allclose(srgb_to_light(value), colour.eotf(value, "sRGB"), atol=1e-9)
    np.testing.assert_allclose(light_to_srgb(srgb_to_light(value)), value, atol=1e-6)


@pytest.mark.parametrize(
    ("ours", "theirs"), [("bt2020", "ITU-R BT.2020"), ("display-p3", "Display P3")]
)
def test_primaries_against_colour_science(ours, theirs):
    spaces = colour.RGB_COLOURSPACES
    expected = colour.matrix_RGB_to_RGB(spaces[theirs], spaces["sRGB"], None)
    np.testing.assert_allclose(primaries_to_srgb(ours), expected, atol=2e-3)


def test_bt2020_to_bt709_as_published():
    """ITU-R BT.2407-0, section 2: linear BT.2020 to BT.709."""
    published = [[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]]
    np.testing.assert_allclose(primaries_to_srgb("bt2020"), published, atol=1e-4)


# --- High dynamic range ---------------------------------------------------------------


def hlg_clip(folder, **extra):
    """Patches as scene light in BT.2020 primaries, HLG, 10 bits, by colour-science."""
    spaces = colour.RGB_COLOURSPACES
    light = colour.eotf(PATCHES / 255.0, "sRGB")
    light = light @ colour.matrix_RGB_to_RGB(spaces["sRGB"], spaces["ITU-R BT.2020"], None).T
    scale = colour.models.oetf_inverse_BT2100_HLG(0.75) / HLG_WHITE_LINEAR
    with np.errstate(invalid="ignore"):  # the branch that is not taken
        signal = colour.models.oetf_BT2100_HLG(np.clip(light, 0, None) * scale)
    picture = patch_picture(SD, signal * 255.0)
    frames = [yuv_frame(picture, "yuv420p10le", "bt2020") for _ in range(3)]
    tags = {"colorspace": 9, "color_range": 1, "color_trc": 18, "color_primaries": 9} | extra
    return write_clip(folder / "hdr.mp4", frames, codec="libx265", tags=tags)


def test_hlg_is_converted_from_ten_bits_and_told(tmp_path):
    means, recording = read_patches(hlg_clip(tmp_path))
    error = delta_e(means, PATCHES)
    assert error.mean() < 0.5
    assert error.max() < 1.2
    assert recording.info.detail["transfer"] == "hlg"
    assert any("high dynamic range" in text for text in recording.warnings)


def test_pq_is_refused_with_the_phone_setting(tmp_path):
    with pytest.raises(InputError, match=r"hdr\.mp4 .*PQ.*switch HDR video off"):
        open_recording(hlg_clip(tmp_path, color_trc=16))


@pytest.mark.parametrize("curve", [8, 9, 17])
def test_odd_curves_are_refused(curve):
    with pytest.raises(InputError, match="encodes light in a way"):
        plan_colours(ColourTags(1, curve, 1, False), HD, "clip.mov")


def test_wide_gamut_standard_range(tmp_path):
    spaces = colour.RGB_COLOURSPACES
    light = colour.eotf(PATCHES / 255.0, "sRGB")
    light = light @ colour.matrix_RGB_to_RGB(spaces["sRGB"], spaces["Display P3"], None).T
    picture = patch_picture(SD, 255.0 * colour.eotf_inverse(np.clip(light, 0, 1), "sRGB"))
    frames = [yuv_frame(picture) for _ in range(3)]
    tags = {"colorspace": 1, "color_range": 1, "color_trc": 1, "color_primaries": 12}
    path = write_clip(tmp_path / "p3.mp4", frames, tags=tags, options=LOSSLESS["libx264"])
    assert delta_e(read_patches(path)[0], PATCHES).max() < 1.5


def test_conversion_is_quick_and_exact_for_white_and_black(tmp_path):
    grey = np.array([[0, 0, 0], [255, 255, 255]] * 4)
    frames = [yuv_frame(patch_picture(SD, grey)) for _ in range(3)]
    path = write_clip(tmp_path / "bw.mkv", frames, tags={"colorspace": 1, "color_range": 1})
    np.testing.assert_array_equal(read_patches(path)[0], grey)
