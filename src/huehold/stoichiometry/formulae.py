"""Chemical formulae: atoms, charge and molar mass with its standard uncertainty.

Parsing is done by periodictable; hydrate dots and charges are taken off before. Standard
atomic weights are the intervals of the CIAAW where this package uses the element, and
periodictable's stated value and uncertainty elsewhere.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import periodictable

from huehold.errors import InputError

__all__ = ["ATOMIC_WEIGHTS", "AtomicWeight", "Formula", "MolarMass", "molar_mass", "parse_formula"]


@dataclass(frozen=True, slots=True)
class AtomicWeight:
    """A standard atomic weight, taken as rectangular over ``value`` +/- ``half_width``."""

    value: float
    half_width: float


def _interval(low: float, high: float) -> AtomicWeight:
    return AtomicWeight((low + high) / 2, (high - low) / 2)


ATOMIC_WEIGHTS: Mapping[str, AtomicWeight] = MappingProxyType(
    {
        "H": _interval(1.00784, 1.00811),
        "C": _interval(12.0096, 12.0116),
        "N": _interval(14.00643, 14.00728),
        "O": _interval(15.99903, 15.99977),
        "Na": AtomicWeight(22.98976928, 2e-8),
        "Mg": _interval(24.304, 24.307),
        "S": _interval(32.059, 32.076),
        "Cl": _interval(35.446, 35.457),
        "K": AtomicWeight(39.0983, 1e-4),
        "Ca": AtomicWeight(40.078, 4e-3),
        "I": AtomicWeight(126.90447, 3e-5),
    }
)
"""Standard atomic weights of the elements met here (CIAAW, Standard Atomic Weights 2021)."""


@dataclass(frozen=True, slots=True)
class MolarMass:
    """A molar mass in g/mol with its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True)
class Formula:
    """A formula that was understood.

    Attributes
    ----------
    text : str
        As written, without state marks such as ``(aq)``.
    atoms : mapping of str to float
        How many of each element, by symbol.
    charge : int
        In elementary charges.
    """

    text: str
    atoms: Mapping[str, float]
    charge: int = 0

    @property
    def molar_mass(self) -> MolarMass:
        """Molar mass in g/mol; each element rectangular over its interval, independent."""
        value = sum(n * _weight(symbol).value for symbol, n in self.atoms.items())
        variance = sum(
            (n * _weight(symbol).half_width) ** 2 / 3 for symbol, n in self.atoms.items()
        )
        return MolarMass(value, math.sqrt(variance))


_STATE = re.compile(r"\((?:aq|s|l|g)\)$")
_CHARGE = re.compile(r"(?:\^\{?|\{)(\d*)([+-])\}?$")
_MOST_ATOMS = 1e6
_PART = re.compile(r"^(\d+(?:\.\d+)?)?\s*(.+)$")


@lru_cache(maxsize=512)
def parse_formula(text: str) -> Formula:
    """Read a chemical formula.

    Parameters
    ----------
    text : str
        For example ``"Mg(OH)2"``, ``"Na2CO3.10H2O"`` (also with ``·`` or ``*``),
        ``"S2O3^2-"`` or ``"Mg{2+}"``. A state mark such as ``(aq)`` at the end is dropped.

    Raises
    ------
    InputError
        If it is not a formula; the sentence names the likely cause.
    """
    stripped = _STATE.sub("", text.strip())
    body, charge = _split_charge(stripped)
    atoms: Counter[str] = Counter()
    for part in _hydrate_parts(body):
        atoms.update(_atoms_of_part(part, text))
    return Formula(stripped, MappingProxyType(dict(atoms)), charge)


def molar_mass(text: str) -> MolarMass:
    """Molar mass of a formula in g/mol with its standard uncertainty."""
    return parse_formula(text).molar_mass


def _split_charge(text: str) -> tuple[str, int]:
    match = _CHARGE.search(text)
    if match is None:
        return text, 0
    size = int(match.group(1) or 1)
    return text[: match.start()], size if match.group(2) == "+" else -size


def _hydrate_parts(body: str) -> list[str]:
    for mark in ("·", "*", "."):
        if mark in body:
            head, _, water = body.partition(mark)
            return [head, water]
    return [body]


def _atoms_of_part(part: str, whole: str) -> dict[str, float]:
    match = _PART.match(part.strip())
    if match is None:
        raise InputError(f"'{whole}' is not a chemical formula: it is empty or ends in a dot")
    count = float(match.group(1) or 1)
    try:
        parsed = periodictable.formula(match.group(2))
    except Exception as error:  # the parser raises several unrelated types
        raise InputError(f"'{whole}' is not a chemical formula{_likely_cause(whole)}") from error
    if not parsed.atoms:
        raise InputError(f"'{whole}' is not a chemical formula: it names no element")
    atoms: Counter[str] = Counter()
    for element, number in parsed.atoms.items():
        atoms[element.symbol] += count * number
    if not all(0.0 < number < _MOST_ATOMS for number in atoms.values()):
        raise InputError(f"'{whole}' is not a chemical formula: a number in it cannot be")
    return dict(atoms)


def _likely_cause(text: str) -> str:
    if text.count("(") != text.count(")"):
        return ": an opening and a closing bracket do not match"
    symbols = re.findall(r"[A-Z][a-z]?", text)
    unknown = [s for s in symbols if s not in _symbols()]
    if unknown:
        return f": there is no element '{unknown[0]}'"
    if text and text[0].islower():
        return ": symbols of elements begin with a capital letter, as in Mg(OH)2"
    return "; write it like Mg(OH)2, Na2CO3.10H2O or S2O3^2-"


@lru_cache(maxsize=1)
def _symbols() -> frozenset[str]:
    return frozenset(element.symbol for element in periodictable.elements)


@lru_cache(maxsize=128)
def _weight(symbol: str) -> AtomicWeight:
    known = ATOMIC_WEIGHTS.get(symbol)
    if known is not None:
        return known
    element = periodictable.elements.symbol(symbol)
    return AtomicWeight(float(element.mass), float(getattr(element, "_mass_unc", None) or 0.0))
