"""What the report's own script reads: the trace thinned, the events, pictures, the ribbon."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Event, Trace
from huehold.report.bands import hue_axis
from huehold.report.happenings import additions, bracket, broken_holds, hold_span
from huehold.report.hue import LOW_CHROMA, lift
from huehold.report.numbers import number, numbers, plain
from huehold.report.ribbon import ribbon
from huehold.report.words import EVENT_NAMES, HUE_WORDS, reason_words
from huehold.run import Picture, Run

__all__ = ["embedded_json", "event_label", "ribbon_uri", "run_data", "thinned"]

MOST_POINTS: Final = 4000
MOST_PICTURE_BYTES: Final = 2_700_000
_RIBBON_COLUMNS: Final = 2400
_RIBBON_ROWS: Final = 24


def run_data(run: Run) -> dict[str, Any]:
    """Return what the report's script draws, as plain values.

    Parameters
    ----------
    run : Run
        A finished run. Its trace is thinned to some 4,000 points that keep the extremes,
        and its pictures to what keeps the report well under 5 MB.
    """
    trace, axis = run.trace, hue_axis(run.trace, run.method)
    kept = thinned(trace)
    times = trace.time_s[kept]
    usual_s = float(np.median(np.diff(times))) if len(times) > 1 else 1.0
    pictures = pictures_within(run.pictures, MOST_PICTURE_BYTES)
    return {
        "duration_s": number(float(trace.time_s[-1]) if len(trace) else 0.0),
        "gap_s": max(1.0, 4 * usual_s),
        "low_chroma": LOW_CHROMA,
        "hue_axis": plain(axis),
        "hue_words": HUE_WORDS,
        **_columns(trace, kept, axis.cut_deg),
        **_reasons(trace, kept),
        "events": [_event(event) for event in run.events],
        "additions": plain(additions(run)),
        "bracket": plain(bracket(run)),
        "hold": _hold(run),
        "broken_holds": [numbers(span) for span in broken_holds(run)],
        "readings": [[number(r.time_s), number(r.mass_g, 4)] for r in run.readings],
        "picture_times_s": numbers((picture.time_s for picture in pictures), 2),
        "pictures": [
            {"time_s": number(p.time_s, 2), "src": _uri("image/jpeg", p.jpeg)} for p in pictures
        ],
        "ribbon": ribbon_uri(trace),
    }


def embedded_json(value: Any) -> str:
    """Return JSON that can stand inside a script element without ending it."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def thinned(trace: Trace, most: int = MOST_POINTS) -> NDArray[np.intp]:
    """Choose the observations to draw: all of them, or each bucket's extremes.

    Parameters
    ----------
    trace : Trace
        Observations.
    most : int
        How many at most, at least 8.

    Returns
    -------
    ndarray of int, shape (m,)
        Rising indices. The least and greatest hue and turbidity of every bucket, its
        least trusted observation and its first are kept.
    """
    count = len(trace)
    if count <= most:
        return np.arange(count)
    edges = np.linspace(0, count, most // 6 + 1).astype(int)
    kept = {0, count - 1}
    for low, high in pairwise(edges.tolist()):
        kept.add(low)
        for column in (trace.hue_deg, trace.turbidity, -trace.trust):
            kept.update(_extremes(column[low:high], low))
    return np.array(sorted(kept))


def event_label(event: Event) -> str:
    """Say an event in a few words, such as ``fade-back 8 s`` or ``hand``."""
    if event.kind == "disturbance":
        return reason_words(str(event.detail.get("kind") or "disturbance"))
    if event.end_s is None:
        return EVENT_NAMES[event.kind]
    return f"{EVENT_NAMES[event.kind]} {event.end_s - event.time_s:.0f} s"


def ribbon_uri(trace: Trace) -> str | None:
    """Return the colour ribbon as a PNG data URI, or None if no strips were kept."""
    kept = sum(strip is not None for strip in trace.strip)
    if not kept:
        return None
    image = ribbon(trace, min(_RIBBON_COLUMNS, max(300, kept)), _RIBBON_ROWS)
    _, data = cv2.imencode(".png", cv2.cvtColor(image, cv2.COLOR_RGBA2BGRA))
    return _uri("image/png", data.tobytes())


def pictures_within(pictures: Sequence[Picture], most_bytes: int) -> Sequence[Picture]:
    """Leave out every other picture until the rest fits into so many bytes."""
    while len(pictures) > 1 and sum(len(p.jpeg) for p in pictures) > most_bytes:
        pictures = pictures[::2]
    return pictures


def _extremes(values: NDArray[np.float64], offset: int) -> set[int]:
    if np.isnan(values).all():
        return set()
    return {offset + int(np.nanargmin(values)), offset + int(np.nanargmax(values))}


def _columns(trace: Trace, kept: NDArray[np.intp], cut_deg: float) -> dict[str, Any]:
    return {
        "time_s": numbers(trace.time_s[kept], 2),
        "hue_deg": numbers(lift(trace.hue_deg[kept], cut_deg), 1),
        "hue_sd_deg": numbers(trace.hue_sd_deg[kept], 1),
        "chroma": numbers(trace.chroma[kept], 1),
        "turbidity": numbers(trace.turbidity[kept], 3),
        "trust": numbers(trace.trust[kept], 2),
    }


def _reasons(trace: Trace, kept: NDArray[np.intp]) -> dict[str, Any]:
    """Store each set of reasons once and refer to it by number."""
    texts = [", ".join(map(reason_words, trace.reasons[index])) for index in kept]
    sets = list(dict.fromkeys(["", *texts]))
    where = {text: number for number, text in enumerate(sets)}
    return {"reason_sets": sets, "reasons": [where[text] for text in texts]}


def _event(event: Event) -> dict[str, Any]:
    return {
        "time_s": number(event.time_s),
        "end_s": number(event.end_s),
        "kind": event.kind,
        "label": event_label(event),
    }


def _hold(run: Run) -> dict[str, Any] | None:
    span = hold_span(run)
    if span is None:
        return None
    held_s = max(run.verdict.hold_s or 0.0, span[1] - span[0])
    return {
        "start_s": number(span[0]),
        "end_s": number(span[1]),
        "held_until_s": number(span[0] + held_s),
        "confirmed_s": number(run.verdict.confirmed_s),
        "label": f"held {held_s:.0f} s",
    }


def _uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"
