"""From a method and what was weighed to the steps and inputs of the calculation.

One model serves all methods: titrant at its equivalence point; by its strength and the mole
ratios to moles of analyte (from a reagent added in excess, if there is one, less those); by the
sample to a content, to a portion and to a share of the label claim.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from huehold.errors import InputError, UsageError
from huehold.methods.model import Basis, Method, Solution
from huehold.stoichiometry.claim import Claim, Portion
from huehold.stoichiometry.density import density_input, water_density
from huehold.stoichiometry.equivalence import Equivalence, add_equivalence
from huehold.stoichiometry.quantities import Typed, read
from huehold.stoichiometry.request import Request
from huehold.stoichiometry.standardise import from_standard, path_factors
from huehold.stoichiometry.steps import Chain, Factor, Formula, Sum, Symbol, Term
from huehold.stoichiometry.strength import Strength, from_label, molar_mass_input
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.weighing import mass_input
from huehold.stoichiometry.worksheet import Output, Worksheet

__all__ = ["RESULT_UNITS", "build"]


@dataclass(frozen=True, slots=True)
class _ResultUnit:
    """How a unit of content is built: what is above, what below, and the factors to them."""

    pint: str
    above: str
    per_above: float
    below: str
    amount_below: float
    base: str


RESULT_UNITS: Mapping[str, _ResultUnit] = MappingProxyType(
    {
        "mg/mL": _ResultUnit("mg/mL", "mg", 1000, "mL", 1, "mL"),
        "g/100 mL": _ResultUnit("percent_wv", "g", 1, "100 mL", 100, "mL"),
        "mg/100 mL": _ResultUnit("mg/dL", "mg", 1000, "100 mL", 100, "mL"),
        "g/L": _ResultUnit("g/L", "g", 1, "L", 1000, "mL"),
        "mg/L": _ResultUnit("mg/L", "mg", 1000, "L", 1000, "mL"),
        "mmol/L": _ResultUnit("mmol/L", "mmol", 1000, "L", 1000, "mL"),
        "mg/g": _ResultUnit("mg/g", "mg", 1000, "g", 1, "g"),
        "%": _ResultUnit("percent_ww", "g", 1, "100 g", 100, "g"),
    }
)
"""Units a method may state its content in."""


def build(
    method: Method, request: Request, portion: Portion | None, claim: Claim | None
) -> tuple[Worksheet, Equivalence]:
    """Set up the calculation of one assay.

    Parameters
    ----------
    method : Method
    request : Request
    portion : Portion or None
        What a dose is.
    claim : Claim or None
        The label claim; its portion goes before `portion`.

    Returns
    -------
    Worksheet
        Inputs, steps and outputs; nothing is evaluated.
    Equivalence
        What is known of the equivalence point.

    Raises
    ------
    InputError, UsageError
        If something is missing or makes no sense.
    """
    sheet = Worksheet()
    sample = sheet.add(
        mass_input(
            "sample mass", read(request.sample_mass, "g", "the sample mass"), request.balance
        )
    )
    titrant = _titrant_strength(method, request, sheet)
    equivalence = add_equivalence(sheet, method, request, titrant, sample)
    start = _analyte_factors(sheet, method, request, titrant, equivalence.key)
    _add_contents(sheet, method, request, start)
    chosen = claim.portion if claim else portion
    if chosen is not None:
        _add_portion(sheet, method, chosen, claim)
    return sheet, equivalence


def _titrant_strength(method: Method, request: Request, sheet: Worksheet) -> Strength:
    if request.standardisation is not None and request.strength is not None:
        raise UsageError("give the titrant's strength or its standardisation, not both")
    if request.standardisation is not None:
        strength = from_standard(method, request.standardisation, request.balance)
    else:
        strength = _label_strength(
            method.titrant, request.strength, request.strength_basis, request.country, sheet
        )
    sheet.take(strength)
    return strength


def _label_strength(
    carrier: Solution,
    given: object | None,
    basis: Basis | None,
    country: str | None,
    sheet: Worksheet,
) -> Strength:
    if given is None:
        usual = carrier.strength
        given = Typed(usual.typical, "", 0.1 * usual.typical, True, f"{usual.typical:g} (assumed)")
        basis = basis or usual.basis
        sheet.warn(
            f"no strength was given for the {carrier.name}; {usual.typical:g} "
            f"{usual.basis.replace('per-', 'g per ').replace('-', ' ')} ± 10 % "
            "is assumed; type what its label says"
        )
    return from_label(carrier, given, basis=basis, country=country)


def _analyte_factors(
    sheet: Worksheet, method: Method, request: Request, titrant: Strength, equivalence: str
) -> tuple[Factor, ...]:
    """Return factors whose product is moles of analyte; adds the steps of a back titration."""
    by_titrant = _mole_factors(sheet, method, request, method.titrant, titrant, equivalence)
    if method.reagent is None or request.blank_mass is not None:
        if request.reagent_mass is not None and method.reagent is None:
            raise UsageError(
                f"the method {method.name} has no reagent in excess; leave its mass out"
            )
        return by_titrant
    reagent = method.reagent
    if request.reagent_mass is None:
        raise UsageError(
            f"the method {method.name} is a back titration: give the mass of {reagent.name} added, "
            "or a blank (titrant for the same reagent without sample)"
        )
    what = f"mass of {reagent.name}"
    typed = read(request.reagent_mass, "g", f"the {what}")
    mass = sheet.add(mass_input(what, typed, request.balance))
    strength = _label_strength(
        reagent, request.reagent_strength, request.reagent_strength_basis, None, sheet
    )
    sheet.take(strength)
    added = _mole_factors(sheet, method, request, reagent, strength, mass)
    return _difference(sheet, method, added, by_titrant)


def _difference(
    sheet: Worksheet, method: Method, added: tuple[Factor, ...], left: tuple[Factor, ...]
) -> tuple[Factor, ...]:
    analyte = method.sample.analyte
    assert method.reagent is not None
    names = (f"{analyte} that all {method.reagent.name} would use", f"{analyte} for what was left")
    for name, factors in zip(names, (added, left), strict=True):
        sheet.do(Chain(Symbol(name, name, "mol", analyte), factors))
    total = Symbol("amount of analyte", f"{analyte} in the sample", "mol", analyte)
    sheet.do(Sum(total, ((1, names[0]), (-1, names[1])), "what was used is what was not left"))
    return (Factor(Term(total.key, "mol", analyte)),)


def _mole_factors(
    sheet: Worksheet,
    method: Method,
    request: Request,
    carrier: Solution,
    strength: Strength,
    mass_key: str,
) -> tuple[Factor, ...]:
    buoyancy = sheet.buoyancy(request.buoyancy, f"buoyancy of {carrier.name}", 1.0)
    return (
        Factor(Term(mass_key, "g", carrier.name)),
        *buoyancy,
        *strength.factors,
        *path_factors(method.parsed_reactions, carrier.path),
    )


def _add_contents(
    sheet: Worksheet, method: Method, request: Request, start: tuple[Factor, ...]
) -> None:
    sample = method.sample
    amount = Symbol("amount", f"{sample.analyte} in the sample", "mmol", sample.analyte)
    mmol = Factor(Term(1000, "mmol", sample.analyte), Term(1, "mol", sample.analyte))
    sheet.do(
        Chain(amount, (*start, mmol)), Output("amount", "amount in the sample", "mmol", "mmol")
    )
    unit = method.result.unit
    if sample.state == "liquid" and unit not in {"mg/g", "%"}:
        _add_content(sheet, method, request, start, "content_ww", "%")
        _add_density(sheet, method, request)
    _add_content(sheet, method, request, start, "content", unit)


def _add_content(
    sheet: Worksheet,
    method: Method,
    request: Request,
    start: tuple[Factor, ...],
    key: str,
    unit: str,
) -> None:
    style, sample = RESULT_UNITS[unit], method.sample.name
    stated = method.sample.analyte if style.above == "mmol" else method.expressed_as.formula
    factors = [*start, *_expression(sheet, method, style)]
    factors.append(Factor(None, Term("sample mass", "g", sample)))
    factors += [
        Factor(f.under, f.over)
        for f in sheet.buoyancy(request.buoyancy, "buoyancy of sample", 1.04)
    ]
    if style.base == "mL":
        factors.append(Factor(Term("density of the sample", "g", sample), Term(1, "mL", sample)))
    if style.amount_below != 1:
        below = Term(style.amount_below, style.base, sample)
        factors.append(Factor(below, Term(1, style.below, sample)))
    label = "content" if key == "content" else "content by mass"
    symbol = Symbol(key, label, style.above, stated, style.below, sample)
    shown = f"{style.above}/{style.below}" if unit == "%" else unit
    sheet.do(Chain(symbol, tuple(factors)), Output(key, label, shown, style.pint))


def _expression(sheet: Worksheet, method: Method, style: _ResultUnit) -> list[Factor]:
    """Return factors from moles of analyte to the mass (or amount) that is stated."""
    analyte, stated = method.sample.analyte, method.expressed_as
    if style.above == "mmol":
        return [Factor(Term(1000, "mmol", analyte), Term(1, "mol", analyte))]
    factors = []
    if stated.formula != analyte:
        per = Term(stated.per_analyte, "mol", stated.formula)
        factors.append(Factor(per, Term(1, "mol", analyte)))
    molar = sheet.add(molar_mass_input(stated.formula))
    factors.append(Factor(Term(molar, "g", stated.formula), Term(1, "mol", stated.formula)))
    if style.per_above != 1:
        above = Term(style.per_above, style.above, stated.formula)
        factors.append(Factor(above, Term(1, "g", stated.formula)))
    return factors


def _add_density(sheet: Worksheet, method: Method, request: Request) -> None:
    name, sample = "density of the sample", method.sample
    if isinstance(request.density, Input):
        sheet.add(request.density)
    elif request.density is not None:
        sheet.add(density_input(request.density, name))
    elif sample.solid_density_g_per_ml is not None:
        _add_suspension_density(sheet, sample.name, sample.solid_density_g_per_ml)
    elif sample.density_g_per_ml is not None:
        usual = sample.density_g_per_ml
        sheet.add(Input.normal(name, usual.value, usual.u, "g/mL", source=usual.source))
        sheet.warn(f"no density was given; {usual.value:g} g/mL is assumed ({usual.source})")
    else:
        raise InputError(
            f"the content by volume needs the density of the {sample.name}: weigh a measured "
            "volume, for example 10 mL, and give the density in g/mL"
        )


def _add_suspension_density(sheet: Worksheet, sample: str, solid: float) -> None:
    other = Input.normal("other solids", 0.0, 0.01, "g/mL", source="thickeners and salts, assumed")
    sheet.add(other)
    arguments: tuple[tuple[str, Any], ...] = (
        ("percent_ww", "content_ww"),
        ("solid_g_per_ml", solid),
        ("water_g_per_ml", round(float(water_density(20.0)), 4)),
    )
    alone = Symbol("density of solid and water", "density of solid and water", "g/mL")
    sheet.do(Formula(alone, "suspension_density", arguments, "volumes add up"))
    total = Symbol("density of the sample", f"density of the {sample}", "g/mL")
    sheet.do(Sum(total, ((1, alone.key), (1, other.name)), "no density was measured"))
    sheet.warn(
        f"no density was given for the {sample}; it is estimated from the content found, as if "
        "volumes added up (+/- 0.01 g/mL); weigh 10 mL to do better"
    )


def _add_portion(sheet: Worksheet, method: Method, portion: Portion, claim: Claim | None) -> None:
    key = _content_key(sheet, method, portion)
    unit = "%" if key == "content_ww" else method.result.unit
    style, stated, sample = RESULT_UNITS[unit], method.expressed_as.formula, method.sample.name
    if style.above == "mmol":
        raise InputError("a label claim or dose cannot be held against a result in mmol/L")
    factors = [Factor(Term(key, style.above, stated), Term(1, style.below, sample))]
    if style.amount_below != 1:
        below = Term(style.amount_below, style.base, sample)
        factors.append(Factor(Term(1, style.below, sample), below))
    factors.append(Factor(Term(portion.amount, style.base, sample)))
    wanted = method.dose.unit if method.dose else style.above
    if wanted != style.above:
        up = (1000, 1) if wanted == "mg" else (1, 1000)
        factors.append(Factor(Term(up[0], wanted, stated), Term(up[1], style.above, stated)))
    label = f"in {portion.name}" if portion.name[:1].isdigit() else f"in one {portion.name}"
    symbol = Symbol("dose", label, wanted, stated)
    sheet.do(Chain(symbol, tuple(factors)), Output("dose", label, wanted, wanted))
    if claim is not None:
        _add_share(sheet, wanted, stated, claim)


def _add_share(sheet: Worksheet, unit: str, stated: str, claim: Claim) -> None:
    amount = claim.amount_mg if unit == "mg" else claim.amount_mg / 1000.0
    factors = (
        Factor(Term("dose", unit, stated)),
        Factor(Term(100, "%"), Term(amount, unit, stated)),
    )
    symbol = Symbol("percent_of_label", "share of the label claim", "%")
    sheet.do(
        Chain(symbol, factors), Output("percent_of_label", "of the label claim", "%", "percent")
    )


def _content_key(sheet: Worksheet, method: Method, portion: Portion) -> str:
    by_volume = RESULT_UNITS[method.result.unit].base == "mL"
    if portion.unit == ("mL" if by_volume else "g"):
        return "content"
    if by_volume and sheet.has("content_ww"):
        return "content_ww"
    raise InputError(
        f"the dose of {portion.name} is {'a volume' if portion.unit == 'mL' else 'a mass'}, but "
        f"the result of {method.name} is in {method.result.unit}; give the dose in the same sense"
    )
