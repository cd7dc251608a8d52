"""The picture of a plan: pH and colour along the way, the last drops, where doubt comes from."""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from textwrap import fill
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from huehold.errors import UsageError
from huehold.planning.curve import Curve
from huehold.planning.pace import FEW
from huehold.planning.plan import Plan
from huehold.report.files import write_bytes
from huehold.report.plot_style import HOLD, HUE, INK, MUTED, RC, RULE

__all__ = ["plan_bytes", "plan_figure", "save_plan_plot"]

_SIZE_IN: Final = (8.0, 6.6)
_SMALL_IN: Final = (8.0, 3.6)
_DPI: Final = 150
_TICKS_APART: Final = 0.06
_STRIP_STEPS: Final = 240
_LAST_DROPS: Final = 6.0
_MOST_BARS: Final = 5
_PORTIONS: Final = {"squirts": "squirts", "few drops": f"{FEW} drops", "single drops": "drops"}


def plan_figure(plan: Plan) -> Figure:
    """Draw a plan.

    Parameters
    ----------
    plan : Plan
        From `huehold.planning.plan.make_plan`.

    Returns
    -------
    matplotlib.figure.Figure
        Its own figure, unknown to pyplot. Without a curve of pH only the stretches and the
        budget are drawn.
    """
    with mpl.rc_context(RC):
        figure = Figure(
            figsize=_SIZE_IN if plan.curve else _SMALL_IN, dpi=_DPI, layout="constrained"
        )
        if plan.curve is None:
            ratios = {"height_ratios": [0.3, 0.4, 1.6]}
            axes = figure.subplot_mosaic([["note"], ["pace"], ["doubt"]], gridspec_kw=ratios)
            _say_no_curve(plan, axes["note"])
        else:
            axes = figure.subplot_mosaic(
                [["way", "last"], ["strip", "last_strip"], ["pace", "pace"], ["doubt", "doubt"]],
                height_ratios=[4.2, 0.45, 0.55, 2.1],
                width_ratios=[1.5, 1.0],
            )
            _way(plan, plan.curve, axes["way"], axes["strip"])
            _last(plan, plan.curve, axes["last"], axes["last_strip"])
        _pace(plan, axes["pace"])
        _doubt(plan, axes["doubt"])
        _label(figure, plan)
        return figure


def plan_bytes(plan: Plan, kind: str = "png") -> bytes:
    """Draw a plan as ``"png"`` or ``"svg"``; the same plan gives the same bytes.

    Raises
    ------
    UsageError
        If `kind` is another.
    """
    if kind not in ("png", "svg"):
        raise UsageError(f"A plan is drawn as png or svg, not {kind}.")
    figure = plan_figure(plan)
    FigureCanvasAgg(figure)
    stream = io.BytesIO()
    with mpl.rc_context(RC):
        metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(stream, format=kind, metadata=metadata)
    return stream.getvalue()


def save_plan_plot(plan: Plan, path: str | Path) -> Path:
    """Draw a plan into a file, the kind by its ending (.png or .svg).

    Raises
    ------
    InputError
        If the file cannot be written.
    UsageError
        If the ending is another.
    """
    return write_bytes(path, plan_bytes(plan, Path(path).suffix.lower().lstrip(".")))


def _say_no_curve(plan: Plan, ax: Axes) -> None:
    ax.set_axis_off()
    text = plan.curve_note[:1].upper() + plan.curve_note[1:] + "."
    ax.text(0.0, 0.5, fill(text, 96), va="center", ha="left", color=INK, fontsize=9)


def _way(plan: Plan, curve: Curve, ax: Axes, strip: Axes) -> None:
    """PH over the titrant, with the turning range and the end."""
    right = float(curve.titrant_g[-1])
    ax.plot(curve.titrant_g, curve.ph, color=HUE.colour, lw=HUE.width, zorder=3)
    if curve.undissolved[0] > 0.0:
        _shade_solid(curve, ax)
    _turning(plan, ax, name=True)
    _end_line(ax, plan.end_g, f"{plan.end_g:.2f} g")
    ax.set_xlim(0.0, right)
    ax.set_ylabel("pH")
    ax.grid(True, zorder=0)
    ax.tick_params(labelbottom=False)
    ax.set_title("The whole way", loc="left", fontsize=10)
    _strip(curve, strip, np.linspace(0.0, right, _STRIP_STEPS), (0.0, right))
    strip.set_xlabel(f"{plan.request.method.titrant.name} / g")


def _shade_solid(curve: Curve, ax: Axes) -> None:
    low, high = float(curve.ph.min()), float(curve.ph.max())
    reach = low + (high - low) * curve.undissolved
    ax.fill_between(curve.titrant_g, low, reach, color=RULE, alpha=0.6, lw=0, zorder=1)
    ax.text(
        0.02, 0.04, "grey: undissolved solid, all to none", transform=ax.transAxes, fontsize=8,
        color=MUTED,
    )  # fmt: skip


def _last(plan: Plan, curve: Curve, ax: Axes, strip: Axes) -> None:
    """PH over the last drops before and after the end."""
    drops = (curve.titrant_g - plan.end_g) / plan.request.drop_g
    near = np.abs(drops) <= _LAST_DROPS + 0.01
    ax.plot(drops[near], curve.ph[near], color=HUE.colour, lw=HUE.width, zorder=3)
    whole = np.arange(-_LAST_DROPS, _LAST_DROPS + 1)
    ax.plot(whole, np.interp(whole, drops, curve.ph), "o", ms=3.5, color=HUE.colour, zorder=4)
    _turning(plan, ax)
    _end_line(ax, 0.0, "the end")
    ax.set_xlim(-_LAST_DROPS, _LAST_DROPS)
    ax.grid(True, zorder=0)
    ax.tick_params(labelbottom=False)
    ax.set_title("The last drops", loc="left", fontsize=10)
    at = np.linspace(-_LAST_DROPS, _LAST_DROPS, _STRIP_STEPS)
    grams = plan.end_g + at * plan.request.drop_g
    _strip(curve, strip, grams, (-_LAST_DROPS, _LAST_DROPS))
    strip.set_xlabel(f"drops of {plan.request.drop_g:g} g from the end")


def _turning(plan: Plan, ax: Axes, *, name: bool = False) -> None:
    indicator = plan.request.method.indicator
    if indicator.turning_ph is None:
        return
    ax.axhspan(*indicator.turning_ph, facecolor=HOLD.fill, alpha=0.6, lw=0, zorder=0.5)
    if name:
        ax.annotate(
            "the colour turns", (0.02, sum(indicator.turning_ph) / 2.0),
            xycoords=("axes fraction", "data"), va="center", fontsize=8, color=INK,
        )  # fmt: skip


def _end_line(ax: Axes, x: float, text: str) -> None:
    ax.axvline(x, color=INK, lw=1.0, ls=(0, (4, 2)), zorder=2)
    ax.annotate(
        text, (x, 0.98), xycoords=("data", "axes fraction"), xytext=(-4, 0),
        textcoords="offset points", va="top", ha="right", fontsize=8.5, color=INK, zorder=5,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
    )  # fmt: skip


def _strip(curve: Curve, ax: Axes, grams: np.ndarray, span: tuple[float, float]) -> None:
    """Colours of the liquid along an axis, named in words where one has room."""
    ax.set_yticks([])
    ax.set_xlim(span)
    if curve.rgb is None:
        ax.text(0.5, 0.5, "colours not known", transform=ax.transAxes, ha="center", va="center")
        return
    pixels = np.stack([np.interp(grams, curve.titrant_g, band) for band in curve.rgb.T], axis=-1)
    ax.imshow(pixels[None], extent=(*span, 0.0, 1.0), aspect="auto", interpolation="nearest")
    words = [curve.words[curve.index(g)] for g in grams]
    for first, last in _runs(words):
        if last - first > 0.13 * len(words):
            x = span[0] + (span[1] - span[0]) * (first + last) / 2.0 / len(words)
            ax.text(x, 0.5, words[first], ha="center", va="center", fontsize=8, color="black")


def _runs(words: list[str]) -> list[tuple[int, int]]:
    """Return start and end of each stretch of equal words."""
    starts = [i for i, word in enumerate(words) if i == 0 or word != words[i - 1]]
    return list(zip(starts, [*starts[1:], len(words)], strict=True))


def _pace(plan: Plan, ax: Axes) -> None:
    """Where to add what, as a bar over the titrant."""
    fills = {
        "squirts": ("#d3e6f3", ""),
        "few drops": ("#f7dfae", "//"),
        "single drops": ("#e9c3c3", ""),
    }
    for stretch in plan.pace:
        tint, hatch = fills[stretch.portion]
        width = stretch.to_g - stretch.from_g
        ax.barh(
            0.0, width, left=stretch.from_g, height=0.9, color=tint, hatch=hatch,
            edgecolor=MUTED, lw=0.6,
        )  # fmt: skip
        _name_stretch(ax, plan, stretch.from_g + width / 2.0, width, stretch.portion, stretch.count)
    ax.set_xlim(0.0, plan.end_g)
    ax.set_yticks([])
    ticks = [0.0, *(stretch.to_g for stretch in plan.pace)]
    ax.set_xticks(ticks, _staggered(ticks))
    ax.set_title("Where to slow down (g)", loc="left", fontsize=10)


def _staggered(ticks: Sequence[float]) -> list[str]:
    """Label ticks; one too near to the one before it goes a line lower."""
    near = [after - tick < _TICKS_APART * ticks[-1] for tick, after in pairwise(ticks)]
    return [
        ("\n" if low else "") + f"{tick:.2f}"
        for tick, low in zip(ticks, [False, *near], strict=True)
    ]


def _name_stretch(
    ax: Axes, plan: Plan, middle_g: float, width_g: float, portion: str, count: int
) -> None:
    text = f"{count} × {_PORTIONS[portion]}"
    if width_g < 0.09 * plan.end_g:
        text = f"{count}"
    ax.text(
        middle_g, 0.0, text, ha="center", va="center", fontsize=8.5, color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.75},
    )  # fmt: skip


def _doubt(plan: Plan, ax: Axes) -> None:
    rows = sorted(plan.doubt.assay.budget, key=lambda row: -row.share_percent)[:_MOST_BARS]
    rows = [row for row in rows if row.share_percent >= 0.5][::-1]
    names = [row.name for row in rows]
    shares = [row.share_percent for row in rows]
    ax.barh(names, shares, color=HOLD.fill, edgecolor=HUE.colour, lw=0.8)
    for position, share in enumerate(shares):
        ax.text(share, position, f" {share:.0f} %", va="center", fontsize=8.5, color=INK)
    ax.set_xlim(0.0, 108.0)
    ax.set_xlabel("share of the variance / %")
    ax.set_title(
        f"Expected uncertainty ± {plan.doubt.percent:.2g} % (k = 2)", loc="left", fontsize=10
    )


def _label(figure: Figure, plan: Plan) -> None:
    expected, method = plan.expected, plan.request.method
    water = f" in {expected.water_g:g} g of {plan.tap.kind} water" if expected.water_g else ""
    time = "–".join(
        dict.fromkeys(f"{s / 60:.0f}" for s in (plan.duration.low_s, plan.duration.high_s))
    )
    figure.suptitle(
        f"Plan: {expected.sample_g:g} g of {method.sample.name}{water}\n"
        f"about {plan.end_g:.2f} g ({plan.drops} drops) of {method.titrant.name}, {time} min",
        x=0.01, ha="left", fontsize=11, fontweight="bold", color=INK,
    )  # fmt: skip
