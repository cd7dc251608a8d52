"""Early word on whether the colour will hold, when it will fade, and how far it is.

Three sources, none of which ever replaces the hold rule: the relaxation since the last
peak (a stretched exponential), how long the colour lasted after earlier additions, and
how that time grew, which tells how much solid is left.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from huehold.detection.axis import EndBand, Line
from huehold.detection.fadeback import FadeBack
from huehold.detection.smoothing import Point

__all__ = ["Forecast", "Forecaster", "fit_relaxation"]

_LOOK_EVERY_S = 0.4
_MOST_LOOKS = 64
_LASTS = 8  # earlier fade-backs that speak about the next
_SPREAD = 0.45  # standard deviation of the log of how long a colour lasts
_GROWTH = (1.0, 2.5)  # from one fade-back to the next
_CLEAR_FALL = 3.0  # standard deviations a fall must exceed to be fitted
_LEAST_FALL = 0.04
_FIRST_GUESS = 0.15  # share of additions that are the last, knowing nothing
_LEAST_ERROR = 0.3  # additions: no fit of so few is better
_LEAST_RELATIVE = 0.15
_LIKELY, _UNLIKELY = 0.8, 0.2


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is likely to come; an estimate, never a verdict.

    Attributes
    ----------
    will_hold : float
        Probability, 0 to 1, that the end colour holds this time.
    label : str
        The same in words.
    fades_back_in_s : float or None
        Expected seconds until the colour has left the end band; None if it may hold.
    additions_left, additions_left_low, additions_left_high : float or None
        Additions of the recent size that are likely still needed, and a range that
        covers about two in three cases; None before three fade-backs.
    """

    will_hold: float
    label: str
    fades_back_in_s: float | None = None
    additions_left: float | None = None
    additions_left_low: float | None = None
    additions_left_high: float | None = None


class Forecaster:
    """Remembers how long the colour lasted, and how it relaxes now."""

    def __init__(self, hold_s: float) -> None:
        self._hold_s = hold_s
        self._lasted: deque[tuple[float, float]] = deque(maxlen=_LASTS)
        self._number = 0.0
        self._looks: deque[tuple[float, complex]] = deque()
        self._every_s = _LOOK_EVERY_S
        self._step_s: float | None = None
        self._base: complex | None = None
        self._noise = 0.0

    def begin(self, step_s: float, base: complex) -> None:
        """Note the beginning of an addition."""
        self._number += 1.0
        self._step_s, self._base = step_s, base
        self._looks.clear()
        self._every_s = _LOOK_EVERY_S

    def add(self, point: Point) -> None:
        """Note the colour; keeps a bounded, evenly thinned record since the addition."""
        looks = self._looks
        self._noise = point.noise
        if looks and point.time_s - looks[-1][0] < self._every_s:
            return
        looks.append((point.centre_s, point.colour))
        if len(looks) > _MOST_LOOKS:
            self._looks = deque(list(looks)[::2])
            self._every_s *= 2.0

    def faded(self, back: FadeBack) -> None:
        """Note a complete fade-back."""
        self._lasted.append((self._number, max(back.back_s - back.step_s, 0.2)))

    def forecast(self, now_s: float, line: Line | None, band: EndBand) -> Forecast | None:
        """Say what is likely, or None if there is nothing to say yet."""
        left = self._additions_left()
        if line is None or self._step_s is None or not self._looks:
            return None if left is None else _worded(0.0, None, left)
        leaves_s = self._leaving_s(line, band)
        if leaves_s is not None:
            fades_in_s = max(leaves_s - now_s, 0.0)
            lasts_s = leaves_s - self._step_s
            will_hold = 1.0 / (1.0 + (self._hold_s / max(lasts_s, 0.1)) ** 3)
            return _worded(min(will_hold, 0.5), fades_in_s, left)
        return self._by_survival(now_s, left)

    def _by_survival(self, now_s: float, left: tuple[float, float] | None) -> Forecast:
        """Weigh "the last one" against "not yet gone" by how long the colour has lasted."""
        assert self._step_s is not None
        elapsed_s = now_s - self._step_s
        usual_s = self._next_lasting_s()
        last = _FIRST_GUESS if left is None else max(0.1, min(0.7, 0.7 - 0.3 * left[0]))
        beyond = _normal_above(math.log(max(elapsed_s, 0.1) / usual_s) / _SPREAD)
        will_hold = last / (last + (1.0 - last) * beyond)
        fades_in_s = max(usual_s - elapsed_s, 0.0) if will_hold < 0.5 else None
        return _worded(will_hold, fades_in_s, left)

    def _next_lasting_s(self) -> float:
        lasted = [s for _, s in self._lasted]
        if not lasted:
            return 0.25 * self._hold_s
        if len(lasted) < 3:
            return lasted[-1] * 1.5
        growth = float(np.exp(np.median(np.diff(np.log(lasted[-4:])))))
        return lasted[-1] * max(_GROWTH[0], min(_GROWTH[1], growth))

    def _leaving_s(self, line: Line, band: EndBand) -> float | None:
        """Return when the fitted relaxation leaves the end band, if it clearly falls."""
        assert self._base is not None
        times = [t for t, _ in self._looks]
        places = [line.position(c) for _, c in self._looks]
        top = max(range(len(places)), key=places.__getitem__)
        floor = min(line.position(self._base), band.leave - 0.1)
        height = places[top] - floor
        noise = self._noise / line.span
        if places[top] - places[-1] < max(_LEAST_FALL, _CLEAR_FALL * noise):
            return None
        ratios = [(p - floor) / height for p in places[top + 1 :]]
        ages_s = [t - times[top] for t in times[top + 1 :]]
        fit = fit_relaxation(ages_s, ratios)
        leave = (band.leave - floor) / height
        if fit is None or not 0.0 < leave < 1.0:
            return None
        tau_s, stretch = fit
        return float(times[top] + tau_s * (-math.log(leave)) ** (1.0 / stretch))

    def _additions_left(self) -> tuple[float, float] | None:
        """Return additions left and their standard error from how the lasting times grow.

        The rate of fading goes with the solid's surface, that is with the two-thirds
        power of what is left; so (1 / time) ** 1.5 falls on a straight line to zero.
        """
        if len(self._lasted) < 3:
            return None
        x = np.array([n for n, _ in self._lasted])
        y = np.array([s for _, s in self._lasted]) ** -1.5
        weight = 1.0 / y  # the scatter of a lasting time is relative
        design = np.stack([np.ones_like(x), x - self._number], axis=1) * weight[:, None]
        (level, slope), *_ = np.linalg.lstsq(design, y * weight, rcond=None)
        if slope >= 0.0:
            return None
        rest = design @ np.array([level, slope]) - y * weight
        variance = float(rest @ rest) / max(len(x) - 2, 1)
        covariance = variance * np.linalg.inv(design.T @ design)
        left = max(float(-level / slope), 0.0)
        gradient = np.array([-1.0 / slope, level / slope**2])
        error = math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))
        error = max(error, _LEAST_ERROR, _LEAST_RELATIVE * left)
        return (left, error) if error < 3.0 * left + 3.0 else None


def fit_relaxation(ages_s: list[float], ratios: list[float]) -> tuple[float, float] | None:
    """Fit ratio = exp(-(age / tau) ** stretch).

    Parameters
    ----------
    ages_s : list of float
        Seconds since the peak, above 0.
    ratios : list of float
        What is left of the peak's height, 1 at the peak.

    Returns
    -------
    (float, float) or None
        tau in seconds and the stretch exponent, limited to [0.4, 4]; None if fewer than
        three points carry information.

    Notes
    -----
    A straight line in ln age against ln(-ln ratio), weighted by how noise in the ratio
    shows there. A stretch above 1 stands, then falls; below 1 it falls at once.
    """
    usable = [(t, r) for t, r in zip(ages_s, ratios, strict=True) if t > 0.0 and 0.03 < r < 0.985]
    if len(usable) < 3:
        return None
    t = np.array([u for u, _ in usable])
    r = np.array([u for _, u in usable])
    x, y, weight = np.log(t), np.log(-np.log(r)), (r * np.log(r)) ** 2
    mean_x, mean_y = np.average(x, weights=weight), np.average(y, weights=weight)
    spread = float(np.sum(weight * (x - mean_x) ** 2))
    if spread <= 0.0:
        return None
    stretch = float(np.sum(weight * (x - mean_x) * (y - mean_y))) / spread
    stretch = max(0.4, min(4.0, stretch))
    return float(np.exp(mean_x - mean_y / stretch)), stretch


def _worded(
    will_hold: float, fades_in_s: float | None, left: tuple[float, float] | None
) -> Forecast:
    if will_hold >= _LIKELY:
        label = "likely to hold"
    elif will_hold <= _UNLIKELY:
        label = "likely to fade back"
    else:
        label = "too early to say"
    if left is None:
        return Forecast(will_hold, label, fades_in_s)
    count, error = left
    return Forecast(will_hold, label, fades_in_s, count, max(count - error, 0.0), count + error)


def _normal_above(z: float) -> float:
    return 0.5 * math.erfc(z / math.sqrt(2.0))
