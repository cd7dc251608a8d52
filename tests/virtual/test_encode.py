"""Recordings as they come out of the file again."""

from __future__ import annotations

from fractions import Fraction

import av
import numpy as np
import pytest
from pydantic import ValidationError

from huehold.errors import InputError, UsageError
from huehold.virtual.encode import RecordingWriter, recording_suffix
from huehold.virtual.presets_model import Recording

_PATCHES = ((180, 80, 40), (60, 140, 50), (220, 220, 215), (90, 60, 40))
_STAMPS = (0.0, 0.1, 0.27, 0.3, 2.5)


def picture(width=96, height=128):
    """Upright picture with four patches: top left, top right, bottom left, bottom right."""
    image = np.zeros((height, width, 3), dtype=np.uint8)
    half_h, half_w = height // 2, width // 2
    for k, colour in enumerate(_PATCHES):
        row, column = divmod(k, 2)
        image[row * half_h : (row + 1) * half_h, column * half_w : (column + 1) * half_w] = colour
    return image


def write(path, recording, stamps=_STAMPS, image=None):
    image = picture() if image is None else image
    if recording.bits == 10:
        image = image.astype(np.uint16) * 257
    with RecordingWriter(path, recording) as writer:
        for stamp in stamps:
            writer.write(stamp, image)
    return path


def read(path):
    """Stamps, upright RGB pictures and the stream's codec context, by plain PyAV."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        frames = list(container.decode(stream))
        told = (stream.codec_context.pix_fmt, stream.codec_context.colorspace, frames[0].rotation)
        images = [np.rot90(f.to_ndarray(format="rgb24"), f.rotation // 90) for f in frames]
        return [float(f.pts * f.time_base) for f in frames], images, told


def patch_means(image):
    h, w = image.shape[:2]
    centres = [
        (h // 4, w // 4),
        (h // 4, 3 * w // 4),
        (3 * h // 4, w // 4),
        (3 * h // 4, 3 * w // 4),
    ]
    return np.array([image[y - 4 : y + 5, x - 4 : x + 5].mean(axis=(0, 1)) for y, x in centres])


_KINDS = (
    {"codec": "h264"},
    {"codec": "h264", "matrix": "bt709", "full_range": True},
    {"codec": "hevc", "bits": 10, "matrix": "bt709"},
    {"codec": "vp9"},
    {"codec": "av1"},
    {"codec": "av1", "bits": 10},
)


@pytest.mark.parametrize("kind", _KINDS, ids=str)
def test_colours_and_stamps_survive_every_codec(tmp_path, kind):
    recording = Recording(**kind, quality=12)
    path = write(tmp_path / f"a{recording_suffix(recording)}", recording)
    stamps, images, told = read(path)
    np.testing.assert_allclose(stamps, _STAMPS, atol=6e-4)
    assert ("10le" in told[0]) == (recording.bits == 10)
    for image in images:
        np.testing.assert_allclose(patch_means(image), _PATCHES, atol=4)


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_rotation_is_told_and_the_picture_comes_out_upright(tmp_path, turn):
    path = write(tmp_path / "a.mp4", Recording(rotation_deg=turn, quality=12))
    _, images, told = read(path)
    assert told[2] % 360 == turn
    assert images[0].shape == (128, 96, 3)
    np.testing.assert_allclose(patch_means(images[0]), _PATCHES, atol=4)


@pytest.mark.parametrize(("matrix", "number"), [("bt601", 5), ("bt709", 1)])
def test_matrix_is_tagged(tmp_path, matrix, number):  # numbers of ITU-T H.273
    path = write(tmp_path / "a.mp4", Recording(matrix=matrix))
    assert read(path)[2][1] == number


def test_untagged_recording_says_nothing(tmp_path):
    path = write(tmp_path / "a.mp4", Recording(matrix="bt709", tagged=False))
    assert read(path)[2][1] == 2  # unspecified


def test_avi_keeps_a_gap_as_ticks_without_a_frame(tmp_path):
    recording = Recording(codec="mjpeg", full_range=True, rate_hz=10.0, quality=9)
    path = write(tmp_path / "a.avi", recording, stamps=(0.0, 0.1, 0.2, 3.0, 3.1))
    stamps, images, _ = read(path)
    np.testing.assert_allclose(stamps, (0.0, 0.1, 0.2, 3.0, 3.1), atol=0.05)
    np.testing.assert_allclose(patch_means(images[3]), _PATCHES, atol=4)


@pytest.mark.parametrize("codec", ["h264", "hevc", "vp9"])
def test_odd_size(tmp_path, codec):
    recording = Recording(codec=codec, odd=True, quality=20)
    path = write(tmp_path / f"a{recording_suffix(recording)}", recording)
    assert read(path)[1][0].shape == (129, 97, 3)


def test_enlarged_to_four_thousand_pixels(tmp_path):
    recording = Recording(enlarge=12.0, quality=30)
    path = write(tmp_path / "a.mp4", recording, stamps=(0.0,), image=picture(320, 180))
    image = read(path)[1][0]
    assert image.shape == (2160, 3840, 3)
    np.testing.assert_allclose(patch_means(image), _PATCHES, atol=5)


def test_same_pictures_give_the_same_bytes(tmp_path):
    rng = np.random.default_rng(1)
    image = rng.integers(0, 255, (96, 128, 3), dtype=np.uint8)
    first, again = (
        write(tmp_path / f"{name}.mp4", Recording(), image=image).read_bytes() for name in "ab"
    )
    assert first == again


def test_container_that_cannot_hold_the_codec_is_refused_with_the_ones_that_can(tmp_path):
    with pytest.raises(UsageError, match=r"a\.avi cannot hold h264.*\.mp4, \.mkv"):
        RecordingWriter(tmp_path / "a.avi", Recording())


def test_missing_folder_is_told(tmp_path):
    with pytest.raises(InputError, match="there is no folder"):
        RecordingWriter(tmp_path / "nowhere" / "a.mp4", Recording())


def test_nothing_is_left_behind_by_an_error(tmp_path):
    (tmp_path / "a.mp4").write_text("older")

    def broken():
        with RecordingWriter(tmp_path / "a.mp4", Recording()) as writer:
            writer.write(0.0, picture())
            raise RuntimeError

    with pytest.raises(RuntimeError):
        broken()
    assert [p.name for p in tmp_path.iterdir()] == ["a.mp4"]
    assert (tmp_path / "a.mp4").read_text() == "older"


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ({"codec": "vp9", "bits": 10}, "8 bits only"),
        ({"codec": "mjpeg"}, "always full range"),
        ({"codec": "av1", "odd": True}, "even sizes only"),
    ],
)
def test_what_a_codec_cannot_do_is_refused(kind, message):
    with pytest.raises(ValidationError, match=message):
        Recording(**kind)


def test_frame_rate_is_told(tmp_path):
    path = write(tmp_path / "a.mp4", Recording(rate_hz=12.5), stamps=[k / 12.5 for k in range(25)])
    with av.open(str(path)) as container:
        assert container.streams.video[0].average_rate == Fraction(25, 2)
