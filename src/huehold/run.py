"""A finished run: everything that is shown, written to files, or kept in the notebook."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from huehold.core import Ellipse, Event, Reading, Rect, SourceInfo, Trace, Verdict

if TYPE_CHECKING:
    from huehold.methods import Method
    from huehold.stoichiometry.assay import Assay

__all__ = ["Picture", "Run", "Settings"]


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user chose for watching, beside the method.

    Attributes
    ----------
    hold_s : float or None
        How long the end colour must hold; None takes the method's.
    vessel : Ellipse or None
        Outline of the liquid if it was given; None lets it be found.
    white : Rect or None
        The white patch if it was given; None lets it be found.
    rate_hz : float
        Frames analysed per second.
    """

    hold_s: float | None = None
    vessel: Ellipse | None = None
    white: Rect | None = None
    rate_hz: float = 12.0


@dataclass(frozen=True, slots=True)
class Picture:
    """A thumbnail of the run: JPEG bytes and the time they show."""

    time_s: float
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class Run:
    """One run from the first frame to the result.

    Attributes
    ----------
    source : SourceInfo
        Where the frames came from.
    method : Method
        The titration as data.
    settings : Settings
        What the user chose.
    verdict : Verdict
        What the run came to.
    events : tuple of Event
        In time order.
    trace : Trace
        The observations.
    readings : tuple of Reading
        Titrant masses, in time order; may be empty.
    assay : Assay or None
        The result, if the masses for it were given and the verdict allows one.
    warnings : tuple of str
        Sentences to read beside the result, each once.
    frames_seen, frames_used : int
        Frames in the source, and frames analysed.
    pictures : tuple of Picture
        Thumbnails over the run for review.
    interrupted : bool
        Whether the user stopped the run before its end.
    assay_problem : str
        What is wrong with the masses that were given; empty if nothing.
    turbidity_basis : str
        What turbidity was read from: ``"view"`` (the pattern behind the liquid), ``"veil"``
        (scattered light), ``"veil and view"``, or ``"none"`` if neither was usable.
    calibrations : tuple of str
        Those in use, such as ``"dropper/kitchen@2"``.
    """

    source: SourceInfo
    method: Method
    settings: Settings
    verdict: Verdict
    events: tuple[Event, ...]
    trace: Trace
    readings: tuple[Reading, ...] = ()
    assay: Assay | None = None
    warnings: tuple[str, ...] = ()
    frames_seen: int = 0
    frames_used: int = 0
    pictures: tuple[Picture, ...] = ()
    interrupted: bool = False
    assay_problem: str = ""
    turbidity_basis: str = "none"
    calibrations: tuple[str, ...] = ()

    @property
    def hold_s(self) -> float:
        """How long the end colour had to hold in this run, in seconds."""
        return self.settings.hold_s or self.method.endpoint.hold_s
