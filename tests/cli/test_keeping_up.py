"""A recording played too fast for the machine is told, once, with what to do."""

import numpy as np
import pytest

from huehold.capture.live import LiveSource
from huehold.cli.keeping_up import KeepingUp
from huehold.core import Frame, SourceInfo

_BLACK = np.zeros((2, 2, 3), np.uint8)


def warned(rate_hz, *, speed=20.0, count=200):
    source = LiveSource(SourceInfo("run.mp4", 2, 2), give_up_s=1.0)
    listen = KeepingUp(source, speed)
    for number in range(count):
        listen(None, Frame(number / rate_hz, _BLACK))
        listen(None, None)
    return source.warnings


@pytest.mark.parametrize("rate_hz", [15.0, 8.0])
def test_who_keeps_up_is_not_warned(rate_hz):
    assert warned(rate_hz) == []


def test_who_does_not_is_warned_once_with_a_speed_that_works():
    (sentence,) = warned(2.0)
    assert "cannot keep up with --speed 20" in sentence
    assert "2.0 pictures" in sentence
    assert "--speed 4" in sentence
    assert "huehold review" in sentence


def test_no_speed_below_one_is_proposed():
    (sentence,) = warned(1.0, speed=3.0)
    assert "play it with" not in sentence


def test_a_slow_start_alone_is_no_reason():
    source = LiveSource(SourceInfo("run.mp4", 2, 2), give_up_s=1.0)
    listen = KeepingUp(source, 10.0)
    for time_s in [0.0, 2.0, 4.0, *(4.0 + n / 15.0 for n in range(200))]:
        listen(None, Frame(time_s, _BLACK))
    assert source.warnings == []
