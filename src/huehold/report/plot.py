"""The trace plot: stacked panels on one time axis, the colour ribbon under them."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill
from typing import Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from huehold.report.bands import hue_axis
from huehold.report.files import picture_kind, write_bytes
from huehold.report.happenings import additions, events_of
from huehold.report.plot_marks import draw_lane, draw_spans, label_onset, numbered
from huehold.report.plot_panels import (
    draw_chroma,
    draw_hue,
    draw_mass,
    draw_ribbon,
    draw_turbidity,
)
from huehold.report.plot_style import INK, MUTED, RC
from huehold.report.words import VERDICTS, clock, reason_words
from huehold.run import Run

__all__ = ["plot_bytes", "trace_figure", "write_plot"]

_WIDTH_IN: Final = 11.0
_DPI: Final = 150
_HEIGHTS: Final = {"lane": 1.25, "hue": 2.7, "chroma": 0.95, "turbidity": 0.95, "mass": 1.05}
_RIBBON_IN: Final = 0.42
_HEAD_IN: Final = 0.95
_FOOT_IN: Final = 1.02
_FOOT_LETTERS: Final = 160
_STEP_IN: Final = 0.16
_STEPS_S: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)


def trace_figure(run: Run) -> Figure:
    """Draw a run's trace.

    Parameters
    ----------
    run : Run
        A finished run.

    Returns
    -------
    matplotlib.figure.Figure
        Its own figure, unknown to pyplot.
    """
    with mpl.rc_context(RC):
        figure, panels = _panels(run)
        _draw(panels, run)
        _label(figure, panels, run)
        return figure


def plot_bytes(run: Run, kind: str = "png") -> bytes:
    """Return the trace plot as the bytes of a PNG or SVG file.

    Parameters
    ----------
    run : Run
        A finished run.
    kind : {"png", "svg"}
        The form; text in an SVG stays text.
    """
    figure = trace_figure(run)
    stream = io.BytesIO()
    metadata = {"Title": _title(run), "Description": _caption(run)}
    with mpl.rc_context(RC):
        FigureCanvasAgg(figure)
        if kind == "svg":
            metadata["Date"] = None  # type: ignore[assignment]
        figure.savefig(stream, format=kind, dpi=_DPI, metadata=metadata)
    return stream.getvalue()


def write_plot(run: Run, path: str | Path) -> Path:
    """Write the trace plot as PNG or SVG, told by the file name's ending.

    Raises
    ------
    UsageError
        If the name ends in neither ``.png`` nor ``.svg``.
    InputError
        If the folder does not exist or writing is refused.
    """
    return write_bytes(path, plot_bytes(run, picture_kind(path)))


def _panels(run: Run) -> tuple[Figure, dict[str, Axes]]:
    """Place the panels by hand, in inches, so that every run looks alike."""
    names = [name for name in _HEIGHTS if name != "mass" or run.readings]
    heights = [_HEIGHTS[name] for name in names]
    steps = [0.3 if name == "hue" else _STEP_IN for name in names]
    total = _HEAD_IN + sum(heights) + sum(steps) + _RIBBON_IN + _FOOT_IN
    figure = Figure(figsize=(_WIDTH_IN, total))
    panels: dict[str, Axes] = {}
    top = total - _HEAD_IN
    for name, height, step in zip(
        [*names, "ribbon"], [*heights, _RIBBON_IN], [0.0, *steps[1:], _STEP_IN], strict=True
    ):
        top -= step + height
        panels[name] = figure.add_axes((0.105, top / total, 0.805, height / total))
    return figure, panels


def _draw(panels: dict[str, Axes], run: Run) -> None:
    end_s = float(run.trace.time_s[-1]) if len(run.trace) else 0.0
    for ax in panels.values():
        ax.set_xlim(0, max(end_s, 1.0))
    for ax in _measured(panels):
        ax.grid(True, zorder=0)
        ax.set_axisbelow(True)
    draw_spans(_measured(panels), run)
    draw_hue(panels["hue"], run, hue_axis(run.trace, run.method))
    label_onset(panels["hue"], run)
    draw_chroma(panels["chroma"], run)
    draw_turbidity(panels["turbidity"], run)
    if "mass" in panels:
        draw_mass(panels["mass"], run)
    draw_lane(panels["lane"], run)
    draw_ribbon(panels["ribbon"], run, round(0.805 * _WIDTH_IN * _DPI))
    _time_axes(panels, end_s)


def _measured(panels: dict[str, Axes]) -> Iterator[Axes]:
    return (ax for name, ax in panels.items() if name not in ("lane", "ribbon"))


def _time_axes(panels: dict[str, Axes], end_s: float) -> None:
    step = next((step for step in _STEPS_S if end_s / step <= 13), None)
    locator = MultipleLocator if step else MaxNLocator
    for name, ax in panels.items():
        ax.set_xlim(0, max(end_s, 1.0))
        ax.xaxis.set_major_locator(locator(step or 12))
        ax.yaxis.set_label_coords(-0.062, 0.5)
        ax.tick_params(axis="x", labelbottom=name == "ribbon", length=3 if name == "ribbon" else 0)
    bottom = panels["ribbon"]
    bottom.xaxis.set_major_formatter(FuncFormatter(lambda value, _: clock(value, 0)))
    bottom.set_xlabel("time / min:s")
    bottom.yaxis.set_label_coords(-0.012, 0.5)


def _label(figure: Figure, panels: dict[str, Axes], run: Run) -> None:
    height = figure.get_figheight()
    figure.text(
        0.105, 1 - 0.34 / height, _title(run), fontsize=15, fontweight="bold", va="center",
        color=INK,
    )  # fmt: skip
    figure.text(0.105, 1 - 0.64 / height, _subtitle(run), fontsize=9, va="center", color=MUTED)
    note = fill(_caption(run) + _left_out(run, panels["lane"]), _FOOT_LETTERS)
    figure.text(0.105, 0.12 / height, note, fontsize=8, va="bottom", color=MUTED)


def _title(run: Run) -> str:
    words, verdict = VERDICTS[run.verdict.kind], run.verdict
    if verdict.onset_s is None or verdict.hold_s is None:
        return f"{words.shape} {words.word}"
    return (
        f"{words.shape} {words.word}: onset {clock(verdict.onset_s)}, held {verdict.hold_s:.0f} s"
    )


def _subtitle(run: Run) -> str:
    return f"{run.source.name} · {run.method.name} · hold of {run.hold_s:g} s asked"


def _caption(run: Run) -> str:
    rate = "" if not run.settings.rate_hz else f", about {run.settings.rate_hz:g} a second"
    return (
        f"Hue angle and chroma in CIELAB (CIE 15, D65); {run.frames_used} observations{rate}, "
        "drawn unfiltered; lines break where nothing was seen. "
        "Dashed line: onset. Solid line: hold complete. ×: hold broken. "
        f"Crossed hatching: disturbance{_disturbances(run)}. Ribbon: the liquid’s own pixels."
    )


def _left_out(run: Run, lane: Axes) -> str:
    """Say which numbers of additions are not written for want of room."""
    listed = additions(run)
    shown = numbered(lane, listed) if listed else []
    if len(shown) == len(listed):
        return ""
    return f" {len(shown)} of the {len(listed)} additions have their numbers; more had no room."


def _disturbances(run: Run) -> str:
    kinds = Counter(
        reason_words(str(event.detail.get("kind") or "unknown"))
        for event in events_of(run.events, "disturbance")
    )
    listed = ", ".join(f"{kind} {count}×" for kind, count in kinds.most_common(5))
    return f" ({listed})" if listed else ""
