"""Replicates side by side: their results as a table, their traces over one another."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from huehold.core import TRUSTED, Trace
from huehold.report.files import picture_kind, write_bytes
from huehold.report.hue import hue_cut, lift
from huehold.report.plot_style import RC
from huehold.report.words import VERDICTS, clock
from huehold.run import Run

__all__ = ["comparison_figure", "comparison_text", "write_comparison"]

# Okabe and Ito (2008), those dark enough on white; dashes tell them apart without colour.
_LINES = (
    ("#0072B2", "-"), ("#D55E00", "--"), ("#009E73", "-."), ("#CC79A7", ":"),
    ("#0072B2", (0, (5, 1, 1, 1, 1, 1))), ("#D55E00", (0, (1, 1))),
)  # fmt: skip


def comparison_text(runs: Mapping[int, Run]) -> str:
    """Return the runs' results as lines, with mean and scatter where two or more have one.

    Parameters
    ----------
    runs : mapping of int to Run
        By their numbers.
    """
    lines = [_line(number, run) for number, run in runs.items()]
    results = [run.assay.main for run in runs.values() if run.assay is not None]
    units = {result.unit for result in results}
    if len(units) > 1:
        lines.append(f"The results are stated in different units ({', '.join(sorted(units))}).")
    elif len(results) > 1:
        lines += _together([result.value for result in results], results[0].unit)
    return "\n".join(lines)


def _together(values: list[float], unit: str) -> list[str]:
    from huehold.stoichiometry.replicates import summarise
    from huehold.stoichiometry.rounding import with_uncertainty

    summary = summarise(values, unit=unit)
    mean = with_uncertainty(summary.mean, summary.half_width, unit)
    rsd = "" if summary.rsd_percent is None else f", RSD {summary.rsd_percent:.2g} %"
    lines = [
        f"together  {mean} (mean of {summary.n}, {100 * summary.coverage:g} % confidence{rsd})"
    ]
    return lines + ([summary.trend.text] if summary.trend is not None else [])


def _line(number: int, run: Run) -> str:
    onset = clock(run.verdict.onset_s) if run.verdict.onset_s is not None else "-"
    result = run.assay.main.text if run.assay is not None else "no result"
    return f"run {number:<4} {VERDICTS[run.verdict.kind].word:<16} onset {onset:<9} {result}"


def comparison_figure(runs: Mapping[int, Run]) -> Figure:
    """Draw hue and turbidity of several runs, aligned at their onsets where they have one.

    Parameters
    ----------
    runs : mapping of int to Run
        By their numbers.
    """
    with mpl.rc_context(RC):
        figure = Figure(figsize=(11.0, 6.0), layout="constrained")
        hue, turbidity = figure.subplots(2, 1, sharex=True, height_ratios=(2, 1))
        cut_deg = _common_cut(runs)
        for index, (number, run) in enumerate(runs.items()):
            colour, dashes = _LINES[index % len(_LINES)]
            style = {"color": colour, "linestyle": dashes, "linewidth": 1.4}
            time_s, kept = _times(run), run.trace.trust >= TRUSTED
            hues = lift(run.trace.hue_deg, cut_deg)
            _draw(hue, time_s, np.where(kept, hues, np.nan), f"run {number}", style)
            _draw(turbidity, time_s, np.where(kept, run.trace.turbidity, np.nan), "", style)
        hue.set_ylabel("hue h / degrees")
        turbidity.set_ylabel("turbidity")
        turbidity.set_xlabel("time from the onset / s (from the first frame without one)")
        hue.axvline(0.0, color="#555555", linewidth=0.8)
        turbidity.axvline(0.0, color="#555555", linewidth=0.8)
        hue.legend(loc="upper left", frameon=False)
        hue.set_title("Replicates: " + ", ".join(f"run {number}" for number in runs), loc="left")
        return figure


def write_comparison(runs: Mapping[int, Run], path: str | Path) -> Path:
    """Write the comparison as PNG or SVG.

    Raises
    ------
    UsageError
        If the name ends in neither.
    InputError
        If it cannot be written.
    """
    kind = picture_kind(path)
    figure, stream = comparison_figure(runs), io.BytesIO()
    with mpl.rc_context(RC):
        FigureCanvasAgg(figure)
        figure.savefig(stream, format=kind, dpi=150)
    return write_bytes(path, stream.getvalue())


def _common_cut(runs: Mapping[int, Run]) -> float:
    hues = np.concatenate([_trusted_hues(run.trace) for run in runs.values()])
    return hue_cut(hues) if len(hues) else 0.0


def _trusted_hues(trace: Trace) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return trace.hue_deg[(trace.trust >= TRUSTED) & np.isfinite(trace.hue_deg)]


def _times(run: Run) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    onset_s = run.verdict.onset_s
    return run.trace.time_s - (onset_s if onset_s is not None else 0.0)


def _draw(
    axes: Axes,
    time_s: np.ndarray[tuple[int], np.dtype[np.float64]],
    values: np.ndarray[tuple[int], np.dtype[np.float64]],
    label: str,
    style: Mapping[str, object],
) -> None:
    axes.plot(time_s, values, label=label or None, **style)  # type: ignore[arg-type]
