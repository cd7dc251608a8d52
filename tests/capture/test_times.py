"""Times are presentation stamps from the first frame, exactly; thinning goes by them."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.capture.recording import open_recording
from huehold.capture.stamps import StampClock, Thinner
from huehold.errors import InputError, UsageError

from .clips import write_moving

MS = Fraction(1, 1000)


def read(path, **how):
    with open_recording(path, **how) as recording:
        return [frame.time_s for frame in recording.frames()], recording


@pytest.mark.parametrize(
    ("name", "codec", "options"),
    [
        ("clip.mp4", "libx264", {"preset": "ultrafast", "bf": "2"}),
        ("clip.mov", "libx264", {"preset": "ultrafast"}),
        ("clip.mkv", "libx264", {"preset": "ultrafast", "bf": "2"}),
        ("clip.ts", "libx264", {"preset": "ultrafast", "bf": "2"}),
        ("clip.mp4", "libx265", {"preset": "ultrafast", "x265-params": "log-level=none"}),
        ("clip.webm", "libvpx-vp9", {"deadline": "realtime", "cpu-used": "8"}),
        ("clip.mkv", "libsvtav1", {"preset": "12", "svtav1-params": "pred-struct=1"}),
    ],
)
def test_every_stamp_of_an_uneven_clip(tmp_path, name, codec, options):
    """30 frames a second, then 10, with a gap of two seconds between them."""
    stamps = [33 * i for i in range(30)] + [3000 + 100 * i for i in range(10)]
    path = write_moving(
        tmp_path / name, 40, codec=codec, options=options, stamps=stamps, time_base=MS
    )
    times, recording = read(path, rate_hz=math.inf)
    tick = 1e-4 if name.endswith(("mp4", "mov", "ts")) else 1e-9
    np.testing.assert_allclose(times, np.array(stamps) / 1000.0, atol=tick)
    assert recording.frames_seen == 40
    assert not recording.stopped_early
    assert any("1 gap without pictures" in text and "2.0 s" in text for text in recording.warnings)


def test_first_frame_is_time_zero_whatever_its_stamp(tmp_path):
    path = write_moving(tmp_path / "clip.ts", 10, stamps=[900 + i for i in range(10)])
    times, _ = read(path, rate_hz=math.inf)
    np.testing.assert_allclose(times, np.arange(10) / 30, atol=1e-5)


def test_thinned_frames_keep_their_own_stamps(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 90)
    times, recording = read(path)
    assert 34 <= len(times) <= 37
    assert recording.frames_seen == 90
    assert recording.progress_s == pytest.approx(89 / 30)
    on_grid = np.array(times) * 30
    np.testing.assert_allclose(on_grid, np.rint(on_grid), atol=1e-6)
    assert np.diff(times).max() <= 3.5 / 30


def test_pictures_belong_to_their_stamps(tmp_path):
    """A bar at a place that tells the frame's number, read back at its own time."""
    path = write_moving(
        tmp_path / "clip.mp4", 36, options={"preset": "fast", "crf": "10", "bf": "3"}
    )
    with open_recording(path, rate_hz=math.inf) as recording:
        for number, frame in enumerate(recording.frames()):
            assert frame.time_s == pytest.approx(number / 30)
            wanted = 255 if number % 2 else 20
            bar = frame.image[85:115, 8 * number + 2 : 8 * number + 6].mean()
            assert bar == pytest.approx(wanted, abs=45)
    assert number == 35


def test_reordered_pictures_in_avi_follow_their_order(tmp_path):
    path = write_moving(tmp_path / "clip.avi", 60, options={"preset": "fast", "bf": "2"})
    times, recording = read(path, rate_hz=math.inf)
    np.testing.assert_allclose(times, np.arange(60) / 30, atol=1e-9)
    assert any("AVI" in text for text in recording.warnings)


def test_mjpeg_avi(tmp_path):
    from .clips import patch_picture, write_clip, yuv_frame

    frames = (yuv_frame(patch_picture((320, 240)), "yuvj420p", "bt601", True) for _ in range(30))
    path = write_clip(tmp_path / "clip.avi", frames, codec="mjpeg", rate=15)
    times, recording = read(path, rate_hz=math.inf)
    np.testing.assert_allclose(times, np.arange(30) / 15, atol=1e-9)
    assert not recording.warnings


def test_elementary_stream_has_no_times(tmp_path):
    path = write_moving(tmp_path / "clip.h264", 10)
    with pytest.raises(InputError, match=r"clip\.h264 carries no times"):
        read(path)


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("clip.mpg", "mpeg2video"),
        ("clip.flv", "libx264"),
        ("clip.avi", "mpeg4"),
        ("clip.mkv", "ffv1"),
    ],
)
def test_other_containers(tmp_path, name, codec):
    path = write_moving(tmp_path / name, 30, codec=codec, options={}, gop=10)
    times, recording = read(path, rate_hz=math.inf)
    assert len(times) >= 29
    np.testing.assert_allclose(np.diff(times), 1 / 30, atol=1e-3)
    assert not recording.stopped_early


def test_recording_written_in_fragments(tmp_path):
    """As a camera program writes that fears a crash: no index at all, only fragments."""
    path = write_moving(tmp_path / "clip.mp4", 60, movflags="frag_keyframe+empty_moov")
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * 0.8)])
    times, _ = read(path, rate_hz=math.inf)
    np.testing.assert_allclose(times, np.arange(len(times)) / 30, atol=1e-4)
    assert 30 <= len(times) < 60


@pytest.mark.parametrize("rate_hz", [0.0, -1.0, math.nan])
def test_senseless_rate(tmp_path, rate_hz):
    with pytest.raises(UsageError, match="rate_hz"):
        open_recording(tmp_path / "none.mp4", rate_hz=rate_hz)


# --- The clock --------------------------------------------------------------------------


def clock_times(stamps, **how):
    clock = StampClock("clip.mp4", **how)
    return [clock.seconds(s, Fraction(1, 10)) for s in stamps], clock.warnings


def test_repeated_and_backward_stamps_are_left_out_and_told():
    times, warnings = clock_times([0, 1, 1, 2, 0, 3])
    assert times == [0.0, 0.1, None, 0.2, None, 0.3]
    assert warnings == [
        "2 frames carried a time not later than the frame before, or far ahead, and were left out."
    ]


def test_missing_stamps_are_derived_and_told():
    times, warnings = clock_times([0, 2, None, 6])
    assert times == pytest.approx([0.0, 0.2, 0.4, 0.6])
    assert "1 frame carried no time" in warnings[0]


def test_lasting_jump_back_is_joined_on():
    times, warnings = clock_times([100, 101, 102, *range(20)])
    assert times[:3] == [0.0, 0.1, 0.2]
    assert times[3:10] == [None] * 7
    assert times[10:12] == pytest.approx([1.0, 1.1])
    assert len(warnings) == 1
    assert "jumps back after 0.2 s" in warnings[0]


def test_first_frame_without_stamp_is_refused():
    with pytest.raises(InputError, match="carries no times"):
        clock_times([None, 1, 2])


def test_origin_may_lie_before_the_first_delivered_frame():
    times, _ = clock_times([12, 13], origin=Fraction(1))
    assert times == pytest.approx([0.2, 0.3])


@pytest.mark.parametrize("origin", [Fraction(5), Fraction(-2000)])
def test_origin_that_cannot_be_right_is_not_believed(origin):
    times, _ = clock_times([12, 13], origin=origin)
    assert times == pytest.approx([0.0, 0.1])


def test_a_lone_leap_is_left_out_and_a_lasting_one_accepted():
    times, _ = clock_times([0, 1, 500_000, 2, 3])
    assert times == pytest.approx([0.0, 0.1, None, 0.2, 0.3])
    times, warnings = clock_times([0, 1, *range(100_000, 100_010)])
    assert times[8:] == [None, *np.arange(100_007, 100_010) / 10.0]
    assert "1 gap" in warnings[0]


@settings(max_examples=60)
@given(st.lists(st.none() | st.integers(-(10**9), 10**9), min_size=1, max_size=40), st.integers())
def test_times_always_increase(stamps, first):
    times, _ = clock_times([first, *stamps])
    kept = [t for t in times if t is not None]
    assert kept[0] == 0.0
    assert all(a < b for a, b in itertools.pairwise(kept))


# --- Thinning ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("source_hz", "rate_hz"), [(30, 12), (29.97, 12), (60, 12), (25, 10), (240, 15)]
)
def test_thinning_rate(source_hz, rate_hz):
    thinner = Thinner(rate_hz)
    kept = [t for t in np.arange(0, 20, 1 / source_hz) if thinner.wants(t)]
    assert len(kept) == pytest.approx(20 * rate_hz, abs=1)
    assert np.diff(kept).max() <= 1 / rate_hz + 1.01 / source_hz


@pytest.mark.parametrize("source_hz", [12, 10, 7.5, 1])
def test_slow_recordings_pass_whole_with_rounded_stamps(source_hz):
    times = np.round(np.arange(0, 20, 1 / source_hz), 3)
    thinner = Thinner(12)
    assert all(thinner.wants(t) for t in times)


@given(st.lists(st.floats(1e-3, 0.5), min_size=2, max_size=80), st.floats(0, 1), st.floats(3, 30))
def test_a_later_start_picks_the_same_frames(steps, share, rate_hz):
    times = np.cumsum([0.0, *steps])
    whole = Thinner(rate_hz)
    kept = [t for t in times if whole.wants(t)]
    start = times[int(share * (len(times) - 1))] + 1.0 / rate_hz
    part = Thinner(rate_hz)
    assert [t for t in times if part.wants(t) and t >= start] == [t for t in kept if t >= start]
