"""The trace as it is gathered: compact inside, whole outside."""

import math
from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from huehold.core import Ellipse, Observation
from huehold.recorder import TraceRecorder

VESSELS = (None, Ellipse(10.0, 20.0, 5.0, 4.0, 30.0), Ellipse(10.5, 20.0, 5.0, 4.0, 30.0))
REASONS = ((), ("hand",), ("hand", "white_lost"))


def seen(number: int, vessel: int, reasons: int, rows: int | None) -> Observation:
    strip = None if rows is None else np.full((rows, 3), number % 256, np.uint8)
    return Observation(
        0.5 * number, 60.0, -20.0, 50.0, 112.0, 54.0, 0.8, math.nan, VESSELS[vessel], 0.9,
        REASONS[reasons], strip,
    )  # fmt: skip


@given(
    st.lists(
        st.tuples(st.integers(0, 2), st.integers(0, 2), st.sampled_from([None, 0, 1, 24])),
        max_size=40,
    )
)
def test_what_went_in_comes_out(kinds):
    observations = [seen(number, *kind) for number, kind in enumerate(kinds)]
    recorder = TraceRecorder()
    for number, observation in enumerate(observations):
        recorder.add(observation)
        assert len(recorder.trace()) == number + 1
    trace = recorder.trace()
    assert trace.time_s.tolist() == [o.time_s for o in observations]
    assert trace.vessel == tuple(o.vessel for o in observations)
    assert trace.reasons == tuple(o.reasons for o in observations)
    for kept, observation in zip(trace.strip, observations, strict=True):
        assert (kept is None) == (observation.strip is None)
        if kept is not None:
            np.testing.assert_array_equal(kept, observation.strip)


def test_strips_are_kept_only_so_often_and_vessels_in_the_sources_pixels():
    recorder = TraceRecorder(scale=0.5)
    for number in range(100):
        observation = seen(number, 1, 0, 24)
        recorder.add(
            Observation(
                number / 12, *(getattr(observation, name) for name in observation.__slots__[1:])
            )
        )
    trace = recorder.trace()
    assert sum(strip is not None for strip in trace.strip) == 20
    assert trace.vessel[-1] == Ellipse(20.0, 40.0, 10.0, 8.0, 30.0)


def test_an_outline_that_trembles_is_kept_once_and_one_that_creeps_is_followed():
    recorder = TraceRecorder()
    for number in range(200):
        place = 10.0 + 0.1 * (number % 2) + (0.01 * (number - 100) if number > 100 else 0.0)
        outline = Ellipse(place, 20.0, 5.0, 4.0, 30.0)
        recorder.add(replace(seen(number, 1, 0, None), vessel=outline))
    kept = recorder.trace().vessel
    assert len(set(kept[:100])) == 1
    assert abs(kept[-1].x_px - outline.x_px) <= 0.25
