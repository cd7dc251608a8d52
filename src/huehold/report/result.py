"""The result file: one JSON object for each run, the form other programs rely on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from huehold import __version__
from huehold.core import Ellipse, Event, Trace
from huehold.report.assay_view import assay_json
from huehold.report.figures import all_warnings
from huehold.report.files import write_text
from huehold.report.happenings import additions, events_of, hold_span
from huehold.report.numbers import DECIMALS, number, numbers, plain
from huehold.run import Run

__all__ = ["SCHEMA", "result_dict", "result_text", "write_result"]

SCHEMA: Final = "huehold.run/1"
_VESSEL_EVERY_S: Final = 1.0
_VESSEL_MOVED_PX: Final = 0.5


def result_dict(run: Run) -> dict[str, Any]:
    """Return a run as the result file's object, schema ``huehold.run/1``.

    Parameters
    ----------
    run : Run
        A finished run.

    Returns
    -------
    dict
        Plain values only: text, numbers, lists, None. Times in seconds from the first
        frame; what is not known is None, never NaN.
    """
    return {
        "schema": SCHEMA,
        "generator": {"name": "huehold", "version": __version__},
        "source": _source(run),
        "method": run.method.name,
        "hold_required_s": number(run.hold_s),
        "turbidity_basis": run.turbidity_basis,
        "calibrations": list(run.calibrations),
        "verdict": run.verdict.kind,
        "verdict_reasons": list(run.verdict.reasons),
        "interrupted": run.interrupted,
        "endpoint": _endpoint(run),
        "hold": _hold(run),
        "additions": _additions(run),
        "fade_backs": _fade_backs(run),
        "disturbances": _disturbances(run),
        "events": [_event(event) for event in run.events],
        "vessel": _vessel(run.trace),
        "trace": _trace(run.trace),
        "readings": _readings(run),
        "assay": assay_json(run.assay),
        "settings": plain(run.settings),
        "warnings": list(all_warnings(run)),
    }


def result_text(run: Run) -> str:
    """Return the result file's text, ending in a line feed."""
    return json.dumps(result_dict(run), ensure_ascii=False, allow_nan=False) + "\n"


def write_result(run: Run, path: str | Path) -> Path:
    """Write the result file, whole or not at all.

    Raises
    ------
    InputError
        If the folder does not exist or writing is refused.
    """
    return write_text(path, result_text(run))


def _source(run: Run) -> dict[str, Any]:
    source, time_s = run.source, run.trace.time_s
    seen_s = float(time_s[-1]) if len(time_s) else None
    return {
        "name": source.name,
        "duration_s": number(seen_s if source.duration_s is None else source.duration_s),
        "frames_seen": run.frames_seen,
        "frames_used": run.frames_used,
        "width_px": source.width_px,
        "height_px": source.height_px,
        "detail": plain(source.detail),
    }


def _endpoint(run: Run) -> dict[str, Any] | None:
    verdict = run.verdict
    if verdict.kind != "endpoint":
        return None
    return {
        "onset_s": number(verdict.onset_s),
        "confirmed_s": number(verdict.confirmed_s),
        "hold_s": number(verdict.hold_s),
        "hue_deg": number(verdict.hue_deg, 2),
        "cleared": verdict.cleared,
    }


def _hold(run: Run) -> dict[str, Any] | None:
    span = hold_span(run)
    return None if span is None else {"start_s": number(span[0]), "end_s": number(span[1])}


def _additions(run: Run) -> list[dict[str, Any]]:
    return [
        {
            "time_s": number(addition.time_s),
            "mass_g": number(addition.mass_g, 5),
            "cumulative_g": number(addition.cumulative_g, 5),
        }
        for addition in additions(run)
    ]


def _fade_backs(run: Run) -> list[dict[str, Any]]:
    return [
        {"peak_s": number(event.time_s), "back_s": number(event.end_s)}
        for event in events_of(run.events, "fade_back")
    ]


def _disturbances(run: Run) -> list[dict[str, Any]]:
    return [
        {
            "start_s": number(event.time_s),
            "end_s": number(event.end_s),
            "kind": str(event.detail.get("kind") or "unknown"),
        }
        for event in events_of(run.events, "disturbance")
    ]


def _event(event: Event) -> dict[str, Any]:
    return {
        "time_s": number(event.time_s),
        "kind": event.kind,
        "end_s": number(event.end_s),
        "told_s": number(event.told_s),
        "detail": plain(event.detail),
    }


def _vessel(trace: Trace) -> list[dict[str, Any]]:
    """List the vessel where it moved, and once a second where it stood still."""
    listed: list[dict[str, Any]] = []
    last: tuple[float, Ellipse] | None = None
    for time_s, vessel in zip(trace.time_s, trace.vessel, strict=True):
        if vessel is None:
            continue
        if last is not None and time_s - last[0] < _VESSEL_EVERY_S and _still(last[1], vessel):
            continue
        listed.append({"time_s": number(time_s), **_ellipse(vessel)})
        last = (float(time_s), vessel)
    return listed


def _still(before: Ellipse, after: Ellipse) -> bool:
    moves = (
        after.x_px - before.x_px,
        after.y_px - before.y_px,
        after.semi_major_px - before.semi_major_px,
        after.semi_minor_px - before.semi_minor_px,
    )
    return max(abs(move) for move in moves) < _VESSEL_MOVED_PX


def _ellipse(vessel: Ellipse) -> dict[str, float | None]:
    return {name: number(value, 2) for name, value in plain(vessel).items()}


def _trace(trace: Trace) -> dict[str, Any]:
    columns: dict[str, Any] = {
        name: numbers(getattr(trace, name).tolist(), digits) for name, digits in DECIMALS.items()
    }
    columns["reasons"] = [list(reasons) for reasons in trace.reasons]
    return columns


def _readings(run: Run) -> list[dict[str, Any]]:
    return [
        {
            "time_s": number(reading.time_s),
            "mass_g": number(reading.mass_g, 5),
            "source": reading.source,
        }
        for reading in run.readings
    ]
