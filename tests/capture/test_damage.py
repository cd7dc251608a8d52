"""Damage costs the damaged pictures, is told, and never gives wrong pictures in silence."""

from __future__ import annotations

import math
import random

import av
import numpy as np
import pytest

from huehold.capture.packets import PacketReader
from huehold.capture.recording import open_recording
from huehold.errors import InputError

from .clips import write_moving


def pictures(path, **how):
    with open_recording(path, rate_hz=math.inf, **how) as recording:
        return {round(f.time_s * 30): f.image for f in recording.frames()}, recording


def pictures_or_sentence(path):
    try:
        return pictures(path)[0]
    except InputError as error:
        return str(error)


def hurt(path, seed, length):
    """Overwrite bytes somewhere in the middle of the file."""
    rng = random.Random(seed)
    data = bytearray(path.read_bytes())
    at = int(len(data) * rng.uniform(0.3, 0.6))
    data[at : at + length] = rng.randbytes(length)
    other = path.with_stem("hurt")
    other.write_bytes(data)
    return other


@pytest.fixture(scope="module", params=["mp4", "mkv", "hevc"])
def sound_clip(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("clips")
    hevc = {"preset": "ultrafast", "x265-params": "log-level=none"}
    if request.param == "hevc":
        path = write_moving(folder / "hevc.mp4", 150, codec="libx265", options=hevc, gop=15)
    else:
        path = write_moving(folder / f"clip.{request.param}", 150, gop=15)
    return path, pictures(path)[0]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("length", [4, 300])
def test_damage_in_the_middle(sound_clip, seed, length):
    path, sound = sound_clip
    left, recording = pictures(hurt(path, seed, length))
    assert len(left) >= 90
    assert max(left) >= 140
    wrong = [n for n in left if np.abs(left[n].astype(int) - sound[n]).mean() > 1.0]
    # Four wrong bytes can pass an HEVC decoder unnoticed; they cost up to a group of pictures.
    assert len(wrong) <= (20 if path.stem == "hevc" and length == 4 else 1)
    if len(left) < 140:
        assert recording.warnings


def test_damage_is_told(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 150, gop=15)
    sentences = []
    for seed in range(4):
        sentences += pictures(hurt(path, seed, 200))[1].warnings
    assert any("damaged: " in text and "left out" in text for text in sentences)


def test_matroska_cut_in_mid_stream(tmp_path):
    path = write_moving(tmp_path / "clip.mkv", 240)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    left, recording = pictures(path)
    assert 90 < len(left) < 150
    assert recording.stopped_early
    assert any("stops early" in t and "stated 8.0 s" in t for t in recording.warnings)


def test_mp4_with_its_index_in_front_cut_in_mid_stream(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 240)
    fast = tmp_path / "fast.mp4"
    with (
        av.open(str(path)) as source,
        av.open(str(fast), "w", options={"movflags": "faststart"}) as sink,
    ):
        stream = sink.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                sink.mux(packet)
    data = fast.read_bytes()
    fast.write_bytes(data[: int(len(data) * 0.6)])
    left, recording = pictures(fast)
    assert 100 < len(left) < 200
    assert recording.stopped_early


def test_undamaged_recording_is_not_called_damaged(sound_clip):
    path, sound = sound_clip
    _, recording = pictures(path)
    assert len(sound) == 150
    assert not recording.stopped_early
    assert not any("damaged" in t or "early" in t for t in recording.warnings)


@pytest.mark.parametrize("seed", range(25))
def test_mutated_files_are_read_or_refused(tmp_path, seed):
    """Bits flipped anywhere, headers included: pictures or a sentence."""
    path = write_moving(tmp_path / ("clip.mp4", "clip.mkv", "clip.avi")[seed % 3], 24)
    rng = random.Random(seed)
    data = bytearray(path.read_bytes())
    for _ in range(rng.choice([1, 10, 100])):
        data[rng.randrange(len(data))] = rng.randrange(256)
    path.write_bytes(data)
    assert pictures_or_sentence(path)


class _Looping:
    """A container whose index points at the same data again and again."""

    def __init__(self, packet):
        self._packet = packet

    def demux(self, _stream):
        while True:
            yield self._packet


def test_an_index_without_end_is_given_up(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 2)
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        packet = next(container.demux(stream))
        reader = PacketReader(_Looping(packet), stream, path.stat().st_size)
        for _ in reader.frames():
            pass
    assert reader.broke_off
