"""The one unit registry: pint with the few units of a kitchen titration.

Percent by mass (``percent_ww``, no dimension), percent mass by volume (``percent_wv``, a mass
by a volume) and percent by volume (``percent_vv``, a dimension of its own) cannot be converted
into each other, and a drop is a count until a calibrated drop mass makes it grams.
"""

from __future__ import annotations

import difflib
from typing import Any, TypeAlias

import pint

from huehold.errors import InputError

__all__ = ["Quantity", "convert", "dimension_name", "parse_unit", "quantity", "ureg"]

# Only what a kitchen titration needs: a registry of all of pint's units takes 50 times as long
# to make, and would read a typed "gr" as a grain or "N" as a newton.
_DEFINITIONS = """
micro- = 1e-6 = µ- = μ- = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
deci- = 1e-1 = d-
kilo- = 1e3 = k-
meter = [length] = m = metre
gram = [mass] = g
second = [time] = s
minute = 60 * second = min
hour = 60 * minute = h
mole = [substance] = mol
kelvin = [temperature]; offset: 0 = K
degree_Celsius = kelvin; offset: 273.15 = °C = celsius = degC
liter = decimeter ** 3 = L = l = litre
cubic_centimeter = centimeter ** 3 = cc
ounce = 28.349523125 * gram = oz
pound = 16 * ounce = lb
fluid_ounce = 29.5735295625 * milliliter = fl_oz
percent = 0.01 = %
degree = 0.017453292519943295 = deg
drop = [drop_count]
equivalent = [equivalent_amount] = eq
percent_ww = 0.01 * gram / gram
percent_wv = gram / (100 * milliliter)
percent_vv = [volume_fraction]
"""

ureg: pint.UnitRegistry[float] = pint.UnitRegistry(_DEFINITIONS.splitlines())
ureg.formatter.default_format = "~P"

Quantity: TypeAlias = "pint.Quantity[Any]"

_DIMENSIONS = {
    "[mass]": "a mass",
    "[length] ** 3": "a volume",
    "[mass] / [length] ** 3": "a mass by a volume (a density, or a content such as g/100 mL)",
    "[substance]": "an amount of substance",
    "[substance] / [length] ** 3": "an amount by a volume (mol/L)",
    "[substance] / [mass]": "an amount by a mass (mol/kg)",
    "[equivalent_amount] / [length] ** 3": "a normality",
    "[time]": "a time",
    "[temperature]": "a temperature",
    "[drop_count]": "a number of drops",
    "[mass] / [drop_count]": "a mass of a drop",
    "dimensionless": "a plain number or a share",
}
_COMMON = (
    "g", "mg", "kg", "mL", "L", "drop", "mol/L", "mmol/L", "mol/kg", "g/mL", "g/L", "mg/mL",
    "percent_ww", "percent_wv", "eq/L", "mg/g",
)  # fmt: skip
_SPELLINGS = {
    "ml": "mL", "l": "L", "gram": "g", "grams": "g", "gr": "g", "cc": "mL", "ccm": "mL",
    "cm3": "mL", "kilo": "kg", "fl oz": "fl_oz", "M": "mol/L",
}  # fmt: skip


def quantity(magnitude: float, unit: str) -> Quantity:
    """Make a quantity of this package's registry.

    Parameters
    ----------
    magnitude : float
    unit : str
        As pint reads it, for example ``"mg/mL"`` or ``"percent_ww"``.

    Raises
    ------
    InputError
        If the unit is not known.
    """
    return ureg.Quantity(magnitude, parse_unit(unit))


def parse_unit(text: str, what: str = "the unit") -> Any:
    """Read a unit; an unknown one is refused with the nearest that is known.

    Raises
    ------
    InputError
        If it is not a unit.
    """
    cleaned = text.strip()
    cleaned = _SPELLINGS.get(cleaned, cleaned)
    try:
        return ureg.parse_units(cleaned)
    except Exception as error:  # pint raises several unrelated types for text it cannot read
        near = [unit for unit in _COMMON if unit.lower() == cleaned.lower()]
        near = near or difflib.get_close_matches(cleaned, _COMMON, n=1, cutoff=0.5)
        hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(_COMMON[:11])}"
        raise InputError(f"{what}: '{text}' is not a unit; {hint}") from error


def convert(value: Quantity, unit: str, what: str) -> Quantity:
    """Convert to a unit of the same dimension, or say in one sentence why it cannot be.

    Parameters
    ----------
    value : pint quantity
        Of any registry.
    unit : str
    what : str
        What the quantity is, for the message, such as ``"the sample mass"``.

    Raises
    ------
    InputError
        If the dimension is wrong.
    """
    own = ureg.Quantity(value.magnitude, parse_unit(str(value.units), what))
    target = parse_unit(unit)
    if own.dimensionality != target.dimensionality:
        raise InputError(_wrong_dimension(own, unit, what))
    return own.to(target)


def dimension_name(value: Quantity) -> str:
    """Say what kind of quantity it is, in words."""
    text = str(value.dimensionality)
    return _DIMENSIONS.get(text, f"a quantity of dimension {text}")


def _wrong_dimension(value: Quantity, unit: str, what: str) -> str:
    wanted = dimension_name(ureg.Quantity(1, parse_unit(unit)))
    sentence = f"{what} must be {wanted} in {unit}, but {value:~P} is {dimension_name(value)}"
    kinds = (str(value.dimensionality), str(parse_unit(unit).dimensionality))
    if kinds == ("[length] ** 3", "[mass]"):
        return sentence + "; weigh it (millilitres typed for grams?)"
    if kinds == ("[drop_count]", "[mass]"):
        return sentence + "; give the mass of one drop as well"
    return sentence
