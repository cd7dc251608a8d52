"""The few plain types that travel through the whole program.

Data flows one way: `Frame` -> `Observation` -> `Event` and `Verdict`, with `Reading`
beside them. All are immutable; arrays are never changed after they were handed on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "OBSERVED",
    "Ellipse",
    "Event",
    "EventKind",
    "Frame",
    "Observation",
    "Reading",
    "Rect",
    "SourceInfo",
    "Trace",
    "Verdict",
    "VerdictKind",
]

EventKind = Literal[
    "addition",
    "fade_back",
    "hold_started",
    "hold_broken",
    "endpoint",
    "overshoot",
    "disturbance",
]
VerdictKind = Literal["endpoint", "not_reached", "overshoot", "no_start_colour", "unreadable"]


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture and the moment it shows.

    Attributes
    ----------
    time_s : float
        Seconds from the first frame of the run, from presentation stamps or a
        monotonic clock.
    image : ndarray of uint8, shape (height, width, 3)
        Red, green, blue as sRGB-encoded values (IEC 61966-2-1), upright.
    """

    time_s: float
    image: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Rect:
    """An upright rectangle in pixels: left, top, width, height."""

    x_px: float
    y_px: float
    width_px: float
    height_px: float


@dataclass(frozen=True, slots=True)
class Ellipse:
    """The outline of the vessel's liquid in pixels.

    Attributes
    ----------
    x_px, y_px : float
        Centre; x to the right, y down.
    semi_major_px, semi_minor_px : float
        Half axes, major >= minor > 0.
    angle_deg : float
        Direction of the major axis, clockwise from +x in the picture, in [0, 180).
    """

    x_px: float
    y_px: float
    semi_major_px: float
    semi_minor_px: float
    angle_deg: float = 0.0


TRUSTED: Final = 0.5
"""Trust from which an observation is used for decisions."""


@dataclass(frozen=True, slots=True)
class Observation:
    """What one analysed frame says, and how far it can be trusted.

    Attributes
    ----------
    time_s : float
        Seconds from the first frame.
    lightness, a, b : float
        CIELAB (CIE 15) of the liquid, D65, referred to the white in view; NaN if unseen.
    hue_deg, chroma : float
        CIELAB hue angle in [0, 360) and chroma; NaN if unseen.
    hue_sd_deg : float
        Standard uncertainty of the hue angle; grows as chroma falls; NaN if unseen.
    turbidity : float
        0 as clear as water in that cup, 1 as cloudy as at the start; NaN if not usable.
    vessel : Ellipse or None
        Where the liquid was measured; None if no vessel was found.
    trust : float
        0 (worthless) to 1 (sound). Below `TRUSTED` it is not used for decisions.
    reasons : tuple of str
        Why trust is below 1, most important first, e.g. ``("hand", "white_lost")``.
    strip : ndarray of uint8, shape (n, 3), or None
        sRGB pixels of the liquid along one line, for the colour ribbon.
    """

    time_s: float
    lightness: float
    a: float
    b: float
    hue_deg: float
    chroma: float
    hue_sd_deg: float
    turbidity: float
    vessel: Ellipse | None
    trust: float
    reasons: tuple[str, ...] = ()
    strip: NDArray[np.uint8] | None = None


OBSERVED = (
    "time_s", "lightness", "a", "b", "hue_deg", "chroma", "hue_sd_deg", "turbidity", "trust",
)  # fmt: skip
"""Names of the numbers of an `Observation`, as the trace and the notebook keep them."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened in the run.

    Attributes
    ----------
    time_s : float
        When it happened (not when it was noticed).
    kind : EventKind
        What happened.
    end_s : float or None
        End of an event that lasts (a fade-back, a disturbance), else None.
    told_s : float or None
        Time of the observation at which it could first be told.
    detail : mapping
        Further plain values by name (numbers, text or None), for people and files.
    """

    time_s: float
    kind: EventKind
    end_s: float | None = None
    told_s: float | None = None
    detail: Mapping[str, float | str | None] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Reading:
    """The cumulative mass of titrant at a moment.

    Attributes
    ----------
    time_s : float
        Seconds from the first frame.
    mass_g : float
        Titrant added since the start, in grams.
    source : str
        ``"typed"``, ``"file"``, ``"balance"`` or ``"display"``.
    """

    time_s: float
    mass_g: float
    source: str


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """Where frames came from, as far as it is known.

    Attributes
    ----------
    name : str
        File name or device name, without its folder.
    width_px, height_px : int
        Size of the upright picture.
    duration_s : float or None
        Length as the container states it; None for live sources.
    detail : mapping of str to str
        Codec, pixel format, colour tags and such, for the report.
    """

    name: str
    width_px: int
    height_px: int
    duration_s: float | None = None
    detail: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the run came to.

    Attributes
    ----------
    kind : VerdictKind
        One of the five verdicts.
    reasons : tuple of str
        Sentences that say why.
    onset_s, confirmed_s : float or None
        When the end colour came to stay, and when the hold was complete.
    hold_s : float or None
        How long the end colour was seen to hold since the onset.
    hue_deg : float or None
        Hue angle of the colour that held.
    cleared : bool or None
        Whether the mixture had cleared; None if turbidity could not be judged.
    warnings : tuple of str
        Sentences the user should read beside the verdict.
    """

    kind: VerdictKind
    reasons: tuple[str, ...] = ()
    onset_s: float | None = None
    confirmed_s: float | None = None
    hold_s: float | None = None
    hue_deg: float | None = None
    cleared: bool | None = None
    warnings: tuple[str, ...] = ()


FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Trace:
    """Observations of a run as columns in time order, each of shape (n,)."""

    time_s: FloatArray
    lightness: FloatArray
    a: FloatArray
    b: FloatArray
    hue_deg: FloatArray
    chroma: FloatArray
    hue_sd_deg: FloatArray
    turbidity: FloatArray
    trust: FloatArray
    vessel: tuple[Ellipse | None, ...]
    reasons: tuple[tuple[str, ...], ...]
    strip: tuple[NDArray[np.uint8] | None, ...]

    def __len__(self) -> int:
        return len(self.time_s)

    @classmethod
    def of(cls, observations: Sequence[Observation]) -> Trace:
        """Gather observations into columns.

        Parameters
        ----------
        observations : sequence of Observation
            In time order; may be empty.
        """
        columns = {
            name: np.array([getattr(o, name) for o in observations], dtype=float)
            for name in OBSERVED
        }
        return cls(
            **columns,
            vessel=tuple(o.vessel for o in observations),
            reasons=tuple(o.reasons for o in observations),
            strip=tuple(o.strip for o in observations),
        )
