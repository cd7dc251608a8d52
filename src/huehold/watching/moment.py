"""How a live run stands, for whoever shows it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from huehold.capture.live import LiveState
from huehold.core import Event, Frame, Observation, Rect
from huehold.cues import Cue
from huehold.detection import Forecast

__all__ = ["Listener", "Moment"]


@dataclass(frozen=True, slots=True)
class Moment:
    """How the run stands after a frame, or after a while without one.

    Attributes
    ----------
    time_s : float
        Seconds from the first frame.
    observation : Observation or None
        What the newest frame said; None when no frame came.
    events : tuple of Event
        What could newly be told.
    cues : tuple of Cue
        What should be heard now.
    phase : str
        The detector's word for where the run stands.
    held_s, hold_s : float
        How long the end colour has held, and how long it must.
    forecast : Forecast or None
        Whether it is likely to hold.
    source : str
        What the camera is doing: opening, running, stalled, ended or lost.
    paused : bool
        Whether the user paused the run.
    white : Rect or None
        Where the white patch was measured.
    falling : bool
        Whether the colour that the last addition brought is seen to go back.
    """

    time_s: float
    observation: Observation | None
    events: tuple[Event, ...]
    cues: tuple[Cue, ...]
    phase: str
    held_s: float
    hold_s: float
    forecast: Forecast | None
    source: LiveState
    paused: bool
    white: Rect | None = None
    falling: bool = False

    @property
    def state(self) -> str:
        """The phase in the words for people, who see the colour itself.

        "addition seen" until its colour begins to go back or to hold, "fading back" until it is
        as good as back, else the detector's phase.
        """
        if self.phase == "fading back" and not self.falling:
            return "addition seen"
        return "fading back" if self.phase == "start colour" and self.falling else self.phase


Listener = Callable[[Moment, Frame | None], None]
