"""Where to slow down: squirts, then a few drops at a time, then single drops."""

from __future__ import annotations

from dataclasses import dataclass

from huehold.planning.request import PlanRequest

__all__ = ["FEW", "Stretch", "pace_of"]

FEW = 3
"""Drops in a few."""

_SQUIRTS_TO, _FEW_TO = 0.85, 0.97  # of the expected titrant: common practice, no source
_BEFORE_LOW = 0.97  # squirts end this far before the earliest end the label allows


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the titration with portions of one size.

    Attributes
    ----------
    portion : str
        ``"squirts"``, ``"few drops"`` or ``"single drops"``.
    from_g, to_g : float
        Titrant, as read on the balance.
    portion_g : float
        Mass of one portion.
    count : int
        How many portions that takes.
    """

    portion: str
    from_g: float
    to_g: float
    portion_g: float
    count: int


def pace_of(request: PlanRequest, end_g: float, low_g: float | None) -> tuple[Stretch, ...]:
    """Divide a titration into stretches.

    Parameters
    ----------
    request : PlanRequest
        For the sizes of drops and squirts.
    end_g : float
        Expected reading at the end, > 0.
    low_g : float or None
        The earliest end that is likely; None if the content is a guess.

    Returns
    -------
    tuple of Stretch
        Those that have a portion in them, in order; the last one ends at `end_g`.
    """
    squirts_to = _SQUIRTS_TO * end_g
    if low_g is not None:
        squirts_to = min(squirts_to, _BEFORE_LOW * low_g)
    few_to = max(_FEW_TO * end_g, squirts_to)
    bounds = (
        ("squirts", request.squirt, squirts_to),
        ("few drops", FEW * request.drop_g, few_to),
        ("single drops", request.drop_g, end_g),
    )
    stretches, done = [], 0.0
    for portion, size, goal in bounds:
        last = portion == "single drops"
        count = max(-(-(goal - done) // size), 1) if last else (goal - done) // size
        if count >= 1:
            to = goal if last else done + count * size
            stretches.append(Stretch(portion, done, to, size, int(count)))
            done = to
    return tuple(stretches)
