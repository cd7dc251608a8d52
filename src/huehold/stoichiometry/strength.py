"""Strength of a solution: from its label, in whichever sense, or by standardisation.

Either way the outcome is a `Strength`: the factors that lead from grams of solution to moles of
what reacts in it, for the chain of the working, with the inputs they use.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from huehold.errors import InputError, UsageError
from huehold.methods.model import Basis, Measured, Solution
from huehold.stoichiometry.density import (
    ACETIC_ACID_U,
    acetic_acid_density,
    acetic_acid_density_from_wv,
)
from huehold.stoichiometry.formulae import molar_mass
from huehold.stoichiometry.quantities import Typed, positive, read
from huehold.stoichiometry.steps import Factor, Step, Term
from huehold.stoichiometry.uncertain import Input

__all__ = [
    "LABEL_PRACTICE", "LabelPractice", "Strength", "from_label", "label_difference",
    "molar_mass_input",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class LabelPractice:
    """What a percentage on a vinegar label means in a country, and where that was read."""

    basis: Literal["per-100-mL"]
    source: str


LABEL_PRACTICE: Mapping[str, LabelPractice] = MappingProxyType(
    {
        "US": LabelPractice("per-100-mL", "US FDA Compliance Policy Guide sec. 525.825"),
        "DE": LabelPractice("per-100-mL", "German vinegar ordinance of 1972 as amended 2017"),
        "FR": LabelPractice("per-100-mL", "French practice, acetimetric degree"),
        "UY": LabelPractice("per-100-mL", "Montevideo food code"),
    }
)
"""Countries whose practice was read: all mean grams of acetic acid per 100 mL at 20 C."""

_PLAIN: Mapping[Basis, str] = {
    "per-100-mL": "percent_wv",
    "per-100-g": "percent_ww",
    "mol/L": "mol/L",
    "mol/kg": "mol/kg",
    "g/L": "g/L",
    "N": "eq/L",
}
_MARKS: tuple[tuple[str, Basis], ...] = (
    (r"%\s*\(?\s*(?:w|m)\s*/\s*v\s*\)?|g\s*/\s*100\s*m[lL]|percent_wv", "per-100-mL"),
    (r"%\s*\(?\s*(?:w|m)\s*/\s*(?:w|m)\s*\)?|g\s*/\s*100\s*g|percent_ww", "per-100-g"),
    (r"g\s*/\s*[lL]", "g/L"),
    (r"mol\s*/\s*[lL]|M", "mol/L"),
    (r"mol\s*/\s*kg", "mol/kg"),
    (r"N|eq\s*/\s*[lL]", "N"),
)


@dataclass(frozen=True, slots=True)
class Strength:
    """The way from grams of a solution to moles of the species that reacts.

    Attributes
    ----------
    basis : str
        Sense in which the figure was read, or ``"standardised"``.
    value : float
        The figure in that sense.
    inputs : tuple of Input
    steps : tuple of Step
        That come before (a standardisation), mostly none.
    factors : tuple of Factor
        Their product has the unit mol of species per g of solution.
    notes, warnings : tuple of str
    """

    basis: str
    value: float
    inputs: tuple[Input, ...]
    factors: tuple[Factor, ...]
    steps: tuple[Step, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def molar_mass_input(formula: str) -> Input:
    """Molar mass as an input, each element rectangular over its standard interval."""
    mass = molar_mass(formula)
    name = f"molar mass of {formula}"
    return Input.normal(name, mass.value, mass.u, "g/mol", source="CIAAW 2021 atomic weights")


def from_label(
    carrier: Solution, given: object, *, basis: Basis | None = None, country: str | None = None
) -> Strength:
    """Read the strength of a titrant or reagent from its label.

    Parameters
    ----------
    carrier : Solution
        Of the method.
    given : str, float or pint quantity
        For example ``"5 %"``, ``"5.0 +/- 0.1 %"``, ``"0.1 mol/L"``, ``"0.1 N"``, ``"50 grain"``.
        A figure is good to half its last digit unless a doubt is stated.
    basis : str, optional
        Sense of a bare figure or percentage; the method's usual one if left out.
    country : str, optional
        Two letters; sets the basis by that country's practice for vinegar.

    Raises
    ------
    InputError
        If the figure makes no sense, or contradicts the basis.
    UsageError
        If the country or basis is not known.
    """
    typed, written = _read_strength(given, carrier)
    chosen = _basis(carrier, written, basis, country)
    typed = positive(typed, f"the strength of the {carrier.name}", "not typed?")
    _check_range(carrier, typed, chosen)
    inputs, factors = _chain(carrier, typed, chosen)
    notes = tuple(n for n in (label_difference(carrier, typed, chosen, country),) if n)
    return Strength(chosen, typed.value, inputs, factors, (), notes, _digit_warning(carrier, typed))


def label_difference(carrier: Solution, typed: Typed, basis: Basis, country: str | None) -> str:
    """Say how a percentage was read and what the other reading would change; else empty."""
    if basis not in {"per-100-mL", "per-100-g"} or carrier.density != "acetic-acid":
        return ""
    density = float(acetic_acid_density_from_wv(typed.value))
    other = 100.0 * (density - 1.0)
    if basis == "per-100-g":
        density = float(acetic_acid_density(typed.value))
        other = 100.0 * (1.0 / density - 1.0)
    sense, opposite = ("100 mL", "100 g") if basis == "per-100-mL" else ("100 g", "100 mL")
    practice = LABEL_PRACTICE.get((country or "").upper())
    why = f" ({practice.source})" if practice else ""
    side = "higher" if other > 0 else "lower"
    return (
        f"{typed.value:g} % is read as {typed.value:g} g per {sense}{why}; read as g per "
        f"{opposite} the result would be {abs(other):.2f} % {side}"
    )


def _read_strength(given: object, carrier: Solution) -> tuple[Typed, Basis | None]:
    what = f"the strength of the {carrier.name}"
    typed = read(given, None, what)
    unit = typed.unit
    if unit in {"grain", "gr"}:  # 50 grain vinegar is 5 g/100 mL
        tenth = replace(typed, value=typed.value / 10, half_width=typed.half_width / 10, unit="")
        return tenth, "per-100-mL"
    if unit in {"", "%", "percent", "°", "dimensionless"}:
        return replace(typed, unit=""), None
    for pattern, basis in _MARKS:
        if re.fullmatch(pattern, unit):
            return replace(typed, unit=""), basis
    return _by_dimension(typed, what)


def _by_dimension(typed: Typed, what: str) -> tuple[Typed, Basis]:
    if re.search(r"v\s*/\s*v", typed.unit):
        raise InputError(
            f"{what}: percent by volume is not used here; give g per 100 mL (% w/v), g per 100 g "
            "(% w/w) or mol/L"
        )
    for basis in ("mol/L", "mol/kg", "g/L", "N"):
        try:
            return replace(typed.to(_PLAIN[basis], what), unit=""), basis
        except InputError as error:
            if "is not a unit" in str(error):
                raise
    raise InputError(
        f"{what}: '{typed.text}' is not a strength; give %, g/100 mL, g/100 g, g/L, mol/L, mol/kg "
        "or N"
    )


def _basis(
    carrier: Solution, written: Basis | None, basis: Basis | None, country: str | None
) -> Basis:
    if basis is not None and basis not in _PLAIN:
        raise UsageError(f"there is no basis '{basis}'; known are {', '.join(_PLAIN)}")
    if written is not None and basis is not None and written != basis:
        raise InputError(
            f"the strength of the {carrier.name} is written as {written}, but the basis asked for "
            f"is {basis}; leave one of them out"
        )
    return written or basis or _country_basis(country) or carrier.strength.basis


def _country_basis(country: str | None) -> Basis | None:
    if country is None:
        return None
    practice = LABEL_PRACTICE.get(country.upper())
    if practice is None:
        raise UsageError(
            f"the label practice of '{country}' was not read; known are "
            f"{', '.join(LABEL_PRACTICE)}; say --acidity-basis per-100-mL or per-100-g instead"
        )
    return practice.basis


def _check_range(carrier: Solution, typed: Typed, basis: Basis) -> None:
    usual = carrier.strength
    low, value, high = (
        _rough_mol_per_l(carrier, number, sense)
        for number, sense in (
            (usual.low, usual.basis),
            (typed.value, basis),
            (usual.high, usual.basis),
        )
    )
    if not 0.999 * low <= value <= 1.001 * high:
        raise InputError(
            f"the strength of the {carrier.name} was given as {typed.text}, but it is usually "
            f"{usual.low:g} to {usual.high:g} {_words(usual.basis)} ({_cause(value, low, high)})"
        )


def _cause(value: float, low: float, high: float) -> str:
    if low <= value / 10 <= high:
        return "g per litre or grain typed as percent, or a decimal point lost?"
    if low <= value * 100 <= high:
        return "a share typed for a percentage?"
    return "is it the right method, and diluted as the method says?"


def _words(basis: Basis) -> str:
    return {"per-100-mL": "% (g per 100 mL)", "per-100-g": "% (g per 100 g)"}.get(basis, basis)


def _rough_mol_per_l(carrier: Solution, value: float, basis: Basis) -> float:
    molar = molar_mass(carrier.species).value
    per_l = {
        "per-100-mL": 10.0 / molar,
        "per-100-g": 10.0 / molar,
        "g/L": 1.0 / molar,
        "N": 1.0 / carrier.equivalents,
    }
    return value * per_l.get(basis, 1.0)


def _chain(
    carrier: Solution, typed: Typed, basis: Basis
) -> tuple[tuple[Input, ...], tuple[Factor, ...]]:
    strength, solution, species = f"strength of {carrier.name}", carrier.name, carrier.species
    unit = {"per-100-mL": "g/100 mL", "per-100-g": "g/100 g", "N": "eq/L"}.get(basis, basis)
    figure = Input.rectangular(strength, typed.value, typed.half_width, unit, _source(typed))
    inputs = [figure]
    factors: list[Factor] = []
    if basis not in {"per-100-g", "mol/kg"}:
        inputs.append(_density_input(carrier, typed, basis))
        density = Term(inputs[-1].name, "g", solution)
        factors.append(Factor(Term(1, "mL", solution), density))
    factors += _figure_factors(strength, solution, species, basis, carrier.equivalents)
    if basis in {"per-100-mL", "per-100-g", "g/L"}:
        inputs.append(molar_mass_input(species))
        factors.append(Factor(Term(1, "mol", species), Term(inputs[-1].name, "g", species)))
    return tuple(inputs), tuple(factors)


def _figure_factors(
    strength: str, solution: str, species: str, basis: Basis, equivalents: float
) -> list[Factor]:
    litre = Factor(Term(1, "L", solution), Term(1000, "mL", solution))
    kilogram = Factor(Term(1, "kg", solution), Term(1000, "g", solution))
    match basis:
        case "per-100-mL":
            return [Factor(Term(strength, "g", species), Term(100, "mL", solution))]
        case "per-100-g":
            return [Factor(Term(strength, "g", species), Term(100, "g", solution))]
        case "g/L":
            return [litre, Factor(Term(strength, "g", species), Term(1, "L", solution))]
        case "mol/L":
            return [litre, Factor(Term(strength, "mol", species), Term(1, "L", solution))]
        case "mol/kg":
            return [kilogram, Factor(Term(strength, "mol", species), Term(1, "kg", solution))]
        case "N":
            per_litre = Factor(Term(strength, "eq", species), Term(1, "L", solution))
            return [
                litre,
                per_litre,
                Factor(Term(1, "mol", species), Term(equivalents, "eq", species)),
            ]


def _density_input(carrier: Solution, typed: Typed, basis: Basis) -> Input:
    name = f"density of {carrier.name}"
    if isinstance(carrier.density, Measured):
        density = carrier.density
        return Input.normal(name, density.value, density.u, "g/mL", source=density.source)
    grams = _rough_mol_per_l(carrier, typed.value, basis) * molar_mass(carrier.species).value / 10
    value = float(acetic_acid_density_from_wv(grams))
    return Input.normal(
        name, value, ACETIC_ACID_U, "g/mL", source="CRC Handbook, 20 C, interpolated"
    )


def _source(typed: Typed) -> str:
    if typed.half_width == 0.0:
        return f"given: {typed.text}, taken as exact"
    how = "as stated" if typed.stated else "half its last digit"
    return f"label: {typed.text}, +/- {typed.half_width:g} {how}"


def _digit_warning(carrier: Solution, typed: Typed) -> tuple[str, ...]:
    if typed.stated or typed.half_width < 0.02 * typed.value:
        return ()
    share = 100.0 * typed.half_width / typed.value
    return (
        f"the strength of the {carrier.name}, '{typed.text}', is only good to its last digit "
        f"(+/- {share:.2g} %), which sets the uncertainty; type every digit of the label, state a "
        "doubt ('5.0 +/- 0.1 %'), or standardise it",
    )
