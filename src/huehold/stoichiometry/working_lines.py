"""What a line of the working is made of, before it is printed in one form or another."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["Atom", "Fraction", "Line", "Signed", "pretty"]

_LOW = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_HIGH = str.maketrans("0123456789+-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻")


@dataclass(frozen=True, slots=True)
class Atom:
    """A number with its unit, and whether the unit cancels."""

    number: str
    unit: str
    cancelled: bool


@dataclass(frozen=True, slots=True)
class Fraction:
    """One factor of a chain."""

    over: Atom | None
    under: Atom | None


@dataclass(frozen=True, slots=True)
class Signed:
    """One term of a sum."""

    sign: int
    number: str
    unit: str
    name: str

    @property
    def mark(self) -> str:
        """Plus or minus, as printed."""
        return "+" if self.sign > 0 else "−"


@dataclass(frozen=True, slots=True)
class Line:
    """One step: a chain of fractions, a sum of terms, or a formula; and its value."""

    label: str
    reason: str
    value: str
    fractions: tuple[Fraction, ...] = ()
    terms: tuple[Signed, ...] = ()
    formula: str = ""


def pretty(text: str) -> str:
    """Set the digits of formulae low and their charges high, and turn -> into an arrow."""
    raised = re.sub(r"\^(\d*[+-])", lambda m: m.group(1).translate(_HIGH), text)
    lowered = re.sub(r"(?<=[A-Za-z)])\d+", lambda m: m.group(0).translate(_LOW), raised)
    return lowered.replace("->", "→")
