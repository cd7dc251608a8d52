"""Coins as check weights: what they weigh when new, and how far one may be off."""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from huehold.errors import UsageError

__all__ = ["ASSUMED_REL", "Coin", "coin", "list_coins"]

ASSUMED_REL = 0.02
"""Tolerance assumed where none was found; a single coin can be off by 2 to 4 %."""


@dataclass(frozen=True, slots=True)
class Coin:
    """A coin: nominal mass in grams, tolerance in grams or None if none was found."""

    key: str
    name: str
    mass_g: float
    source: str
    tolerance_g: float | None = None

    def tolerance_of(self, count: int) -> float:
        """Tolerance in grams of `count` coins weighed together, taken as independent."""
        one = self.mass_g * ASSUMED_REL if self.tolerance_g is None else self.tolerance_g
        return one * math.sqrt(count)


@cache
def list_coins() -> tuple[Coin, ...]:
    """Coins that come with the program."""
    text = (resources.files("huehold.calibration") / "data" / "coins.toml").read_text("utf-8")
    return tuple(Coin(key=key, **table) for key, table in tomllib.loads(text).items())


def coin(key: str) -> Coin:
    """Find a coin by its key.

    Raises
    ------
    UsageError
        If there is none.
    """
    wanted = key.strip().lower().replace(" ", "-")
    for known in list_coins():
        if known.key == wanted:
            return known
    keys = [known.key for known in list_coins()]
    near = difflib.get_close_matches(wanted, keys, n=1, cutoff=0.4)
    hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(keys)}."
    raise UsageError(f"There is no coin '{key}'; {hint}")
