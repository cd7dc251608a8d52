"""Standardisation: the strength of the titrant from a weighed primary standard."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from huehold.errors import InputError, UsageError
from huehold.methods.model import Method, Standard
from huehold.stoichiometry.quantities import positive, read
from huehold.stoichiometry.reactions import Reaction, step_ratio
from huehold.stoichiometry.steps import Chain, Factor, Step, Sum, Symbol, Term
from huehold.stoichiometry.strength import Strength, molar_mass_input
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.weighing import Balance, last_addition_input, mass_input

__all__ = ["Standardisation", "find_standard", "from_standard", "path_factors"]


@dataclass(frozen=True, slots=True)
class Standardisation:
    """A titration of a weighed standard with the titrant.

    Attributes
    ----------
    standard : str
        Name or formula of one of the method's standards.
    standard_mass, titrant_mass : str, float or pint quantity
        Weighed standard, and titrant at its endpoint, in grams.
    last_addition : str, float or pint quantity
        Mass of the addition that brought that endpoint.
    assay : str, float or None
        Content of the standard in percent by mass, if the method's figure is not wanted: its
        purity, or less for what is known of its moisture.
    """

    standard: str
    standard_mass: object
    titrant_mass: object
    last_addition: object = "0.05 +/- 0 g"
    assay: object | None = None


def find_standard(method: Method, name: str) -> Standard:
    """Find a standard of the method by name or formula.

    Raises
    ------
    UsageError
        If the method has none of that name.
    """
    for standard in method.standards:
        if name.strip().lower() in {standard.name.lower(), standard.formula.lower()}:
            return standard
    known = ", ".join(f"{s.name} ({s.formula})" for s in method.standards) or "none"
    raise UsageError(
        f"the method {method.name} has no standard '{name}'; it has {known}; add one as "
        "[[standards]] in a method file of your own"
    )


def from_standard(method: Method, given: Standardisation, balance: Balance) -> Strength:
    """Strength of the method's titrant in mol/kg from a standardisation.

    Raises
    ------
    InputError
        If a mass or the assay makes no sense.
    UsageError
        If the method has no such standard.
    """
    standard = find_standard(method, given.standard)
    weighed, read_g, last = _masses(standard, given, balance)
    assay, molar = _assay_input(standard, given.assay), molar_mass_input(standard.formula)
    solution, species = method.titrant.name, method.titrant.species
    used = Symbol("titrant for the standard", "titrant for the standard", "g", solution)
    strength = Symbol(
        f"strength of {solution}", f"strength of {solution}", "mol", species, "kg", solution
    )
    chain = Chain(
        strength,
        (
            Factor(Term(weighed.name, "g", standard.name)),
            Factor(Term(assay.name, "g", standard.formula), Term(100, "g", standard.name)),
            Factor(Term(1, "mol", standard.formula), Term(molar.name, "g", standard.formula)),
            *path_factors(method.parsed_reactions, standard.path),
            Factor(None, Term(used.key, "g", solution)),
            Factor(Term(1000, "g", solution), Term(1, "kg", solution)),
        ),
        f"standardised against {standard.name}",
    )
    steps: tuple[Step, ...] = (Sum(used, ((1, read_g.name), (-1, last.name))), chain)
    factors = (
        Factor(Term(1, "kg", solution), Term(1000, "g", solution)),
        Factor(Term(strength.key, "mol", species), Term(1, "kg", solution)),
    )
    return Strength("standardised", 0.0, (weighed, read_g, last, assay, molar), factors, steps)


def path_factors(reactions: tuple[Reaction, ...], path: tuple[str, ...]) -> tuple[Factor, ...]:
    """Mole ratios along a path of species, one factor for each step."""
    factors = []
    for start, end in itertools.pairwise(path):
        left, right = step_ratio(reactions, start, end)
        factors.append(Factor(Term(right, "mol", end), Term(left, "mol", start)))
    return tuple(factors)


def _masses(
    standard: Standard, given: Standardisation, balance: Balance
) -> tuple[Input, Input, Input]:
    grams = [
        read(value, "g", f"the {what}")
        for value, what in (
            (given.standard_mass, f"mass of {standard.name}"),
            (given.titrant_mass, "titrant mass of the standardisation"),
            (given.last_addition, "last addition of the standardisation"),
        )
    ]
    return (
        mass_input(f"mass of {standard.name}", grams[0], balance),
        mass_input("titrant mass of the standardisation", grams[1], balance),
        last_addition_input("last addition of the standardisation", grams[2], "half of it"),
    )


def _assay_input(standard: Standard, given: object | None) -> Input:
    name = f"assay of {standard.name}"
    if given is None:
        usual = standard.assay_percent
        return Input.normal(name, usual.value, usual.u, "%", source=usual.source)
    typed = read(given, None, f"the {name}")
    if typed.unit not in {"", "%", "percent", "percent_ww"}:
        raise InputError(f"the {name} must be in percent by mass, not '{typed.text}'")
    positive(typed, f"the {name}", "in percent, such as 99.5")
    if not 50 <= typed.value <= 101:
        raise InputError(
            f"the {name} of {typed.value:g} % cannot be that of a standard (a share typed for a "
            "percentage?)"
        )
    return Input.rectangular(name, typed.value, typed.half_width, "%", f"given: {typed.text}")
