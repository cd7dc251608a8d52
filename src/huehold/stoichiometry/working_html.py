"""The working as HTML with MathML, which browsers draw and screen readers speak.

Each factor of a chain is a formula of its own, so that long chains wrap on narrow pages.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from huehold.stoichiometry.working_lines import Atom, Fraction, Line, Signed, pretty

__all__ = ["render"]

# MathML Core has no menclose; a diagonal drawn as background strikes a unit out everywhere.
_STRIKE = (
    "background:linear-gradient(to top right,transparent 47%,currentColor 47%,"
    "currentColor 53%,transparent 53%)"
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
    head = "".join(f"<p>{escape(pretty(reaction))}</p>" for reaction in reactions)
    body = "".join(_line(line) for line in lines)
    return (
        f'<div class="working">{head}<p>Struck units cancel; all digits are kept until the last '
        f"line.</p><ol>{body}</ol><p><strong>Rounded once: {escape(result)}</strong></p></div>"
    )


def _line(line: Line) -> str:
    reason = f" <span>({escape(line.reason)})</span>" if line.reason else ""
    value = f"<strong>{escape(pretty(line.value))}</strong>"
    return f"<li><p>{escape(pretty(line.label))}{reason}</p><p>{_body(line)} = {value}</p></li>"


def _body(line: Line) -> str:
    if line.fractions:
        return " × ".join(_math(_fraction(f)) for f in line.fractions)
    if line.formula:
        return escape(line.formula)
    return " ".join(_term(term, first=not position) for position, term in enumerate(line.terms))


def _term(term: Signed, *, first: bool) -> str:
    sign = "" if first and term.sign > 0 else f"{term.mark} "
    number = f"({term.number})" if term.number.startswith("−") else term.number
    return f"{sign}{escape(number)} {escape(term.unit)} ({escape(term.name)})"


def _math(inner: str) -> str:
    return f'<math displaystyle="true"><mrow>{inner}</mrow></math>'


def _fraction(fraction: Fraction) -> str:
    over = _atom(fraction.over) if fraction.over else "<mn>1</mn>"
    if fraction.under is None:
        return over
    return f"<mfrac>{over}{_atom(fraction.under)}</mfrac>"


def _atom(atom: Atom) -> str:
    unit = ""
    if atom.unit:
        style = f' class="cancelled" style="{_STRIKE}"' if atom.cancelled else ""
        unit = f"<mspace width='.2em'/><mtext{style}>{escape(pretty(atom.unit))}</mtext>"
    number = f"<mn>{escape(atom.number)}</mn>" if atom.number else ""
    return f"<mrow>{number}{unit}</mrow>"
