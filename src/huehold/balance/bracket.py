"""The titrant mass at the endpoint, and the bracket that holds the equivalence point.

The mass is the reading after the last addition before the onset; before that addition it
was not yet enough, so the reading before it is the lower bound.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from huehold.balance.additions import Alignment, addition_times, align
from huehold.core import Event, Reading
from huehold.errors import InputError

__all__ = ["Bracket", "additions_until", "check_within", "endpoint_bracket", "titrant_bracket"]

# The colour turns at the addition; either may be noticed first.
_ONSET_SLACK_S = 1.0
_END_SLACK_S = 2.0
# Without additions seen, a mass typed this long after the onset still belongs to it.
_LATE_S = 45.0


@dataclass(frozen=True, slots=True)
class Bracket:
    """Titrant before and after the addition that brought the endpoint.

    Attributes
    ----------
    before_g : float or None
        Reading before that addition; None if there is none.
    after_g : float
        Reading after it.
    mass_g : float
        The titrant mass at the endpoint, which is `after_g`.
    warnings : tuple of str
        What makes the bracket less sure.
    """

    before_g: float | None
    after_g: float
    mass_g: float
    warnings: tuple[str, ...] = ()


def check_within(readings: Sequence[Reading], duration_s: float) -> None:
    """Refuse readings whose times lie outside the recording.

    Parameters
    ----------
    readings : sequence of Reading
    duration_s : float
        Time of the last frame.

    Raises
    ------
    InputError
        Naming the first reading that lies outside.
    """
    for reading in readings:
        if not -_END_SLACK_S <= reading.time_s <= duration_s + _END_SLACK_S:
            raise InputError(
                f"The mass {reading.mass_g:g} g is dated {reading.time_s:g} s, outside the "
                f"recording (0 to {duration_s:.1f} s): times count in seconds from its first "
                "frame."
            )


def additions_until(onset_s: float, addition_times: Iterable[float]) -> int:
    """Count the additions up to an onset; the last of them brought it."""
    return sum(time_s <= onset_s + _ONSET_SLACK_S for time_s in addition_times)


def endpoint_bracket(
    readings: Sequence[Reading],
    onset_s: float,
    events: Iterable[Event],
    *,
    duration_s: float = math.inf,
) -> Bracket:
    """Find the bracket by a run's own additions; see `titrant_bracket`."""
    times, unseen = addition_times(events)
    return titrant_bracket(readings, onset_s, times, unseen_s=unseen, duration_s=duration_s)


def titrant_bracket(
    readings: Sequence[Reading],
    onset_s: float,
    addition_times: Sequence[float],
    *,
    unseen_s: Collection[float] = (),
    duration_s: float = math.inf,
) -> Bracket:
    """Find the titrant mass at the endpoint and the mass before its addition.

    Parameters
    ----------
    readings : sequence of Reading
        Cumulative masses.
    onset_s : float
        When the end colour came to stay.
    addition_times : sequence of float
        When additions were seen; those after the onset may be among them.
    unseen_s : collection of float
        Those among `addition_times` that only a mass tells of. They fell into a colour that
        they did not change, so the end colour may have been there to stay before them: the
        bracket then begins before the last addition that was seen.
    duration_s : float
        Time of the last frame, to notice readings outside the recording.

    Raises
    ------
    InputError
        If there are no readings, one lies outside the recording, or none follows the
        addition that brought the endpoint.
    """
    if not readings:
        raise InputError("There are no masses, so the titrant at the endpoint is not known.")
    check_within(readings, duration_s)
    aligned = align(readings, addition_times)
    number = additions_until(onset_s, aligned.additions_s)
    if number == 0:
        return _by_time_alone(aligned, onset_s)
    return _by_addition(aligned, number, _first(aligned, number, unseen_s))


def _first(aligned: Alignment, number: int, unseen_s: Collection[float]) -> int:
    """Return the last addition up to one that was seen; the first where none was."""
    while number > 1 and aligned.additions_s[number - 1] in unseen_s:
        number -= 1
    return number


def _by_addition(aligned: Alignment, number: int, first: int) -> Bracket:
    added_s = aligned.additions_s[number - 1]
    warnings: list[str] = []
    after = aligned.settled(number)
    if after is None:
        after = _next_after(aligned, number, added_s)
        extra = aligned.counts[after] - number
        warnings.append(
            f"No mass was read between the addition at {added_s:.1f} s, which brought the "
            f"endpoint, and the next; the one taken at {aligned.readings[after].time_s:.1f} s "
            f"includes {extra} more."
        )
    if first < number:
        warnings.append(
            f"The last {number - first} of the additions up to the endpoint changed no colour that "
            "could be seen: the bracket spans them and the one before."
        )
    before_g = _before(aligned, first, warnings)
    after_g = aligned.readings[after].mass_g
    _note_oddities(aligned, number, before_g, after_g, warnings)
    return Bracket(before_g, after_g, after_g, tuple(warnings))


def _next_after(aligned: Alignment, number: int, added_s: float) -> int:
    for index, count in enumerate(aligned.counts):
        if count > number:
            return index
    last = aligned.readings[-1]
    raise InputError(
        f"No mass was read after the addition at {added_s:.1f} s, which brought the endpoint (the "
        f"last is {last.mass_g:g} g at {last.time_s:g} s): add a line with the mass after it."
    )


def _before(aligned: Alignment, number: int, warnings: list[str]) -> float | None:
    index = aligned.before(number)
    if index is None and number == 1:
        return 0.0
    if index is None:
        warnings.append(
            "No mass was read before the addition that brought the endpoint, so how far it went "
            "beyond is not known."
        )
        return None
    missing = number - 1 - aligned.counts[index]
    if missing > 0:
        warnings.append(
            f"No mass was read after {missing} of the additions before the endpoint; the bracket "
            f"spans {missing + 1} additions."
        )
    return aligned.readings[index].mass_g


def _note_oddities(
    aligned: Alignment, number: int, before_g: float | None, after_g: float, warnings: list[str]
) -> None:
    if before_g is not None and after_g <= before_g:
        warnings.append(
            f"The mass did not change ({after_g:g} g) at the addition that brought the endpoint; "
            "the balance may not have shown it."
        )
    unseen = [i for i in aligned.unexplained if aligned.counts[i] <= number]
    if unseen:
        times = ", ".join(f"{aligned.readings[i].time_s:.0f} s" for i in unseen[:3])
        warnings.append(f"The mass rose without an addition being seen (read at {times}).")


def _by_time_alone(aligned: Alignment, onset_s: float) -> Bracket:
    """No addition was seen before the onset; go by the times of the readings.

    The hold allows no addition after the onset, so a mass typed soon after it is that of
    the addition that brought it.
    """
    readings = aligned.readings
    until_s = min([onset_s + _LATE_S, *(t - _ONSET_SLACK_S for t in aligned.additions_s)])
    upto = [r for r in readings if r.time_s <= until_s]
    if not upto:
        raise InputError(
            f"The first mass is dated {readings[0].time_s:g} s, long after the endpoint at "
            f"{onset_s:.1f} s: add a line with the mass at the endpoint."
        )
    after_g = upto[-1].mass_g
    lower = [r.mass_g for r in upto if r.mass_g < after_g]
    return Bracket(
        lower[-1] if lower else None,
        after_g,
        after_g,
        ("No addition was seen before the endpoint; the mass was chosen by time alone.",),
    )
