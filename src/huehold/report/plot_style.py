"""How the plots look: inks, lines and hatches that are told apart without colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

__all__ = [
    "BROKEN",
    "CHROMA",
    "DISTURBANCE",
    "FADE_BACK",
    "HOLD",
    "HUE",
    "INK",
    "MASS",
    "MUTED",
    "RC",
    "RULE",
    "TURBIDITY",
    "LineStyle",
    "SpanStyle",
]

INK: Final = "#1d2730"
MUTED: Final = "#5b6670"
RULE: Final = "#d9dcdd"


@dataclass(frozen=True, slots=True)
class LineStyle:
    """A line: its colour from the Okabe-Ito set (2008), dash pattern and width."""

    colour: str
    dashes: Any
    width: float = 1.2


@dataclass(frozen=True, slots=True)
class SpanStyle:
    """A stretch of time: fill, edge and hatch."""

    fill: str
    edge: str
    hatch: str


HUE: Final = LineStyle("#0072B2", "solid", 1.5)
CHROMA: Final = LineStyle("#D55E00", (0, (5, 1.4)))
TURBIDITY: Final = LineStyle("#009E73", (0, (6, 1.4, 1.4, 1.4)), 1.3)
MASS: Final = LineStyle("#8c4a78", (0, (1.6, 1.2)), 1.6)

FADE_BACK: Final = SpanStyle("#f7dfae", "#9a6a00", "////")
DISTURBANCE: Final = SpanStyle("#dfe1e3", "#6b747c", "xxxx")
HOLD: Final = SpanStyle("#d3e6f3", "#0072B2", "....")
BROKEN: Final = SpanStyle("#ffffff", "#0072B2", "")

RC: Final[dict[Any, Any]] = {
    "axes.edgecolor": RULE,
    "axes.labelcolor": INK,
    "axes.labelsize": 9,
    "axes.linewidth": 0.8,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "figure.facecolor": "white",
    "font.family": ["DejaVu Sans"],
    "font.size": 9,
    "grid.color": "#eceeee",
    "grid.linewidth": 0.8,
    "hatch.linewidth": 0.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "huehold",
    "text.color": INK,
    "xtick.color": MUTED,
    "xtick.labelsize": 8.5,
    "ytick.color": MUTED,
    "ytick.labelsize": 8.5,
}
