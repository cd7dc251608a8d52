"""What a line of the working is made of, before it is printed in one form or another."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Atom", "Fraction", "Line", "Signed"]


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
