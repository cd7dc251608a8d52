"""Live sources: newest frame only, own clock, alarms, coming back."""

import itertools
import threading
import time

import numpy as np
import pytest

from huehold.capture.live import FROZEN_AFTER_FRAMES, DeviceReader, NewestFrame
from huehold.capture.playback import PlaybackSource
from huehold.core import Frame, SourceInfo
from huehold.errors import CameraLostError, InputError

INFO = SourceInfo("camera 0", 0, 0)


def picture(value: int) -> np.ndarray:
    return np.full((48, 64, 3), value % 251, np.uint8)


class Script:
    """A device that does what it is told: numbers are pictures, None is no picture."""

    def __init__(self, *acts: object) -> None:
        self.acts = iter(acts)
        self.closed = False

    def read(self):
        act = next(self.acts, None)
        if isinstance(act, Exception):
            raise act
        return None if act is None else picture(int(act))

    def close(self):
        self.closed = True


class Clock:
    """Seconds that pass only when somebody sleeps."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        self.now += 1e-3
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds


def read_all(*devices: Script, give_up_s: float = 60.0) -> tuple[DeviceReader, list[int]]:
    """Run a reader over devices that follow one another; return it and the pictures' values."""
    clock, queue, values = Clock(), list(devices), []

    def open_device():
        if not queue:
            raise CameraLostError("no camera there")
        return queue.pop(0)

    reader = DeviceReader(open_device, INFO, give_up_s=give_up_s, clock=clock, sleep=clock.sleep)
    put = reader._newest.put
    reader._newest.put = lambda frame: (values.append(int(frame.image[0, 0, 0])), put(frame))[1]
    reader._run()
    return reader, values


def test_the_newest_frame_replaces_the_one_before():
    place = NewestFrame()
    for n in range(3):
        place.put(Frame(float(n), picture(n)))
    number, frame = place.take(0, 0.1)
    assert (number, frame.time_s) == (3, 2.0)
    assert place.take(3, 0.01) is None


def test_a_device_that_never_opens_says_why():
    reader, values = read_all()
    assert values == []
    assert reader.state == "lost"
    with pytest.raises(CameraLostError, match="no camera there"):
        list(reader.frames())


def test_it_comes_back_after_unplugging_and_stamps_with_its_own_clock():
    first, second = Script(1, 2, None), Script(3, 4, EOFError())
    reader, values = read_all(first, second)
    assert values == [1, 2, 3, 4]
    assert first.closed
    assert second.closed
    assert reader.state == "ended"
    assert reader.info.width_px == 64


def test_a_frozen_picture_is_no_picture():
    frozen = Script(*[7] * (FROZEN_AFTER_FRAMES + 10))
    _, values = read_all(frozen, Script(8, EOFError()))
    assert values == [7, 8]
    assert frozen.closed


def test_silence_for_too_long_is_a_loss():
    reader, values = read_all(Script(1, None), give_up_s=5.0)
    assert values == [1]
    assert reader.state == "lost"
    with pytest.raises(CameraLostError, match="did not come back; check its cable"):
        list(reader.frames())


def test_a_blind_spell_is_told_while_it_lasts():
    go = threading.Event()

    class Slow:
        n = 0

        def read(self):
            self.n += 1
            if self.n == 3:
                go.wait(60)
            if self.n == 5:
                raise EOFError
            time.sleep(0.02)
            return picture(self.n)

        def close(self):
            pass

    with DeviceReader(Slow, INFO) as reader:
        before, after = [], []
        for frame in reader.frames(rate_hz=1000, patience_s=0.1):
            if frame is not None:
                (after if go.is_set() else before).append(frame)
            elif reader.frames_seen == 2:
                go.set()  # the spell ends once it has been told
    assert go.is_set()
    assert before
    assert after
    assert reader.state == "ended"


def test_frames_are_thinned_by_time():
    frames = enumerate((Frame(n / 100, picture(n)) for n in range(100)), 1)
    source = PlaybackSource([], INFO)
    source._newest.take = lambda after, patience_s: next(frames, None)
    source._ended = True
    got = list(source.frames(rate_hz=10))
    assert 8 <= len(got) <= 12
    times = [frame.time_s for frame in got]
    assert all(later - earlier > 0.04 for earlier, later in itertools.pairwise(times))


def test_playback_keeps_the_recordings_own_times_and_speed():
    frames = [Frame(t, picture(int(t))) for t in (0.0, 10.0, 80.0)]
    source, offered = PlaybackSource(frames, INFO, speed=400.0), []
    source._newest.put = lambda frame: offered.append((time.monotonic(), frame.time_s))
    begun_s = time.monotonic()
    with source:
        source._thread.join()
    assert [time_s for _, time_s in offered] == [0.0, 10.0, 80.0]
    assert all(at_s - begun_s >= time_s / 400 for at_s, time_s in offered)
    assert offered[-1][0] - begun_s < 40.0  # not at the recording's pace


def test_a_fault_in_the_recording_comes_out_in_words():
    def broken():
        yield Frame(0.0, picture(1))
        raise InputError("damaged at 0.1 s")

    with (
        PlaybackSource(broken(), INFO) as source,
        pytest.raises(CameraLostError, match="damaged at"),
    ):
        list(source.frames())
