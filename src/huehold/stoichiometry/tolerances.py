"""Acceptance ranges: what a product may contain, from shipped data or as the user names it."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, get_args

from huehold.errors import InputError

__all__ = ["AcceptanceRange", "Basis", "acceptance_range", "acceptance_ranges"]

Basis = Literal["label", "mass_fraction", "g_per_100_mL"]

_WORDS = {"label": "% of the label claim", "mass_fraction": "% w/w", "g_per_100_mL": "g/100 mL"}


@dataclass(frozen=True, slots=True)
class AcceptanceRange:
    """Limits a product must keep, both inclusive.

    Attributes
    ----------
    name : str
        Short name, e.g. ``"magnesium-hydroxide-suspension"``.
    product, substance : str
        What the limits are about.
    of : {"label", "mass_fraction", "g_per_100_mL"}
        Percent of the labelled amount, percent by mass, or grams per 100 mL.
    low, high : float
        Limits in that sense, 0 <= low < high; `high` may be infinite.
    source : str
        Document the limits were taken from.

    Raises
    ------
    InputError
        If the limits are not in order or not numbers, or `of` is unknown.
    """

    name: str
    product: str
    substance: str
    of: Basis
    low: float
    high: float
    source: str

    def __post_init__(self) -> None:
        if self.of not in get_args(Basis):
            raise InputError(
                f"{self.name}: of must be one of {', '.join(get_args(Basis))}, not {self.of!r}."
            )
        if not (math.isfinite(self.low) and 0.0 <= self.low < self.high):
            raise InputError(
                f"{self.name}: limits must be numbers, zero or more, the lower one first "
                f"({self.low!r}, {self.high!r})."
            )

    @classmethod
    def percent_of_label(
        cls, minus: float, plus: float, source: str = "named by the user"
    ) -> AcceptanceRange:
        """Allow the label claim minus and plus so many percent.

        Parameters
        ----------
        minus, plus : float
            Percent of the label claim, each >= 0, `minus` at most 100; 10 and 15 give
            90 % to 115 %.
        source : str
            Who asks for it.
        """
        if not (0.0 <= minus <= 100.0 and 0.0 <= plus < math.inf and minus + plus > 0.0):
            raise InputError(
                f"A tolerance of -{minus:g} % and +{plus:g} % makes no range; "
                "give percent of the label claim, such as 10 and 15."
            )
        low, high = _exact(100.0) - _exact(minus), _exact(100.0) + _exact(plus)
        return cls("named", "", "", "label", float(low), float(high), source)

    def limits(self, claim: float | None = None) -> tuple[float, float]:
        """Give the limits in the unit of the label claim.

        Parameters
        ----------
        claim : float or None
            Labelled amount, > 0; needed for ranges of the label claim, ignored otherwise.

        Returns
        -------
        low, high : float
            Worked out in decimal digits, so that 90 % of 1.1 is 0.99. `high` may be infinite.

        Raises
        ------
        InputError
            If a label claim is needed and missing, or not positive.
        """
        if self.of != "label":
            return self.low, self.high
        if claim is None or not (math.isfinite(claim) and claim > 0.0):
            raise InputError(
                f"The range {self.text()} needs the amount the label claims, "
                f"more than zero (got {claim!r})."
            )
        low = float(_exact(claim) * _exact(self.low) / 100)
        high = float(_exact(claim) * _exact(self.high) / 100)
        return low, high

    def text(self) -> str:
        """Write the range as ``90 to 115 % of the label claim``."""
        words = _WORDS[self.of]
        if math.isinf(self.high):
            return f"at least {self.low:g} {words}"
        return f"{self.low:g} to {self.high:g} {words}"


@cache
def acceptance_ranges() -> Mapping[str, AcceptanceRange]:
    """All shipped acceptance ranges by name."""
    file = resources.files("huehold.stoichiometry") / "data" / "acceptance_ranges.toml"
    table = tomllib.loads(file.read_text(encoding="utf-8"))
    return MappingProxyType({name: _from_entry(name, entry) for name, entry in table.items()})


def acceptance_range(name: str) -> AcceptanceRange:
    """Look up one shipped acceptance range.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    ranges = acceptance_ranges()
    if name in ranges:
        return ranges[name]
    close = difflib.get_close_matches(name, ranges, n=1)
    known = f"there are {', '.join(ranges)}; or write one like '90-115 %'."
    hint = f"did you mean {close[0]}?" if close else known
    raise InputError(f"There is no acceptance range called {name!r}; {hint}")


def _from_entry(name: str, entry: Mapping[str, Any]) -> AcceptanceRange:
    return AcceptanceRange(name, **{"high": math.inf, **entry})


def _exact(number: float) -> Decimal:
    return Decimal(repr(float(number)))
