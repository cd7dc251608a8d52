"""The pictures that were taken for a calibration on the page."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from huehold.calibration.indicator_measure import still
from huehold.core import Ellipse, Frame
from huehold.errors import InputError
from huehold.recorder import thumbnail

__all__ = ["Tray"]

_MOST_PICTURES = 24
_LEAST_PX = 120
_WIDEST_PX = 1600


@dataclass(frozen=True, slots=True)
class _Shot:
    image: NDArray[np.uint8]
    vessel: Ellipse | None
    says: str


class Tray:
    """The pictures taken for a calibration; the oldest go when there are too many."""

    def __init__(self) -> None:
        self._shots: OrderedDict[str, _Shot] = OrderedDict()
        self._count = 0
        self._lock = threading.Lock()

    def put(self, image: NDArray[np.uint8]) -> dict[str, Any]:
        """Take a picture in and say what is seen in it.

        Raises
        ------
        InputError
            If it is too small.
        """
        shot = _looked_at(_narrowed(image))
        with self._lock:
            self._count += 1
            name = f"picture {self._count}"
            self._shots[name] = shot
            while len(self._shots) > _MOST_PICTURES:
                self._shots.popitem(last=False)
        return {"name": name, **_shot_values(shot)}

    def jpeg(self, name: str) -> bytes:
        """Return a picture as a file."""
        return thumbnail(self._shot(name).image, _WIDEST_PX)

    def frames(self, name: str, start_s: float) -> Iterator[Frame]:
        """Yield a picture as `huehold.calibration.guided.make` wants it."""
        return still(self._shot(name).image, start_s)

    def _shot(self, name: str) -> _Shot:
        found = self._shots.get(name)
        if found is None:
            raise InputError(f"{name or 'A picture'} is not here any more; take it again.")
        return found


def _narrowed(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    import cv2

    height, width = image.shape[:2]
    if min(height, width) < _LEAST_PX:
        raise InputError(f"The picture is too small, {width} x {height} pixels.")
    if width <= _WIDEST_PX:
        return image
    size = (_WIDEST_PX, max(_LEAST_PX, round(height * _WIDEST_PX / width)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def _looked_at(image: NDArray[np.uint8]) -> _Shot:
    from huehold.calibration.indicator import colour_word
    from huehold.vision import Observer

    observer = Observer()
    seen = [observer.observe(frame) for frame in still(image, 0.0)][-1]
    if seen.vessel is None:
        return _Shot(image, None, "No cup was found in it.")
    return _Shot(image, seen.vessel, f"A cup was found, {colour_word(seen.a, seen.b)}.")


def _shot_values(shot: _Shot) -> dict[str, Any]:
    height, width = shot.image.shape[:2]
    vessel = shot.vessel and {
        "x": shot.vessel.x_px, "y": shot.vessel.y_px, "rx": shot.vessel.semi_major_px,
        "ry": shot.vessel.semi_minor_px, "angle": shot.vessel.angle_deg,
    }  # fmt: skip
    return {"width": width, "height": height, "vessel": vessel, "says": shot.says}
