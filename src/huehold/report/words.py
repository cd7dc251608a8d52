"""The words and marks that every report shares: verdicts, events, reasons, cautions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from huehold.core import EventKind, VerdictKind

__all__ = [
    "EVENT_NAMES",
    "HUE_WORDS",
    "VERDICTS",
    "VerdictWords",
    "capital",
    "clock",
    "grams",
    "hue_word",
    "reason_words",
    "sentence",
]


@dataclass(frozen=True, slots=True)
class VerdictWords:
    """How a verdict is said: in a word, with a shape, and in a sentence.

    Attributes
    ----------
    word : str
        The verdict in one to three words.
    shape : str
        A mark told apart by its form, not its colour.
    plain_shape : str
        The same for consoles that only have ASCII.
    sentence : str
        What the verdict means.
    """

    word: str
    shape: str
    plain_shape: str
    sentence: str


VERDICTS: Final[Mapping[VerdictKind, VerdictWords]] = MappingProxyType(
    {
        "endpoint": VerdictWords(
            "Endpoint", "■", "[#]", "The end colour came and held as long as the method asks."
        ),
        "not_reached": VerdictWords(
            "Not reached", "○", "( )", "The end colour did not hold as long as the method asks."
        ),
        "overshoot": VerdictWords(
            "Overshoot",
            "▲",
            "/!\\",
            "The colour is beyond the end band: too much titrant was added.",
        ),
        "no_start_colour": VerdictWords(
            "No start colour",
            "◇",
            "<?>",
            "The start colour was never seen, so no endpoint is called.",
        ),
        "unreadable": VerdictWords(
            "Unreadable", "✕", "[x]", "Too little of the recording could be trusted for a verdict."
        ),
    }
)

EVENT_NAMES: Final[Mapping[EventKind, str]] = MappingProxyType(
    {
        "addition": "addition",
        "fade_back": "fade-back",
        "hold_started": "hold started",
        "hold_broken": "hold broken",
        "endpoint": "endpoint",
        "overshoot": "overshoot",
        "disturbance": "disturbance",
    }
)

# Directions in CIELAB that people would name; the bounds are rounded common usage.
HUE_WORDS: Final = (
    (20.0, "pink-red"),
    (50.0, "red-orange"),
    (75.0, "orange"),
    (105.0, "yellow"),
    (125.0, "yellow-green"),
    (175.0, "green"),
    (230.0, "blue-green"),
    (300.0, "blue"),
    (340.0, "purple"),
    (360.0, "pink-red"),
)


def hue_word(hue_deg: float) -> str:
    """Name a CIELAB hue angle in a word, for readers who do not think in degrees.

    Parameters
    ----------
    hue_deg : float
        CIELAB hue angle in degrees, any turn.
    """
    turned = hue_deg % 360.0
    return next((word for upper, word in HUE_WORDS if turned < upper), "pink-red")


def reason_words(reason: str) -> str:
    """Turn a reason's short name (``white_lost``) into words (``white lost``)."""
    return reason.replace("_", " ")


def clock(time_s: float | None, digits: int = 1) -> str:
    """Write a time as minutes and seconds, ``3:07.4``.

    Parameters
    ----------
    time_s : float or None
        Seconds from the first frame; None gives a dash.
    digits : int
        Decimals of the seconds.
    """
    if time_s is None:
        return "–"
    scale = 10**digits
    ticks = round(abs(time_s) * scale)
    minutes, rest = divmod(ticks, 60 * scale)
    width = 3 + digits if digits else 2
    sign = "-" if time_s < 0 and ticks else ""
    return f"{sign}{minutes}:{rest / scale:0{width}.{digits}f}"


def grams(mass_g: float) -> str:
    """Write a mass as a balance shows it, ``15.22 g``: two decimals, more only if it has them.

    Parameters
    ----------
    mass_g : float
        Grams.
    """
    whole, _, decimals = f"{mass_g:.4f}".partition(".")
    return f"{whole}.{decimals[:2]}{decimals[2:].rstrip('0')} g"


def sentence(text: str) -> str:
    """Write a clause as a sentence of its own: a capital first, a full stop last.

    A first word that is a name (``masses.csv``, ``pH``, ``--claim``) is left as it is.
    """
    end = "" if text.endswith((".", "!", "?", ".)", ".'", '."')) else "."
    first = text.split(maxsplit=1)[0].rstrip(",:;") if text.strip() else ""
    plain = first.isalpha() and first.islower()
    return f"{capital(text) if plain else text}{end}"


def capital(text: str) -> str:
    """Begin a text with a capital and leave the rest as it is (EDTA stays EDTA)."""
    return text[:1].upper() + text[1:]
