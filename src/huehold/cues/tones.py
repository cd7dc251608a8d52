"""The cues as data, and their samples.

They differ in rhythm and direction, not only in pitch, so that they are told apart by ear
in a noisy room and by people who hear high tones badly: all lie between 300 and 1,200 Hz.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from huehold.core import Event

__all__ = ["CUES", "SAMPLE_RATE_HZ", "Cue", "CueName", "Note", "cue_for", "in_order", "samples"]

SAMPLE_RATE_HZ = 44_100
_RAMP_S = 0.008

CueName = Literal[
    "addition", "fading_back", "hold_started", "hold_broken", "endpoint", "overshoot", "attention"
]


@dataclass(frozen=True, slots=True)
class Note:
    """One tone of a cue: from when, how long, how high and how loud (0 to 1)."""

    start_s: float
    duration_s: float
    frequency_hz: float
    gain: float = 0.5


@dataclass(frozen=True, slots=True)
class Cue:
    """A sound with its visible twin.

    Attributes
    ----------
    name : CueName
        What it is called in files and messages.
    words : str
        What is shown and, if wanted, spoken.
    symbol : str
        The shape shown with the words.
    notes : tuple of Note
        The tones.
    vibration_ms : tuple of int
        On and off times for a phone that can.
    """

    name: CueName
    words: str
    symbol: str
    notes: tuple[Note, ...]
    vibration_ms: tuple[int, ...]


def _row(*tones: tuple[float, float], gap_s: float = 0.05, gain: float = 0.5) -> tuple[Note, ...]:
    notes, start_s = [], 0.0
    for frequency_hz, duration_s in tones:
        notes.append(Note(round(start_s, 4), duration_s, frequency_hz, gain))
        start_s += duration_s + gap_s
    return tuple(notes)


CUES: dict[CueName, Cue] = {
    cue.name: cue
    for cue in (
        Cue("addition", "Addition seen", "●", _row((520, 0.05), gain=0.3), (30,)),
        Cue(
            "fading_back", "Fading back", "↘", _row((620, 0.12), (440, 0.2), gain=0.4), (60, 40, 60)
        ),
        Cue("hold_started", "Holding", "▷", _row((440, 0.12), (620, 0.2), gain=0.4), (120,)),
        Cue(
            "hold_broken",
            "Hold broken",
            "✕",
            _row((420, 0.1), (420, 0.1), (330, 0.3)),
            (80, 60, 80, 60, 200),
        ),
        Cue(
            "attention",
            "Attention",
            "!",
            _row((880, 0.15), (880, 0.15), (880, 0.15), gap_s=0.12, gain=0.6),
            (200, 100, 200, 100, 200),
        ),
        Cue(
            "overshoot",
            "Overshoot",
            "▲",
            _row((784, 0.2), (523, 0.2), (349, 0.6), gain=0.6),
            (600, 100, 200),
        ),
        Cue(
            "endpoint",
            "Endpoint",
            "■",
            _row((523, 0.22), (659, 0.22), (784, 0.22), (1047, 0.9), gap_s=0.03, gain=0.7),
            (400, 100, 400, 100, 800),
        ),
    )
}
"""Every cue by its name, the ones that matter most last."""

_OF_EVENT: dict[str, CueName] = {
    "addition": "addition",
    "hold_started": "hold_started",
    "hold_broken": "hold_broken",
    "endpoint": "endpoint",
    "overshoot": "overshoot",
}


def cue_for(event: Event) -> Cue | None:
    """Return the cue that tells an event, or None if it is told without sound."""
    name = _OF_EVENT.get(event.kind)
    return None if name is None else CUES[name]


def in_order(cues: Iterable[Cue]) -> tuple[Cue, ...]:
    """Return the cues of one moment, each once, the one that matters most last.

    A sound cuts the one before short, so the last is the one that is heard.
    """
    said = {cue.name for cue in cues}
    return tuple(cue for name, cue in CUES.items() if name in said)


def samples(cue: Cue, volume: float = 1.0) -> NDArray[np.int16]:
    """Return the sound of a cue.

    Parameters
    ----------
    cue : Cue
        Which.
    volume : float
        0 (silent) to 1.

    Returns
    -------
    ndarray of int16, shape (n,)
        One channel at `SAMPLE_RATE_HZ`.
    """
    length_s = max(note.start_s + note.duration_s for note in cue.notes)
    sound = np.zeros(round(length_s * SAMPLE_RATE_HZ))
    for note in cue.notes:
        start = round(note.start_s * SAMPLE_RATE_HZ)
        tone = _tone(note)[: len(sound) - start]
        sound[start : start + len(tone)] += tone
    loudness = float(np.clip(volume, 0, 1))
    return np.asarray(np.round(32767 * np.clip(sound * loudness, -1, 1)), np.int16)


def _tone(note: Note) -> NDArray[np.float64]:
    time_s = np.arange(round(note.duration_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    phase = 2 * np.pi * note.frequency_hz * time_s
    # A weak second harmonic makes the tone carry on small loudspeakers.
    wave = (np.sin(phase) + 0.25 * np.sin(2 * phase)) / 1.25
    edge = np.minimum(time_s, note.duration_s - time_s) / _RAMP_S  # ramps avoid clicks
    return note.gain * wave * np.clip(edge, 0.0, 1.0)
