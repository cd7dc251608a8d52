"""How much of the run was really seen, and what stood in the way."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

__all__ = ["Disturbance", "Sight"]

_GAP_S = 1.5  # frames further apart than this, and than five usual steps, are a gap
_GAP_STEPS = 5.0
_JOIN_S = 0.4  # trusted again for this long: the disturbance is over
_SHORTEST_S = 0.3  # shorter ones are not worth telling
_BRIDGE_S = 1.2  # neighbouring trusted readings cover the time between them up to this


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A stretch of untrusted observations: its times and its main reason."""

    start_s: float
    end_s: float
    kind: str


@dataclass(slots=True)
class _Stretch:
    start_s: float
    clear_from_s: float | None = None
    lasting_s: dict[str, float] = field(default_factory=lambda: defaultdict(float))

    @property
    def kind(self) -> str:
        """What hindered the view for the longest time."""
        return max(self.lasting_s, key=self.lasting_s.__getitem__) if self.lasting_s else "unclear"


class Sight:
    """Adds up trusted time and gathers disturbances."""

    def __init__(self) -> None:
        self.first_s: float | None = None
        self.last_s: float | None = None
        self.last_trusted_s: float | None = None
        self.trusted_s = 0.0
        self.observations = 0
        self.unseen_s: dict[str, float] = defaultdict(float)
        self._usual_s = 0.1
        self._open: _Stretch | None = None

    def add(
        self, time_s: float, trusted: bool, reasons: tuple[str, ...]
    ) -> tuple[Disturbance, ...]:
        """Take note of an observation; return the disturbances that ended with it."""
        step_s = 0.0 if self.last_s is None else time_s - self.last_s
        closed = self._gap(time_s, step_s)
        if self.first_s is None:
            self.first_s = time_s
        self.observations += 1
        closed += self._see(time_s) if trusted else self._miss(time_s, step_s, reasons)
        self.last_s = time_s
        return closed

    def finish(self) -> tuple[Disturbance, ...]:
        """Close what is still open at the end of the run."""
        return () if self.last_s is None else self._close(self.last_s)

    @property
    def duration_s(self) -> float:
        """Time from the first to the last observation."""
        if self.first_s is None or self.last_s is None:
            return 0.0
        return self.last_s - self.first_s

    @property
    def trusted_share(self) -> float:
        """Trusted time over all time, 0 to 1."""
        return min(self.trusted_s / self.duration_s, 1.0) if self.duration_s > 0.0 else 0.0

    def covered_s(self, time_s: float) -> float:
        """Return the time a trusted observation now would add to what was seen."""
        if self.last_trusted_s is None:
            return 0.0
        apart_s = time_s - self.last_trusted_s
        return apart_s if apart_s <= _BRIDGE_S else 0.0

    def _see(self, time_s: float) -> tuple[Disturbance, ...]:
        self.trusted_s += self.covered_s(time_s)
        self.last_trusted_s = time_s
        stretch = self._open
        if stretch is None:
            return ()
        if stretch.clear_from_s is None:
            stretch.clear_from_s = time_s
        if time_s - stretch.clear_from_s < _JOIN_S:
            return ()
        return self._close(stretch.clear_from_s)

    def _miss(
        self, time_s: float, step_s: float, reasons: tuple[str, ...]
    ) -> tuple[Disturbance, ...]:
        stretch = self._open or _Stretch(time_s)
        stretch.clear_from_s = None
        kind = reasons[0] if reasons else "unclear"
        lasting_s = min(step_s, _BRIDGE_S)
        stretch.lasting_s[kind] += lasting_s
        self.unseen_s[kind] += lasting_s
        self._open = stretch
        return ()

    def _gap(self, time_s: float, step_s: float) -> tuple[Disturbance, ...]:
        if step_s > max(_GAP_S, _GAP_STEPS * self._usual_s) and self.last_s is not None:
            closed = self._close(self.last_s)
            self.unseen_s["gap"] += step_s
            return (*closed, Disturbance(self.last_s, time_s, "gap"))
        if step_s > 0.0:
            self._usual_s += 0.1 * (step_s - self._usual_s)
        return ()

    def _close(self, end_s: float) -> tuple[Disturbance, ...]:
        stretch, self._open = self._open, None
        if stretch is None:
            return ()
        end_s = end_s if stretch.clear_from_s is None else stretch.clear_from_s
        if end_s - stretch.start_s < _SHORTEST_S:
            return ()
        return (Disturbance(stretch.start_s, end_s, stretch.kind),)
