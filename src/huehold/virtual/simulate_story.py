"""What happens on the bench, in the form the scene needs: columns over time, portions, acts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["LOOK_COLUMNS", "Act", "Portion", "Story", "still_story"]

Floats = NDArray[np.float64]
LOOK_COLUMNS = 8
"""Veil (3), through (3), sharp share, blur in mm: see `huehold.virtual.optics.Appearance`."""


@dataclass(frozen=True, slots=True)
class Portion:
    """One portion of titrant as it lands.

    Attributes
    ----------
    time_s, mass_g : float
    x, y : float
        Where, in radii of the liquid's surface from its middle.
    """

    time_s: float
    mass_g: float
    x: float = 0.0
    y: float = 0.0


@dataclass(frozen=True, slots=True)
class Act:
    """Something that happens, from start to end.

    Kinds: dropper, swirl, wave, wander, waving (people); knock, shift, glare, dark, gap
    (faults). `at` is where over the cup, in radii of the surface as in `Portion`.
    """

    start_s: float
    end_s: float
    kind: str
    at: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Story:
    """A run as columns over time, shape (n,), and what is seen of it.

    Attributes
    ----------
    time_s, ph, undissolved, titrant_g : ndarray
        pH is NaN throughout where there is no liquid; undissolved is a fraction of the start.
    look, plume : ndarray, shape (n, 8)
        Appearance of the mixture, and of it where fresh titrant is in excess.
    portions, acts : tuple
    onset_s : float or None
        From when the end colour holds to the end of the run.
    masses : tuple of (float, float)
        Time in s and cumulative titrant in g, as the person noted them.
    facts : mapping
        Further plain values for the truth file.
    """

    time_s: Floats
    ph: Floats
    undissolved: Floats
    titrant_g: Floats
    look: Floats
    plume: Floats
    portions: tuple[Portion, ...] = ()
    acts: tuple[Act, ...] = ()
    onset_s: float | None = None
    masses: tuple[tuple[float, float], ...] = ()
    facts: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def duration_s(self) -> float:
        """Length of the run."""
        return float(self.time_s[-1])

    @property
    def anchor_s(self) -> float:
        """Moment from which faults are counted: the onset, or 60 % of a run without one."""
        return 0.6 * self.duration_s if self.onset_s is None else self.onset_s

    def at(self, time_s: float) -> tuple[Floats, Floats]:
        """Look and plume look at a moment, each of shape (8,), linear between samples."""
        k = int(np.clip(np.searchsorted(self.time_s, time_s) - 1, 0, len(self.time_s) - 2))
        span = self.time_s[k + 1] - self.time_s[k]
        f = float(np.clip((time_s - self.time_s[k]) / span, 0.0, 1.0))
        first, second = 1.0 - f, f
        return (
            first * self.look[k] + second * self.look[k + 1],
            first * self.plume[k] + second * self.plume[k + 1],
        )

    def during(self, kind: str, time_s: float, ease_s: float = 0.5) -> float:
        """How far an act of this kind is on at a moment, 0 to 1, eased in and out."""
        level = 0.0
        for act in self.acts:
            if act.kind == kind and act.start_s - ease_s < time_s < act.end_s + ease_s:
                rise = np.clip((time_s - act.start_s) / ease_s + 1.0, 0.0, 1.0)
                fall = np.clip((act.end_s - time_s) / ease_s + 1.0, 0.0, 1.0)
                level = max(level, float(min(rise, fall)))
        return level * level * (3.0 - 2.0 * level)


def still_story(duration_s: float, acts: tuple[Act, ...] = ()) -> Story:
    """Make a story without chemistry: clear nothing in the cup, for negative controls."""
    time = np.array([0.0, duration_s])
    clear = np.tile([0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.0], (2, 1))
    blank = np.full(2, np.nan)
    zero = np.zeros(2)
    return Story(time, blank, blank, zero, clear, clear, acts=acts)
