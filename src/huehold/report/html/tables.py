"""The report's tables: events, numbers at even times, settings and sources."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from huehold.core import Event
from huehold.methods import Method
from huehold.report.happenings import additions, events_of
from huehold.report.html.data import event_label
from huehold.report.numbers import number
from huehold.report.words import EVENT_NAMES, clock, grams, hue_word, reason_words
from huehold.run import Run

__all__ = ["EventRow", "NumberRow", "event_rows", "method_notes", "number_rows", "settings_pairs"]

_MOST_ROWS: Final = 180
_SIGNS: Final = {
    "addition": "▼",
    "fade_back": "↩",
    "hold_started": "▷",
    "hold_broken": "╳",
    "endpoint": "■",
    "overshoot": "▲",
    "disturbance": "▦",
}


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event as people read it."""

    time_s: float
    clock: str
    sign: str
    name: str
    detail: str
    lasted: str


@dataclass(frozen=True, slots=True)
class NumberRow:
    """The trace at one moment, each value as text."""

    clock: str
    hue: str
    chroma: str
    turbidity: str
    trust: str


def event_rows(run: Run) -> list[EventRow]:
    """List the events in time order, in words."""
    masses = {addition.time_s: addition for addition in additions(run)}
    rows = []
    for event in run.events:
        made = masses.get(event.time_s) if event.kind == "addition" else None
        detail = _addition(made.number, made.cumulative_g) if made else _detail(event)
        lasted = "" if event.end_s is None else f"{event.end_s - event.time_s:.1f} s"
        name = EVENT_NAMES[event.kind]
        rows.append(
            EventRow(event.time_s, clock(event.time_s), _SIGNS[event.kind], name, detail, lasted)
        )
    return rows


def number_rows(run: Run) -> tuple[float, list[NumberRow]]:
    """Read the trace at even times for readers who do not see the plot.

    Returns
    -------
    (float, list of NumberRow)
        Seconds between the rows, and the rows, at most some 180.
    """
    times = run.trace.time_s
    if not len(times):
        return 1.0, []
    end_s = float(times[-1])
    step_s = next((s for s in (1, 2, 5, 10, 15, 30, 60) if end_s / s <= _MOST_ROWS), None)
    step = float(step_s or np.ceil(end_s / _MOST_ROWS / 60) * 60)
    at = np.searchsorted(times, np.arange(0.0, end_s + 1e-9, step))
    return step, [_number_row(run, int(min(index, len(times) - 1))) for index in at]


def settings_pairs(run: Run) -> list[tuple[str, str]]:
    """List source and settings as label and value."""
    source, settings = run.source, run.settings
    found = "looked for in the picture"
    pairs = [
        ("Source", source.name),
        ("Picture size", f"{source.width_px} × {source.height_px} px"),
        ("Length", clock(source.duration_s)),
        ("Frames", f"{run.frames_used} analysed of {run.frames_seen}"),
        ("Calibrations", ", ".join(run.calibrations) or "none"),
        ("Analysed per second", f"about {settings.rate_hz:g}"),
        ("Hold asked", f"{run.hold_s:g} s"),
        ("Vessel", found if settings.vessel is None else "given"),
        ("White", found if settings.white is None else "given"),
    ]
    return pairs + [(reason_words(key).capitalize(), str(v)) for key, v in source.detail.items()]


def method_notes(method: Method) -> list[tuple[str, str]]:
    """List what the method takes as known, with where it is from."""
    indicator = method.indicator
    notes = [
        ("Method", f"{method.title} ({method.name})"),
        ("Indicator", indicator.name),
        *((f"{role.capitalize()} colour", _colour(method, role)) for role in ("start", "end")),
        ("Titrant strength", f"{method.titrant.strength.basis}; {method.titrant.strength.note}"),
    ]
    density = method.sample.density_g_per_ml
    if density is not None:
        notes.append(
            ("Sample density", f"{density.value:g} ± {density.u:g} g/mL: {density.source}")
        )
    if indicator.end_ph is not None:
        end = indicator.end_ph
        notes.append(("End colour called at", f"pH {end.value:g} ± {end.u:g}: {end.source}"))
    return notes + [("Source read", source) for source in method.sources]


def _colour(method: Method, role: str) -> str:
    colour = getattr(method.indicator, role)
    if colour.hue_deg is None:
        return f"{colour.name} (no hue)"
    return f"{colour.name}, hue {colour.hue_deg[0]:g}° to {colour.hue_deg[1]:g}°"


def _addition(index: int, cumulative_g: float | None) -> str:
    mass = "" if cumulative_g is None else f", {grams(cumulative_g)} in all"
    return f"no. {index}{mass}"


def _detail(event: Event) -> str:
    if event.kind == "disturbance":
        return event_label(event)
    if event.kind == "fade_back":
        return "the colour went back while solid was left"
    return ", ".join(_named(key, value) for key, value in event.detail.items())


def _named(key: str, value: float | str | None) -> str:
    """Write a detail with its unit: ``lasted_s`` 2.85 becomes ``lasted 2.85 s``."""
    name, _, suffix = key.rpartition("_")
    unit = {"s": " s", "g": " g", "deg": "°", "px": " px"}.get(suffix)
    if value is None:
        return f"{reason_words(key)} unknown"
    if unit is None or isinstance(value, str):
        return f"{reason_words(key)} {_value(value)}"
    return f"{reason_words(name)} {_value(value)}{unit}"


def _value(value: float | str) -> str:
    return reason_words(value) if isinstance(value, str) else f"{number(value, 2):g}"


def _number_row(run: Run, index: int) -> NumberRow:
    trace = run.trace
    hue, sd = float(trace.hue_deg[index]), float(trace.hue_sd_deg[index])
    spread = f" ± {2 * sd:.1f}" if np.isfinite(sd) else ""
    reasons = ", ".join(map(reason_words, trace.reasons[index]))
    return NumberRow(
        clock(float(trace.time_s[index])),
        f"{hue:.1f}{spread}, {hue_word(hue)}" if np.isfinite(hue) else "not seen",
        _or_unseen(float(trace.chroma[index]), 1),
        _or_unseen(float(trace.turbidity[index]), 2),
        f"{trace.trust[index]:.2f}" + (f" ({reasons})" if reasons else ""),
    )


def _or_unseen(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if np.isfinite(value) else "not seen"


def count_words(run: Run) -> str:
    """Say how many events there are of the kinds that people count."""
    fades, disturbed = events_of(run.events, "fade_back"), events_of(run.events, "disturbance")
    return (
        f"{len(additions(run))} additions, {len(fades)} fade-backs, {len(disturbed)} disturbances"
    )
