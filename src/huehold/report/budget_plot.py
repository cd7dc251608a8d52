"""The plot of an uncertainty budget: what share of the variance each input brings."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from huehold.errors import UsageError
from huehold.report.plot_style import HUE, INK, MUTED, RC, RULE, SpanStyle
from huehold.stoichiometry.budget import Budget
from huehold.stoichiometry.rounding import with_uncertainty

__all__ = ["budget_bytes", "budget_figure"]

# Told apart by hatch as well as by tint.
_STYLES: Final = {
    "A": (SpanStyle("#f7dfae", "#9a6a00", "////"), "type A: from repeated readings"),
    "B": (SpanStyle("#d3e6f3", HUE.colour, ""), "type B: from anything else"),
    "": (SpanStyle("#eceeee", MUTED, "...."), "smaller ones together"),
}
_SMALLEST_PERCENT: Final = 0.5
_MOST_BARS: Final = 12
_WIDTH_IN: Final = 7.2
_BAR_IN: Final = 0.32
_FRAME_IN: Final = 1.75
_DPI: Final = 150


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar: what it stands for, its share of the variance, and its kind."""

    label: str
    percent: float
    kind: str


def budget_figure(budget: Budget, *, result: str = "result", unit: str = "") -> Figure:
    """Draw the shares of a budget as horizontal bars, the largest on top.

    Parameters
    ----------
    budget : Budget
        From `huehold.stoichiometry.propagate.propagate`.
    result : str
        Name of the result, for the heading.
    unit : str
        Unit of the result.

    Returns
    -------
    matplotlib.figure.Figure
        Its own figure, unknown to pyplot.

    Raises
    ------
    UsageError
        If the budget has no uncertainty to share out.
    """
    if budget.u == 0.0:
        raise UsageError("This budget has no uncertainty, so there are no shares to draw.")
    bars = _bars(budget)
    with mpl.rc_context(RC):
        figure = Figure(
            figsize=(_WIDTH_IN, _FRAME_IN + _BAR_IN * len(bars)), dpi=_DPI, layout="constrained"
        )
        ax = figure.add_subplot()
        _draw(ax, bars)
        _label(ax, bars, _heading(budget, result, unit))
        return figure


def budget_bytes(
    budget: Budget, kind: str = "png", *, result: str = "result", unit: str = ""
) -> bytes:
    """Return the plot of a budget as the bytes of a PNG or SVG file.

    Parameters
    ----------
    budget, result, unit
        As in `budget_figure`.
    kind : {"png", "svg"}
        The form; text in an SVG stays text.

    Raises
    ------
    UsageError
        If `kind` is another one, or the budget has no uncertainty.
    """
    if kind not in ("png", "svg"):
        raise UsageError(f"The plot of a budget can be png or svg, not {kind!r}.")
    figure = budget_figure(budget, result=result, unit=unit)
    stream = io.BytesIO()
    metadata: dict[str, Any] = {"Title": f"Uncertainty budget of {result}"}
    if kind == "svg":
        metadata["Date"] = None
    with mpl.rc_context(RC):
        FigureCanvasAgg(figure)
        figure.savefig(stream, format=kind, metadata=metadata)
    return stream.getvalue()


def _bars(budget: Budget) -> list[_Bar]:
    rows = sorted(budget.rows, key=lambda row: abs(row.share_percent), reverse=True)
    large = [r for r in rows[:_MOST_BARS] if abs(r.share_percent) >= _SMALLEST_PERCENT]
    small = rows[len(large) :]
    bars = [_Bar(row.name, row.share_percent, row.kind) for row in large]
    if len(small) == 1:
        return [*bars, _Bar(small[0].name, small[0].share_percent, small[0].kind)]
    if small:
        together = sum(row.share_percent for row in small)
        bars.append(_Bar(f"{len(small)} smaller ones", together, ""))
    return bars


def _draw(ax: Axes, bars: Sequence[_Bar]) -> None:
    for place, bar in enumerate(bars):
        style, _ = _STYLES[bar.kind]
        ax.barh(
            place, bar.percent, height=0.66, color=style.fill, edgecolor=style.edge,
            hatch=style.hatch, linewidth=0.9,
        )  # fmt: skip
        ax.annotate(
            _percent(bar.percent), (max(bar.percent, 0.0), place), xytext=(4, 0),
            textcoords="offset points", va="center", fontsize=8.5, color=INK,
        )  # fmt: skip


def _label(ax: Axes, bars: Sequence[_Bar], heading: str) -> None:
    lowest = min(0.0, *(bar.percent for bar in bars))
    highest = max(bar.percent for bar in bars)
    ax.set_xlim(lowest * 1.15, highest * 1.15)
    ax.axvline(0.0, color=MUTED, lw=0.8)
    ax.set_yticks(range(len(bars)), [bar.label for bar in bars], parse_math=False)
    ax.invert_yaxis()
    ax.tick_params(axis="y", length=0, labelcolor=INK)
    ax.grid(axis="x", color=RULE, lw=0.6)
    ax.set_axisbelow(True)
    ax.set_xlabel("share of the variance / %")
    ax.set_title(heading, loc="left", fontsize=10, parse_math=False)
    kinds = [kind for kind in _STYLES if any(bar.kind == kind for bar in bars)]
    ax.figure.legend(
        handles=[_patch(kind) for kind in kinds], loc="outside lower left", ncols=len(kinds),
        frameon=False, fontsize=8,
    )  # fmt: skip


def _patch(kind: str) -> Patch:
    style, words = _STYLES[kind]
    return Patch(facecolor=style.fill, edgecolor=style.edge, hatch=style.hatch, label=words)


def _percent(share: float) -> str:
    text = f"{share:.0f} %" if abs(share) >= 9.95 else f"{share:.1f} %"
    return "below 0.1 %" if text in ("0.0 %", "-0.0 %") else text


def _heading(budget: Budget, result: str, unit: str) -> str:
    expanded = budget.expanded()
    shown = with_uncertainty(budget.value, expanded.U, unit)
    return f"{result}: {shown} (95 %, k = {expanded.k:.2f})"
