"""The water a sample is put into: which kind, and what it uses up of the titrant itself."""

from __future__ import annotations

from dataclasses import dataclass

from huehold.planning.request import PlanRequest

__all__ = ["TapWater", "back_water_advice", "tap_water", "water_advice"]

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


def water_advice(tap: TapWater, drops: tuple[float, float] | None) -> str:
    """Say in a sentence which water to take and what its blank costs.

    Parameters
    ----------
    tap : TapWater
    drops : (float, float) or None
        Drops to the end colour as the method calls it, and to the far end of its turning range;
        None if the virtual bench cannot tell.
    """
    if tap.kind == "distilled":
        return "distilled or deionised water uses up next to no titrant; no blank is needed for it"
    if drops is None:
        return (
            f"{_name(tap)} may use up titrant in ways that are not modelled: take distilled water, "
            "or titrate a blank"
        )
    return (
        f"{_described(tap)} uses up about {drops[0]:.1f} drops of its own by the end colour, "
        f"{drops[1]:.1f} if the end is called late: titrate a blank of it, or take distilled water"
    )


def back_water_advice(tap: TapWater, drops: float) -> str:
    """Say the same for a back titration, where the water uses up reagent instead of titrant."""
    if tap.kind == "distilled":
        return "distilled or deionised water uses up next to no reagent; no blank is needed for it"
    return (
        f"{_described(tap)} uses up reagent of its own, which saves about {drops:.1f} drops of "
        "titrant and looks like analyte: take distilled water, or titrate a blank of the same "
        "reagent and water"
    )


def _name(tap: TapWater) -> str:
    return "tap water" if tap.kind == "tap" else "boiled and cooled tap water"


def _described(tap: TapWater) -> str:
    hardness = tap.alkalinity_mmol_per_l * _MG_CACO3_PER_MMOL
    return (
        f"{_name(tap)} of {tap.alkalinity_mmol_per_l:g} mmol/L alkalinity ({hardness:.0f} mg/L as "
        f"CaCO3{', assumed' if tap.assumed else ''})"
    )
