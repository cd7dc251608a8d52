"""The picture of a plan: pH and colour along the way, the last drops, where doubt comes from."""

from __future__ import annotations

import io
from pathlib import Path
from textwrap import fill
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from huehold.errors import UsageError
from huehold.planning.curve import Curve
from huehold.planning.pace import FEW, Stretch
from huehold.planning.plan import Plan
from huehold.report.files import picture_kind, write_bytes
from huehold.report.plot_style import HOLD, HUE, INK, MUTED, RC, RULE
from huehold.report.words import sentence

__all__ = ["plan_bytes", "plan_figure", "save_plan_plot"]

_SIZE_IN: Final = (8.0, 6.9)
_SMALL_IN: Final = (8.0, 3.9)
_DPI: Final = 150
_STRIP_STEPS: Final = 240
_LAST_DROPS: Final = 6.0
_MOST_BARS, _LEAST_BARS = 5, 3
_NAME_LETTERS: Final = 21
_NAME_SHARE: Final = 0.35  # of the width, for a name inside the axes
_WAY_IN, _LAST_IN = 3.3, 2.2  # least width of the panels
_LETTER_IN: Final = 0.078
_LUMA: Final = np.array([0.2126, 0.7152, 0.0722])
_DARK: Final = 0.42
_STRETCHES: Final = {
    "squirts": ("#d3e6f3", ""),
    "few drops": ("#f7dfae", "//"),
    "single drops": ("#e9c3c3", "xxx"),
}


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
        if plan.curve is not None and plan.curve_note:
            figure.supxlabel(
                fill(sentence(plan.curve_note), 120), x=0.01, ha="left", fontsize=8.5, color=INK
            )
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
    return write_bytes(path, plan_bytes(plan, picture_kind(path)))


def _say_no_curve(plan: Plan, ax: Axes) -> None:
    ax.set_axis_off()
    ax.text(
        0.0, 0.5, fill(sentence(plan.curve_note), 96), va="center", ha="left", color=INK, fontsize=9
    )


def _way(plan: Plan, curve: Curve, ax: Axes, strip: Axes) -> None:
    """PH over the titrant, with the turning range and the end."""
    right = float(curve.titrant_g[-1])
    ax.plot(curve.titrant_g, curve.ph, color=HUE.colour, lw=HUE.width, zorder=3)
    if curve.undissolved[0] > 0.0:
        _shade_solid(curve, ax)
    _turning(plan, ax)
    _name_turning(plan, curve, ax)
    _end_line(ax, plan.end_g, f"the end, {plan.end_g:.2f} g", "right")
    ax.set_xlim(0.0, right)
    ax.set_ylabel("pH")
    ax.grid(True, zorder=0)
    ax.tick_params(labelbottom=False)
    ax.set_title("The whole way", loc="left", fontsize=10)
    _strip(curve, strip, np.linspace(0.0, right, _STRIP_STEPS), (0.0, right), _WAY_IN)
    strip.set_xlabel(f"{plan.request.method.titrant.name} / g")


def _shade_solid(curve: Curve, ax: Axes) -> None:
    low, high = float(curve.ph.min()), float(curve.ph.max())
    reach = low + (high - low) * curve.undissolved
    ax.fill_between(curve.titrant_g, low, reach, color=RULE, alpha=0.6, lw=0, zorder=1)
    ax.text(
        0.02, 0.06, "grey: undissolved solid, all to none", transform=ax.transAxes, fontsize=8,
        color=INK,
    )  # fmt: skip


def _last(plan: Plan, curve: Curve, ax: Axes, strip: Axes) -> None:
    """PH over the last drops before and after the end."""
    drops = (curve.titrant_g - plan.end_g) / plan.request.drop_g
    near = np.abs(drops) <= _LAST_DROPS + 0.01
    ax.plot(drops[near], curve.ph[near], color=HUE.colour, lw=HUE.width, zorder=3)
    whole = np.arange(-_LAST_DROPS, _LAST_DROPS + 1)
    ax.plot(
        whole, np.interp(whole, drops, curve.ph), "o", ms=3.5, color=HUE.colour, zorder=4,
        clip_on=False,
    )  # fmt: skip
    _turning(plan, ax)
    _end_line(ax, 0.0, "the end", "left")
    ax.set_xlim(-_LAST_DROPS, _LAST_DROPS)
    ax.xaxis.set_major_locator(MultipleLocator(2.0))
    ax.grid(True, zorder=0)
    ax.tick_params(labelbottom=False)
    ax.set_title("The last drops", loc="left", fontsize=10)
    at = np.linspace(-_LAST_DROPS, _LAST_DROPS, _STRIP_STEPS)
    grams = plan.end_g + at * plan.request.drop_g
    _strip(curve, strip, grams, (-_LAST_DROPS, _LAST_DROPS), _LAST_IN)
    strip.xaxis.set_major_locator(MultipleLocator(2.0))
    strip.set_xlabel(f"drops of {plan.request.drop_g:g} g from the end")


def _turning(plan: Plan, ax: Axes) -> None:
    turning = plan.request.method.indicator.turning_ph
    if turning is not None:
        ax.axhspan(*turning, facecolor=HOLD.fill, alpha=0.6, lw=0, zorder=0.5)


def _name_turning(plan: Plan, curve: Curve, ax: Axes) -> None:
    """Name the turning range at the side where the curve is farther from it."""
    turning = plan.request.method.indicator.turning_ph
    if turning is None:
        return
    middle, share = sum(turning) / 2.0, curve.titrant_g / curve.titrant_g[-1]
    sides = {"left": curve.ph[share < _NAME_SHARE], "right": curve.ph[share > 1.0 - _NAME_SHARE]}
    side = max(sides, key=lambda name: float(np.abs(sides[name] - middle).min()))
    ax.annotate(
        "the colour turns", (0.02 if side == "left" else 0.98, middle), ha=side,
        xycoords=("axes fraction", "data"), va="center", fontsize=8, color=INK,
    )  # fmt: skip


def _end_line(ax: Axes, x: float, text: str, side: str) -> None:
    """Mark the end, named above the axes, where no curve runs."""
    ax.axvline(x, color=INK, lw=1.0, ls=(0, (4, 2)), zorder=2)
    ax.annotate(
        text, (x, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 3),
        textcoords="offset points", va="bottom", ha=side, fontsize=8.5, color=INK,
    )  # fmt: skip


def _strip(
    curve: Curve, ax: Axes, grams: np.ndarray, span: tuple[float, float], width_in: float
) -> None:
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
        if (last - first) / len(words) * width_in > _LETTER_IN * (len(words[first]) + 1):
            middle = (first + last) // 2
            x = span[0] + (span[1] - span[0]) * (first + last) / 2.0 / len(words)
            ink = "black" if pixels[middle] @ _LUMA > _DARK else "white"
            ax.text(x, 0.5, words[first], ha="center", va="center", fontsize=8, color=ink)


def _runs(words: list[str]) -> list[tuple[int, int]]:
    """Return start and end of each stretch of equal words."""
    starts = [i for i, word in enumerate(words) if i == 0 or word != words[i - 1]]
    return list(zip(starts, [*starts[1:], len(words)], strict=True))


def _pace(plan: Plan, ax: Axes) -> None:
    """Where to add what, as a bar over the titrant; what each stretch means stands below."""
    for stretch in plan.pace:
        tint, hatch = _STRETCHES[stretch.portion]
        ax.barh(
            0.0, stretch.to_g - stretch.from_g, left=stretch.from_g, height=0.9, color=tint,
            hatch=hatch, edgecolor=MUTED, lw=0.6, label=_stretch_words(stretch),
        )  # fmt: skip
    ax.set_xlim(0.0, plan.end_g)
    ax.set_yticks([])
    ax.set_title("Where to slow down (grams of titrant)", loc="left", fontsize=10)
    ax.legend(
        loc="upper left", bbox_to_anchor=(-0.008, -0.72), ncols=len(plan.pace), frameon=False,
        fontsize=8.5, borderaxespad=0.0, handlelength=1.8, handletextpad=0.5, columnspacing=1.4,
    )  # fmt: skip


def _stretch_words(stretch: Stretch) -> str:
    many = "" if stretch.count == 1 else "s"
    words = {
        "squirts": f"{stretch.count} squirt{many} of {stretch.portion_g:.2g} g",
        "few drops": f"{stretch.count} × {FEW} drops",
        "single drops": f"{stretch.count} single drop{many}",
    }
    return f"to {stretch.to_g:.2f} g: {words[stretch.portion]}"


def _doubt(plan: Plan, ax: Axes) -> None:
    rows = sorted(plan.doubt.assay.budget, key=lambda row: -row.share_percent)[:_MOST_BARS]
    rows = [row for row in rows if row.share_percent >= 0.5]
    shares = [row.share_percent for row in rows]
    places = range(len(rows))
    ax.barh(places, shares, height=0.7, color=HOLD.fill, edgecolor=HUE.colour, lw=0.8)
    for place, share in zip(places, shares, strict=True):
        ax.text(share, place, f" {share:.0f} %", va="center", fontsize=8.5, color=INK)
    ax.set_yticks(places, [fill(row.name, _NAME_LETTERS) for row in rows], fontsize=8.5)
    ax.set_ylim(max(len(rows), _LEAST_BARS) - 0.5, -0.5)
    ax.set_xlim(0.0, 108.0)
    ax.xaxis.set_major_locator(MultipleLocator(20.0))
    ax.set_xlabel("share of the variance / %")
    assumed = ": mostly a strength that was assumed" if plan.assumed_share_percent >= 50.0 else ""
    ax.set_title(
        f"Expected uncertainty ± {plan.doubt.percent:.2g} % (k = 2){assumed}", loc="left",
        fontsize=10,
    )  # fmt: skip


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
