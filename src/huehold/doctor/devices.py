"""Checks of the doctor that open devices: in a process of their own, for drivers may hang."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from huehold.doctor.examination import Finding, State

__all__ = ["cameras", "probe", "sound"]

_SOUND_S = 6.0
_CAMERA_S = 25.0
_DARK, _BRIGHT = 40.0, 235.0  # mean 8-bit code of a picture
_MOST_CAMERAS = 3

_SOUND_PROBE = """
import json
from huehold.cues.player import Player, SoundError
try:
    with Player(0.0):
        print(json.dumps({"ok": True}))
except SoundError as error:
    print(json.dumps({"ok": False, "why": str(error)}))
"""

_CAMERA_PROBE = """
import json
from huehold.doctor.clip import look
print(json.dumps(look(MOST)))
"""


def sound() -> Finding:
    """See whether this computer can make a sound."""
    seen = probe(_SOUND_PROBE, _SOUND_S)
    if seen is None:
        return Finding(
            "sound", "limited", "the sound device does not answer",
            "cues come from the page and as words; restart the sound system to hear them here",
        )  # fmt: skip
    if seen.get("ok"):
        return Finding("sound", "works", "a sound device opens")
    return Finding(
        "sound", "limited", "no sound device can be opened",
        "plug in a loudspeaker, or keep the page open: it has the sounds too",
    )  # fmt: skip


def cameras() -> list[Finding]:
    """See which cameras give a picture, whether they lock, and how fit they are for colours."""
    nowhere = Finding(
        "camera", "limited", "none on this computer",
        "plug one in, use `huehold watch --phone`, or review a recording",
    )  # fmt: skip
    if sys.platform.startswith("linux") and not any(Path("/dev").glob("video*")):
        return [nowhere]
    seen = probe(_CAMERA_PROBE.replace("MOST", str(_MOST_CAMERAS)), _CAMERA_S)
    if seen is None:
        return [
            Finding(
                "camera", "limited", f"no answer within {_CAMERA_S:.0f} s",
                "close other programs that hold it, unplug it and plug it in again",
            )
        ]  # fmt: skip
    return [line for one in seen for line in _tell_camera(one)] or [nowhere]


def _tell_camera(one: dict[str, Any]) -> list[Finding]:
    width, height = one["size"]
    lock = one.get("lock") or {}
    loose = [what for what, state in lock.items() if state != "locked"]
    locked = "locks" if lock and not loose else f"does not lock {' and '.join(loose)}".rstrip()
    advice = []
    if loose or not lock:
        advice.append("keep a white card in view, for the camera may change its exposure")
    if not _DARK <= one["light"] <= _BRIGHT:
        advice.append("mind the light before the camera")
    text = f"camera {one['index']} {width} x {height}, {locked}, {_light(one['light'])}"
    state: State = "limited" if advice else "works"
    lines = [_tell_check(one["index"], finding) for finding in one.get("findings", ())]
    return [Finding("camera", state, text, ", and ".join(advice)), *lines]


def _tell_check(index: int, finding: dict[str, Any]) -> Finding:
    """Make a line of one thing that was judged on a clip; see `CameraFinding`."""
    found, _, advice = str(finding["advice"]).partition(". ")
    state: State = "works" if finding["state"] == "good" else "limited"
    return Finding(
        "camera", state, f"camera {index} {finding['what']}: {found.rstrip('.')}",
        advice.rstrip("."),
    )  # fmt: skip


def _light(mean_code: float) -> str:
    if mean_code < _DARK:
        return "too dark a picture"
    return "too bright a picture" if mean_code > _BRIGHT else "light enough"


def probe(code: str, limit_s: float) -> Any:
    """Run code in a process of its own and return the JSON it prints last; None if it fails.

    Parameters
    ----------
    code : str
        Python that prints one line of JSON.
    limit_s : float
        After which it is stopped.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, timeout=limit_s,
            check=False, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        return json.loads(done.stdout.strip().splitlines()[-1])
    except (OSError, subprocess.TimeoutExpired, ValueError, IndexError):
        return None
