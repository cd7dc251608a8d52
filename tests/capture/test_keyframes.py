"""Stretches of a recording are exactly what a full reading gives there."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest

from huehold.capture.keyframes import KeyedRecording
from huehold.capture.probing import ProbePlan
from huehold.capture.recording import open_recording

from .clips import write_moving

QUICK = {
    "libx264": {"preset": "ultrafast"},
    "libx265": {"preset": "ultrafast", "x265-params": "log-level=none:keyint=20:bframes=2"},
    "libvpx-vp9": {"deadline": "realtime", "cpu-used": "8"},
}


def uneven(count):
    """Stamps in ms: 30 a second with jitter, and a gap."""
    rng = np.random.default_rng(5)
    steps = rng.integers(20, 47, count)
    steps[count // 2] = 1500
    return [int(t) for t in np.cumsum(steps)]


@pytest.fixture(
    scope="module",
    params=[
        ("clip.mp4", "libx264", {"bf": "2"}),
        ("clip.mkv", "libx264", {}),
        ("clip.ts", "libx264", {"bf": "2"}),
        ("clip.mp4", "libx265", {}),
        ("clip.webm", "libvpx-vp9", {}),
        ("one-key.mp4", "libx264", {"bf": "2"}),
        ("clip.avi", "libx264", {"bf": "2"}),
    ],
    ids=lambda p: f"{p[0]}-{p[1]}",
)
def clip(request, tmp_path_factory):
    name, codec, options = request.param
    path = tmp_path_factory.mktemp("keys") / name
    timing = {} if name.endswith("avi") else {"stamps": uneven(120), "time_base": Fraction(1, 1000)}
    gop = 500 if name.startswith("one") else 20
    return write_moving(path, 120, codec=codec, options=QUICK[codec] | options, gop=gop, **timing)


def whole(path, rate_hz):
    with open_recording(path, rate_hz=rate_hz) as recording:
        return list(recording.frames())


@pytest.mark.parametrize("rate_hz", [12.0, math.inf])
def test_stretches_equal_the_full_reading(clip, rate_hz):
    full = whole(clip, rate_hz)
    with KeyedRecording(clip, rate_hz=rate_hz) as keyed:
        for start_s, end_s in [
            (1.0, 2.0),
            (3.1, 3.3),
            (0.0, 0.7),
            (2.4, 99.0),
            (-5.0, 0.2),
            (50, 60),
        ]:
            expected = [f for f in full if start_s <= f.time_s < end_s]
            found = list(keyed.frames_between(start_s, end_s))
            assert [f.time_s for f in found] == [f.time_s for f in expected]
            for ours, theirs in zip(found, expected, strict=True):
                np.testing.assert_array_equal(ours.image, theirs.image)


def test_looks_are_among_the_full_reading(clip):
    full = {f.time_s: f.image for f in whole(clip, math.inf)}
    with KeyedRecording(clip) as keyed:
        if not keyed.exact:
            return  # reordered pictures without times: keys have a place, not a stamp
        looks = list(keyed.looks(ProbePlan(keyed.layout())))
    assert len(looks) >= 4
    for look in looks:
        np.testing.assert_array_equal(look.frame.image, full[look.frame.time_s])


def test_stretches_may_be_left_early(clip):
    with KeyedRecording(clip) as keyed:
        first = next(frames := keyed.frames_between(1.0, 9.0))
        frames.close()
        running = keyed.frames_between(1.0, 9.0)
        again = next(running)
        assert first.time_s == again.time_s
        assert next(iter(keyed.frames_between(2.0, 9.0))).time_s >= 2.0
        assert list(running) == []


def test_whole_recording_in_pieces(clip):
    full = [f.time_s for f in whole(clip, 12.0)]
    with KeyedRecording(clip) as keyed:
        pieces = [f.time_s for k in range(8) for f in keyed.frames_between(k, k + 1, thread=False)]
    assert pieces == full


def test_seeking_is_used_where_the_container_allows(clip):
    with KeyedRecording(clip) as keyed:
        assert keyed.exact == (clip.suffix != ".avi")
