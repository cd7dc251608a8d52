"""What really happened in a virtual run: the yardstick every measured figure is held against."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from huehold.core import Reading
from huehold.errors import InputError

__all__ = ["Addition", "Disturbance", "DisturbanceKind", "TrueEndpoint", "Truth", "last_entry"]

FloatArray = NDArray[np.float64]

DisturbanceKind = Literal[
    "hand", "dropper", "swirl", "wave", "knock", "shift", "glare", "dark", "white_lost"
]

_SCHEMA = "huehold.truth/1"
_COLUMNS = (
    "time_s",
    "ph",
    "plume_ph",
    "plume_fraction",
    "undissolved_fraction",
    "solid_g_per_l",
    "dye_left",
    "added_g",
    "liquid_g",
)


@dataclass(frozen=True, slots=True)
class Addition:
    """One portion of titrant as it fell.

    Attributes
    ----------
    time_s : float
        When it reached the liquid.
    mass_g : float
        Its true mass.
    kind : str
        ``"squirt"`` or ``"drop"``.
    x, y : float
        Where it landed, in radii of the liquid's surface from its middle.
    """

    time_s: float
    mass_g: float
    kind: Literal["squirt", "drop"] = "drop"
    x: float = 0.0
    y: float = 0.0


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A stretch of time in which something stands between camera and liquid, or moves it."""

    start_s: float
    end_s: float
    kind: DisturbanceKind


@dataclass(frozen=True, slots=True)
class TrueEndpoint:
    """An endpoint as it really was.

    Attributes
    ----------
    onset_s : float
        When the end colour came to stay, with nothing added after.
    before_g, mass_g : float
        True titrant before and after the portion that brought it: the bracket.
    """

    onset_s: float
    before_g: float
    mass_g: float


@dataclass(frozen=True, slots=True)
class Truth:
    """A virtual run as it really was.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Even grid from 0; the other columns are on it.
    ph : ndarray
        pH of the well-mixed liquid (or p-value of the indicator's variable).
    plume_ph, plume_fraction : ndarray
        pH of the part the last portion has reached but not yet left, and its share of the
        surface, 0 to 1; where there is none the pH is that of the liquid and the share 0.
    undissolved_fraction : ndarray
        Solid left over solid at the start, 0 to 1.
    solid_g_per_l : ndarray
        Solid left per litre of the liquid at the start (see `LiquidOptics` on why).
    dye_left : ndarray
        Share of the dyes that has not faded, 0 to 1.
    added_g : ndarray
        True cumulative mass of titrant.
    liquid_g : ndarray
        Mass of everything in the cup.
    additions : tuple of Addition
        Every portion.
    readings : tuple of Reading
        What the balance showed when it was read, with its faults.
    disturbances : tuple of Disturbance
        Hands, swirls and knocks, in time order; kinds may overlap.
    equivalence_g : float
        Titrant that neutralises the sample's solid exactly, by stoichiometry alone.
    blank_g : float
        Titrant that brings the water without sample to `turning_ph`; below 0 if the water is
        on the end side by itself.
    turning_g : float
        Titrant with which the whole cup, all solid dissolved, stands at `turning_ph`.
    turning_ph : float
        pH at which the clear liquid's colour has gone six tenths of the way from that with
        solid left to that well past the end (see `huehold.virtual.run.hue_turned`).
    onset_s : float or None
        The last time the well-mixed liquid's pH crossed `turning_ph` towards the end side,
        never to return before the run's end; None if it ended on the start side.
    end_is_low : bool
        Whether the end side is below `turning_ph` (titration with an acid).
    dose_mg : float
        Mass of the active solid in the sample.
    settings : mapping
        The settings the run was made from, plain values.
    """

    time_s: FloatArray
    ph: FloatArray
    plume_ph: FloatArray
    plume_fraction: FloatArray
    undissolved_fraction: FloatArray
    solid_g_per_l: FloatArray
    dye_left: FloatArray
    added_g: FloatArray
    liquid_g: FloatArray
    additions: tuple[Addition, ...]
    readings: tuple[Reading, ...]
    disturbances: tuple[Disturbance, ...]
    equivalence_g: float
    blank_g: float
    turning_g: float
    turning_ph: float
    onset_s: float | None
    end_is_low: bool = True
    dose_mg: float = 0.0
    settings: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in _COLUMNS:
            column = getattr(self, name)
            if column.shape != self.time_s.shape or not np.all(np.isfinite(column)):
                raise InputError(
                    f"The truth's column {name} must have the length of time_s and only "
                    "finite numbers."
                )

    @property
    def duration_s(self) -> float:
        """Time of the last sample."""
        return float(self.time_s[-1])

    @property
    def held_s(self) -> float:
        """How long the end colour held before the run's end; 0 if it did not."""
        return 0.0 if self.onset_s is None else self.duration_s - self.onset_s

    @property
    def lasting(self) -> bool:
        """Whether the end colour will stay for good: enough titrant for the whole sample.

        An end colour can outlast any hold while the last grains dissolve, and still go back.
        """
        return self.onset_s is not None and float(self.added_g[-1]) >= self.turning_g

    def endpoint(self, hold_s: float) -> TrueEndpoint | None:
        """Find the endpoint under a method's hold; None if it was not reached.

        Within the last stay on the end side: the first moment (its entry, or a portion that
        fell during it) after which `hold_s` passed without a further portion. A portion that
        falls into a colour that had not held long enough starts the hold anew.

        Parameters
        ----------
        hold_s : float
            How long the end colour must hold, > 0.
        """
        if self.onset_s is None:
            return None
        late = [a.time_s for a in self.additions if a.time_s > self.onset_s]
        starts = [self.onset_s, *late]
        for start, following in zip(starts, [*late, self.duration_s], strict=True):
            if following - start >= hold_s:
                return TrueEndpoint(start, *self._masses_at(start))
        return None

    def _masses_at(self, time_s: float) -> tuple[float, float]:
        """Titrant before and after the last portion that fell up to a moment."""
        masses = [a.mass_g for a in self.additions if a.time_s <= time_s]
        return sum(masses[:-1]), sum(masses)

    def at(self, name: str, time_s: FloatArray) -> FloatArray:
        """Interpolate a column at other times, held at the ends."""
        return np.asarray(np.interp(time_s, self.time_s, getattr(self, name)))

    def to_json(self) -> str:
        """Write as one JSON object; numbers are finite by construction."""
        data: dict[str, Any] = {"schema": _SCHEMA}
        for part in fields(self):
            value = getattr(self, part.name)
            data[part.name] = _plain(value)
        return json.dumps(data, allow_nan=False, separators=(",", ":"))

    def save(self, path: Path) -> None:
        """Write the JSON object to a file."""
        path.write_text(self.to_json(), encoding="utf-8")

    @classmethod
    def from_json(cls, text: str) -> Truth:
        """Read what `to_json` wrote.

        Raises
        ------
        InputError
            If the text is not such an object.
        """
        try:
            data = json.loads(text, parse_constant=_refuse)
            if data.pop("schema") != _SCHEMA:
                raise ValueError("another schema")
            data |= {name: np.array(data[name], dtype=float) for name in _COLUMNS}
            data["additions"] = tuple(Addition(**a) for a in data["additions"])
            data["readings"] = tuple(Reading(**r) for r in data["readings"])
            data["disturbances"] = tuple(Disturbance(**d) for d in data["disturbances"])
            return cls(**data)
        except (ValueError, KeyError, TypeError, AttributeError) as problem:
            raise InputError(
                f"This is not the truth of a virtual run ({problem}); "
                f"a JSON object with schema {_SCHEMA} is needed."
            ) from None


def last_entry(time_s: FloatArray, inside: NDArray[np.bool_]) -> int | None:
    """Index at which a condition became true for good, None if it is false at the end.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Only its length matters.
    inside : ndarray of bool, shape (n,)
        The condition.
    """
    if len(time_s) == 0 or not inside[-1]:
        return None
    outside = np.flatnonzero(~inside)
    return int(outside[-1]) + 1 if len(outside) else 0


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return [float(f"{v:.7g}") for v in value]
    if isinstance(value, tuple):
        return [asdict(v) for v in value]
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError("A truth with a number that is not finite cannot be written.")
    return value


def _refuse(constant: str) -> float:
    raise ValueError(f"{constant} is not a number")
