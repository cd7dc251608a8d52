"""The quick review tells what the full one tells, and is not taken where it cannot."""

import math
import os
from fractions import Fraction
from types import SimpleNamespace

import av
import numpy as np
import pytest

from huehold.capture.keyframes import KeyedRecording
from huehold.capture.probing import Gate, Layout, ProbePlan, layout_of
from huehold.capture.recording import Recording, open_recording
from huehold.reviewing import SparseReader, open_reader
from huehold.run import Settings
from huehold.session import review

from .capture.clips import write_moving

FRAME_S = 1.0 / 12.0
USUAL = ("overshoot",)
OTHERS = (
    "acid_from_start", "av1", "clean", "clear_water", "dim_and_noisy", "empty_cup",
    "exposure_hunting", "flicker", "gap", "green_table", "hand_and_dropper", "knocked",
    "long_fade", "mjpeg", "never_reached", "no_cup", "oblique", "pale_dye", "portrait_hevc",
    "swirl_and_shift", "waving", "webm", "white_balance_drift",
)  # fmt: skip
# A hold and a fade-back under a swirl whose trust trembles about the threshold: told or not by
# a hair, so that any other choice of frames may tell otherwise.
TREMBLING = {"webm"}
HOLDS = {"long_fade": 60.0}


# --- where the quick way is not taken -------------------------------------------------


def layout(keys_s, *, end_s=60.0, rate_hz=30.0, even=True):
    return Layout(tuple(keys_s), round(end_s * rate_hz) + 1, end_s, even)


def test_few_key_frames_win_nothing():
    assert not ProbePlan(layout([0.0])).worth_it
    assert not ProbePlan(layout(np.arange(0.0, 60.0, 8.3))).worth_it


def test_a_short_clip_wins_nothing():
    assert not ProbePlan(layout(np.arange(0.0, 5.0), end_s=5.0)).worth_it


@pytest.mark.parametrize("apart_s", [1 / 30, 0.5, 1.0, 1.001, 2.0])
def test_moments_are_a_second_apart_whatever_the_key_frames(apart_s):
    plan = ProbePlan(layout(np.arange(0.0, 60.0, apart_s)))
    steps = np.diff([*plan.moments_s, 60.0])
    assert plan.worth_it
    assert 0.5 < np.median(steps) <= 1.11
    assert steps.max() <= 1.11


def test_key_frames_two_seconds_apart_cost_half():
    assert ProbePlan(layout(np.arange(0.0, 60.0, 2.0))).share == pytest.approx(0.5, abs=0.05)
    assert ProbePlan(layout(np.arange(0.0, 60.0, 1.0))).share < 0.06


def packet(pts, *, key=False, dts=None, size=10):
    return SimpleNamespace(
        pts=pts, dts=pts if dts is None else dts, is_keyframe=key, size=size, is_corrupt=False
    )


@pytest.mark.parametrize(
    "stamps", [[0, 1, 1, 2], [0, 1, 2, 40, 41], [0, 1, None, 3]], ids=["twice", "gap", "none"]
)
def test_odd_stamps_need_a_full_look(stamps):
    packets = [packet(pts, key=True) for pts in stamps]
    assert not layout_of(packets, Fraction(1, 30), Fraction(0)).even


def test_layout_counts_pictures_and_keys():
    packets = [packet(90 + n, key=n % 30 == 0) for n in range(90)] + [packet(None, size=0)]
    found = layout_of(packets, Fraction(1, 30), Fraction(3))
    assert found == Layout((0.0, 1.0, 2.0), 90, 89 / 30, even=True)


def test_the_gate_lets_key_frames_and_every_third_neighbour_through():
    plan = ProbePlan(layout(np.arange(0.0, 60.0)))
    gate = Gate(plan, Fraction(1, 30), Fraction(0))
    passed = [n for n in range(180) if gate(packet(n, key=n % 30 == 0))]
    assert passed == [0, 30, 60, 61, 90, 120, 150, 151]


def test_the_gate_keeps_out_what_is_shown_before_its_key_frame():
    plan = ProbePlan(layout(np.arange(0.0, 60.0)))
    gate = Gate(plan, Fraction(1, 30), Fraction(0))
    assert gate(packet(60, dts=57, key=True))
    assert not gate(packet(58, dts=58))
    assert gate(packet(61, dts=59))


@pytest.fixture(scope="module")
def moving(tmp_path_factory):
    """Twelve seconds with reordered pictures and a key frame a second."""
    path = tmp_path_factory.mktemp("fast") / "moving.mp4"
    options = {"preset": "ultrafast", "bf": "2"}
    return write_moving(path, 180, codec="libx264", options=options, gop=15, rate=15)


def test_looks_are_pictures_of_the_full_reading(moving):
    with open_recording(moving, rate_hz=math.inf) as recording:
        whole = {frame.time_s: frame.image for frame in recording.frames()}
    with KeyedRecording(moving, rate_hz=math.inf) as keyed:
        plan = ProbePlan(keyed.layout(), from_s=2.5)
        looks = list(keyed.looks(plan))
    aside = [0.0, 0.0, 1.0 / 15.0]
    expected = [start_s + aside[n % 3] for n, start_s in enumerate(plan.moments_s)]
    assert [look.frame.time_s for look in looks] == pytest.approx(expected)
    assert [look.next_s for look in looks] == [*plan.moments_s[1:], math.inf]
    assert looks[0].frame.time_s >= 2.5
    for look in looks:
        np.testing.assert_array_equal(look.frame.image, whole[look.frame.time_s])


@pytest.mark.parametrize(("passes", "kind"), [("full", Recording), ("auto", Recording),
                                              ("fast", SparseReader)])  # fmt: skip
def test_small_pictures_are_read_in_full_unless_asked(moving, passes, kind):
    with open_reader(moving, passes=passes) as reader:
        assert isinstance(reader, kind)


def test_few_key_frames_are_read_in_full(tmp_path):
    """One key frame in twelve seconds: looks a second apart would cost as much as everything."""
    path = write_moving(tmp_path / "few.mp4", 120, codec="libx264", gop=1000, rate=10)
    with open_reader(path, passes="fast") as reader:
        assert isinstance(reader, Recording)


def test_a_recording_cut_off_is_read_in_full(moving, tmp_path):
    cut = tmp_path / "cut.ts"
    with av.open(str(moving)) as given, av.open(str(cut), "w") as taken:
        stream = given.streams.video[0]
        out = taken.add_stream_from_template(stream)
        for part in given.demux(stream):
            if part.dts is not None and not 5.0 < float(part.pts * part.time_base) < 8.0:
                part.stream = out
                taken.mux(part)
    with open_reader(cut, passes="fast") as reader:
        assert isinstance(reader, Recording)


# --- and where it is, it tells the same -----------------------------------------------


def keyed_copy(recording, folder, *, codec="libx264"):
    """The same pictures and times with a key frame a second."""
    path = folder / f"{recording.stem}.mp4"
    options = {"preset": "ultrafast", "crf": "18", "forced-idr": "1", "bf": "0"}
    with av.open(str(recording)) as given, av.open(str(path), "w") as taken:
        stream = given.streams.video[0]
        out = taken.add_stream(codec, rate=stream.average_rate, options=options)
        odd = stream.width % 2 or stream.height % 2
        pixels = "yuv444p" if odd else "yuv420p"
        out.width, out.height, out.pix_fmt = stream.width, stream.height, pixels
        out.gop_size, out.codec_context.time_base = 1000, stream.time_base
        for tag in ("colorspace", "color_trc", "color_primaries", "color_range"):
            setattr(out.codec_context, tag, getattr(stream.codec_context, tag))
        due_s = 0.0
        for frame in given.decode(stream):
            time_s = float(frame.pts * frame.time_base)
            frame = frame.reformat(format=pixels)
            kind = av.video.frame.PictureType
            frame.pict_type = kind.I if time_s >= due_s - 1e-6 else kind.NONE
            due_s += frame.pict_type == kind.I
            taken.mux(out.encode(frame))
        taken.mux(out.encode(None))
    return path


def both(path, hold_s):
    settings = Settings(hold_s=hold_s)
    return review(path, settings=settings, passes="full"), review(
        path, settings=settings, passes="fast"
    )


def told(run):
    return [event for event in run.events if event.kind != "disturbance"]


def assert_alike(full, fast, *, sharp=True):
    """Verdict and onset, and if they are `sharp` every event to one analysed frame."""
    frame_s = max(FRAME_S, float(np.median(np.diff(full.trace.time_s)))) + 1e-3
    assert fast.verdict.kind == full.verdict.kind
    assert fast.verdict.onset_s == (
        None if full.verdict.onset_s is None else pytest.approx(full.verdict.onset_s, abs=0.2)
    )
    if sharp:
        assert [event.kind for event in told(fast)] == [event.kind for event in told(full)]
        for one, other in zip(told(fast), told(full), strict=True):
            assert one.time_s == pytest.approx(other.time_s, abs=frame_s), one.kind
            assert (one.end_s or 0.0) == pytest.approx(other.end_s or 0.0, abs=frame_s)
    assert fast.frames_seen == full.frames_seen
    assert fast.trace.time_s[-1] == full.trace.time_s[-1]


@pytest.mark.parametrize("preset", USUAL)
def test_the_quick_review_tells_the_same(rendered, tmp_path, preset):
    full, fast = both(keyed_copy(rendered(preset).recording, tmp_path), 30.0)
    assert_alike(full, fast)
    assert fast.warnings == full.warnings
    assert fast.frames_used < 0.85 * full.frames_used


def test_a_short_hold_is_read_in_full(rendered, tmp_path):
    """Looks a second apart are too few to judge it by."""
    full, fast = both(keyed_copy(rendered("overshoot").recording, tmp_path), 5.0)
    assert_alike(full, fast)
    assert fast.frames_used == full.frames_used


@pytest.mark.slow
@pytest.mark.parametrize("preset", OTHERS)
def test_the_quick_review_tells_the_same_over_the_scenarios(rendered, tmp_path, preset):
    recording = keyed_copy(rendered(preset).recording, tmp_path)
    assert_alike(*both(recording, HOLDS.get(preset, 30.0)), sharp=preset not in TREMBLING)


@pytest.mark.slow
def test_damage_on_the_way_costs_the_damaged_pictures_only(rendered, tmp_path):
    path = keyed_copy(rendered("overshoot").recording, tmp_path)
    data = bytearray(path.read_bytes())
    middle = int(0.7 * len(data))
    data[middle : middle + 3000] = os.urandom(3000)
    path.write_bytes(data)
    full, fast = both(path, 30.0)
    assert fast.verdict.kind == full.verdict.kind
    assert fast.trace.time_s[-1] == pytest.approx(full.trace.time_s[-1], abs=0.2)
