"""The list of events as they are told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from huehold.core import Event, EventKind
from huehold.detection.sight import Disturbance

__all__ = ["Teller"]


class Teller:
    """Collects events, each with the time it was told."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._handed = 0

    def tell(
        self,
        now_s: float,
        kind: EventKind,
        time_s: float,
        detail: Mapping[str, float | str | None] | None = None,
        end_s: float | None = None,
    ) -> None:
        """Add an event told now."""
        plain = MappingProxyType(dict(detail or {}))
        self.events.append(Event(time_s, kind, end_s, now_s, plain))

    def tell_disturbances(self, now_s: float, closed: Iterable[Disturbance]) -> None:
        """Add the disturbances that have ended."""
        for stretch in closed:
            self.tell(now_s, "disturbance", stretch.start_s, {"kind": stretch.kind}, stretch.end_s)

    def new(self) -> tuple[Event, ...]:
        """Return what was told since this was last asked."""
        new = tuple(self.events[self._handed :])
        self._handed = len(self.events)
        return new
