"""What to do next, in one line, for whoever stands at the cup."""

from __future__ import annotations

import math

from huehold.core import TRUSTED
from huehold.detection.forecast import Forecast
from huehold.vision.trust import REASONS
from huehold.watching import Moment

__all__ = ["advice"]

_MOVES = ("moving",)
_BY_PHASE = {
    "waiting for the start colour": "Show the cup with sample and indicator before any titrant.",
    "endpoint": "Endpoint: add nothing more. Weigh, type the mass, then finish.",
    "overshoot": "More titrant than the endpoint needed: note the mass and repeat with less.",
}


def advice(moment: Moment) -> str:
    """Say what to do next.

    Parameters
    ----------
    moment : Moment
        How the run stands.
    """
    if moment.paused:
        return "Paused: nothing is watched until you go on."
    if moment.source in ("stalled", "lost", "opening"):
        return {
            "stalled": "No picture is coming: check the camera; the hold starts anew if it lasts.",
            "lost": "The camera was lost. What was recorded is kept.",
            "opening": "Waiting for the camera's first picture.",
        }[moment.source]
    observation = moment.observation
    swirled = moment.state == "addition seen" and observation and observation.reasons[:1] == _MOVES
    doubted = observation is not None and observation.trust < TRUSTED and not swirled
    if doubted and observation and observation.reasons:
        return REASONS[observation.reasons[0]][1]
    if moment.state == "addition seen":
        return "Addition seen: let it mix and watch the colour; add nothing yet."
    if moment.state == "fading back":
        return f"Still fading: wait, then {_next_addition(moment)}."
    if moment.state == "start colour":
        return f"Ready: {_next_addition(moment)}."
    if moment.state == "end colour, holding":
        return _holding(moment)
    return _BY_PHASE.get(moment.state, "The cup cannot be seen well enough just now.")


def _next_addition(moment: Moment) -> str:
    if moment.forecast is None or moment.forecast.additions_left is None:
        return "add titrant when ready"
    left = moment.forecast.additions_left
    if left < 1.5:
        return "add a single drop, the end may be near"
    return f"add the next when ready, perhaps {_how_many(moment.forecast)}"


def _how_many(forecast: Forecast) -> str:
    """Say how many are left; they are counted in additions, so only as large as those before."""
    middle = max(1, round(forecast.additions_left or 0.0))
    low = max(1, round(forecast.additions_left_low or middle))
    high = max(middle, round(forecast.additions_left_high or middle))
    span = f"{low} to {high}" if low < high else f"{middle}"
    return f"{span} more if they are as large as the last few"


def _holding(moment: Moment) -> str:
    left_s = max(0, math.ceil(moment.hold_s - moment.held_s))
    if moment.falling:
        return "The colour is going back: wait until it has, then add more."
    if moment.forecast is not None and moment.forecast.will_hold < 0.3:
        return f"Holding, but it will probably fade: wait, add nothing ({left_s} s to go)."
    return f"Holding: keep still and add nothing for {left_s} s."
