"""What should be heard in a live run, and when."""

from __future__ import annotations

from collections.abc import Iterator

from huehold.capture.live import LiveSource
from huehold.core import TRUSTED, Event, Observation
from huehold.cues import CUES, Cue, cue_for

__all__ = ["Attention"]

_BLIND_AFTER_S = 1.5
_REMIND_EVERY_S = 20.0
_DISTRUST_AFTER_S = 6.0


class Attention:
    """Decides when to call for attention, and tells a fade-back once, when it is seen."""

    def __init__(self, begin_s: float = 0.0) -> None:
        self._told_fading = False
        self._called_s = -_REMIND_EVERY_S
        self._trusted_s = begin_s

    def cues(
        self,
        now_s: float,
        falling: bool,
        observation: Observation | None,
        source: LiveSource,
        events: tuple[Event, ...] = (),
    ) -> Iterator[Cue]:
        """Yield what should be heard, the events' own cues among it."""
        yield from (cue for event in events if (cue := cue_for(event)) is not None)
        if self._fades(falling, events):
            yield CUES["fading_back"]
        if observation is not None and observation.trust >= TRUSTED:
            self._trusted_s = now_s
        blind = source.silent_s > _BLIND_AFTER_S or now_s - self._trusted_s > _DISTRUST_AFTER_S
        if not blind:
            self._called_s = -_REMIND_EVERY_S
        elif now_s - self._called_s >= _REMIND_EVERY_S:
            self._called_s = now_s
            yield CUES["attention"]

    def _fades(self, falling: bool, events: tuple[Event, ...]) -> bool:
        """Say once after an addition, when it is seen, that the colour goes back."""
        kinds = {event.kind for event in events}
        if "addition" in kinds:
            self._told_fading = False
        if self._told_fading or not (falling or "fade_back" in kinds):
            return False
        self._told_fading = True
        return True
