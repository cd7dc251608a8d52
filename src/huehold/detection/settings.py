"""What a method asks of the detector, and the hue bands it names."""

from __future__ import annotations

import math
from dataclasses import dataclass

from huehold.core import TRUSTED
from huehold.errors import UsageError

__all__ = ["DetectorSettings", "HueBand"]


@dataclass(frozen=True, slots=True)
class HueBand:
    """A sector of the hue circle, from `low_deg` upwards to `high_deg`; may cross 0.

    Attributes
    ----------
    low_deg, high_deg : float
        CIELAB hue angles in degrees. (350, 70) means the 80 degrees around 30.
    """

    low_deg: float
    high_deg: float

    @property
    def width_deg(self) -> float:
        """Extent of the sector, in [0, 360)."""
        return (self.high_deg - self.low_deg) % 360.0

    @property
    def centre_deg(self) -> float:
        """Middle of the sector, in [0, 360)."""
        return (self.low_deg + self.width_deg / 2.0) % 360.0

    def outside_deg(self, hue_deg: float) -> float:
        """Return how far a hue lies outside: 0 within, negative below, positive above."""
        away = turn_deg(hue_deg - self.centre_deg)
        return math.copysign(max(abs(away) - self.width_deg / 2.0, 0.0), away)


def turn_deg(angle_deg: float) -> float:
    """Bring an angle into [-180, 180)."""
    return (angle_deg + 180.0) % 360.0 - 180.0


@dataclass(frozen=True, slots=True)
class DetectorSettings:
    """What the detector must know about the titration.

    Attributes
    ----------
    start_hue_deg, end_hue_deg : (float, float)
        Hue bands of the indicator's start and end colour, low to high in degrees,
        counted upwards, so that (350, 70) crosses 0.
    hold_s : float
        How long the end colour must persist, in seconds, > 0.
    max_blind_s : float
        Longest stretch without a trusted observation within a hold, in seconds, > 0.
    clearing : bool
        Whether the mixture is expected to be clear at the endpoint.
    min_trust : float
        Observations below this trust are not used, 0 to 1.

    Raises
    ------
    UsageError
        If a value is out of its range or the two bands overlap.
    """

    start_hue_deg: tuple[float, float]
    end_hue_deg: tuple[float, float]
    hold_s: float = 60.0
    max_blind_s: float = 5.0
    clearing: bool = True
    min_trust: float = TRUSTED

    def __post_init__(self) -> None:
        _demand_positive("hold_s", self.hold_s)
        _demand_positive("max_blind_s", self.max_blind_s)
        if not 0.0 <= self.min_trust <= 1.0:
            raise UsageError(f"min_trust is {self.min_trust}; it must lie between 0 and 1.")
        _demand_angles("start_hue_deg", self.start_hue_deg)
        _demand_angles("end_hue_deg", self.end_hue_deg)
        if self.gap_deg <= 0.0:
            raise UsageError(
                f"The start colour's hues {tuple(self.start_hue_deg)} and the end colour's "
                f"{tuple(self.end_hue_deg)} overlap; give bands that lie apart."
            )

    @property
    def start_band(self) -> HueBand:
        """The start colour's hue band."""
        return HueBand(*map(float, self.start_hue_deg))

    @property
    def end_band(self) -> HueBand:
        """The end colour's hue band."""
        return HueBand(*map(float, self.end_hue_deg))

    @property
    def turns_up(self) -> bool:
        """Whether the hue angle grows from the start colour to the end colour."""
        return turn_deg(self.end_band.centre_deg - self.start_band.centre_deg) > 0.0

    @property
    def gap_deg(self) -> float:
        """Degrees between the two bands the short way round; not above 0 if they overlap."""
        apart = abs(turn_deg(self.end_band.centre_deg - self.start_band.centre_deg))
        return apart - (self.start_band.width_deg + self.end_band.width_deg) / 2.0


def _demand_positive(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise UsageError(f"{name} is {value}; it must be a number of seconds above 0.")


def _demand_angles(name: str, band: tuple[float, float]) -> None:
    if len(band) != 2 or not all(math.isfinite(edge) for edge in band):
        raise UsageError(f"{name} is {band}; it must be two angles in degrees, low and high.")
