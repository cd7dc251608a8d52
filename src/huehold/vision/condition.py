"""What stands in the way of a sound measurement in this frame: severities by reason."""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray

from huehold.vision.channels import largest, quantile_of
from huehold.vision.keeping import Holding
from huehold.vision.liquid import Liquid
from huehold.vision.surroundings import Around
from huehold.vision.white import White

__all__ = ["Condition"]

_FROZEN_S = 1.5
_KNOCK_S = 0.6
_HAND_AT_RIM = 0.03, 0.09  # share of the ring around the vessel: none, certainly
_KNOCK_CELLS = 0.6  # less is a sway that is followed without a word
_DARK_CODE = 22.0
_USUAL_S = 3.0  # what the liquid looked like lately
_ADOPT_S = 8.0  # a look that stays this long is the liquid's own


def _ramp(value: float, none: float, full: float) -> float:
    """0 at `none`, 1 at `full`, straight between."""
    return min(max((value - none) / (full - none), 0.0), 1.0)


def _hand(around: Around) -> float:
    """Weigh a hand: little harm beside the cup, all of it over most of the rim."""
    near = around.near_changed
    return 0.3 * _ramp(near, 0.04, 0.15) + 0.7 * _ramp(near, 0.35, 0.65)


def _uneven(around: Around, liquid: Liquid) -> float:
    """Weigh a second colour; with a hand at the rim it may be the hand that is measured."""
    hand = _ramp(around.near_changed, *_HAND_AT_RIM)
    return _ramp(liquid.odd, 0.20 - 0.08 * hand, 0.50 - 0.18 * hand)


def _equal(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> bool:
    """Whether two pictures are the same to the bit; a few rows mostly tell."""
    return np.array_equal(one[::16], other[::16]) and np.array_equal(one, other)


class Veil:
    """Notice a reflection over all of the liquid: much lighter and paler from one moment on.

    No addition does that: the colour turns at about the same lightness, and solid that is
    stirred up lightens slowly.
    """

    def __init__(self) -> None:
        self._usual: deque[tuple[float, float, float]] = deque()
        self._since_s: float | None = None

    def over(self, time_s: float, reflectance: NDArray[np.float64]) -> float:
        """Return from 0 to 1 how far the liquid is veiled.

        Parameters
        ----------
        time_s : float
        reflectance : ndarray of float, shape (3,)
            The liquid's colour in linear light, referred to the white.
        """
        light, deep = float(reflectance.mean()), float(np.ptp(reflectance) / reflectance.max())
        while len(self._usual) > 1 and self._usual[0][0] < time_s - _USUAL_S:
            self._usual.popleft()
        veiled = self._against_usual(light, deep)
        if veiled < 0.5:
            self._since_s = None
        elif self._since_s is None:
            self._since_s = time_s
        if self._since_s is None or time_s - self._since_s > _ADOPT_S:
            self._usual.append((time_s, light, deep))
        return veiled

    def _against_usual(self, light: float, deep: float) -> float:
        if not self._usual:
            return 0.0
        usual_light = median(seen[1] for seen in self._usual)
        usual_deep = median(seen[2] for seen in self._usual)
        lighter = _ramp(light / max(usual_light, 1e-3), 2.0, 3.0)
        return lighter * _ramp(usual_deep - deep, 0.08, 0.2)


class Condition:
    """Judge frames in time order; the memory is a few numbers and one small picture."""

    def __init__(self) -> None:
        self._last: NDArray[np.uint8] | None = None
        self._changed_s = 0.0
        self._knock_s = -np.inf
        self._levels: deque[list[float]] = deque(maxlen=8)
        self._veil = Veil()

    def of_picture(self, time_s: float, image: NDArray[np.uint8]) -> dict[str, float]:
        """Severities that need no vessel: a frozen or a dark picture."""
        same = self._last is not None and _equal(self._last, image)
        if not same:
            self._changed_s, self._last = time_s, image
        bright = quantile_of(largest(image[::4, ::4]).ravel(), 0.9)
        return {
            "frozen": 1.0 if time_s - self._changed_s > _FROZEN_S else 0.0,
            "dark": 1.0 - _ramp(bright, _DARK_CODE, 2.0 * _DARK_CODE),
        }

    def of_measure(
        self, time_s: float, held: Holding, around: Around, white: White, liquid: Liquid
    ) -> dict[str, float]:
        """Severities of everything around the measurement of the liquid."""
        if math.hypot(*around.shift_px) > _KNOCK_CELLS * around.cell_px:
            self._knock_s = time_s
        step, flicker = self._light(around)
        return {
            "searching": 1.0 if held.state == "searching" else 0.0,
            "vessel_lost": 1.0 - _ramp(held.likeness, 0.15, 0.4),
            "hand": _hand(around),
            "knock": 1.0 if time_s - self._knock_s < _KNOCK_S else 0.0,
            "moving": _ramp(held.motion, 0.04, 0.25),
            "glare": max(
                _ramp(liquid.glare, 0.12, 0.45),
                self._veil.over(time_s, liquid.linear / white.linear),
            ),
            "clipped": _ramp(liquid.clipped, 0.10, 0.6),
            "uneven": _uneven(around, liquid),
            "exposure_step": 0.0 if around.banding > 0.0 else step,
            "flicker": max(flicker, _ramp(around.banding, 0.03, 0.2)),
            "white_carried": 1.0 if white.basis == "carried" and around.gain_known else 0.0,
            "white_lost": 0.0 if white.basis == "patch" or around.gain_known else 1.0,
            "white_assumed": 1.0 if white.basis == "assumed" else 0.0,
        }

    def _light(self, around: Around) -> tuple[float, float]:
        """Sudden change and flicker of the camera's gain."""
        levels = self._levels
        levels.append([math.log(gain) for gain in around.gain.tolist()])
        if len(levels) < 2:
            return 0.0, 0.0
        latest = max(abs(now - before) for now, before in zip(levels[-1], levels[-2], strict=True))
        steps = [(sum(now) - sum(before)) / 3.0 for before, now in pairwise(levels)]
        turned = [(one > 0.0) != (two > 0.0) for one, two in pairwise(steps)]
        turns = sum(turned) / len(turned) if len(steps) > 3 else 0.0
        swing = median(abs(step) for step in steps)
        return _ramp(latest, 0.04, 0.15), _ramp(swing, 0.02, 0.08) * turns
