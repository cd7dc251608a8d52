"""The colour of the dye in pictures and short clips, by the same vision that watches a run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from huehold.calibration.chart_picture import read_picture
from huehold.calibration.indicator_fit import ColourPoint
from huehold.calibration.references import Reference
from huehold.core import TRUSTED, Frame, Observation
from huehold.errors import InputError
from huehold.vision.trust import REASONS

__all__ = ["frames_of_file", "point_of", "still"]

_LOOKS = 8  # times a still picture is looked at: the vessel must be found more than once
_LOOK_S = 0.15
_MOST_FRAMES = 60
_PICTURES = {".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff"}


def point_of(seen: Iterable[Observation], known: Reference, where: str) -> ColourPoint:
    """Bring the sound observations of one cup down to one colour.

    Raises
    ------
    InputError
        If none is sound, with what stood in the way.
    """
    every = list(seen)
    sound = [o for o in every if o.vessel is not None and o.trust >= TRUSTED and np.isfinite(o.a)]
    if not sound:
        raise InputError(f"{where}: {_trouble(every)}")
    lab = np.array([[o.lightness, o.a, o.b] for o in sound])
    centre = np.median(lab, axis=0)
    stray = 1.4826 * float(np.median(np.abs(lab - centre)))
    angle = float(np.median([np.radians(o.hue_sd_deg) * max(o.chroma, 1.0) for o in sound]))
    return ColourPoint(
        known.ph, known.u, float(centre[0]), float(centre[1]), float(centre[2]),
        u=max(0.5, stray, min(angle, 10.0)),
        source=f"{known.name}: {known.source}" if known.how != "typed" else known.source,
    )  # fmt: skip


def still(image: NDArray[np.uint8], start_s: float) -> Iterator[Frame]:
    """Show one picture several times, as an observer needs it."""
    for look in range(_LOOKS):
        yield Frame(start_s + look * _LOOK_S, image)


def frames_of_file(path: Path, start_s: float) -> Iterator[Frame]:
    """Yield a picture several times, or the first frames of a clip.

    Raises
    ------
    InputError
        If the file is missing or cannot be read.
    """
    if not path.is_file():
        raise InputError(f"There is no picture or clip {path}: check the name and the folder.")
    if path.suffix.lower() in _PICTURES:
        yield from still(read_picture(path), start_s)
        return
    from huehold.capture.recording import open_recording

    with open_recording(path) as recording:
        for count, frame in enumerate(recording.frames()):
            if count >= _MOST_FRAMES:
                return
            yield Frame(start_s + frame.time_s, frame.image)


def _trouble(seen: list[Observation]) -> str:
    reasons = [o.reasons[0] for o in seen if o.reasons]
    main = max(set(reasons), key=reasons.count) if reasons else "no_vessel"
    told = REASONS[main][1].rstrip(".") if main in REASONS else "the cup cannot be measured"
    return (
        f"{told[0].lower()}{told[1:]}; take the picture from straight above in even light, or give "
        "--vessel X,Y,R in pixels."
    )
