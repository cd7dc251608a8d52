"""The colour of the dye in pictures and short clips, by the same vision that watches a run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from huehold.calibration.chart_picture import read_picture
from huehold.calibration.indicator_fit import ColourPoint
from huehold.calibration.references import Reference
from huehold.core import Ellipse, Frame, Observation, Rect
from huehold.errors import InputError
from huehold.vision import Observer
from huehold.vision.trust import REASONS, SURE

__all__ = ["measure_colour", "observe_file", "point_of"]

_LOOKS = 8  # times a still picture is looked at: the vessel must be found more than once
_LOOK_S = 0.15
_MOST_FRAMES = 60
_PICTURES = {".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff"}


def measure_colour(
    path: str | Path, known: Reference, *, vessel: Ellipse | None = None, white: Rect | None = None
) -> ColourPoint:
    """Measure the dye in a picture or a clip of a cup of known pH.

    Parameters
    ----------
    path : path
        A picture (JPEG, PNG, WebP, BMP, TIFF) or a recording, of which the first frames count.
    known : Reference
        Its pH.
    vessel, white : Ellipse, Rect, optional
        Outline of the liquid, and a white patch, in pixels of the file; found if left out.

    Raises
    ------
    InputError
        If the file cannot be read, or no cup is found in it or can be measured.
    """
    return point_of(observe_file(path, Observer(vessel, white)), known, Path(path).name)


def observe_file(path: str | Path, observer: Observer, start_s: float = 0.0) -> list[Observation]:
    """Let an observer look at a picture, several times, or at a clip's first frames.

    Parameters
    ----------
    path : path
        As for `measure_colour`.
    observer : Observer
        May have seen other files before; then `start_s` must be later than those.
    start_s : float
        Time of the first look.
    """
    return [observer.observe(frame) for frame in _frames(Path(path), start_s)]


def point_of(seen: Iterable[Observation], known: Reference, where: str) -> ColourPoint:
    """Bring the sound observations of one cup down to one colour.

    Raises
    ------
    InputError
        If none is sound, with what stood in the way.
    """
    every = list(seen)
    sound = [o for o in every if o.vessel is not None and o.trust >= SURE and np.isfinite(o.a)]
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


def _frames(path: Path, start_s: float) -> Iterator[Frame]:
    if not path.is_file():
        raise InputError(f"There is no picture or clip {path}: check the name and the folder.")
    if path.suffix.lower() in _PICTURES:
        image = read_picture(path)
        for look in range(_LOOKS):
            yield Frame(start_s + look * _LOOK_S, image)
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
