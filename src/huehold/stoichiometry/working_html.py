"""The working as HTML with MathML, which browsers draw and screen readers speak."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from huehold.stoichiometry.working_lines import Atom, Fraction, Line

__all__ = ["render"]

# MathML Core has no menclose; a diagonal drawn as background strikes a unit out everywhere.
_STRIKE = (
    "background:linear-gradient(to top right,transparent 46%,currentColor 46%,"
    "currentColor 54%,transparent 54%)"
)


def render(lines: Sequence[Line], reactions: Sequence[str], result: str) -> str:
    """Write the lines of a working as a fragment of HTML.

    Parameters
    ----------
    lines : sequence of Line
    reactions : sequence of str
    result : str
        Rounded, with unit and uncertainty.
    """
    head = "".join(f"<p>{escape(reaction)}</p>" for reaction in reactions)
    body = "".join(_line(line) for line in lines)
    return (
        f'<div class="working">{head}<p>Struck units cancel; all digits are kept until the last '
        f"line.</p><ol>{body}</ol><p><strong>Rounded once: {escape(result)}</strong></p></div>"
    )


def _line(line: Line) -> str:
    reason = f" <span>({escape(line.reason)})</span>" if line.reason else ""
    inner = _body(line) + f"<mo>=</mo><mtext>{escape(line.value)}</mtext>"
    math = f'<math display="block"><mrow>{inner}</mrow></math>'
    return f"<li><p>{escape(line.label)}{reason}</p>{math}</li>"


def _body(line: Line) -> str:
    if line.fractions:
        return "<mo>×</mo>".join(_fraction(f) for f in line.fractions)
    if line.formula:
        return f"<mtext>{escape(line.formula)}</mtext>"
    parts = []
    for position, term in enumerate(line.terms):
        sign = f"<mo>{term.mark}</mo>" if position or term.sign < 0 else ""
        unit = f"<mspace width='.2em'/><mtext>{escape(f'{term.unit} ({term.name})')}</mtext>"
        parts.append(f"{sign}{_number(term.number)}{unit}")
    return "".join(parts)


def _number(number: str) -> str:
    inner = f"<mn>{escape(number)}</mn>"
    return f"<mo>(</mo>{inner}<mo>)</mo>" if number.startswith("−") else inner


def _fraction(fraction: Fraction) -> str:
    over = _atom(fraction.over) if fraction.over else "<mn>1</mn>"
    if fraction.under is None:
        return over
    return f"<mfrac>{over}{_atom(fraction.under)}</mfrac>"


def _atom(atom: Atom) -> str:
    unit = ""
    if atom.unit:
        style = f' class="cancelled" style="{_STRIKE}"' if atom.cancelled else ""
        unit = f"<mspace width='.2em'/><mtext{style}>{escape(atom.unit)}</mtext>"
    number = f"<mn>{escape(atom.number)}</mn>" if atom.number else ""
    return f"<mrow>{number}{unit}</mrow>"
