"""The trace and the events as CSV files, units in the column names."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from huehold.core import Event
from huehold.report.files import write_text
from huehold.report.numbers import DECIMALS, number, numbers
from huehold.run import Run

__all__ = ["events_csv", "trace_csv", "write_csv"]

_HEADERS: Final = {
    "time_s": "time_s",
    "hue_deg": "hue_deg",
    "hue_sd_deg": "hue_sd_deg",
    "chroma": "chroma_cielab",
    "lightness": "lightness_cielab",
    "a": "a_cielab",
    "b": "b_cielab",
    "turbidity": "turbidity_0_to_1",
    "trust": "trust_0_to_1",
}


def trace_csv(run: Run) -> str:
    """Return the trace as CSV: a header, then one row for each observation.

    Empty cells are values that were not seen; ``reasons`` are joined by a semicolon and
    ``events`` names what happened since the row before.
    """
    columns = [numbers(getattr(run.trace, name).tolist(), DECIMALS[name]) for name in _HEADERS]
    happened = _events_by_row(run.events, run.trace.time_s.tolist())
    rows = (
        [*values, ";".join(reasons), ";".join(names)]
        for values, reasons, names in zip(
            zip(*columns, strict=True), run.trace.reasons, happened, strict=True
        )
    )
    return _csv([*_HEADERS.values(), "reasons", "events"], rows)


def events_csv(run: Run) -> str:
    """Return the events as CSV: kind, start, end, when it could be told, details."""
    rows = (
        [
            number(event.time_s),
            number(event.end_s),
            event.kind,
            number(event.told_s),
            _details(event),
        ]
        for event in run.events
    )
    return _csv(["time_s", "end_s", "kind", "told_s", "detail"], rows)


def write_csv(run: Run, path: str | Path) -> tuple[Path, Path]:
    """Write the trace to `path` and the events beside it as ``NAME-events.csv``.

    Returns
    -------
    tuple of Path
        The trace's file and the events' file.

    Raises
    ------
    InputError
        If the folder does not exist or writing is refused.
    """
    target = Path(path)
    beside = target.with_name(f"{target.stem}-events{target.suffix or '.csv'}")
    return write_text(target, trace_csv(run)), write_text(beside, events_csv(run))


def _events_by_row(events: Sequence[Event], time_s: list[float]) -> list[list[str]]:
    """Put each event's name to the first row at or after it, or to the last row."""
    rows: list[list[str]] = [[] for _ in time_s]
    row = 0
    for event in sorted(events, key=lambda event: event.time_s):
        while row < len(time_s) - 1 and time_s[row] < event.time_s:
            row += 1
        if rows:
            rows[row].append(event.kind)
    return rows


def _details(event: Event) -> str:
    return ";".join(f"{key}={_cell(value)}" for key, value in event.detail.items())


def _cell(value: float | str | None) -> str:
    known = number(value, 5) if isinstance(value, float) else value
    return "" if known is None else str(known)


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()
