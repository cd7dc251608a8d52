"""Why a camera does not open, in one sentence for each cause."""

import numpy as np
import pytest

from huehold.capture import camera
from huehold.capture.camera import CameraDevice
from huehold.errors import CameraLostError


class Driver:
    """A driver that opens or not, and says that it locks what `locks` names."""

    def __init__(self, opens: bool = True, locks: tuple[int, ...] = ()) -> None:
        self.opens, self.locks, self.values, self.released = opens, locks, {}, False

    def __call__(self, index: int, backend: int) -> "Driver":
        return self

    def isOpened(self) -> bool:  # noqa: N802
        return self.opens

    def set(self, prop: int, value: float) -> bool:
        self.values[prop] = value
        return prop in self.locks

    def get(self, prop: int) -> float:
        return self.values.get(prop, -1.0)

    def read(self):
        return True, np.zeros((4, 6, 3), np.uint8)

    def release(self) -> None:
        self.released = True


class Node:
    """A device file that is there or not."""

    def __init__(self, path: str, there: bool) -> None:
        self.path, self.there = path, there

    def exists(self) -> bool:
        return self.there

    def __str__(self) -> str:
        return self.path


@pytest.mark.parametrize(
    ("platform", "there", "allowed", "part"),
    [
        ("linux", False, False, "there is no /dev/video3. Plug it in"),
        ("linux", True, False, "not permitted. Join the group"),
        ("linux", True, True, "held by another program. Close that one"),
        ("darwin", False, False, "privacy settings"),
    ],
)
def test_each_cause_has_its_sentence(monkeypatch, platform, there, allowed, part):
    monkeypatch.setattr(camera.sys, "platform", platform)
    monkeypatch.setattr(camera, "Path", lambda path: Node(path, there))
    monkeypatch.setattr(camera.os, "access", lambda *_: allowed)
    driver = Driver(opens=False)
    with pytest.raises(CameraLostError) as caught:
        CameraDevice(3, capture=driver)
    assert part in str(caught.value)
    assert str(caught.value).startswith("Camera 3 cannot be opened")
    assert driver.released


def test_what_the_driver_says_of_locks_goes_by_the_words_people_read():
    import cv2

    device = CameraDevice(0, "v4l2", capture=Driver(locks=(cv2.CAP_PROP_AUTO_WB,)))
    said = device.lock().by_name()
    assert said == {"exposure": "refused", "white balance": "locked", "focus": "refused"}
