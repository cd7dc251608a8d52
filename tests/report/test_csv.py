"""The CSV files: what a spreadsheet reads back is what the trace holds."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from huehold.errors import InputError
from huehold.report.csv_ import events_csv, trace_csv, write_csv
from huehold.run import Run


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(text.splitlines()))


def test_a_missing_folder_is_one_sentence(run: Run, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        write_csv(run, tmp_path / "no" / "trace.csv")


def test_trace_reads_back_within_its_rounding(run: Run) -> None:
    table = rows(trace_csv(run))
    assert len(table) == len(run.trace)
    times = np.array([float(row["time_s"]) for row in table])
    np.testing.assert_allclose(times, run.trace.time_s, atol=5.1e-5)
    hue = np.array([float(row["hue_deg"] or "nan") for row in table])
    np.testing.assert_allclose(hue, run.trace.hue_deg, atol=5.1e-3)
    assert "nan" not in trace_csv(run).lower()


def test_every_event_stands_in_the_first_row_at_or_after_it(run: Run) -> None:
    table = rows(trace_csv(run))
    marked = [(i, name) for i, row in enumerate(table) for name in row["events"].split(";") if name]
    assert len(marked) == len(run.events)
    for (row, name), event in zip(marked, run.events, strict=True):
        assert name == event.kind
        assert run.trace.time_s[row] >= event.time_s or row == len(run.trace) - 1
        assert row == 0 or run.trace.time_s[row - 1] < event.time_s


def test_events_file_names_kind_span_and_details(run: Run) -> None:
    table = rows(events_csv(run))
    assert [row["kind"] for row in table] == [event.kind for event in run.events]
    hand = next(row for row in table if row["kind"] == "disturbance")
    assert hand["detail"] == "kind=hand"
    assert float(hand["end_s"]) > float(hand["time_s"])


def test_two_files_are_written_side_by_side(run: Run, tmp_path: Path) -> None:
    trace, events = write_csv(run, tmp_path / "run.csv")
    assert (trace.name, events.name) == ("run.csv", "run-events.csv")
    assert trace.read_text(encoding="utf-8") == trace_csv(run)
    assert b"\r" not in events.read_bytes()
