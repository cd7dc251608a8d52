"""From the reading at the end colour to the titrant at the equivalence point.

The colour turned somewhere within the last addition, so half of it is taken off, with a
rectangular doubt over all of it. Where the method knows how pH and excess are related, the
titrant between equivalence and the turning of the colour is taken off as well. A pH read from
the colour that held says how much of the last addition was too much, and replaces both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from huehold.errors import InputError
from huehold.methods.model import Equilibrium, Method
from huehold.stoichiometry import endpoint_ph
from huehold.stoichiometry.dropper import USUAL_DROP_G, DropMass, mass_of
from huehold.stoichiometry.plausible import check_titrant
from huehold.stoichiometry.quantities import Typed, positive, read
from huehold.stoichiometry.steps import Chain, Factor, Formula, Sum, Symbol, Term, evaluate
from huehold.stoichiometry.strength import Strength
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.weighing import drift_input, last_addition_input, mass_input
from huehold.stoichiometry.worksheet import Worksheet

if TYPE_CHECKING:
    from huehold.stoichiometry.request import Request

__all__ = ["Equivalence", "add_equivalence"]


@dataclass(frozen=True, slots=True)
class Equivalence:
    """What is known of the equivalence point.

    Attributes
    ----------
    key : str
        Key of the step that holds its titrant mass.
    last_addition_g : float
    bracket_u_g : float
        Standard uncertainty by the last addition alone.
    colour : ColourEvidence or None
        What a pH read from the end colour adds.
    text : str
        The same in a sentence.
    """

    key: str
    last_addition_g: float
    bracket_u_g: float
    colour: endpoint_ph.ColourEvidence | None
    text: str


def add_equivalence(
    sheet: Worksheet, method: Method, request: Request, strength: Strength, sample: str
) -> Equivalence:
    """Enter the titrant at equivalence into the worksheet.

    Raises
    ------
    InputError
        If a mass makes no sense, or the last addition is more than all titrant.
    """
    what = "titrant mass"
    typed = read(request.titrant_mass, "g", f"the {what}")
    mass = sheet.add(mass_input(what, typed, request.balance))
    last = _last_addition(sheet, request, typed.value)
    terms = [(1, mass), *_drift(sheet, request), *_blank(sheet, method, request, last.value)]
    if method.kind == "back" and request.blank_mass is not None:
        return _back_with_blank(sheet, method, mass, last.value)
    _check_left(sheet, method, terms, last.value)
    equilibrium = method.indicator.equilibrium
    if equilibrium is None:
        return _by_bracket(sheet, method, terms, last.value)
    ph_terms = _ExcessOfPh(sheet, method, equilibrium, request, strength, sample)
    if request.end_ph is not None:
        return _by_colour(sheet, method, terms, last.value, ph_terms, _seen(request.end_ph))
    return _by_turning(sheet, method, terms, last.value, ph_terms)


def _check_left(
    sheet: Worksheet, method: Method, terms: list[tuple[int, str]], last_g: float
) -> None:
    left = sum(sign * sheet.inputs[key].value for sign, key in terms) - last_g / 2.0
    check_titrant(method, left)


def _last_addition(sheet: Worksheet, request: Request, titrant_g: float) -> Typed:
    drop = _drop(request)
    if request.bracket_mass is None:
        grams = drop.value_g if drop else USUAL_DROP_G
        typed = Typed(grams, "g", 0.0, True, f"one drop of {grams:g} g")
        if drop is None:
            sheet.warn(
                f"the mass of the last addition was not given; one drop of {grams:g} g is assumed"
            )
    else:
        typed = mass_of(request.bracket_mass, drop, "the last addition")
    positive(typed, "the last addition", "give the mass of the last drop, about 0.05 g")
    if typed.value > titrant_g:
        raise InputError(
            f"the last addition of {typed.value:g} g is more than all titrant ({titrant_g:g} g); "
            "was the mass before the last addition typed instead?"
        )
    return typed


def _drop(request: Request) -> DropMass | None:
    if request.drop_mass is None or isinstance(request.drop_mass, DropMass):
        return request.drop_mass
    typed = positive(read(request.drop_mass, "g", "the drop mass"), "the drop mass", "not weighed?")
    return DropMass(typed.value, typed.half_width / math.sqrt(3.0), f"given: {typed.text}")


def _drift(sheet: Worksheet, request: Request) -> list[tuple[int, str]]:
    if request.tare_drift is None:
        return []
    return [(-1, sheet.add(drift_input(read(request.tare_drift, "g", "the tare drift"))))]


def _blank(
    sheet: Worksheet, method: Method, request: Request, last_g: float
) -> list[tuple[int, str]]:
    if request.blank_mass is None:
        if method.kind == "direct":
            sheet.notes.append("no blank was titrated: what water and dye use up counts as analyte")
        return []
    typed = read(request.blank_mass, "g", "the blank")
    blank = sheet.add(mass_input("blank", typed, request.balance, may_be_zero=True))
    terms = [(-1, blank)]
    if method.kind == "direct" and typed.value > 0:
        part = Typed(min(last_g, typed.value), "g", 0.0, True, "")
        item = last_addition_input("last addition of the blank", part, "half the last addition")
        terms.append((1, sheet.add(item)))
    return terms


def _back_with_blank(sheet: Worksheet, method: Method, mass: str, last_g: float) -> Equivalence:
    """Blank less titrant; the halves of the two last additions cancel, their doubts do not."""
    symbol = _symbol(method)
    half = last_g / 2.0
    terms = [(1, "blank"), (-1, mass)]
    for owner in ("blank", "sample"):
        name = f"last addition of the {owner}"
        terms.append((1, sheet.add(Input.rectangular(name, 0.0, half, "g", f"{last_g:g} g"))))
    sheet.do(Sum(symbol, tuple(terms), "titrant that the sample saved"))
    u = half / math.sqrt(3.0)
    return Equivalence(symbol.key, last_g, u, None, f"within the last addition, u = {u:.2g} g")


def _by_bracket(
    sheet: Worksheet, method: Method, terms: list[tuple[int, str]], last_g: float
) -> Equivalence:
    part = sheet.add(_half(last_g))
    symbol = _symbol(method)
    sheet.do(Sum(symbol, (*terms, (-1, part)), "half the last addition is taken off"))
    u = last_g / math.sqrt(12.0)
    return Equivalence(symbol.key, last_g, u, None, f"within the last addition, u = {u:.2g} g")


def _by_turning(
    sheet: Worksheet,
    method: Method,
    terms: list[tuple[int, str]],
    last_g: float,
    excess: _ExcessOfPh,
) -> Equivalence:
    end_ph = method.indicator.end_ph
    assert end_ph is not None
    part = sheet.add(_half(last_g))
    turning = Symbol("titrant at the turn", "titrant when the colour turned", "g", _name(method))
    sheet.do(Sum(turning, (*terms, (-1, part)), "half the last addition is taken off"))
    ph = sheet.add(Input.normal("turning pH", end_ph.value, end_ph.u, "", source=end_ph.source))
    beyond = Symbol("excess", "titrant beyond equivalence", "g", _name(method))
    sheet.do(excess.step(beyond, turning.key, ph))
    symbol = _symbol(method)
    sheet.do(Sum(symbol, ((1, turning.key), (-1, beyond.key)), "from the turn to equivalence"))
    u = last_g / math.sqrt(12.0)
    text = f"within the last addition, u = {u:.2g} g, less what turns the colour"
    return Equivalence(symbol.key, last_g, u, None, text)


def _by_colour(
    sheet: Worksheet,
    method: Method,
    terms: list[tuple[int, str]],
    last_g: float,
    excess: _ExcessOfPh,
    seen: tuple[float, float],
) -> Equivalence:
    end_ph = method.indicator.end_ph
    assert end_ph is not None
    evidence = endpoint_ph.combine_with_colour(
        excess.function(), last_g, (end_ph.value, max(end_ph.u, 0.01)), seen
    )
    text = _colour_text(evidence, last_g, seen)
    if not evidence.agree:
        sheet.warn(text)
    item = Input.normal("excess at the end", evidence.excess_g, evidence.u_g, "g", source=text)
    symbol = _symbol(method)
    reason = "what the end colour and the last addition say was too much is taken off"
    sheet.do(Sum(symbol, (*terms, (-1, sheet.add(item))), reason))
    return Equivalence(symbol.key, last_g, evidence.bracket_u_g, evidence, text)


def _seen(given: object) -> tuple[float, float]:
    """Read a pH with its standard uncertainty, as a pair or as text with +/-."""
    what, example = "the pH read from the end colour", "such as '6.8 +/- 0.2'"
    if isinstance(given, str):
        typed = read(given, None, what)
        if typed.unit or not typed.stated:
            raise InputError(f"{what}, '{given}', needs its uncertainty, {example}")
        given = (typed.value, typed.half_width)
    if not (isinstance(given, tuple | list) and len(given) == 2):
        raise InputError(f"{what} must be a value with its uncertainty, {example}")
    ph, u = (read(number, None, what).value for number in given)
    if not (2 <= ph <= 12 and 0.01 <= u <= 3):
        raise InputError(f"{what}, {ph:g} +/- {u:g}, makes no sense; give it {example}")
    return ph, u


def _colour_text(
    evidence: endpoint_ph.ColourEvidence, last_g: float, seen: tuple[float, float]
) -> str:
    if not evidence.agree:
        return (
            f"the end colour (pH {seen[0]:g}) speaks of an excess that the last addition of "
            f"{last_g:g} g cannot have brought; the colour is left out: was more than one addition "
            "made at the end, or is the indicator's chart another's?"
        )
    return (
        f"end colour pH {seen[0]:g} +/- {seen[1]:g} and last addition of {last_g:g} g together: "
        f"{evidence.excess_g:.3g} g too much, u = {evidence.u_g:.2g} g, against "
        f"{evidence.bracket_u_g:.2g} g by the last addition alone ({_gain(evidence.gain)})"
    )


def _gain(gain: float) -> str:
    return f"{gain:.2g} times better" if gain >= 1.05 else "no better"


@dataclass(frozen=True, slots=True)
class _ExcessOfPh:
    """The relation of pH and excess for this run, as a step and as a function of pH."""

    sheet: Worksheet
    method: Method
    equilibrium: Equilibrium
    request: Request
    strength: Strength
    sample: str

    def step(self, result: Symbol, mass_key: str, ph_key: str) -> Formula:
        """Return the step that gives the excess at the turning of the colour."""
        strength, other = self._strength_key(), self._other_key()
        arguments: tuple[tuple[str, float | str], ...] = (
            ("mass_g", mass_key),
            ("ph", ph_key),
            ("strength_mol_per_kg", strength),
            ("other_g", other),
            *self._constants(),
        )
        return Formula(result, self._function_name(), arguments, "from the turning pH")

    def function(self) -> Any:
        """Return the excess in grams as a function of an array of pH."""
        values = {name: item.value for name, item in self.sheet.inputs.items()}
        item = self._other()
        key = self._strength_key()
        known = evaluate(self.sheet.steps, values)

        def excess_g(ph: Any) -> Any:
            """Return the titrant beyond equivalence in grams at a pH."""
            from huehold.stoichiometry.steps import FUNCTIONS

            return FUNCTIONS[self._function_name()](
                mass_g=known["titrant mass"],
                ph=np.asarray(ph, dtype=float),
                strength_mol_per_kg=known[key],
                other_g=item.value,
                **dict(self._constants()),
            )

        return excess_g

    def _function_name(self) -> str:
        kind = self.equilibrium.kind
        return "acid_titrant_excess" if kind == "acid-titrant" else "acid_analyte_excess"

    def _constants(self) -> tuple[tuple[str, float], ...]:
        equilibrium = self.equilibrium
        if equilibrium.kind == "acid-analyte":
            return tuple((f"pka{i}", pka) for i, pka in enumerate(equilibrium.pka, start=1))
        log_k = equilibrium.complex_log_k
        return (
            ("pka", equilibrium.pka[0]),
            ("cation_charge", float(equilibrium.cation_charge)),
            ("complex_log_k", -99.0 if log_k is None else log_k),
        )

    def _strength_key(self) -> str:
        name = _name(self.method)
        symbol = Symbol(
            f"{name} in mol/kg", f"strength of the {name}", "mol", self.method.titrant.species,
            "kg", name,
        )  # fmt: skip
        if not self.sheet.has(symbol.key):
            gram = Factor(Term(1000, "g", name), Term(1, "kg", name))
            self.sheet.do(Chain(symbol, (gram, *self.strength.factors)))
        return symbol.key

    def _other(self) -> Input:
        name = "water and sample"
        if self.request.water_mass is None:
            low, high = self.equilibrium.other_g
            source = f"usually {low:g} to {high:g} g; not given"
            return Input.rectangular(name, (low + high) / 2, (high - low) / 2, "g", source)
        typed = read(self.request.water_mass, "g", "the mass of water")
        positive(typed, "the mass of water", "what was the sample stirred into?")
        total = typed.value + self.sheet.inputs[self.sample].value
        return Input.rectangular(
            name, total, typed.half_width, "g", f"given: {typed.text} of water"
        )

    def _other_key(self) -> str:
        return self.sheet.add(self._other())


def _half(last_g: float) -> Input:
    return last_addition_input(
        "last addition", Typed(last_g, "g", 0.0, True, ""), "half the last addition"
    )


def _name(method: Method) -> str:
    return method.titrant.name


def _symbol(method: Method) -> Symbol:
    name = _name(method)
    return Symbol("titrant at equivalence", f"{name} at the equivalence point", "g", name)
