"""Whether an addition brought the end colour, or only the light changed."""

from __future__ import annotations

import math

__all__ = ["Cause"]

_WITHIN_S = 25.0  # an entry this long after an addition was brought by it
_LOW = 0.3  # position of the start side
_BACK = 0.45  # below this position the last addition's effect is over
_QUICK_S = 4.0  # a run without any fade-back must rise from _LOW as quickly as this


class Cause:
    """Keeps what ties the present colour to an addition.

    Titrant turns the mixture within seconds, and in a real run the colour has gone back
    before; a drifting light does neither. A run that shows no fade-back must therefore
    rise quickly. Blind stretches do not count: the dropper may have been in the way.
    """

    def __init__(self) -> None:
        self.last_addition_s = -math.inf
        self._rooted = False
        self.fade_backs = 0
        self._low_seen_s = -math.inf

    def added(self, time_s: float) -> None:
        """Note an addition."""
        self.last_addition_s = max(self.last_addition_s, time_s)

    def faded_back(self) -> None:
        """Note a fade-back."""
        self.fade_backs += 1

    def follow(self, position: float, seen_s: float) -> None:
        """Note where the colour stands, and the trusted time of the run until now."""
        if position < _LOW:
            self._low_seen_s = seen_s
        if position < _BACK:
            self._rooted = False

    def recent(self, onset_s: float) -> bool:
        """Tell whether an entry at this time follows an addition closely."""
        return onset_s - self.last_addition_s <= _WITHIN_S

    def root(self) -> None:
        """Tie the present stay in the end band to an addition for certain."""
        self._rooted = True

    def explains(self, onset_s: float, now_s: float, seen_s: float) -> bool:
        """Tell whether an addition explains an entry told now.

        Parameters
        ----------
        onset_s : float
            When the colour entered.
        now_s, seen_s : float
            The present time, and the trusted time of the run until now.
        """
        self._rooted = self._rooted or self.recent(onset_s)
        rise_s = seen_s - self._low_seen_s - (now_s - onset_s)
        return self._rooted and (self.fade_backs > 0 or rise_s <= _QUICK_S)
