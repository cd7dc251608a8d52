"""Frames with what was seen drawn on them, as a video or as pictures in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Self

from huehold.capture.writing import FrameWriter
from huehold.core import Frame
from huehold.errors import InputError
from huehold.report.files import check_place
from huehold.session import Step

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["VisionFilm"]

_FILMS = (".mp4", ".mkv")
_PICTURE_EVERY_S = 1.0


class VisionFilm:
    """Writes what `huehold.vision.draw` draws; does nothing if no target is given.

    Parameters
    ----------
    target : str or None
        A video (``.mp4``, ``.mkv``) gets every analysed frame, a folder a picture a second.
    """

    def __init__(self, target: str | None) -> None:
        self._writer: FrameWriter | None = None
        self._folder: Path | None = None
        self._next_s = 0.0
        if target is None:
            return
        path = Path(target)
        if path.suffix.lower() in _FILMS:
            check_place(path)
            self._writer = FrameWriter(path)
        else:
            self._folder = _folder(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._writer is not None:
            self._writer.close()

    def step(self, step: Step) -> None:
        """Draw and write one frame, if it is wanted."""
        if self._writer is not None:
            self._writer.write(Frame(step.frame.time_s, _drawn(step)))
        elif self._folder is not None and step.frame.time_s >= self._next_s:
            self._next_s = step.frame.time_s + _PICTURE_EVERY_S
            _write_jpeg(self._folder / f"{step.frame.time_s:08.2f}s.jpg", _drawn(step))


def _drawn(step: Step) -> NDArray[np.uint8]:
    from huehold.vision.draw import draw

    return draw(step.frame, step.observation, step.sight)


def _folder(path: Path) -> Path:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"The folder {path} cannot be made: {error.strerror}.") from error
    return path


def _write_jpeg(path: Path, image: NDArray[np.uint8]) -> None:
    from huehold.recorder import thumbnail

    try:
        path.write_bytes(thumbnail(image, image.shape[1]))
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}.") from error
