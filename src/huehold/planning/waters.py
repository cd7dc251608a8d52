"""The water a sample is put into: which kind, and what it uses up of the titrant itself."""

from __future__ import annotations

from dataclasses import dataclass

from huehold.planning.request import PlanRequest

__all__ = ["TapWater", "tap_water", "water_advice"]

# Alkalinity in mmol/L and pH by kind: common practice, no source. Supplies run from 0.3 (soft,
# from granite) to 6 mmol/L (chalk); boiling throws most of a hard water's alkalinity out.
_USUAL = {"tap": (2.5, 7.8), "distilled": (0.0, 7.0), "boiled": (0.8, 8.2)}
_MG_CACO3_PER_MMOL = 50.04


@dataclass(frozen=True, slots=True)
class TapWater:
    """Alkalinity (mmol/L) and pH of the water, and whether the first was assumed."""

    kind: str
    alkalinity_mmol_per_l: float
    ph: float
    assumed: bool


def tap_water(request: PlanRequest) -> TapWater:
    """Describe the water of a request."""
    usual, ph = _USUAL[request.water]
    given = request.alkalinity_mmol_per_l
    return TapWater(request.water, usual if given is None else given, ph, given is None)


def water_advice(tap: TapWater, blank_drops: float | None, most_drops: float | None) -> str:
    """Say in a sentence which water to take and what its blank costs.

    Parameters
    ----------
    tap : TapWater
    blank_drops, most_drops : float or None
        Drops to the end colour as the method calls it, and to the far end of its turning range;
        None if the virtual bench cannot tell.
    """
    if tap.kind == "distilled":
        return "distilled or deionised water uses up next to no titrant; no blank is needed for it"
    name = "tap water" if tap.kind == "tap" else "boiled and cooled tap water"
    hardness = tap.alkalinity_mmol_per_l * _MG_CACO3_PER_MMOL
    text = (
        f"{name} of {tap.alkalinity_mmol_per_l:g} mmol/L alkalinity ({hardness:.0f} mg/L as "
        f"CaCO3{', assumed' if tap.assumed else ''})"
    )
    if blank_drops is None or most_drops is None:
        return f"{text}: titrate a blank of it; distilled water needs none"
    return (
        f"{text} uses up about {blank_drops:.1f} drops of its own by the end colour, "
        f"{most_drops:.1f} if the end is called late: titrate a blank of it, or take distilled "
        "water"
    )
