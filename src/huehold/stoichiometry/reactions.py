"""Reactions: read, checked for balance of atoms and charge, limiting and excess."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from huehold.errors import InputError
from huehold.stoichiometry.formulae import parse_formula

__all__ = ["Limiting", "Reaction", "limiting", "mole_ratio", "parse_reaction", "step_ratio"]

_ARROW = re.compile(r"\s*(?:<=>|<->|->|→|⇌|=)\s*")
_SPECIES = re.compile(r"^(\d+/\d+|\d+(?:[.,]\d+)?)?\s*(\S.*)$")


@dataclass(frozen=True)
class Reaction:
    """A balanced reaction.

    Attributes
    ----------
    text : str
        As written.
    reactants, products : mapping of str to float
        Stoichiometric coefficients by formula text.
    """

    text: str
    reactants: Mapping[str, float]
    products: Mapping[str, float]

    @property
    def coefficients(self) -> Mapping[str, float]:
        """Coefficients of every species, reactants and products alike, all positive."""
        return {**self.products, **self.reactants}


def parse_reaction(text: str) -> Reaction:
    """Read a reaction and check that atoms and charge balance.

    Parameters
    ----------
    text : str
        For example ``"Mg(OH)2 + 2 CH3COOH -> Mg(CH3COO)2 + 2 H2O"``. Species are separated
        by a plus sign with spaces around it; ``->``, ``=`` and arrows are understood.

    Raises
    ------
    InputError
        If it cannot be read or does not balance; the sentence gives the counts.
    """
    sides = _ARROW.split(text.strip())
    if len(sides) != 2 or not all(sides):
        raise InputError(
            f"'{text}' is not a reaction: write what reacts, an arrow ->, and what is formed"
        )
    reaction = Reaction(text.strip(), _side(sides[0], text), _side(sides[1], text))
    _check_balance(reaction)
    return reaction


def mole_ratio(reactions: Sequence[Reaction], path: Sequence[str]) -> float:
    """Moles of the last species in the path for one mole of the first.

    Parameters
    ----------
    reactions : sequence of Reaction
        Those of the method.
    path : sequence of str
        Formulae; each neighbouring pair takes part in one reaction, for example
        ``["S2O3^2-", "I2", "ClO^-"]``.

    Raises
    ------
    InputError
        If a pair shares no reaction.
    """
    ratio = 1.0
    for start, end in itertools.pairwise(path):
        left, right = step_ratio(reactions, start, end)
        ratio *= right / left
    return ratio


def step_ratio(reactions: Sequence[Reaction], start: str, end: str) -> tuple[float, float]:
    """Coefficients of two species in the first reaction that has both."""
    for reaction in reactions:
        coefficients = reaction.coefficients
        if start in coefficients and end in coefficients:
            return coefficients[start], coefficients[end]
    raise InputError(
        f"no reaction has both {start} and {end}; write them exactly as in a reaction, or name "
        "the species between them in the path"
    )


@dataclass(frozen=True)
class Limiting:
    """Which reactant runs out first, and how much of each is left (mol)."""

    species: str
    extent_mol: float
    excess_mol: Mapping[str, float]


def limiting(reaction: Reaction, amounts_mol: Mapping[str, float]) -> Limiting:
    """Find the limiting reactant and what is left of the others.

    Parameters
    ----------
    reaction : Reaction
        Assumed to run to completion.
    amounts_mol : mapping of str to float
        Amount of every reactant in mol, finite and not negative.

    Raises
    ------
    InputError
        If a reactant has no amount, or an amount makes no sense.
    """
    for species in reaction.reactants:
        amount = amounts_mol.get(species)
        if amount is None:
            raise InputError(f"no amount was given for {species} in '{reaction.text}'")
        if not math.isfinite(amount) or amount < 0:
            raise InputError(f"the amount of {species} must be zero or more, not {amount} mol")
    extents = {s: amounts_mol[s] / n for s, n in reaction.reactants.items()}
    first = min(extents, key=lambda s: extents[s])
    extent = extents[first]
    left = {s: amounts_mol[s] - n * extent for s, n in reaction.reactants.items()}
    return Limiting(first, extent, left)


def _side(text: str, whole: str) -> dict[str, float]:
    counts: dict[str, float] = {}
    for item in re.split(r"\s+\+\s+", text.strip()):
        match = _SPECIES.match(item.strip())
        if match is None:
            raise InputError(f"'{whole}' is not a reaction: a species is missing beside a '+'")
        species = parse_formula(match.group(2)).text
        counts[species] = counts.get(species, 0.0) + _coefficient(match.group(1))
    return counts


def _fault(what: str, left: float, right: float, style: str) -> str:
    return f"{what} {left:{style}} on the left and {right:{style}} on the right"


def _coefficient(text: str | None) -> float:
    if text is None:
        return 1.0
    top, _, bottom = text.replace(",", ".").partition("/")
    return float(top) / float(bottom or 1)


def _totals(side: Mapping[str, float]) -> tuple[dict[str, float], float]:
    atoms: dict[str, float] = {}
    charge = 0.0
    for species, n in side.items():
        formula = parse_formula(species)
        charge += n * formula.charge
        for symbol, count in formula.atoms.items():
            atoms[symbol] = atoms.get(symbol, 0.0) + n * count
    return atoms, charge


def _check_balance(reaction: Reaction) -> None:
    left, left_charge = _totals(reaction.reactants)
    right, right_charge = _totals(reaction.products)
    faults = [
        _fault(symbol, left.get(symbol, 0.0), right.get(symbol, 0.0), "g")
        for symbol in sorted({*left, *right})
        if not math.isclose(left.get(symbol, 0.0), right.get(symbol, 0.0), abs_tol=1e-9)
    ]
    if not math.isclose(left_charge, right_charge, abs_tol=1e-9):
        faults.append(_fault("charge", left_charge, right_charge, "+g"))
    if faults:
        raise InputError(f"the reaction '{reaction.text}' does not balance: {', '.join(faults)}")
