"""The plane decisions are made in: CIELAB a*, b* freed from exposure.

A common factor on all light (exposure, shade) multiplies L* + 16, a* and b* by the same
number, because CIELAB is a cube root of light (CIE 15). Dividing a* and b* by L* + 16
therefore takes a change of exposure out exactly, and leaves hue as it was.
A colour is one complex number, so that distances and turns are plain arithmetic.
"""

from __future__ import annotations

import cmath
import math
from statistics import median
from typing import NamedTuple

from huehold.core import Observation

__all__ = ["Sample", "chroma", "hue_deg", "is_readable", "middle", "sample_of"]

_REFERENCE = 76.0  # L* + 16 at L* = 60: keeps the plane's units those of a*, b*
_DARKEST = 12.0  # below this L* + 16 the quotient would only blow up noise


class Sample(NamedTuple):
    """One reading: when, its colour in the plane, turbidity and trust."""

    time_s: float
    colour: complex
    turbidity: float = math.nan
    trust: float = 1.0


def is_readable(observation: Observation) -> bool:
    """Tell whether an observation carries a colour at all."""
    return (
        math.isfinite(observation.a)
        and math.isfinite(observation.b)
        and math.isfinite(observation.lightness)
    )


def sample_of(observation: Observation) -> Sample:
    """Return the observation's colour in the plane; it must be readable."""
    scale = _REFERENCE / max(observation.lightness + 16.0, _DARKEST)
    return Sample(
        observation.time_s,
        complex(observation.a, observation.b) * scale,
        observation.turbidity,
        observation.trust,
    )


def hue_deg(colour: complex) -> float:
    """Return the hue angle of a colour in the plane, in [0, 360)."""
    return math.degrees(cmath.phase(colour)) % 360.0


def chroma(colour: complex) -> float:
    """Return the chroma of a colour in the plane."""
    return abs(colour)


def middle(colours: list[complex]) -> complex:
    """Return the median of colours, taken for each coordinate alone."""
    return complex(median([c.real for c in colours]), median([c.imag for c in colours]))


def weighted_middle(colours: list[complex], weights: list[float]) -> complex:
    """Return the middle where colours count by weights, of which one at least is above 0.

    The mean of the middle fifth of the weight: as robust as a median, and less grainy.
    """
    return complex(
        _mid_mean(sorted(zip([c.real for c in colours], weights, strict=True))),
        _mid_mean(sorted(zip([c.imag for c in colours], weights, strict=True))),
    )


def _mid_mean(ordered: list[tuple[float, float]]) -> float:
    whole = sum(weight for _, weight in ordered)
    low, high = 0.4 * whole, 0.6 * whole
    passed = summed = 0.0
    for value, weight in ordered:
        summed += value * max(min(passed + weight, high) - max(passed, low), 0.0)
        passed += weight
    return summed / (high - low)
