"""The balance: readability, repeatability, linearity and drift, from check weights."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from pydantic import Field

from huehold.calibration.coins import coin
from huehold.calibration.model import Calibration, Table, Text, plainly, remind_date
from huehold.errors import InputError
from huehold.stoichiometry.quantities import read
from huehold.stoichiometry.weighing import Balance

__all__ = [
    "REMIND_DAYS", "BalanceCalibration", "Check", "CheckWeight", "additivity_error", "calibrate",
    "check", "check_weight", "repeatability",
]  # fmt: skip

REMIND_DAYS = 180


@dataclass(frozen=True, slots=True)
class CheckWeight:
    """A mass that is known: nominal, tolerance, and where both are from, in grams."""

    name: str
    nominal_g: float
    tolerance_g: float
    source: str


class Check(Table):
    """A check weight as the balance read it."""

    weight: Text
    nominal_g: float = Field(gt=0)
    tolerance_g: float = Field(ge=0)
    reading_g: float
    source: Text

    @property
    def error_g(self) -> float:
        """Reading less nominal."""
        return self.reading_g - self.nominal_g

    @property
    def inside(self) -> bool:
        """Whether the reading lies within the tolerance; the limits count as inside."""
        return abs(self.error_g) <= self.tolerance_g * (1.0 + 1e-9)

    def verdict(self) -> str:
        """One sentence."""
        where = "inside" if self.inside else "outside"
        limits = f"{self.nominal_g:.3f} +/- {self.tolerance_g:.3f} g"
        text = f"{self.weight} reads {self.reading_g:g} g: {where} {limits}"
        return (
            text if self.inside else f"{text}; the balance is off, or the weight is worn or dirty"
        )


class BalanceCalibration(Calibration):
    """What is known of a balance, in grams.

    ``repeatability_g`` is the standard deviation of one reading, ``linearity_g`` the largest error
    that is not a common factor (half width), ``scale_error_rel`` that factor, ``drift_g_per_min``
    the wander of its zero; a value that was not measured is left out.
    """

    kind: Literal["balance"] = "balance"
    readability_g: float = Field(gt=0, le=1)
    repeatability_g: float | None = Field(default=None, ge=0)
    readings: int = Field(default=0, ge=0)
    linearity_g: float | None = Field(default=None, ge=0, le=5)
    scale_error_rel: float | None = None
    drift_g_per_min: float | None = None
    capacity_g: float | None = Field(default=None, gt=0)
    checks: tuple[Check, ...] = ()

    def summary(self) -> str:
        """Say what was found."""
        parts = [f"reads to {self.readability_g:g} g"]
        if self.repeatability_g is not None:
            parts.append(f"repeats within {self.repeatability_g:.2g} g ({self.readings} readings)")
        if self.linearity_g is not None:
            parts.append(f"linear within {self.linearity_g:.2g} g")
        if self.scale_error_rel is not None and any(not c.inside for c in self.checks):
            parts.append(f"reads {100.0 * self.scale_error_rel:+.1f} % off")
        if self.drift_g_per_min is not None:
            parts.append(f"zero drifts {self.drift_g_per_min:+.2g} g a minute")
        bad = sum(not c.inside for c in self.checks)
        if self.checks:
            parts.append(f"{len(self.checks) - bad} of {len(self.checks)} check weights inside")
        return ", ".join(parts)

    def as_balance(self) -> Balance:
        """Return what `huehold.stoichiometry.assay.assay` takes as ``balance``.

        Repeatability beyond rounding goes into the error of a reading: both enter the variance of
        a difference as 2 s^2 + 2 linearity^2 / 3.
        """
        s = self.repeatability_g or 0.0
        beyond = max(0.0, s**2 - self.readability_g**2 / 12.0)
        error = math.sqrt((self.linearity_g or 0.0) ** 2 + 3.0 * beyond)
        return Balance(self.readability_g, error, self.capacity_g)


def check_weight(text: str) -> CheckWeight:
    """Read ``"us-5-cents"``, ``"10 x us-5-cents"``, ``"20 g"`` or ``"20 +/- 0.01 g"``.

    A mass without a tolerance is taken as good to half its last digit.

    Raises
    ------
    UsageError
        If there is no such coin.
    InputError
        If the mass cannot be read.
    """
    count, cross, rest = text.partition("x ")
    number = int(count) if cross and count.strip().isdecimal() else 1
    name = rest if cross and count.strip().isdecimal() else text
    if name.strip()[:1].isdecimal():
        typed = read(name, "g", "the check weight")
        if typed.value <= 0 or number < 1:
            raise InputError(
                f"A check weight of {text.strip()} makes no sense; give grams above 0."
            )
        return CheckWeight(
            text.strip(), number * typed.value, math.sqrt(number) * typed.half_width, "typed"
        )
    found = coin(name)
    if number < 1:
        raise InputError(f"'{text.strip()}' counts no coin; write 10 x {found.key}.")
    assumed = "" if found.tolerance_g is not None else "; no tolerance was found, 2 % is assumed"
    label = found.name if number == 1 else f"{number} x {found.name}"
    return CheckWeight(
        label, number * found.mass_g, found.tolerance_of(number), found.source + assumed
    )


@plainly
def check(weight: CheckWeight, reading_g: float) -> Check:
    """Hold a reading against a check weight."""
    return Check(
        weight=weight.name, nominal_g=weight.nominal_g, tolerance_g=weight.tolerance_g,
        reading_g=reading_g, source=weight.source,
    )  # fmt: skip


def repeatability(readings_g: Sequence[float]) -> tuple[float, float]:
    """Mean and standard deviation of one reading (JCGM 100, 4.2).

    Raises
    ------
    InputError
        If there are fewer than two readings.
    """
    if len(readings_g) < 2:
        raise InputError(
            "Repeatability needs the same thing weighed at least twice; 10 times is good."
        )
    return float(np.mean(readings_g)), float(np.std(readings_g, ddof=1))


def additivity_error(parts_g: Sequence[float], together_g: float) -> float:
    """Give the reading together less the readings apart; no mass need be known."""
    return together_g - math.fsum(parts_g)


@plainly
def calibrate(
    *,
    name: str,
    made: date,
    readability_g: float,
    repeated_g: Sequence[float] = (),
    checks: Sequence[Check] = (),
    together: Sequence[tuple[Sequence[float], float]] = (),
    zeros: Sequence[tuple[float, float]] = (),
    capacity_g: float | None = None,
) -> BalanceCalibration:
    """Put together what was found about a balance.

    Parameters
    ----------
    name, made
        As in `huehold.calibration.model.Calibration`.
    readability_g : float
        Its last digit.
    repeated_g : sequence of float
        Readings of the same thing, taken off and put on again.
    checks : sequence of Check
        Check weights with their readings.
    together : sequence of (readings apart, reading together)
        Things weighed one by one and all at once; tells linearity without any known mass.
    zeros : sequence of (minutes, reading)
        The empty balance over some minutes.
    capacity_g : float, optional
        Largest mass it takes.

    Raises
    ------
    InputError
        If a number makes no sense.
    """
    numbers = [*repeated_g, *(r for pair in zeros for r in pair)]
    if not all(math.isfinite(n) for n in numbers):
        raise InputError("A reading is not a finite number; type what the display shows.")
    s = repeatability(repeated_g)[1] if repeated_g else None
    scale, linearity = _scale_and_linearity(checks, together)
    return BalanceCalibration(
        name=name, date=made, remind_after=remind_date(made, REMIND_DAYS),
        readability_g=readability_g, repeatability_g=s, readings=len(repeated_g),
        linearity_g=linearity, scale_error_rel=scale,
        drift_g_per_min=_drift(zeros) if zeros else None, capacity_g=capacity_g,
        checks=tuple(checks),
    )  # fmt: skip


def _scale_and_linearity(
    checks: Sequence[Check], together: Sequence[tuple[Sequence[float], float]]
) -> tuple[float | None, float | None]:
    """Find the common factor from the check weights, and the largest error that is none.

    Weights count by their tolerance. What a loose weight leaves open is not put down to the
    balance: of an error only what exceeds the tolerance counts.
    """
    errors = [abs(additivity_error(parts, whole)) for parts, whole in together]
    scale = None
    if checks:
        nominal = np.array([c.nominal_g for c in checks])
        weight = 1.0 / np.maximum([c.tolerance_g for c in checks], 1e-4) ** 2
        off = np.array([c.error_g for c in checks])
        scale = float(np.sum(weight * nominal * off) / np.sum(weight * nominal**2))
        left = np.abs(off - scale * nominal)
        errors += [max(0.0, float(v) - c.tolerance_g) for v, c in zip(left, checks, strict=True)]
    return scale, (max(errors) if errors else None)


def _drift(zeros: Sequence[tuple[float, float]]) -> float:
    minutes = np.array([m for m, _ in zeros])
    if len(zeros) < 2 or np.ptp(minutes) <= 0:
        raise InputError("Drift needs the empty balance read at two different minutes or more.")
    return float(np.polyfit(minutes, [g for _, g in zeros], 1)[0])
