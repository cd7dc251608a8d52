"""Drops as mass: a dropper calibrated by weighing a counted number of drops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from huehold.errors import InputError
from huehold.stoichiometry.quantities import Typed, positive, read
from huehold.stoichiometry.uncertain import Input

__all__ = ["USUAL_DROP_G", "DropMass", "calibrate_dropper", "drops_in", "mass_of"]

USUAL_DROP_G = 0.05
"""Official medicine dropper: water drops of 45 to 55 mg (USP 32, chapter 1101)."""


@dataclass(frozen=True, slots=True)
class DropMass:
    """Mass of one drop in grams with its standard uncertainty."""

    value_g: float
    u_g: float
    source: str

    @property
    def input(self) -> Input:
        """As an input of a budget."""
        return Input.normal("drop mass", self.value_g, self.u_g, "g", source=self.source)


def calibrate_dropper(
    masses: Sequence[object], drops: int, *, readability_g: float = 0.01
) -> DropMass:
    """Mass of a drop from one or more weighings of the same counted number of drops.

    Parameters
    ----------
    masses : sequence of str, float or pint quantity
        Mass of `drops` drops each, in grams.
    drops : int
        How many were counted, at least 10 to be worth it.
    readability_g : float
        Of the balance; each mass is a difference of two readings.

    Raises
    ------
    InputError
        If a mass or count makes no sense, or a drop would weigh more than 0.2 g.
    """
    if drops < 1:
        raise InputError(f"the number of drops must be 1 or more, not {drops}")
    if not masses:
        raise InputError("no mass was given; weigh at least 10 drops")
    grams = [positive(read(m, "g", "mass of the drops"), "mass of the drops", "tare forgotten?")
             for m in masses]  # fmt: skip
    each = [g.value / drops for g in grams]
    mean = sum(each) / len(each)
    if not 0.005 <= mean <= 0.2:
        raise InputError(
            f"{grams[0].value:g} g for {drops} drops makes {mean:g} g a drop; drops weigh 0.01 to "
            "0.13 g (miscounted, or the tare forgotten?)"
        )
    u_reading = readability_g / math.sqrt(6.0) / drops / math.sqrt(len(each))
    u = math.hypot(u_reading, _scatter(each, mean))
    return DropMass(mean, u, f"{_weighings(len(each))} of {drops} drops")


def mass_of(given: object, drop: DropMass | None, what: str) -> Typed:
    """Read a mass that may be given as drops.

    Raises
    ------
    InputError
        If drops were given and the drop mass is not known.
    """
    typed = read(given, None, what)
    if typed.unit in {"drop", "drops"}:
        if drop is None:
            raise InputError(f"{what} is given in drops; give the mass of one drop as well")
        grams = typed.value * drop.value_g
        return Typed(grams, "g", typed.value * drop.u_g * math.sqrt(3.0), True, typed.text)
    return typed.to("g", what)


def drops_in(mass_g: float, drop_g: float) -> int:
    """How many drops make a mass, to the nearest whole one."""
    return round(mass_g / drop_g)


def _scatter(each: Sequence[float], mean: float) -> float:
    n = len(each)
    if n < 2:
        return 0.0
    return math.sqrt(sum((x - mean) ** 2 for x in each) / (n - 1) / n)


def _weighings(count: int) -> str:
    return "1 weighing" if count == 1 else f"{count} weighings"
