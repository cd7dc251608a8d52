"""The label claim: so many milligrams in so much of the product."""

from __future__ import annotations

import re
from dataclasses import dataclass

from huehold.errors import InputError
from huehold.methods.model import Method
from huehold.stoichiometry.formulae import molar_mass, parse_formula
from huehold.stoichiometry.quantities import Typed, positive, read
from huehold.stoichiometry.tolerances import AcceptanceRange, acceptance_range
from huehold.stoichiometry.units import dimension_name, quantity

__all__ = ["Claim", "Portion", "parse_claim", "parse_tolerance", "portion_of"]

_LARGEST = 1e5  # mL or g
_EXAMPLE = "write it like '1200 mg/15 mL', '500 mg per tablet' or '5 g/100 mL'"
_PERCENT = re.compile(r"^(.*?)\s*%\s*\(?\s*([wm]\s*/\s*[vwm])?\s*\)?$")
_AMOUNT = re.compile(r"^([^\sa-zA-Zµ]+)\s*([a-zA-Zµ]+)\s*(\S*)$")
_RANGE = re.compile(r"^\s*(\S+?)\s*%?\s*(?:-|–|to|\.\.)\s*(\S+?)\s*%?\s*$")


@dataclass(frozen=True, slots=True)
class Portion:
    """How much of the product the label speaks of, in mL or g, and what it is called."""

    amount: float
    unit: str
    name: str


@dataclass(frozen=True, slots=True)
class Claim:
    """What the label says is in a portion, in mg of what the result is expressed as."""

    amount_mg: float
    portion: Portion
    text: str
    note: str = ""


def portion_of(method: Method, dose: object | None = None) -> Portion | None:
    """Return the portion of the result: as given, or the method's dose, or None.

    Raises
    ------
    InputError
        If it is neither a mass nor a volume above zero.
    """
    usual = None if method.dose is None else method.dose.amount
    chosen = usual if dose is None else dose
    return None if chosen is None else _portion(chosen, str(chosen))


def parse_claim(text: str, method: Method, dose: object | None = None) -> Claim:
    """Read a label claim.

    Parameters
    ----------
    text : str
        For example ``"1200 mg/15 mL"``, ``"80 mg/mL"``, ``"500 mg Mg/15 mL"`` (of magnesium, not
        of the hydroxide), ``"500 mg per tablet"`` (needs the mass of a tablet as `dose`),
        ``"5 %"`` where the method's own unit is a percentage.
    method : Method
    dose : str, float or pint quantity, optional
        Portion that a word such as tablet stands for.

    Raises
    ------
    InputError
        If it cannot be read or is not positive.
    """
    percent = _PERCENT.match(text.strip())
    if percent is not None:
        return _percent_claim(text, percent.group(1), percent.group(2), method)
    amount, separator, per = text.replace(" per ", "/").partition("/")
    if not separator:
        raise InputError(f"the label claim '{text}' names no portion; {_EXAMPLE}")
    milligrams, note = _amount_mg(amount, text, method)
    return Claim(milligrams, _claim_portion(per.strip(), text, method, dose), text, note)


def parse_tolerance(text: str) -> AcceptanceRange:
    """Read a tolerance of the label claim such as ``"90-115 %"``, or the name of a shipped one.

    Raises
    ------
    InputError
        If it is neither.
    """
    match = _RANGE.match(text)
    numbers = re.findall(r"\d", text)
    if match is None or not numbers:
        return acceptance_range(text.strip())
    low, high = (read(part, None, "the tolerance").value for part in match.groups())
    if not 0 <= low < high:
        raise InputError(f"the tolerance '{text}' must be two percentages, the lower one first")
    if high < 10:
        raise InputError(
            f"the tolerance '{text}' must be in percent of the label claim, such as 90-115 %"
        )
    return AcceptanceRange("named", "", "", "label", low, high, "named by the user")


def _portion(given: object, name: str) -> Portion:
    typed = positive(read(given, None, "the dose"), "the dose", "how much is one dose?")
    unit = _portion_unit(typed)
    amount = typed.to(unit, "the dose").value
    if not 1e-3 <= amount <= _LARGEST:
        raise InputError(f"the dose of {amount:g} {unit} is no portion anybody measures")
    return Portion(amount, unit, name)


def _portion_unit(typed: Typed) -> str:
    kind = dimension_name(quantity(1.0, typed.unit or "dimensionless"))
    if kind == "a volume":
        return "mL"
    if kind == "a mass":
        return "g"
    raise InputError(f"the dose '{typed.text}' must be a volume or a mass, such as 15 mL or 1.3 g")


def _claim_portion(per: str, text: str, method: Method, dose: object | None) -> Portion:
    if re.match(r"[\d.,]", per):
        return _portion(per, per)
    if per.lower() in {"ml", "l", "g", "kg", "cc"}:
        return _portion(f"1 {per}", per)
    named = dose is not None or (method.dose is not None and per.lower() == method.dose.name)
    portion = portion_of(method, dose) if named else None
    if portion is None:
        raise InputError(
            f"the label claim '{text}' is for one {per or '?'}; give what it weighs or holds as "
            "the dose, such as 1.30 g"
        )
    return Portion(portion.amount, portion.unit, per)


def _amount_mg(amount: str, text: str, method: Method) -> tuple[float, str]:
    match = _AMOUNT.match(amount.strip())
    if match is None:
        raise InputError(f"the label claim '{text}' cannot be read; {_EXAMPLE}")
    number, unit, substance = match.groups()
    typed = positive(read(f"{number} {unit}", "mg", "the label claim"), "the label claim", "typo?")
    if typed.value > 1000 * _LARGEST:
        raise InputError(f"the label claim '{text}' is more than anybody weighs; {_EXAMPLE}")
    stated = method.expressed_as.formula
    if substance in {"", stated}:
        return typed.value, ""
    factor = _mass_ratio(substance, stated, text)
    note = f"{typed.value:g} mg {substance} on the label is {typed.value * factor:.6g} mg {stated}"
    return typed.value * factor, note


def _mass_ratio(substance: str, stated: str, text: str) -> float:
    part, whole = parse_formula(substance), parse_formula(stated)
    if len(part.atoms) != 1 or not set(part.atoms) <= set(whole.atoms):
        raise InputError(
            f"the label claim '{text}' is of {substance}, but the result is of {stated}; give the "
            f"claim of {stated}, or of an element in it"
        )
    (symbol,) = part.atoms
    return molar_mass(stated).value / (whole.atoms[symbol] * molar_mass(symbol).value)


def _percent_claim(text: str, number: str, sense: str | None, method: Method) -> Claim:
    unit = method.result.unit
    if sense is None and unit not in {"g/100 mL", "%"}:
        raise InputError(
            f"the label claim '{text}' does not say percent of what; write % w/w (g per 100 g) or "
            "% w/v (g per 100 mL)"
        )
    by_volume = sense.replace(" ", "")[-1] == "v" if sense else unit == "g/100 mL"
    typed = positive(read(number, None, "the label claim"), "the label claim", "typo?")
    portion = Portion(100.0, "mL", "100 mL") if by_volume else Portion(100.0, "g", "100 g")
    return Claim(1000.0 * typed.value, portion, text)
