"""What the balance under the cup shows over time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from huehold.virtual.presets_model import BalanceOn
from huehold.virtual.simulate_story import Story

__all__ = ["ShownMass"]

Floats = NDArray[np.float64]
_STEP_S = 0.25  # the display changes four times a second
_PRESS_G = 30.0


class ShownMass:
    """The reading: the titrant's mass, late by the settling, disturbed by a hand on the cup.

    Parameters
    ----------
    story : Story
    balance : BalanceOn
    rng : numpy Generator
        How hard the hand presses or lifts.
    """

    def __init__(self, story: Story, balance: BalanceOn, rng: np.random.Generator) -> None:
        self._time = np.arange(0.0, story.duration_s + 1.0, _STEP_S)
        true = np.interp(self._time, story.time_s, story.titrant_g)
        grip = np.array([story.during("swirl", t, ease_s=0.2) for t in self._time])
        hard = _PRESS_G * rng.normal(0.0, 1.0, len(self._time))
        share = 1.0 - np.exp(-_STEP_S / balance.settling_s)
        self._shown = _settled(true + grip * hard, float(share))
        self._shown = np.round(self._shown / balance.readability_g) * balance.readability_g

    def at(self, time_s: float) -> float:
        """Shown mass in g at a moment; the display holds a value until it changes."""
        k = int(np.clip(time_s / _STEP_S, 0, len(self._time) - 1))
        return float(self._shown[k]) + 0.0


def _settled(wanted: Floats, share: float) -> Floats:
    out = np.empty_like(wanted)
    held = float(wanted[0])
    for k, value in enumerate(wanted):
        held += share * (float(value) - held)
        out[k] = held
    return out
