"""The panels of the trace plot: hue, chroma, turbidity, mass and the colour ribbon."""

from __future__ import annotations

from textwrap import fill
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MultipleLocator
from matplotlib.transforms import blended_transform_factory

from huehold.core import TRUSTED
from huehold.report.bands import HueAxis, HueBand, trusted
from huehold.report.happenings import bracket
from huehold.report.hue import LOW_CHROMA, FloatArray, lift, with_breaks
from huehold.report.plot_style import CHROMA, HUE, INK, MASS, MUTED, TURBIDITY, LineStyle
from huehold.report.ribbon import ribbon
from huehold.report.words import grams
from huehold.run import Run

__all__ = ["draw_chroma", "draw_hue", "draw_mass", "draw_ribbon", "draw_turbidity"]

_COVERAGE = 2.0
_FAINT = "#aab1b6"


def draw_hue(ax: Axes, run: Run, axis: HueAxis) -> None:
    """Draw the hue with its uncertainty band, grey where the chroma cannot carry it."""
    trace = run.trace
    hue = lift(trace.hue_deg, axis.cut_deg)
    good = trusted(trace)
    strong = good & (trace.chroma >= LOW_CHROMA)
    for band in axis.bands:
        _draw_band(ax, band)
    half = _COVERAGE * np.minimum(trace.hue_sd_deg, 90.0)
    if strong.any():
        _draw_hue_line(ax, trace.time_s[strong], hue[strong], half[strong], _gap_s(trace.time_s))
    _dots(ax, trace.time_s, hue, good & ~strong, "x", f"chroma under {LOW_CHROMA:g}: hue uncertain")
    _dots(ax, trace.time_s, hue, np.isfinite(hue) & ~good, ".", "not trusted")
    ax.set_ylim(axis.low_deg, axis.high_deg)
    ax.yaxis.set_major_locator(MultipleLocator(_tick_deg(axis)))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value % 360:.0f}"))
    ax.set_ylabel("hue h / degrees")
    if ax.get_legend_handles_labels()[0]:
        ax.legend(**_legend_place())


def draw_chroma(ax: Axes, run: Run) -> None:
    """Draw the chroma and the level under which hue is not carried."""
    _simple(ax, run, run.trace.chroma, CHROMA)
    top = float(np.nanmax(run.trace.chroma, initial=LOW_CHROMA))
    ax.set_ylim(0, 1.12 * max(top, 2 * LOW_CHROMA))
    ax.axhline(LOW_CHROMA, color=MUTED, lw=0.8, ls=(0, (2, 2)))
    ax.set_ylabel("chroma C*")
    _beside(ax, LOW_CHROMA, "hue uncertain\nbelow")


def draw_turbidity(ax: Axes, run: Run) -> None:
    """Draw the turbidity from 0, clear, to 1, cloudy as at the start."""
    _simple(ax, run, run.trace.turbidity, TURBIDITY)
    top = float(np.nanmax(run.trace.turbidity, initial=1.0))
    ax.set_ylim(-0.05, 1.1 * min(max(top, 1.0), 1.6))
    ax.set_yticks([0, 0.5, 1], ["0", "0.5", "1"])
    ax.set_ylabel("share of solid" if "turbidity" in run.source.detail else "turbidity")
    _beside(ax, 0.0, "clear")
    _beside(ax, 1.0, "cloudy as\nat the start")
    if not np.isfinite(run.trace.turbidity).any():
        _say(ax, "turbidity could not be judged")


def draw_mass(ax: Axes, run: Run) -> None:
    """Draw the titrant's mass as steps with its readings, and the endpoint's bracket."""
    times = [0.0, *(reading.time_s for reading in run.readings)]
    masses = [0.0, *(reading.mass_g for reading in run.readings)]
    end_s = float(run.trace.time_s[-1]) if len(run.trace) else times[-1]
    ax.step(
        [*times, max(end_s, times[-1])], [*masses, masses[-1]], where="post",
        color=MASS.colour, ls=MASS.dashes, lw=MASS.width,
    )  # fmt: skip
    ax.plot(times[1:], masses[1:], "s", ms=3, color=MASS.colour)
    ax.set_ylim(0, 1.15 * max(*masses, 0.01))
    ax.set_ylabel("titrant / g")
    _draw_bracket(ax, run)


def draw_ribbon(ax: Axes, run: Run, columns: int) -> None:
    """Lay the colour ribbon on the time axis, hatched where the liquid was not seen."""
    start_s, end_s = ax.get_xlim()
    ax.set_facecolor("#f2f3f3")
    image = ribbon(run.trace, columns, 24, (start_s, end_s))
    ax.imshow(image, extent=(start_s, end_s, 0, 1), aspect="auto", interpolation="nearest")
    ax.set_yticks([])
    ax.set_ylabel("liquid", rotation=0, ha="right", va="center")
    if not image[..., 3].any():
        _say(ax, "no pixels of the liquid were kept")


def _draw_hue_line(
    ax: Axes, time_s: FloatArray, hue: FloatArray, half: FloatArray, gap_s: float
) -> None:
    t, middle, spread = with_breaks(time_s, hue, half, gap_s=gap_s)
    _line(ax, t, middle, HUE, "hue")
    ax.fill_between(
        t, middle - spread, middle + spread, color=HUE.colour, alpha=0.22, lw=0,
        label="± 2 standard uncertainties",
    )  # fmt: skip


def _simple(ax: Axes, run: Run, values: FloatArray, style: LineStyle) -> None:
    good = (run.trace.trust >= TRUSTED) & np.isfinite(values)
    t, shown = with_breaks(run.trace.time_s[good], values[good], gap_s=_gap_s(run.trace.time_s))
    _line(ax, t, shown, style)


def _line(ax: Axes, t: FloatArray, values: FloatArray, style: LineStyle, label: str = "") -> None:
    ax.plot(t, values, color=style.colour, ls=style.dashes, lw=style.width, label=label)


def _dots(ax: Axes, t: FloatArray, values: FloatArray, which: Any, mark: str, label: str) -> None:
    if which.any():
        ax.plot(t[which], values[which], mark, ms=2.6, mew=0.7, color=_FAINT, label=label, zorder=1)


def _draw_band(ax: Axes, band: HueBand) -> None:
    ax.axhspan(band.low_deg, band.high_deg, color="#eef1f2", lw=0, zorder=0)
    for edge in (band.low_deg, band.high_deg):
        ax.axhline(edge, color="#b9c0c4", lw=0.7, ls=(0, (1, 2)), zorder=0.5)
    _beside(ax, (band.low_deg + band.high_deg) / 2, f"{band.role}:\n{fill(band.name, 15)}")


def _beside(ax: Axes, value: float, words: str) -> None:
    """Write words at a value, right of the panel."""
    ax.text(
        1.006, value, words, transform=blended_transform_factory(ax.transAxes, ax.transData),
        va="center", fontsize=8, color=MUTED,
    )  # fmt: skip


def _draw_bracket(ax: Axes, run: Run) -> None:
    found, onset_s = bracket(run), run.verdict.onset_s
    if found is None or found.before_g is None or onset_s is None:
        return
    ax.axhspan(found.before_g, found.after_g, color=MASS.colour, alpha=0.3, lw=0)
    late = onset_s > 0.7 * ax.get_xlim()[1]
    ax.annotate(
        f"bracket {grams(found.before_g).removesuffix(' g')} to {grams(found.after_g)}",
        (onset_s, 0.14 if late else 0.62), (-8 if late else 8, 0),
        xycoords=("data", "axes fraction"), textcoords="offset points",
        ha="right" if late else "left", va="center", fontsize=8, color=INK,
    )  # fmt: skip


def _gap_s(time_s: FloatArray) -> float:
    """Return the longest step a line may bridge: a second, or four usual steps."""
    return max(1.0, 4 * float(np.median(np.diff(time_s)))) if len(time_s) > 1 else 1.0


def _tick_deg(axis: HueAxis) -> float:
    return 30.0 if axis.high_deg - axis.low_deg <= 240 else 45.0


def _say(ax: Axes, sentence: str) -> None:
    ax.text(0.5, 0.5, sentence, transform=ax.transAxes, ha="center", va="center", color=MUTED)


def _legend_place() -> dict[str, Any]:
    return {
        "loc": "lower right",
        "bbox_to_anchor": (1.0, 1.0),
        "ncols": 4,
        "fontsize": 8,
        "frameon": False,
        "borderaxespad": 0.1,
        "handlelength": 2.4,
    }
