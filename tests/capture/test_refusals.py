"""Inputs that cannot be reviewed get one sentence, never a traceback or a hang."""

from __future__ import annotations

import os
from pathlib import Path

import av
import numpy as np
import pytest

from huehold.capture.recording import open_recording
from huehold.errors import InputError

from .clips import patch_picture, write_clip, write_moving, yuv_frame


def refusal(path, **how):
    """The sentence with which a recording is refused, on opening or while reading."""
    with pytest.raises(InputError) as caught, open_recording(path, **how) as recording:
        for _ in recording.frames():
            pass
    text = str(caught.value)
    assert path.name in text
    assert "\n" not in text
    assert text.endswith(".")
    return text


def test_missing(tmp_path):
    assert "no file" in refusal(tmp_path / "none.mp4")


def test_directory(tmp_path):
    assert "is a folder" in refusal(tmp_path)


def test_empty(tmp_path):
    path = tmp_path / "empty.mp4"
    path.touch()
    assert "0 bytes" in refusal(path)


def test_text_named_mp4(tmp_path):
    path = tmp_path / "notes.mp4"
    path.write_text("added 2 g of vinegar\n" * 200)
    assert "not a video" in refusal(path)


@pytest.mark.parametrize("length", [1, 100, 5000, 200_000])
def test_noise_named_mp4(tmp_path, length):
    path = tmp_path / "noise.mp4"
    path.write_bytes(np.random.default_rng(length).bytes(length))
    refusal(path)


def test_nul_in_the_name(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        open_recording(str(tmp_path) + "/a\0b.mp4")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_named_pipe_does_not_hang(tmp_path):
    path = tmp_path / "pipe.mp4"
    os.mkfifo(path)
    assert "not an ordinary file" in refusal(path)


def test_no_permission(tmp_path, monkeypatch):
    path = write_moving(tmp_path / "locked.mp4", 5)
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert "may not be read" in refusal(path)


def test_permission_lost_between_check_and_open(tmp_path, monkeypatch):
    path = write_moving(tmp_path / "locked.mp4", 5)

    def denied(*_args, **_how):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(av, "open", denied)
    assert "may not be read" in refusal(path)


def test_sound_only(tmp_path):
    path = tmp_path / "sound.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=44100)
        silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
        silence.sample_rate = 44100
        container.mux(stream.encode(silence))
        container.mux(stream.encode(None))
    assert "holds only sound" in refusal(path)


@pytest.mark.parametrize("name", ["one.mp4", "one.mkv", "one.avi"])
def test_one_frame(tmp_path, name):
    assert "single picture" in refusal(write_moving(tmp_path / name, 1))


def test_photograph_named_mp4(tmp_path):
    frames = [yuv_frame(patch_picture((320, 240)), "yuvj420p")]
    source = write_clip(tmp_path / "photo.mjpeg", frames, codec="mjpeg")
    refusal(source.rename(tmp_path / "photo.mp4"))


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_cut_off_before_its_index(tmp_path, share):
    path = write_moving(tmp_path / "cut.mp4", 60)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    assert "before its index was written" in refusal(path)


def test_index_but_no_pictures(tmp_path):
    whole = write_moving(tmp_path / "whole.mp4", 30, options={"preset": "ultrafast"})
    data = bytearray(whole.read_bytes())
    start, end = data.index(b"mdat") + 4, data.index(b"moov") - 4
    data[start:end] = bytes(end - start)
    path = tmp_path / "hollow.mp4"
    path.write_bytes(data)
    assert "could be decoded" in refusal(path)


def test_too_large_pictures(tmp_path):
    frames = [av.VideoFrame(8320, 64, "yuv420p")]
    path = write_clip(tmp_path / "wide.mkv", frames, codec="ffv1")
    assert "8320 x 64" in refusal(path)


def test_too_small_pictures(tmp_path):
    frames = [av.VideoFrame(8, 8, "yuv420p") for _ in range(3)]
    assert "8 x 8" in refusal(write_clip(tmp_path / "tiny.mkv", frames, codec="ffv1"))


def test_playlist_opens_nothing_else(tmp_path):
    """A playlist in a video's clothes must not make other files or addresses be read."""
    write_moving(tmp_path / "other.ts", 30)
    lists = {
        "list.m3u8": "#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\nother.ts\n#EXT-X-ENDLIST\n",
        "list.ffconcat": "ffconcat version 1.0\nfile other.ts\n",
    }
    for name, text in lists.items():
        path = tmp_path / name
        path.write_text(text)
        assert "not a video" in refusal(path)


def test_picture_size_that_changes_ends_the_review(tmp_path):
    parts = [
        write_clip(tmp_path / f"{i}.ts", (yuv_frame(patch_picture(size)) for _ in range(40)),
                   options={"preset": "ultrafast"}, stamps=range(40 * i, 40 * i + 40))
        for i, size in enumerate([(320, 240), (640, 480)])
    ]  # fmt: skip
    path = tmp_path / "joined.ts"
    path.write_bytes(b"".join(part.read_bytes() for part in parts))
    with open_recording(path) as recording:
        shapes = {frame.image.shape for frame in recording.frames()}
    assert shapes == {(240, 320, 3)}
    assert recording.stopped_early
    assert any("change size at 1.3 s" in text for text in recording.warnings)


def test_names_with_signs_are_plain_names(tmp_path):
    """Neither an image pattern nor an address may be read into a file name."""
    for name in ("clip %03d.mp4", "http:clip.mp4", "ä ö #1?.mp4"):
        path = write_moving(tmp_path / name, 4)
        with open_recording(path) as recording:
            assert len(list(recording.frames())) == 2
            assert recording.info.name == name


def test_relative_path(tmp_path, monkeypatch):
    write_moving(tmp_path / "clip.mp4", 4)
    monkeypatch.chdir(tmp_path)
    with open_recording(Path("clip.mp4")) as recording:
        assert recording.info.name == "clip.mp4"
