"""The key figures of a run as label and value, the same on the card and in the report."""

from __future__ import annotations

import math

from huehold.report.bands import in_band
from huehold.report.happenings import additions, bracket, events_of
from huehold.report.words import clock, grams, hue_word, sentence
from huehold.run import Run

__all__ = ["all_warnings", "key_figures"]


def key_figures(run: Run) -> list[tuple[str, str]]:
    """List what a reader wants first: onset, hold, colour, clearing, titrant, counts.

    Parameters
    ----------
    run : Run
        A finished run.

    Returns
    -------
    list of (str, str)
        Label and value with its unit; figures that do not apply are left out.
    """
    figures = [
        ("Onset", _onset(run)),
        ("Hold", _hold(run)),
        ("Colour held", _colour(run)),
        ("Mixture", _clearing(run)),
        ("Titrant", _titrant(run)),
        ("Additions", _counts(run)),
        ("Analysed", _analysed(run)),
    ]
    return [(label, value) for label, value in figures if value]


def all_warnings(run: Run) -> tuple[str, ...]:
    """Return the warnings of the run and of its assay, each once."""
    from_assay = () if run.assay is None else run.assay.warnings
    return tuple(dict.fromkeys((*run.warnings, *map(sentence, from_assay))))


def _onset(run: Run) -> str:
    onset_s = run.verdict.onset_s
    return "" if onset_s is None else f"{clock(onset_s)} ({onset_s:.1f} s from the first frame)"


def _hold(run: Run) -> str:
    held_s, confirmed_s = run.verdict.hold_s, run.verdict.confirmed_s
    asked = f"{run.hold_s:g} s asked"
    if held_s is None:
        return asked
    when = "" if confirmed_s is None else f", complete at {clock(confirmed_s)}"
    return f"{held_s:.1f} s seen, {asked}{when}"


def _colour(run: Run) -> str:
    hue_deg = run.verdict.hue_deg
    if hue_deg is None or not math.isfinite(hue_deg):
        return ""
    end = run.method.indicator.end
    named = end.name if in_band(hue_deg, end.hue_deg) else hue_word(hue_deg)
    return f"{named}, hue {hue_deg:.0f}° (CIELAB, D65)"


_BASIS_WORDS = {
    "view": "what can be seen through the liquid",
    "veil": "the light it scatters",
    "veil and view": "the light it scatters and what can be seen through it",
    "none": "nothing usable",
}


def _clearing(run: Run) -> str:
    if run.verdict.kind not in ("endpoint", "overshoot"):
        return ""
    words = {True: "clear", False: "not clear", None: "clearing could not be judged"}
    return f"{words[run.verdict.cleared]} (turbidity by {_BASIS_WORDS[run.turbidity_basis]})"


def _titrant(run: Run) -> str:
    found = bracket(run)
    if found is not None:
        span = (
            ""
            if found.before_g is None
            else f" (bracket {grams(found.before_g).removesuffix(' g')} to {grams(found.after_g)})"
        )
        return f"{grams(found.after_g)} at the onset{span}"
    if run.readings:
        return f"{grams(run.readings[-1].mass_g)}, last reading"
    return ""


def _counts(run: Run) -> str:
    fades = len(events_of(run.events, "fade_back"))
    disturbed = len(events_of(run.events, "disturbance"))
    return f"{len(additions(run))}, fade-backs {fades}, disturbances {disturbed}"


def _analysed(run: Run) -> str:
    time_s = run.trace.time_s
    length = f" over {clock(float(time_s[-1]))}" if len(time_s) else ""
    return f"{run.frames_used} of {run.frames_seen} frames{length}"
