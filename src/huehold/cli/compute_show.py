"""What `huehold compute` prints: the result card, the method card."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from huehold.methods.model import Method
from huehold.report.terminal import Pairs, Rows
from huehold.report.words import capital, sentence
from huehold.stoichiometry.assay import Assay
from huehold.stoichiometry.budget import BudgetRow
from huehold.stoichiometry.replicate_assay import Replicates

__all__ = ["assay_card", "method_card", "replicates_card"]


def assay_card(assay: Assay) -> RenderableType:
    """Return the result, its budget, remarks and cautions."""
    parts: list[RenderableType] = [Text(assay.method.title, style="bold")]
    parts.append(_pairs(assay.summary))
    if assay.decision:
        parts.append(Text(assay.decision, style="bold"))
    parts += [_budget(assay.budget), *_sentences("Note", assay.notes)]
    parts += _sentences("Warning", assay.warnings)
    return Group(*parts, *_sentences("Caution", assay.method.all_cautions))


def replicates_card(result: Replicates) -> RenderableType:
    """Return the runs, what they say together, and the cautions."""
    first = result.assays[0]
    summary = result.summary
    numbered = enumerate(result.assays, start=1)
    runs = Rows(
        ("run", first.main.label), [(f"{number}", one.main.text) for number, one in numbered]
    )
    rsd = "" if summary.rsd_percent is None else f", RSD {summary.rsd_percent:.2f} %"
    scatter = f"s = {summary.s:.3g} {result.unit}{rsd}"
    lines = [
        (capital(f"{first.method.sample.analyte_name}, {result.label}"), result.text),
        ("Mean of", f"{summary.n} runs, {scatter}"),
        ("Confidence interval", f"{summary.low:.5g} to {summary.high:.5g} {result.unit} (scatter)"),
        ("Repeatability", result.repeatability.text),
        *((test.test, test.text.removeprefix(f"{test.test}: ")) for test in result.outliers),
    ]
    if summary.trend is not None:
        lines.append(("Trend", summary.trend.text))
    parts: list[RenderableType] = [Text(first.method.title, style="bold"), runs, _pairs(lines)]
    if result.decision:
        parts.append(Text(result.decision, style="bold"))
    parts += [
        _budget(first.budget),
        *_sentences("Warning", first.warnings),
    ]
    return Group(*parts, *_sentences("Caution", first.method.all_cautions))


def method_card(method: Method) -> RenderableType:
    """Return what a method says, for reading before one begins."""
    indicator, endpoint = method.indicator, method.endpoint
    low, high = method.result.expected
    lines = [
        ("Name", method.name),
        ("Reactions", "; ".join(method.reactions)),
        ("Titrant", method.titrant.name),
        ("Indicator", f"{indicator.name}: {indicator.start.name} → {indicator.end.name}"),
        ("Hold", f"{endpoint.hold_s:g} s" + (", mixture clears" if endpoint.clearing else "")),
        ("Result in", method.result.unit),
        ("Usual results", f"{low:g} to {high:g} {method.result.unit}"),
    ]
    if method.standards:
        lines.append(("Standards", ", ".join(f"{s.name} ({s.formula})" for s in method.standards)))
    return Group(
        Text(method.title, style="bold"),
        Text(method.summary),
        _pairs(lines),
        *(Text(f"Step {n}: {sentence(t)}") for n, t in enumerate(method.procedure, start=1)),
        *_sentences("Interference", method.interferences),
        *_sentences("Caution", method.all_cautions),
        *_sentences("Source", method.sources),
    )


def _pairs(lines: Iterable[tuple[str, str]]) -> RenderableType:
    return Padding(Pairs(lines), (1, 0))


def _budget(rows: Iterable[BudgetRow]) -> RenderableType:
    columns = ("Where the uncertainty comes from", ">value", ">u (k = 1)", "unit", ">share")
    shown = [_row(row) for row in sorted(rows, key=lambda r: -r.share_percent)]
    return Padding(Rows(columns, shown), (1, 0, 1, 0))


def _row(row: BudgetRow) -> tuple[str, ...]:
    share = f"{row.share_percent:.1f} %" if row.share_percent >= 0.05 else "< 0.1 %"
    return (row.name, f"{row.value:.6g}", f"{row.u:.2g}", row.unit, share)


def _sentences(mark: str, sentences: Iterable[str]) -> list[RenderableType]:
    return [Text(f"{mark}: {sentence(text)}") for text in sentences]
