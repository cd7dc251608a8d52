"""What a live run knows of its camera: outlines set by hand, and whether it keeps still."""

from __future__ import annotations

from dataclasses import asdict

from huehold.calibration.camera_check import CameraFinding, check_camera
from huehold.capture.live import LiveSource
from huehold.core import Ellipse, Frame, Rect
from huehold.recorder import shrunk
from huehold.session import Session
from huehold.watching.keeper import Keeper

__all__ = ["Outlines", "Steadiness"]

_FITS_NO_LONGER = (
    "The picture changed its size and an outline no longer lies in it; liquid and white are found "
    "anew. Set them by hand again if they are wrong."
)
_WIDTH_PX = 96
_FEWEST, _MOST = 20, 40
_LOOK_EVERY_S = 8.0


class Outlines:
    """Outlines of liquid and white that the user sets; kept in the notebook.

    Parameters
    ----------
    session : Session
        Told of each.
    keeper : Keeper
        Writes each down.
    """

    def __init__(self, session: Session, keeper: Keeper) -> None:
        self._session, self._keeper = session, keeper

    def place(self, time_s: float, what: str, shape: Ellipse | Rect | None) -> None:
        """Take the user's word; None leaves it to the program again.

        Raises
        ------
        InputError
            If the outline makes no sense or lies outside the picture.
        """
        self._tell(what, shape)
        self._keeper.add_outline(time_s, what, None if shape is None else asdict(shape))

    def let_go(self) -> str:
        """Leave both to the program, as the picture is no longer the one they were set in.

        Returns
        -------
        str
            What to tell the user.
        """
        self._tell("vessel", None)
        self._tell("white", None)
        return _FITS_NO_LONGER

    def _tell(self, what: str, shape: Ellipse | Rect | None) -> None:
        if what == "vessel":
            assert shape is None or isinstance(shape, Ellipse)
            self._session.place_vessel(shape)
        else:
            assert shape is None or isinstance(shape, Rect)
            self._session.place_white(shape)


class Steadiness:
    """Looks at the pictures themselves for what a camera that says "locked" may do all the same.

    Small pictures spread over the run are kept, a bounded number, and looked at now and then.

    Parameters
    ----------
    source : LiveSource
        Its `locks` say what the driver claims.
    """

    def __init__(self, source: LiveSource) -> None:
        self._source = source
        self._frames: list[Frame] = []
        self._every_s = 0.25
        self._next_s = self._look_s = -1e9
        self._told: set[str] = set()

    def look(self, frame: Frame) -> list[str]:
        """Take a frame in; return what is newly to be told."""
        if "locked" not in self._source.locks.values() or frame.time_s < self._next_s:
            return []
        self._next_s = frame.time_s + self._every_s
        self._frames.append(Frame(frame.time_s, shrunk(frame.image, _WIDTH_PX)))
        if len(self._frames) > _MOST:
            self._frames = self._frames[::2]
            self._every_s *= 2
        if frame.time_s < self._look_s or len(self._frames) < _FEWEST:
            return []
        self._look_s = frame.time_s + _LOOK_EVERY_S
        return [
            _words(self._source.info.name, finding)
            for finding in check_camera(self._frames)
            if self._is_news(finding)
        ]

    def _is_news(self, finding: CameraFinding) -> bool:
        claimed = self._source.locks.get(finding.what) == "locked"
        if not claimed or finding.state != "bad" or finding.what in self._told:
            return False
        self._told.add(finding.what)
        return True


def _words(name: str, finding: CameraFinding) -> str:
    return (
        f"{name[:1].upper()}{name[1:]} says that its {finding.what} is locked, but the pictures "
        f"wandered by {finding.value:.0f} %: it is not, or the light changed; keep white paper or "
        "the bench card in view."
    )
