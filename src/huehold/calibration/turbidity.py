"""Turbidity against the share of solid: a two-point check or a dilution series."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from huehold.calibration.model import Calibration, plainly, remind_date
from huehold.core import Observation
from huehold.errors import InputError

__all__ = ["REMIND_DAYS", "SolidShare", "TurbidityCalibration", "calibrate", "solid_share"]

REMIND_DAYS = 180

_LEAST_RISE = 0.15  # of the index, from clear to cloudy; less and the camera tells nothing
_LEAST_SLOPE = 0.25  # of the mean slope; where it is flatter the index is saturated
_TWO_POINT_U = 0.15  # how far a straight line between two points may be off in its middle
_TABLE = np.linspace(-0.5, 2.0, 1001)  # indices for which a run's curve is worked out beforehand
_OFTEN = 0.1  # share of a run outside the range from which that is told

Shares = Annotated[tuple[Annotated[float, Field(ge=0, le=1)], ...], Field(min_length=2)]
Numbers = Annotated[tuple[float, ...], Field(min_length=2)]


class TurbidityCalibration(Calibration):
    """What the index of turbidity says of the share of solid in suspension.

    ``share`` is the solid as a share of the fresh suspension's, ``index`` what vision reported,
    ``u`` its standard uncertainty; ``believed`` the shares between which it may be believed.
    """

    kind: Literal["turbidity"] = "turbidity"
    share: Shares
    index: Numbers
    u: float = Field(ge=0)
    believed: tuple[float, float]

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if len(self.share) != len(self.index):
            raise ValueError("share and index must have as many values each")
        for name in ("share", "index"):
            if np.any(np.diff(getattr(self, name)) <= 0):
                raise ValueError(f"{name} must rise from value to value")
        return self

    def summary(self) -> str:
        """Say how many points it rests on and where it may be believed."""
        low, high = self.believed
        return (
            f"{len(self.share)} points; the share of solid may be believed between {low:.2f} and "
            f"{high:.2f}"
        )

    @property
    def u_in_middle(self) -> float:
        """Standard uncertainty of the share in the middle of where it may be believed."""
        index = np.interp(0.5 * sum(self.believed), self.share, self.index)
        return self.linear(float(index))[1]

    def linear(self, index: float) -> tuple[float, float, bool]:
        """Share of solid behind an index of turbidity.

        Parameters
        ----------
        index : float
            As vision reports it, 0 to 1.

        Returns
        -------
        (float, float, bool)
            Share from 0 to 1, its standard uncertainty, and whether it may be believed.

        Raises
        ------
        InputError
            If the index is not a finite number.
        """
        if not np.isfinite(index):
            raise InputError(f"A turbidity of {index} says nothing; is the liquid in view?")
        share = float(np.clip(self._share(index), 0.0, 1.0))
        step = max(self.u, 1e-3)
        slope = abs(self._share(index + step) - self._share(index - step)) / (2.0 * step)
        u = slope * self.u
        if len(self.share) == 2:
            u = float(np.hypot(u, 4.0 * _TWO_POINT_U * share * (1.0 - share)))
        return share, u, self.believed[0] <= share <= self.believed[1]

    def _share(self, index: float) -> float:
        if len(self.share) == 2:
            return float(np.interp(index, self.index, self.share))
        from scipy.interpolate import PchipInterpolator

        held = float(np.clip(index, self.index[0], self.index[-1]))
        return float(PchipInterpolator(self.index, self.share)(held))


class SolidShare:
    """A run's turbidity calibration at work: the share of solid in place of the index.

    Parameters
    ----------
    calibration : TurbidityCalibration
    """

    def __init__(self, calibration: TurbidityCalibration) -> None:
        self.calibration = calibration
        found = [calibration.linear(index) for index in _TABLE.tolist()]
        self._share = np.array([share if good else np.nan for share, _, good in found])
        self._seen = self._outside = 0

    def __call__(self, observation: Observation) -> Observation:
        """Return the observation with the share of solid; NaN where it cannot be believed."""
        index = observation.turbidity
        if not np.isfinite(index):
            return observation
        share = float(np.interp(index, _TABLE, self._share))
        self._seen += 1
        self._outside += not np.isfinite(share)
        return replace(observation, turbidity=share)

    @property
    def summary(self) -> str:
        """What the turbidity of the run means, for people."""
        low, high = self.calibration.believed
        middle = self.calibration.u_in_middle
        return (
            f"share of solid by {self.calibration.ref}, believed from {low:.2f} to {high:.2f} of "
            f"the fresh suspension, standard uncertainty {middle:.2f} in the middle"
        )

    @property
    def warnings(self) -> tuple[str, ...]:
        """A sentence if much of the run lay where the calibration says nothing."""
        if self._outside <= _OFTEN * self._seen:
            return ()
        low, high = self.calibration.believed
        part = 100.0 * self._outside / self._seen
        return (
            f"For {part:.0f} % of the run the turbidity lay outside {low:.2f} to {high:.2f}, where "
            f"{self.calibration.ref} can be believed; it is left out there.",
        )


def solid_share(
    calibrations: Iterable[Calibration], method: str
) -> tuple[SolidShare | None, tuple[str, ...]]:
    """Choose a run's turbidity calibration.

    Parameters
    ----------
    calibrations : iterable of Calibration
    method : str
        Name of the run's; a calibration made for another is left out.

    Returns
    -------
    (SolidShare or None, tuple of str)
        And a sentence about one that was left out.
    """
    found = [known for known in calibrations if isinstance(known, TurbidityCalibration)]
    if not found:
        return None, ()
    last = found[-1]
    if last.method and last.method != method:
        return None, (f"{last.ref} was made for {last.method}, not {method}; it is not used.",)
    return SolidShare(last), ()


@plainly
def calibrate(
    pairs: Sequence[tuple[float, float]],
    *,
    name: str,
    made: date,
    u: float = 0.02,
    method: str = "",
    light: str = "",
) -> TurbidityCalibration:
    """Make a calibration from shares of solid and the index seen at each.

    Parameters
    ----------
    pairs : sequence of (float, float)
        Share (0 clear water, 1 fresh suspension) and index; both ends must be there.
    name, made, method, light
        As in `huehold.calibration.model.Calibration`.
    u : float
        Standard uncertainty of an index.

    Raises
    ------
    InputError
        If an end is missing, a number makes no sense, or the index hardly changes.
    """
    _check(pairs)
    share, index = _levels(pairs)
    if index[-1] - index[0] < max(_LEAST_RISE, 4.0 * u):
        raise InputError(
            f"The index goes from {index[0]:.2f} in clear water to {index[-1]:.2f} in the fresh "
            "suspension: the camera cannot tell them apart; put a pattern under the cup, or more "
            "suspension in."
        )
    return TurbidityCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS), method=method,
        light=light, share=tuple(share), index=tuple(index), u=u, believed=_believed(share, index),
    )  # fmt: skip


def _check(pairs: Sequence[tuple[float, float]]) -> None:
    for share, index in pairs:
        if not (0.0 <= share <= 1.0 and np.isfinite(index)):
            raise InputError(
                f"A share of {share:g} with an index of {index:g} makes no sense; shares go from 0 "
                "(clear water) to 1 (fresh suspension)."
            )
    shares = {share for share, _ in pairs}
    for end, what in ((0.0, "clear water (share 0)"), (1.0, "the fresh suspension (share 1)")):
        if end not in shares:
            raise InputError(f"The series lacks {what}; it needs at least both ends.")


def _levels(pairs: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """Mean index of each share, made monotone; shares it cannot tell apart are joined."""
    from scipy.optimize import isotonic_regression

    shares = sorted({share for share, _ in pairs})
    means = [float(np.mean([i for s, i in pairs if s == share])) for share in shares]
    straight = isotonic_regression(means).x.round(4)
    kept: list[tuple[float, float]] = []
    for level in np.unique(straight):
        joined = [s for s, v in zip(shares, straight, strict=True) if v == level]
        share = joined[0] if 0.0 in joined else joined[-1] if 1.0 in joined else np.mean(joined)
        kept.append((float(share), float(level)))
    return [s for s, _ in kept], [i for _, i in kept]


def _believed(share: list[float], index: list[float]) -> tuple[float, float]:
    """Widest run of shares over which the index rises fast enough to tell them apart."""
    slope = np.diff(index) / np.diff(share)
    good = slope >= _LEAST_SLOPE * (index[-1] - index[0])
    best, start = (0.0, 0.0), None
    for i, ok in enumerate([*good, False]):
        if ok and start is None:
            start = i
        elif not ok and start is not None:
            if share[i] - share[start] > best[1] - best[0]:
                best = (share[start], share[i])
            start = None
    return best
