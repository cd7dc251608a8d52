"""A scenario ready to be played: story, scene, camera and the balance's display together."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Frame
from huehold.virtual.camera import CameraModel
from huehold.virtual.display_reading import ShownMass
from huehold.virtual.presets import Scenario
from huehold.virtual.scene import Scene
from huehold.virtual.simulate_chemistry import story_of
from huehold.virtual.simulate_story import Act, Story

__all__ = ["Show", "frame_times"]

Picture = NDArray[np.uint8] | NDArray[np.uint16]


def frame_times(scenario: Scenario, story: Story) -> NDArray[np.float64]:
    """Moments of the frames, in seconds: jittered, and none within a gap.

    The first is at 0.
    """
    recording = scenario.recording
    step = 1.0 / recording.rate_hz
    times = np.arange(0.0, story.duration_s, step)
    rng = np.random.default_rng([scenario.seed, 13])
    times[1:] += recording.jitter * step * rng.uniform(-1.0, 1.0, len(times) - 1)
    seen = np.ones(len(times), dtype=bool)
    for gap in (act for act in story.acts if act.kind == "gap"):
        seen &= ~((times > gap.start_s) & (times < gap.end_s))
    return np.asarray(np.round(times[seen], 4))


class Show:
    """A scenario ready to be played.

    Parameters
    ----------
    scenario : Scenario

    Attributes
    ----------
    story : Story
        With the faults among its acts.
    scene : Scene
    shown : ShownMass
        What the balance shows.
    times : ndarray
        Moments of the frames, seconds.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.scene = Scene(scenario, story_of(scenario))
        self.story = self.scene.story
        self.shown = ShownMass(
            self.story, scenario.balance, np.random.default_rng([scenario.seed, 14])
        )
        self.times = frame_times(scenario, self.story)
        self._place = CameraModel(scenario, self.story)

    @property
    def acts(self) -> tuple[Act, ...]:
        """Everything that happens."""
        return self.story.acts

    @property
    def file_scale(self) -> tuple[float, float]:
        """Factors from the picture's width and height to the upright file's."""
        recording, sight = self.scenario.recording, self.scenario.sight
        if recording.enlarge == 1.0 and not recording.odd:
            return 1.0, 1.0
        sides = (sight.width_px, sight.height_px)
        wide, high = (
            (round(n * recording.enlarge / 2) * 2 + int(recording.odd)) / n for n in sides
        )
        return wide, high

    def pictures(self) -> Iterator[tuple[float, Picture]]:
        """Time and upright picture of each frame, in order; the same at every call."""
        camera = CameraModel(self.scenario, self.story)
        for time_s in self.times.tolist():
            scene = self.scene.draw(time_s, self.shown.at(time_s))
            yield time_s, camera.expose(scene, time_s)

    def frames(self) -> Iterator[Frame]:
        """Yield the same as `pictures` as frames of eight bits."""
        for time_s, picture in self.pictures():
            yield Frame(time_s, _eight_bit(picture))

    def vessel(self, time_s: float) -> Ellipse | None:
        """Outline of the liquid in the picture at a moment, before any enlargement."""
        steady = self.scene.vessel(time_s)
        return None if steady is None else self._place.vessel(steady, time_s)


def _eight_bit(picture: Picture) -> NDArray[np.uint8]:
    if picture.dtype == np.uint8:
        return np.asarray(picture, dtype=np.uint8)
    return np.asarray(cv2.convertScaleAbs(picture, alpha=255.0 / (1023 * 64)), dtype=np.uint8)
