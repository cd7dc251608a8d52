"""Play a scenario: frames, recordings and the truth about them."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Frame
from huehold.virtual.camera import CameraModel
from huehold.virtual.presets import Scenario
from huehold.virtual.scene import Scene
from huehold.virtual.simulate_script import scripted_story
from huehold.virtual.simulate_story import Story

__all__ = ["Show", "frame_times", "render_frames"]


def frame_times(scenario: Scenario, story: Story) -> NDArray[np.float64]:
    """Moments of the frames, in seconds: jittered, and none within a gap.

    The first is at 0.
    """
    recording, faults = scenario.recording, scenario.faults
    step = 1.0 / recording.rate_hz
    times = np.arange(0.0, story.duration_s, step)
    rng = np.random.default_rng([scenario.seed, 13])
    times[1:] += recording.jitter * step * rng.uniform(-1.0, 1.0, len(times) - 1)
    seen = np.ones(len(times), dtype=bool)
    for start in faults.gap_s:
        begin = story.anchor_s + start
        seen &= ~((times > begin) & (times < begin + faults.gap_length_s))
    return np.asarray(np.round(times[seen], 4))


class Show:
    """A scenario ready to be played.

    Parameters
    ----------
    scenario : Scenario
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.story = scripted_story(scenario.seed)
        self.scene = Scene(scenario, self.story)
        self.camera = CameraModel(scenario, self.story.duration_s, self.story.anchor_s)
        self.times = frame_times(scenario, self.story)

    def pictures(self) -> Iterator[tuple[float, NDArray[np.uint8] | NDArray[np.uint16]]]:
        """Time and picture of each frame, in order."""
        story = self.story
        for t in self.times:
            shown = float(np.interp(t, story.time_s, story.titrant_g))
            yield float(t), self.camera.expose(self.scene.draw(float(t), shown), float(t))

    def vessel(self, time_s: float) -> Ellipse | None:
        """Outline of the liquid in the picture at a moment."""
        steady = self.scene.vessel(time_s)
        return None if steady is None else self.camera.vessel(steady, time_s)


def render_frames(scenario: Scenario) -> Iterator[Frame]:
    """Play a scenario as upright frames, without a file in between.

    Parameters
    ----------
    scenario : Scenario

    Yields
    ------
    Frame
    """
    for time_s, picture in Show(scenario).pictures():
        yield Frame(time_s, _eight_bit(picture, scenario))


def _eight_bit(
    picture: NDArray[np.uint8] | NDArray[np.uint16], scenario: Scenario
) -> NDArray[np.uint8]:
    if picture.dtype == np.uint8:
        return np.asarray(picture, dtype=np.uint8)
    return cv2.convertScaleAbs(picture, alpha=255.0 / (1023 * 64)).astype(np.uint8)
