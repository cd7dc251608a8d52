"""How far an observation can be trusted, and the words that say why not."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["REASONS", "weigh"]

REASONS: Mapping[str, tuple[float, str]] = MappingProxyType(
    {
        "no_vessel": (0.0, "No cup is seen in the picture."),
        "vessel_lost": (0.1, "The cup was seen before and is not where it was."),
        "frozen": (0.2, "The picture repeats bit for bit: the camera or stream stands still."),
        "dark": (0.1, "Too little light to tell a colour."),
        "hand": (0.1, "Something covers the cup or its rim: a hand, a dropper, a sleeve."),
        "knock": (0.3, "The camera or the table was knocked."),
        "searching": (0.4, "A cup was found only just now and is not confirmed yet."),
        "moving": (0.35, "The cup moves or is swirled."),
        "glare": (0.3, "Reflections cover much of the liquid."),
        "clipped": (0.35, "A colour channel of the liquid is at the end of its scale."),
        "uneven": (0.35, "The liquid shows more than one colour: a plume, a swirl, a shadow."),
        "white_lost": (
            0.45,
            "The white patch is covered or at full scale and nothing replaces it.",
        ),
        "exposure_step": (0.55, "The camera just changed exposure or white balance."),
        "flicker": (0.7, "The light flickers from frame to frame."),
        "white_carried": (0.8, "The white patch is hidden; its surroundings carry the white on."),
        "white_assumed": (0.85, "No white patch is in view; the camera's own white is assumed."),
    }
)
"""For every reason: trust left when it applies in full, and what it means."""


def weigh(severities: Mapping[str, float]) -> tuple[float, tuple[str, ...]]:
    """Combine what speaks against an observation.

    Parameters
    ----------
    severities : mapping of str to float
        How far each reason of `REASONS` applies, 0 not at all to 1 in full.

    Returns
    -------
    (float, tuple of str)
        Trust from 0 to 1, and the reasons that matter, the gravest first.
    """
    kept: list[tuple[float, str]] = []
    trust = 1.0
    for name, severity in severities.items():
        share = min(max(severity, 0.0), 1.0)
        factor = 1.0 - (1.0 - REASONS[name][0]) * share
        trust *= factor
        if factor < 0.97:
            kept.append((factor, name))
    return trust, tuple(name for _, name in sorted(kept))
