"""The verdict of a run, with its reasons in plain sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass

from huehold.core import Verdict, VerdictKind

__all__ = ["Findings", "reach_verdict"]

_CLEAR_TURBIDITY = 0.3  # of the cloudiness at the start
_SEEN_SHARE = 0.4  # of the run's time; below, nothing can be concluded
_SEEN_LEAST_S = 3.0
_FOREIGN = "The colours that were seen are not those of one indicator in one vessel."
_OBSTACLES = {
    "no_vessel": "no vessel was found",
    "vessel_lost": "the vessel was lost from view",
    "searching": "the vessel was still being looked for",
    "frozen": "the picture stood still",
    "dark": "it was too dark",
    "hand": "something covered the vessel",
    "knock": "the camera had been knocked",
    "moving": "the vessel was moving",
    "glare": "reflections covered the liquid",
    "clipped": "the liquid was too bright for the camera",
    "uneven": "the liquid showed more than one colour",
    "white_lost": "the white reference was lost",
    "exposure_step": "the camera was changing its exposure",
    "flicker": "the light flickered",
    "gap": "frames were missing",
}


@dataclass(frozen=True, slots=True)
class Findings:
    """What the detector knows when the run ends.

    Attributes
    ----------
    duration_s, trusted_s, trusted_share : float
        Length of the run, and how much of it was seen.
    observations : int
        How many there were.
    main_obstacle : str or None
        The reason that cost most time.
    start_seen : bool
        Whether the start colour was seen.
    began_at_end : bool
        Whether the first steady colour was the end colour.
    additions, fade_backs : int
        Additions and fade-backs told.
    onset_s, confirmed_s, lasted_s : float or None
        The hold that stands at the end of the run.
    hue_deg : float or None
        Hue of the colour that held, where the chroma carries one.
    turbidity : float
        Over the end of the hold; NaN if it could not be judged.
    clearing : bool
        Whether clearing was expected.
    beyond_deg : float
        How far the held hue lies beyond the far side of the end band.
    overshot : bool
        Whether that is too far.
    late_additions : int
        Additions after the endpoint was called.
    unbrought, drifting, still_clearing, seen_too_little : bool
        Why a long hold was not called: no addition brought it; it was drifting back; the
        mixture was still clearing; too much of it was hidden.
    foreign : bool
        Whether too many colours were none of the indicator's.
    withdrawn_s : float or None
        When an endpoint that had been called faded after all.
    cleared_from : float or None
        Turbidity when the hold that was called began, if much of it went during the hold.
    entered_s : float or None
        When the standing hold's colour first came into the end band.
    hold_s : float
        What the method asks for.
    """

    duration_s: float
    trusted_s: float
    trusted_share: float
    observations: int
    main_obstacle: str | None
    start_seen: bool
    began_at_end: bool
    additions: int
    fade_backs: int
    hold_s: float
    onset_s: float | None = None
    entered_s: float | None = None
    confirmed_s: float | None = None
    lasted_s: float | None = None
    hue_deg: float | None = None
    turbidity: float = math.nan
    clearing: bool = True
    beyond_deg: float = 0.0
    overshot: bool = False
    late_additions: int = 0
    unbrought: bool = False
    drifting: bool = False
    still_clearing: bool = False
    seen_too_little: bool = False
    foreign: bool = False
    withdrawn_s: float | None = None
    cleared_from: float | None = None


def reach_verdict(found: Findings) -> Verdict:
    """Weigh what was found.

    Parameters
    ----------
    found : Findings
        The state of the detector at the end of the run.

    Returns
    -------
    Verdict
        One of the five, with reasons and warnings.
    """
    if found.confirmed_s is not None:
        return _overshoot(found) if found.overshot else _endpoint(found)
    if not _readable(found):
        return Verdict("unreadable", reasons=(_unreadable_why(found),))
    if found.foreign:
        return Verdict("unreadable", reasons=(_FOREIGN,))
    if not found.start_seen:
        return Verdict("no_start_colour", reasons=(_no_start_why(found),))
    return _not_reached(found)


def cleared(turbidity: float, clearing: bool) -> bool | None:
    """Tell whether the mixture had cleared; None if not expected or not to be judged."""
    if not clearing or not math.isfinite(turbidity):
        return None
    return turbidity <= _CLEAR_TURBIDITY


def _endpoint(found: Findings) -> Verdict:
    reason = (
        f"The end colour came at {found.onset_s:.1f} s and held for the "
        f"{found.hold_s:g} s the method asks for."
    )
    return _held("endpoint", found, reason)


def _overshoot(found: Findings) -> Verdict:
    reason = (
        f"The end colour that held since {found.onset_s:.1f} s lies "
        f"{found.beyond_deg:.0f} degrees of hue beyond the end band: too much titrant."
    )
    return _held("overshoot", found, reason)


def _held(kind: VerdictKind, found: Findings, reason: str) -> Verdict:
    return Verdict(
        kind,
        reasons=(reason,),
        onset_s=found.onset_s,
        confirmed_s=found.confirmed_s,
        hold_s=found.lasted_s,
        hue_deg=found.hue_deg,
        cleared=cleared(found.turbidity, found.clearing),
        warnings=tuple(_held_warnings(found)),
    )


def _held_warnings(found: Findings) -> list[str]:
    warnings = []
    clear = cleared(found.turbidity, found.clearing)
    if found.clearing and clear is None:
        warnings.append("Whether the mixture cleared could not be judged.")
    elif clear is False:
        warnings.append(
            f"The mixture had not cleared (turbidity {found.turbidity:.2f} of the start): "
            "undissolved solid may still use up titrant."
        )
    if found.cleared_from is not None:
        warnings.append(
            f"The mixture cleared under the held colour (turbidity {found.cleared_from:.2f} of "
            f"the start, then {found.turbidity:.2f}): solid was using up titrant all the while, so "
            "there was too much of it, or some was added unseen, or the colour will yet fade."
        )
    if found.late_additions:
        warnings.append(
            f"{_count(found.late_additions, 'addition')} came after the endpoint and did not "
            "change it."
        )
    if found.fade_backs == 0:
        warnings.append(
            "No fade-back was seen before the end colour came: how near the last addition was "
            "to the equivalence point cannot be told."
        )
    if _added_within(found):
        warnings.append(
            f"The colour was in the end band from {found.entered_s:.1f} s on, and titrant was "
            f"added until {found.onset_s:.1f} s before it could hold: the equivalence point "
            "may lie anywhere between the two."
        )
    return warnings


def _added_within(found: Findings) -> bool:
    if found.entered_s is None or found.onset_s is None:
        return False
    return found.onset_s - found.entered_s > 1.0


def _not_reached(found: Findings) -> Verdict:
    reasons, warnings = [], []
    if found.onset_s is None:
        reasons.append("The end colour never came to stay.")
    else:
        reasons.append(
            f"The end colour had held for {found.lasted_s:.1f} s of the {found.hold_s:g} s "
            "the method asks for."
        )
        warnings.append(
            f"The run ended while the end colour had held for {found.lasted_s:.1f} s; "
            f"the method asks for {found.hold_s:g} s."
        )
        reasons.extend(_why_not_called(found))
    if found.withdrawn_s is not None:
        warnings.append(
            f"An endpoint had been called, but the colour faded at {found.withdrawn_s:.1f} s: "
            "it was not the endpoint."
        )
    if found.additions == 0:
        reasons.append("No addition of titrant was seen.")
    return Verdict(
        "not_reached",
        reasons=tuple(reasons),
        onset_s=found.onset_s,
        hold_s=found.lasted_s,
        hue_deg=found.hue_deg,
        warnings=tuple(warnings),
    )


def _why_not_called(found: Findings) -> list[str]:
    if found.unbrought:
        return ["No addition brought the colour there: a change of light looks the same."]
    if found.drifting:
        return ["The colour was drifting back and would not have held."]
    if found.seen_too_little:
        return ["Too much of it was hidden or unsteady for the hold to count."]
    if found.still_clearing:
        return ["The mixture was still clearing: solid was left to use up titrant."]
    return []


def _readable(found: Findings) -> bool:
    return found.trusted_s >= _SEEN_LEAST_S and found.trusted_share >= _SEEN_SHARE


def _unreadable_why(found: Findings) -> str:
    if found.observations == 0:
        return "There was nothing to look at."
    seen = f"Only {found.trusted_s:.1f} s of {found.duration_s:.1f} s could be trusted"
    if found.main_obstacle is None:
        return f"{seen}."
    why = _OBSTACLES.get(found.main_obstacle, found.main_obstacle.replace("_", " "))
    return f"{seen}; for most of the rest {why}."


def _no_start_why(found: Findings) -> str:
    if found.began_at_end:
        return "The mixture had the end colour from the start: it was acid, or had been titrated."
    return "The start colour was never seen steadily."


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
