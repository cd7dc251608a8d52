"""What the server and its pages say to each other, as plain values for JSON."""

from __future__ import annotations

import base64
import math
from dataclasses import asdict
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from huehold.core import Ellipse, Event, Rect, Trace
from huehold.cues import CUES
from huehold.methods import Method
from huehold.notebook import MassEntry, RunRecord
from huehold.report.advice import advice
from huehold.report.words import VERDICTS, hue_word, reason_words
from huehold.run import Run
from huehold.watching import Moment

__all__ = [
    "EntryIn", "In", "InputsIn", "LocksIn", "MassIn", "NoteIn", "PauseIn", "TitleIn", "VesselIn",
    "WhiteIn", "bands_of", "cue_values", "event_values", "for_phones", "mass_values",
    "moment_values", "record_values", "result_values", "trace_values",
]  # fmt: skip

_MOST_POINTS = 4000
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


class In(BaseModel):
    """What a page sends: nothing unknown in it, no infinity, no NaN."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class EntryIn(In):
    """The key from the address."""

    token: str = Field(max_length=100)


class MassIn(In):
    """A mass as typed.

    Attributes
    ----------
    text : str
        What the balance showed, in grams unless stated.
    key : str
        Made by the page for each entry: the same one sent twice is written down once.
    typed_s : float or None
        The run's time when it was typed.
    tare : str
        What the balance showed before the first addition; empty if it was tared.
    falling : bool
        Whether the titrant's bottle is on the balance, so that the figure falls.
    """

    text: str = Field(min_length=1, max_length=40)
    key: str = Field(default="", max_length=40)
    typed_s: float | None = None
    tare: str = Field(default="", max_length=40)
    falling: bool = False

    def worked_out(self) -> tuple[str, str]:
        """Return the cumulative mass as text, and what was typed.

        Raises
        ------
        InputError
            If one of the figures is no mass.
        """
        if not self.tare.strip():
            return self.text, self.text
        from huehold.stoichiometry.quantities import read

        shown_g = read(self.text, "g", "what the balance shows").value
        tare_g = read(self.tare, "g", "what the balance showed at first").value
        first, second = (tare_g, shown_g) if self.falling else (shown_g, tare_g)
        return f"{first - second:.6g} g", f"{first:g} - {second:g} g"


class NoteIn(In):
    """A remark."""

    text: str = Field(min_length=1, max_length=2000)


class TitleIn(In):
    """A run's title."""

    title: str = Field(max_length=200)


class PauseIn(In):
    """Pause or go on."""

    paused: bool


class VesselIn(In):
    """The vessel's outline in pixels, or nothing to have it found."""

    x_px: float
    y_px: float
    semi_major_px: float = Field(gt=0)
    semi_minor_px: float = Field(gt=0)
    angle_deg: float = 0.0

    def ellipse(self) -> Ellipse:
        """Return the outline with its longer half axis first."""
        major, minor, angle = self.semi_major_px, self.semi_minor_px, self.angle_deg
        if minor > major:
            major, minor, angle = minor, major, angle + 90
        return Ellipse(self.x_px, self.y_px, major, minor, angle % 180)


class WhiteIn(In):
    """The white patch in pixels."""

    x_px: float
    y_px: float
    width_px: float = Field(gt=0)
    height_px: float = Field(gt=0)

    def rect(self) -> Rect:
        """Return the patch."""
        return Rect(self.x_px, self.y_px, self.width_px, self.height_px)


class LocksIn(In):
    """What a browser says of its camera's settings."""

    locks: dict[Literal["exposure", "white balance", "focus"], Literal["locked", "refused"]]


class InputsIn(In):
    """What was weighed and read off labels, each as typed; empty means not known."""

    values: dict[str, str] = Field(max_length=30)


def cue_values() -> dict[str, Any]:
    """Return every cue with its tones, for the browser to synthesise."""
    return {name: asdict(cue) for name, cue in CUES.items()}


def event_values(event: Event) -> dict[str, Any]:
    """Return an event."""
    return {
        "time_s": event.time_s,
        "kind": event.kind,
        "end_s": event.end_s,
        "told_s": event.told_s,
        "detail": dict(event.detail),
    }


def mass_values(entry: MassEntry) -> dict[str, Any]:
    """Return a mass entry."""
    return asdict(entry)


def result_values(run: Run) -> dict[str, Any]:
    """Return a finished run's verdict and result as people read them."""
    from huehold.report.assay_view import view_assay

    assay = view_assay(run.assay)
    words = VERDICTS[run.verdict.kind]
    return {
        "verdict": run.verdict.kind,
        "verdict_word": words.word,
        "verdict_shape": words.shape,
        "verdict_sentence": words.sentence,
        "onset_s": run.verdict.onset_s,
        "reasons": list(run.verdict.reasons),
        "warnings": list(run.warnings),
        "lines": [list(line) for line in assay.lines] if assay else [],
        "remarks": [list(line) for line in assay.remarks] if assay else [],
        "notes": [*assay.warnings, *assay.notes] if assay else [],
        "decision": assay.decision if assay else "",
        "working_html": assay.working_html if assay else "",
    }


def moment_values(moment: Moment) -> dict[str, Any]:
    """Return how the run stands, with what to do next."""
    seen = moment.observation
    values: dict[str, Any] = {
        "type": "moment",
        "time_s": round(moment.time_s, 4),
        "phase": moment.phase,
        "state": moment.state,
        "held_s": round(moment.held_s, 2),
        "hold_s": moment.hold_s,
        "advice": advice(moment),
        "source": moment.source,
        "paused": moment.paused,
        "white": asdict(moment.white) if moment.white else None,
        "cues": [cue.name for cue in moment.cues],
        "events": [event_values(event) for event in moment.events],
        "forecast": asdict(moment.forecast) if moment.forecast else None,
        "seen": None,
    }
    if seen is not None:
        values["seen"] = {
            "hue_deg": _number(seen.hue_deg, 2),
            "hue_word": hue_word(seen.hue_deg) if math.isfinite(seen.hue_deg) else None,
            "chroma": _number(seen.chroma, 2),
            "lightness": _number(seen.lightness, 2),
            "turbidity": _number(seen.turbidity, 3),
            "trust": _number(seen.trust, 2),
            "reasons": [reason_words(reason) for reason in seen.reasons],
            "vessel": asdict(seen.vessel) if seen.vessel else None,
            "strip": _strip(seen.strip),
        }
    return values


def trace_values(trace: Trace) -> dict[str, Any]:
    """Return a trace as columns, thinned so that hours still draw quickly."""
    kept = _kept(trace.hue_deg)
    columns = ("time_s", "hue_deg", "chroma", "lightness", "turbidity", "trust")
    values: dict[str, Any] = {
        name: [_number(value, 3) for value in getattr(trace, name)[kept]] for name in columns
    }
    strips = [
        (time_s, strip)
        for time_s, strip in zip(trace.time_s, trace.strip, strict=True)
        if strip is not None
    ]
    thin = max(1, math.ceil(len(strips) / 1000))
    values["strips"] = [[round(float(t), 2), _strip(strip)] for t, strip in strips[::thin]]
    return values


def _kept(hue_deg: FloatArray, most: int = _MOST_POINTS) -> IntArray:
    """Return the points to show: the extremes of the hue in each stretch, so no fade-back goes."""
    every = np.arange(len(hue_deg))
    if len(every) <= most:
        return every
    low, high = np.nan_to_num(hue_deg, nan=1e3), np.nan_to_num(hue_deg, nan=-1e3)
    parts = np.array_split(every, most // 2)
    ends = [(part[low[part].argmin()], part[high[part].argmax()]) for part in parts]
    return np.unique(ends)


def record_values(record: RunRecord) -> dict[str, Any]:
    """Return a run of the notebook as a line of a list."""
    verdict = (record.verdict or {}).get("kind")
    return {
        "id": record.id,
        "title": record.title,
        "started_at": record.started_at,
        "finished_at": record.finished_at,
        "verdict": verdict,
        "main": record.main_result,
        "removed": record.removed_at is not None,
    }


def for_phones(message: dict[str, Any]) -> dict[str, Any]:
    """Return what a phone may know of a message: how the run stands, no masses, no result."""
    kept = ("type", "cues", "moment", "verdict", "verdict_sentence", "error")
    values = {key: message[key] for key in kept if key in message}
    if message.get("finished"):
        values["finished"] = for_phones(message["finished"])
    return values


def bands_of(method: Method) -> list[dict[str, Any]]:
    """Return the hue bands of a method's start and end colour."""
    chart = method.indicator
    return [
        {"low": colour.hue_deg[0], "high": colour.hue_deg[1], "name": f"{role}: {colour.name}"}
        for role, colour in (("start", chart.start), ("end", chart.end))
        if colour.hue_deg is not None
    ]


def _number(value: float, digits: int) -> float | None:
    return round(float(value), digits) if math.isfinite(value) else None


def _strip(strip: np.ndarray[Any, Any] | None) -> str | None:
    return None if strip is None else base64.b64encode(strip.tobytes()).decode()
