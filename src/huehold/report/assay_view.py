"""The one place where the reports look into an assay.

Everything else in `report` reads an `AssayView`; should the assay change its shape, only
this file follows.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from huehold.report.numbers import plain
from huehold.report.words import sentence

if TYPE_CHECKING:
    from huehold.stoichiometry.assay import Assay
    from huehold.stoichiometry.budget import BudgetRow as Row

__all__ = ["AssayView", "BudgetRow", "assay_json", "view_assay"]


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of the uncertainty budget: a quantity, its doubt, and what that does."""

    name: str
    value: str
    unit: str
    u: str
    share_percent: float
    source: str


@dataclass(frozen=True, slots=True)
class AssayView:
    """An assay as people read it.

    Attributes
    ----------
    lines : tuple of (str, str)
        Label and value with its expanded uncertainty, the main result first.
    remarks : tuple of (str, str)
        What the results rest on: coverage, equivalence, agreement of the methods.
    notes, warnings : tuple of str
        Sentences to read beside the result.
    decision : str
        The comparison with the label claim in a sentence; empty without a claim.
    working_text : str
        The working, step by step, as plain text.
    working_html : str
        The same as HTML with MathML, already escaped.
    budget : tuple of BudgetRow
        The uncertainty budget, largest share first.
    """

    lines: tuple[tuple[str, str], ...]
    remarks: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    decision: str
    working_text: str
    working_html: str
    budget: tuple[BudgetRow, ...]


def view_assay(assay: Assay | None) -> AssayView | None:
    """Read an assay for the reports.

    Parameters
    ----------
    assay : Assay or None
        A run's assay.
    """
    if assay is None:
        return None
    rows = (_row(row) for row in assay.budget)
    summary = tuple((str(label), str(value)) for label, value in assay.summary)
    working = assay.working
    return AssayView(
        lines=summary[: len(assay.results)],
        remarks=summary[len(assay.results) :],
        notes=tuple(map(sentence, assay.notes)),
        warnings=tuple(map(sentence, assay.warnings)),
        decision=assay.decision,
        working_text=working.text,
        working_html=_without_styles(working.html),
        budget=tuple(sorted(rows, key=lambda row: -row.share_percent)),
    )


def assay_json(assay: Assay | None) -> Mapping[str, Any] | None:
    """Return the assay as plain values for the result file, or None without one."""
    return None if assay is None else dict(plain(assay.to_json()))


def _row(row: Row) -> BudgetRow:
    return BudgetRow(
        row.name, f"{row.value:.6g}", row.unit, f"{row.u:.2g}", row.share_percent, row.source
    )


def _without_styles(html: str) -> str:
    """Take style attributes out: the report's security policy refuses them."""
    return re.sub(r' style="[^"]*"', "", html)
