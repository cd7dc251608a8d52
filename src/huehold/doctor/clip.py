"""A few seconds of each camera, judged; run in a process of its own, for drivers may hang."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any

from huehold.calibration.camera_check import check_camera
from huehold.capture.camera import CameraDevice, default_backend, list_cameras
from huehold.core import Frame
from huehold.errors import CameraLostError, InputError

__all__ = ["look"]

_WIDTH_PX, _HEIGHT_PX = 640, 480
_SETTLING = 10  # frames in which a camera finds its exposure
_CLIP_S = 2.6
_MOST_FRAMES = 200


def look(most: int) -> list[dict[str, Any]]:
    """Open each camera, ask it to keep its settings, and judge a short clip.

    Parameters
    ----------
    most : int
        Numbers from 0 to most - 1 are tried.

    Returns
    -------
    list of dict
        For each camera that gives a picture: its number, size, mean code, what its driver says
        of locks, and what `huehold.calibration.camera_check.check_camera` finds, as plain values.
    """
    return [
        {
            "index": seen.index, "size": [seen.width_px, seen.height_px],
            "light": float(seen.picture.mean()), **_judged(seen.index),
        }
        for seen in list_cameras(most)
    ]  # fmt: skip


def _judged(index: int) -> dict[str, Any]:
    try:
        device = CameraDevice(index, default_backend(), width_px=_WIDTH_PX, height_px=_HEIGHT_PX)
    except CameraLostError:
        return {"lock": {}, "findings": []}
    try:
        lock = device.lock()
        told = {"exposure": lock.exposure, "white balance": lock.white_balance}
        return {"lock": told, "findings": _findings(list(_frames(device)))}
    finally:
        device.close()


def _frames(device: CameraDevice, clock: Callable[[], float] = time.monotonic) -> Iterator[Frame]:
    for _ in range(_SETTLING):
        device.read()
    begun_s = clock()
    for _ in itertools.repeat(None, _MOST_FRAMES):
        image = device.read()
        passed_s = clock() - begun_s
        if image is not None:
            yield Frame(passed_s, image)
        if passed_s > _CLIP_S:
            return


def _findings(frames: list[Frame]) -> list[dict[str, Any]]:
    try:
        return [asdict(finding) for finding in check_camera(frames)]
    except InputError as error:  # too slow a camera for a judgement
        return [{"what": "frame rate", "state": "bad", "advice": str(error)}]
