"""The working as a teacher writes it, from the very steps that give the number.

`work_out` turns steps and values into lines; `Working` prints the lines as plain text, Markdown
and HTML with MathML. Units that cancel are put in brackets or struck out, digits are kept, and
the result is rounded once, at the end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from huehold.stoichiometry import working_html
from huehold.stoichiometry.steps import (
    Chain,
    Formula,
    Step,
    Sum,
    Symbol,
    Term,
    Token,
    cancelled,
)
from huehold.stoichiometry.working_lines import Atom, Fraction, Line, Signed, pretty

__all__ = ["Working", "work_out"]

_LEGEND = "Units in [brackets] cancel; all digits are kept until the last line."
_LEGEND_MARKDOWN = "Struck units cancel; all digits are kept until the last line."
_FORMULAE: Mapping[str, str] = {
    "acid_titrant_excess": (
        "e/(1 + e) of {mass_g} g, with e = ([HA] + [H+] - [OH-])/(z c) at pH {ph} "
        "(pKa {pka}, z {cation_charge}, c from {strength_mol_per_kg} mol/kg and {other_g} g of "
        "water and sample)"
    ),
    "acid_analyte_excess": (
        "e/(1 + e) of {mass_g} g, with e = (protons lost at pH {ph})/(all) - 1 + "
        "([OH-] - [H+])/c, c from {strength_mol_per_kg} mol/kg and {other_g} g of water and sample"
    ),
    "suspension_density": (
        "1/(w/{solid_g_per_ml} + (1 - w)/{water_g_per_ml}) with w = {percent_ww} % by mass"
    ),
}


@dataclass(frozen=True, slots=True)
class Working:
    """The lines of a working, and the rounded result that ends it."""

    lines: tuple[Line, ...]
    reactions: tuple[str, ...]
    result: str

    @property
    def text(self) -> str:
        """Plain text; cancelled units in brackets."""
        parts = [*self.reactions, "", _LEGEND, ""]
        for line in self.lines:
            parts += [_heading(line), f"  {_plain_body(line)}", f"  = {line.value}", ""]
        return "\n".join([*parts, f"Rounded once: {self.result}"]) + "\n"

    @property
    def markdown(self) -> str:
        """Markdown; cancelled units struck out."""
        parts = [*(f"- {pretty(r)}" for r in self.reactions), "", _LEGEND_MARKDOWN, ""]
        for number, line in enumerate(self.lines, start=1):
            parts += [
                f"{number}. {_escape(_heading(line))}  ",
                f"   {_markdown_body(line)}  ",
                f"   = **{_escape(pretty(line.value))}**",
            ]
        return "\n".join([*parts, "", f"**Rounded once: {_escape(self.result)}**"]) + "\n"

    @property
    def html(self) -> str:
        """A fragment of HTML with MathML, escaped; cancelled units struck out."""
        return working_html.render(self.lines, self.reactions, self.result)


def work_out(
    steps: Sequence[Step], values: Mapping[str, Any], reactions: Sequence[str], result: str
) -> Working:
    """Write steps out with their values.

    Parameters
    ----------
    steps : sequence of Step
        In order, those the result depends on.
    values : mapping of str to float
        Inputs and results, from `huehold.stoichiometry.steps.evaluate`.
    reactions : sequence of str
    result : str
        Rounded, with unit and uncertainty.
    """
    lines = tuple(_line(step, values) for step in steps)
    return Working(lines, tuple(reactions), result)


def _line(step: Step, values: Mapping[str, Any]) -> Line:
    symbol = step.result
    value = f"{number(values[symbol.key])} {unit_of(symbol)}".strip()
    if isinstance(step, Chain):
        return Line(symbol.label, step.reason, value, fractions=_fractions(step, values))
    if isinstance(step, Sum):
        signed = tuple(
            Signed(sign, number(values[key]), symbol.unit, key) for sign, key in step.terms
        )
        return Line(symbol.label, step.reason, value, terms=signed)
    return Line(symbol.label, step.reason, value, formula=_formula(step, values))


def _fractions(chain: Chain, values: Mapping[str, Any]) -> tuple[Fraction, ...]:
    left = cancelled(chain)
    above, below = Counter(left), Counter(left)
    return tuple(
        Fraction(_atom(f.over, values, above), _atom(f.under, values, below)) for f in chain.factors
    )


def _atom(term: Term | None, values: Mapping[str, Any], left: Counter[Token]) -> Atom | None:
    if term is None:
        return None
    value = values[term.value] if isinstance(term.value, str) else term.value
    token = term.token
    gone = token is not None and left[token] > 0
    if token is not None and gone:
        left[token] -= 1
    # a unit such as "100 mL" carries its own number
    shown = "" if term.unit[:1].isdigit() and value == 1 else number(value)
    return Atom(shown, f"{term.unit} {term.of}".strip(), gone)


def _formula(step: Formula, values: Mapping[str, Any]) -> str:
    numbers = {
        name: number(values[value] if isinstance(value, str) else value)
        for name, value in step.arguments
    }
    return _FORMULAE[step.function].format(**numbers)


def number(value: Any) -> str:
    """Write a number with up to seven significant digits, none invented."""
    return f"{float(value):.7g}".replace("-", "−")


def unit_of(symbol: Symbol) -> str:
    """Write a symbol's unit with what it is of."""
    above = f"{symbol.unit} {symbol.of}".strip()
    below = f"{symbol.per_unit} {symbol.per_of}".strip()
    return f"{above} / {below}" if below else above


def _heading(line: Line) -> str:
    label = line.label if line.label.startswith("pH") else line.label[:1].upper() + line.label[1:]
    return f"{label} ({line.reason}):" if line.reason else f"{label}:"


def _plain_body(line: Line) -> str:
    if line.fractions:
        return " × ".join(_plain_fraction(f) for f in line.fractions)
    return _other_body(line)


def _other_body(line: Line) -> str:
    if line.formula:
        return line.formula
    parts = [f"{t.mark} {_bracketed(t.number)} {t.unit} ({t.name})" for t in line.terms]
    return " ".join(parts).removeprefix("+ ")


def _bracketed(number: str) -> str:
    return f"({number})" if number.startswith("−") else number


def _plain_fraction(fraction: Fraction) -> str:
    over = _plain_atom(fraction.over) if fraction.over else "1"
    if fraction.under is None:
        return over
    return f"({over} / {_plain_atom(fraction.under)})"


def _plain_atom(atom: Atom) -> str:
    unit = f"[{atom.unit}]" if atom.cancelled else atom.unit
    return f"{atom.number} {unit}".strip()


def _markdown_body(line: Line) -> str:
    if not line.fractions:
        return _escape(_other_body(line))
    return " × ".join(_markdown_fraction(f) for f in line.fractions)


def _markdown_fraction(fraction: Fraction) -> str:
    over = _markdown_atom(fraction.over) if fraction.over else "1"
    if fraction.under is None:
        return over
    return f"({over} / {_markdown_atom(fraction.under)})"


def _markdown_atom(atom: Atom) -> str:
    unit = pretty(atom.unit)
    return f"{atom.number} {f'~~{unit}~~' if atom.cancelled else unit}".strip()


def _escape(text: str) -> str:
    for mark in "\\*_~`^[]<>":
        text = text.replace(mark, f"\\{mark}")
    return text
