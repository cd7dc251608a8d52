"""The bench card as a guide for watching: where the cup stands, and the white there.

The card is sought now and then until it is found, then followed several times a second;
its paper is measured in every frame. What there is to say about it is kept for the report.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.calibration.card_find import CardSight, find_card, follow_card
from huehold.calibration.card_light import (
    CardLight,
    Ramp,
    ToneCurve,
    fit_tone,
    measure_light,
    measure_ramp,
)
from huehold.core import Frame, Rect
from huehold.vision.guide import Guidance

__all__ = ["CardGuide", "CardReading", "read_card"]

_SEEK_S, _IDLE_S, _FOLLOW_S = 0.3, 2.0, 0.3  # between looks: at first, later, once found
_SELDOM_S = 6.0  # a card that was not there for minutes
_TRIES = 12  # quick looks before the slow ones
_KEPT_S = 20.0  # how long the place is believed while the markers are hidden
_LOOKS = 40  # most frames whose ramp is kept
_RAMP_S = 4.0
_OFTEN = 0.3  # share of the looks from which a fault is told
_CLIPPED = 0.25


@dataclass(frozen=True, slots=True)
class CardReading:
    """Everything a card says in one picture.

    Attributes
    ----------
    sight : CardSight
    light : CardLight or None
        None if too little of the paper is seen or it is at full scale.
    ramp : Ramp or None
    tone : ToneCurve or None
    """

    sight: CardSight
    light: CardLight | None
    ramp: Ramp | None
    tone: ToneCurve | None

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong with card or light, in sentences with advice."""
        found = {
            "bent": self.sight.bent,
            "white": self.light is None or self.light.clipped > _CLIPPED,
            "shaded": self.light is not None and self.light.uneven,
            "printed": self.ramp is not None and (self.ramp.broken or self.ramp.pale),
            "tone": self.tone is not None and self.tone.off,
        }
        return tuple(_FAULTS[name] for name, there in found.items() if there)


_FAULTS = {
    "bent": "The bench card does not lie flat, or the lens bends the picture; press it flat or "
    "move the camera back, for the place of the cup is less sure.",
    "white": "The bench card's white is hidden or at full scale; lower the exposure or take away "
    "what covers the card.",
    "shaded": "The light on the bench card is uneven; turn the lamp or move away from the shadow, "
    "for the colours depend on the white at the cup.",
    "printed": "The bench card's grey ladders are pale or out of order: a bad print or a stain; "
    "print it again in black on plain matt paper.",
    "tone": "The camera adds or takes away contrast: the grey ladders of the bench card are off "
    "the sRGB curve; switch its picture style to plain, or run huehold calibrate camera.",
}


def read_card(image: NDArray[np.uint8]) -> CardReading | None:
    """Find a bench card in a picture and read all of it; None if there is none.

    Parameters
    ----------
    image : ndarray of uint8, shape (height, width, 3)
        sRGB picture.
    """
    sight = find_card(image)
    return None if sight is None else _read(image, sight)


def _read(image: NDArray[np.uint8], sight: CardSight) -> CardReading:
    light = measure_light(image, sight)
    ramp = None if light is None else measure_ramp(image, sight, light)
    return CardReading(sight, light, ramp, None if ramp is None else fit_tone(ramp))


class CardGuide:
    """Watch for the bench card through a run; a `huehold.vision.guide.Guide`.

    Frames come in time order. Work and memory per frame are bounded.
    """

    def __init__(self) -> None:
        self.sight: CardSight | None = None
        self.light: CardLight | None = None
        self._next_look_s = -np.inf
        self._next_ramp_s = -np.inf
        self._read_s = -np.inf
        self._tries = 0
        self._frames = self._measured = 0
        self._readings: list[CardReading] = []

    def look(self, frame: Frame) -> Guidance | None:
        """Say where the cup stands and how white looks there; None without a card."""
        self._frames += 1
        if frame.time_s >= self._next_look_s:
            self._seek(frame)
        if self.sight is None:
            return None
        self.light = measure_light(frame.image, self.sight)
        if frame.time_s >= self._next_ramp_s:
            self._note(frame)
        if self.light is None or self.light.clipped > _CLIPPED:
            return Guidance(self.sight.cup)
        self._measured += 1
        return Guidance(
            self.sight.cup, self.light.white, self.light.rel_sd, _extent(frame, self.sight)
        )

    def _seek(self, frame: Frame) -> None:
        known = self.sight
        found = follow_card(frame.image, known) if known is not None else None
        if found is None:
            layout, least = (None, 3) if known is None else (known.layout, 2)
            found = find_card(frame.image, layout, least)
        if found is not None and (known is None or _credible(found, known)):
            self.sight, self._read_s = found, frame.time_s
        elif known is not None and frame.time_s - self._read_s > _KEPT_S:
            self.sight, self._tries = None, 0
        self._tries += 1
        pause = _SEEK_S if self._tries < _TRIES else min(_IDLE_S * self._tries / _TRIES, _SELDOM_S)
        self._next_look_s = frame.time_s + (_FOLLOW_S if self.sight is not None else pause)

    def _note(self, frame: Frame) -> None:
        assert self.sight is not None
        self._next_ramp_s = frame.time_s + _RAMP_S
        self._readings.append(_read(frame.image, self.sight))
        if len(self._readings) > _LOOKS:  # thin out: the early ones stay as well as the late
            del self._readings[1::2]

    @property
    def used(self) -> float:
        """Share of the frames in which the card gave the white."""
        return self._measured / self._frames if self._frames else 0.0

    @property
    def tone(self) -> ToneCurve | None:
        """Tone curve of the camera, the middle one of those seen."""
        seen = [r.tone for r in self._readings if r.tone is not None]
        return sorted(seen, key=lambda t: t.exponent)[len(seen) // 2] if seen else None

    @property
    def summary(self) -> str:
        """One sentence for the report on what was used."""
        if not self._measured or not self._readings:
            return "No bench card was used; white and place of the cup come from the picture alone."
        cup_mm = self._readings[-1].sight.layout.cup_mm
        return (
            f"The bench card for a cup of {cup_mm} mm gave the white in {100.0 * self.used:.0f} % "
            "of the frames."
        )

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was wrong with the card through a good part of the run, in sentences."""
        told = [fault for reading in self._readings for fault in reading.faults]
        least = _OFTEN * len(self._readings)
        return tuple(fault for fault in _FAULTS.values() if told.count(fault) > least)


def _credible(found: CardSight, known: CardSight) -> bool:
    """With all the markers but two hidden, a card does not change its size at a stroke."""
    return len(found.seen) >= 3 or 0.85 < found.px_per_mm / known.px_per_mm < 1.18


def _extent(frame: Frame, sight: CardSight) -> Rect:
    """Upright box around the card inside the picture."""
    corners = sight.project(sight.layout.outline)
    height, width = frame.image.shape[:2]
    left, top = np.clip(corners.min(axis=0), 0, [width - 1, height - 1])
    right, bottom = np.clip(corners.max(axis=0), 1, [width, height])
    return Rect(float(left), float(top), float(right - left), float(bottom - top))
