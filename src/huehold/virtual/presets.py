"""Scenarios of the virtual bench: every setting in one frozen value."""

from __future__ import annotations

from pydantic import Field

from huehold.virtual.presets_model import (
    BalanceOn,
    Camera,
    Cup,
    Faults,
    Ground,
    Light,
    People,
    Recording,
    Section,
    Sight,
    WhiteCard,
)

__all__ = ["Scenario"]


class Scenario(Section):
    """One virtual titration, from chemistry to file."""

    seed: int = Field(1, ge=0)
    sight: Sight = Sight()
    cup: Cup = Cup()
    ground: Ground = Ground()
    card: WhiteCard = WhiteCard()
    balance: BalanceOn = BalanceOn()
    people: People = People()
    light: Light = Light()
    camera: Camera = Camera()
    faults: Faults = Faults()
    recording: Recording = Recording()
