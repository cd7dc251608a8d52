"""A phone's camera that follows a script: pictures, stamps, silence and clocks as told."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.capture.browser import BrowserSource
from huehold.capture.live import NewestFrame
from huehold.core import Ellipse, Frame, Rect

RATE_HZ = 8.0
SIZE_PX = (128, 96)
VESSEL = Ellipse(72.0, 48.0, 30.0, 28.0, 0.0)
WHITE = Rect(6.0, 10.0, 18.0, 30.0)
START, END = np.array([205.0, 105.0, 50.0]), np.array([110.0, 150.0, 70.0])
Image = NDArray[np.uint8]


@dataclass(frozen=True)
class Act:
    """A picture that arrives at a moment with the sender's stamp, a call, or the end."""

    arrives_s: float
    image: Image | None = None
    stamp_s: float = 0.0
    call: Callable[[], object] | None = None


def paint(share: float, seed: int = 0, size_px: tuple[int, int] = SIZE_PX) -> Image:
    """Paint a cup whose liquid is `share` of the way from the start to the end colour."""
    picture = np.full((*SIZE_PX[::-1], 3), 150, np.uint8)
    picture[::8] = 120
    cv2.rectangle(picture, (6, 10), (24, 40), (232, 232, 232), -1)
    centre = (round(VESSEL.x_px), round(VESSEL.y_px))
    cv2.ellipse(picture, centre, (33, 31), 0.0, 0.0, 360.0, (225, 225, 225), -1)
    colour = tuple(float(c) for c in START + share * (END - START))
    cv2.ellipse(picture, centre, (30, 28), 0.0, 0.0, 360.0, colour, -1)
    noise = np.random.default_rng(seed).normal(0.0, 2.0, picture.shape)
    picture = np.clip(picture + noise, 0, 255).astype(np.uint8)
    return picture if size_px == SIZE_PX else np.asarray(cv2.resize(picture, size_px), np.uint8)


def share_at(time_s: float) -> float:
    """Colour over a run: an addition at 8 s fades back, one at 18 s holds."""
    if time_s < 8.0:
        return 0.0
    if time_s < 18.0:
        return max(0.0, min(1.0, 2.0 * (time_s - 8.0)) - max(0.0, time_s - 9.5) / 4.0)
    return min(1.0, 2.0 * (time_s - 18.0))


def story(length_s: float = 40.0) -> list[Act]:
    """Return the acts of a run in which nothing goes wrong."""
    times = np.arange(0.0, length_s, 1.0 / RATE_HZ)
    return [Act(float(t), paint(share_at(float(t)), n), float(t)) for n, t in enumerate(times)]


class ScriptedCamera(BrowserSource):
    """A source whose frames come when whoever watches asks for the next one.

    Its clock stands between the acts, so that runs go as fast as they can be analysed and
    come out the same each time. All but the waiting is the browser source's own work.
    """

    def __init__(self, acts: Iterable[Act], give_up_s: float = 600.0) -> None:
        self.time_s = 100.0
        super().__init__("scripted camera", give_up_s=give_up_s, clock=lambda: self.time_s)
        self._acts = deque(acts)
        self._newest = _OnDemand(self._next)

    def _next(self, patience_s: float) -> bool:
        """Play the next act; False if none came within the patience."""
        if not self._acts:
            self._ended = True
            return False
        arrives_s = 100.0 + self._acts[0].arrives_s
        if arrives_s > self.time_s + patience_s:
            self.time_s += patience_s
            return False
        act = self._acts.popleft()
        self.time_s = max(self.time_s, arrives_s)
        if act.call is not None:
            act.call()
        if act.image is not None:
            _, data = cv2.imencode(".jpg", act.image[..., ::-1], (cv2.IMWRITE_JPEG_QUALITY, 95))
            self.push(data.tobytes(), 5000.0 + act.stamp_s)
        return True


class _OnDemand(NewestFrame):
    """A place for the newest frame that has the next one made when it is asked for."""

    def __init__(self, make: Callable[[float], bool]) -> None:
        super().__init__()
        self._make = make

    def take(self, after: int, timeout_s: float) -> tuple[int, Frame] | None:
        while self.number <= after:
            if not self._make(timeout_s):
                return None
        return super().take(after, 0.0)


def without(acts: Iterable[Act], start_s: float, length_s: float) -> Iterator[Act]:
    """Leave the acts of a stretch out."""
    return (act for act in acts if not start_s <= act.arrives_s < start_s + length_s)
