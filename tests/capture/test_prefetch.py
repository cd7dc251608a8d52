"""The background reader: order, errors, early exit, flat memory."""

from __future__ import annotations

import itertools
import threading
import time

import numpy as np
import pytest

from huehold.capture.prefetch import Prefetch
from huehold.capture.recording import open_recording
from huehold.errors import UsageError

from .clips import write_moving


def workers():
    return [t for t in threading.enumerate() if t.name == "huehold-decode"]


def test_items_come_in_order_and_end():
    ahead = Prefetch(lambda: iter(range(50)))
    assert list(ahead) == list(range(50))
    assert list(ahead) == []
    ahead.close()
    assert not workers()


def test_error_comes_out_after_the_items_before_it():
    def source():
        yield 1
        raise ZeroDivisionError("here")

    ahead = Prefetch(source)
    assert next(ahead) == 1
    with pytest.raises(ZeroDivisionError, match="here"):
        next(ahead)
    with pytest.raises(StopIteration):
        next(ahead)


def test_never_more_ahead_than_asked():
    made = itertools.count()
    ahead = Prefetch(lambda: (next(made) for _ in range(1000)), ahead=3)
    while not ahead._queue.full():
        time.sleep(0.01)
    time.sleep(0.1)  # time in which it would go on, if it did
    assert next(made) <= 5
    ahead.close()


def test_close_while_the_worker_waits():
    ahead = Prefetch(itertools.count, ahead=2)
    started = time.perf_counter()
    ahead.close()
    ahead.close()
    assert time.perf_counter() - started < 30.0
    assert not workers()


@pytest.mark.parametrize("taken", [0, 1, 5])
def test_leaving_a_recording_early(tmp_path, taken):
    path = write_moving(tmp_path / "clip.mp4", 120)
    with open_recording(path, rate_hz=30) as recording:
        frames = recording.frames()
        for _ in range(taken):
            next(frames)
    assert not workers()


def test_consumer_error_passes_through(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 120)

    def interrupted():
        with open_recording(path) as recording:
            for _ in recording.frames():
                raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert not workers()


def test_with_and_without_thread_alike(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 60)
    runs = []
    for thread in (True, False):
        with open_recording(path, thread=thread) as recording:
            runs.append([(f.time_s, f.image) for f in recording.frames()])
    for (time_a, image_a), (time_b, image_b) in zip(*runs, strict=True):
        assert time_a == time_b
        np.testing.assert_array_equal(image_a, image_b)


def test_pictures_are_not_overwritten_later(tmp_path):
    path = write_moving(tmp_path / "clip.mp4", 60)
    with open_recording(path, rate_hz=30) as recording:
        first = next(iter_frames := recording.frames())
        copy = first.image.copy()
        for _ in iter_frames:
            pass
    np.testing.assert_array_equal(first.image, copy)


def test_reading_twice_is_refused(tmp_path):
    with open_recording(write_moving(tmp_path / "clip.mp4", 6)) as recording:
        list(recording.frames())
        with pytest.raises(UsageError, match="open it again"):
            list(recording.frames())


def test_closed_recording_gives_nothing(tmp_path):
    recording = open_recording(write_moving(tmp_path / "clip.mp4", 6))
    recording.close()
    recording.close()
    with pytest.raises(UsageError):
        list(recording.frames())
