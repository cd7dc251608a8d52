"""What happened, drawn on the trace plot: the lane of events, the hold, the endpoint."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from huehold.report.happenings import (
    Addition,
    additions,
    broken_holds,
    events_of,
    hold_span,
    onset_addition,
)
from huehold.report.plot_style import BROKEN, DISTURBANCE, FADE_BACK, HOLD, INK, SpanStyle
from huehold.report.words import clock, reason_words
from huehold.run import Run

__all__ = ["draw_lane", "draw_spans", "label_onset", "numbered"]

_STEPS = (1, 2, 5, 10, 20, 50, 100, 200)  # of numbers that are written
_ROWS = ("additions", "fade-backs", "disturbances", "hold")


def draw_lane(ax: Axes, run: Run) -> None:
    """Draw one row for each kind of event, named on the left, with words where they fit.

    The axes must have their final limits in time: they decide what fits.
    """
    ax.set_ylim(-0.55, 3.75)
    ax.set_yticks([3, 2, 1, 0], _ROWS)
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    for level in range(4):
        ax.axhline(level, color="#eceeee", lw=0.8, zorder=0)
    _draw_additions(ax, additions(run))
    for event in events_of(run.events, "fade_back"):
        _bar(ax, 2, (event.time_s, event.end_s), FADE_BACK, "")
    for event in events_of(run.events, "disturbance"):
        words = reason_words(str(event.detail.get("kind") or ""))
        _bar(ax, 1, (event.time_s, event.end_s), DISTURBANCE, words)
    _draw_holds(ax, run)


def draw_spans(axes: Iterable[Axes], run: Run) -> None:
    """Run the hold, its ends and the disturbances through every panel."""
    span, confirmed_s = hold_span(run), run.verdict.confirmed_s
    for ax in axes:
        for event in events_of(run.events, "disturbance"):
            ax.axvspan(
                event.time_s, event.end_s or event.time_s, fc="none", ec="#c3c8cb",
                hatch=DISTURBANCE.hatch, lw=0, zorder=0.6,
            )  # fmt: skip
        if span is None:
            continue
        ax.axvspan(*span, fc=HOLD.fill, ec="none", alpha=0.55, lw=0, zorder=0.4)
        ax.axvline(span[0], color=INK, lw=1.1, ls=(0, (6, 2)), zorder=3)
        if confirmed_s is not None:
            ax.axvline(confirmed_s, color=INK, lw=1.1, zorder=3)


def label_onset(ax: Axes, run: Run) -> None:
    """Write when the hold began, and after which addition, beside its line."""
    span, number = hold_span(run), onset_addition(run)
    if span is None:
        return
    late = span[0] > 0.8 * ax.get_xlim()[1]
    after = f"\nafter addition {number}" if number else ""
    ax.annotate(
        f"onset {clock(span[0])}{after}", (span[0], 0.04), (-6 if late else 6, 0),
        xycoords=("data", "axes fraction"), textcoords="offset points",
        ha="right" if late else "left", va="bottom", fontsize=8, color=INK,
    )  # fmt: skip


def _draw_additions(ax: Axes, listed: Sequence[Addition]) -> None:
    ax.plot([a.time_s for a in listed], [3.0] * len(listed), "v", ms=5, color=INK)
    for addition in numbered(ax, listed):
        ax.text(addition.time_s, 3.32, str(addition.number), ha="center", fontsize=7.5)


def numbered(ax: Axes, listed: Sequence[Addition]) -> list[Addition]:
    """Choose whose numbers are written: all, or the first, the last and every n-th between.

    Parameters
    ----------
    ax : Axes
        With its final limits in time.
    listed : sequence of Addition
        In time order.
    """
    for step in _STEPS:
        chosen = [a for a in listed if a.number % step == 0 or a in (listed[0], listed[-1])]
        if _apart(ax, chosen):
            return chosen
        inner = [a for a in chosen[1:-1] if _apart(ax, [chosen[0], a, chosen[-1]])]
        if step > 1 and _apart(ax, [chosen[0], *inner, chosen[-1]]):
            return [chosen[0], *inner, chosen[-1]]
    return [listed[-1]]


def _apart(ax: Axes, listed: Sequence[Addition]) -> bool:
    """Whether the numbers of additions do not touch one another."""
    point_s = _seconds_per_point(ax)
    halves_s = [point_s * (2.4 * len(str(a.number)) + 1.0) for a in listed]
    places = zip(listed, halves_s, strict=True)
    return all(
        after.time_s - its_s >= before.time_s + half_s
        for (before, half_s), (after, its_s) in pairwise(places)
    )


def _draw_holds(ax: Axes, run: Run) -> None:
    for broken in broken_holds(run):
        _bar(ax, 0, broken, BROKEN, "")
        ax.plot(broken[1], 0, "x", ms=5, color=INK)
    span = hold_span(run)
    if span is None:
        return
    kept_s = max(run.verdict.hold_s or 0.0, span[1] - span[0])
    _bar(ax, 0, (span[0], span[0] + kept_s), HOLD, f"held {kept_s:.0f} s")
    if run.verdict.confirmed_s is not None:
        ax.plot(run.verdict.confirmed_s, 0, "D", ms=5, color=INK)


def _bar(
    ax: Axes, level: int, span: tuple[float, float | None], style: SpanStyle, words: str
) -> None:
    start_s, end_s = span[0], span[1] if span[1] is not None else ax.get_xlim()[1]
    width_s = max(end_s - start_s, 2 * _seconds_per_point(ax))
    box = Rectangle(
        (start_s, level - 0.32), width_s, 0.64, fc=style.fill, ec=style.edge,
        hatch=style.hatch, lw=0.8,
    )  # fmt: skip
    ax.add_patch(box)
    if words and _seconds_per_point(ax) * 5.4 * len(words) < width_s:
        ax.text(
            start_s + width_s / 2, level, words, ha="center", va="center", fontsize=8, color=INK,
            bbox={"fc": style.fill, "ec": "none", "pad": 0.6},
        )  # fmt: skip


def _seconds_per_point(ax: Axes) -> float:
    low, high = ax.get_xlim()
    figure = ax.figure
    width_in = ax.get_position().width * figure.get_figwidth()  # type: ignore[union-attr]
    return (high - low) / (72.0 * width_in)
