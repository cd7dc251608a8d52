"""When the dropper runs empty or the balance is full before the end."""

from __future__ import annotations

import math
from dataclasses import dataclass

from huehold.planning.expected import Expected

__all__ = ["Refills", "refills_of"]


@dataclass(frozen=True, slots=True)
class Refills:
    """Refills of a titration.

    Attributes
    ----------
    dropper : int
        How often the dropper must be filled again if the sample holds the most it may.
    on_the_way : int
        Further differences of readings the titrant's mass is made of for that.
    full_at_g : float or None
        Titrant at which the balance is full with the cup on it; None if it takes all.
    text : str
        What to do, in a sentence.
    """

    dropper: int
    on_the_way: int
    full_at_g: float | None
    text: str


def refills_of(expected: Expected, most_titrant_g: float) -> Refills:
    """Look whether dropper and balance take all titrant.

    Parameters
    ----------
    expected : Expected
        With its request.
    most_titrant_g : float
        If the sample holds the most it may.
    """
    request = expected.request
    dropper = 0
    if request.dropper_g is not None:
        dropper = math.ceil(most_titrant_g / request.dropper_g) - 1
    on_cup = request.weighing == "cup"
    full = _full_at_g(expected, most_titrant_g) if on_cup else None
    # With the cup on the balance a refill changes nothing on it; a weighed bottle starts anew.
    on_the_way = int(full is not None) if on_cup else dropper
    return Refills(dropper, on_the_way, full, _text(expected, dropper, full))


def _full_at_g(expected: Expected, most_titrant_g: float) -> float | None:
    request = expected.request
    start = request.cup_g + expected.sample_g + expected.water_g + (expected.reagent_g or 0.0)
    room = request.balance.most_g - start
    return room if most_titrant_g > room else None


def _text(expected: Expected, dropper: int, full_at_g: float | None) -> str:
    request = expected.request
    name, parts = request.method.titrant.name, []
    if full_at_g is not None:
        parts.append(
            f"the balance (at most {request.balance.most_g:g} g) is full after {full_at_g:.1f} g "
            f"of {name}: weigh the bottle of {name} by difference instead, or take a lighter cup "
            "or less water"
        )
    if dropper:
        times = "once" if dropper == 1 else f"{dropper} times"
        care = (
            "note the reading, fill, go on"
            if request.weighing == "cup"
            else "weigh it before and after each filling and add the differences"
        )
        parts.append(
            f"the dropper of {request.dropper_g:g} g must be filled again {times}, best while "
            f"squirts are due: {care}"
        )
    return "; ".join(parts) or "no refill: dropper and balance take all of it"
