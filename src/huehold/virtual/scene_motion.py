"""How things move on the bench: the cup, the liquid's surface, plumes, hands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.virtual.cup_liquid import Blob
from huehold.virtual.presets_model import Faults, People
from huehold.virtual.simulate_story import Act, Portion, Story

__all__ = ["Motion", "Pose", "active_blobs", "poses", "stray_acts"]

Floats = NDArray[np.float64]
_STEP_S = 0.04
_SWIRL_HZ = 1.7
_SWIRL_CM = 0.55
_PLUME_S = 9.0


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a hand is: its anchor in cm on the table, direction of the arm, what it holds."""

    x_cm: float
    y_cm: float
    arm_deg: float
    dropper: bool
    mirror: bool = False


class Motion:
    """Tables of the cup's place and the liquid's unrest over time.

    Parameters
    ----------
    story : Story
    faults : Faults
        How far a push moves the cup.
    rng : numpy Generator
        Where the cup comes to rest after a swirl.
    """

    def __init__(self, story: Story, faults: Faults, rng: np.random.Generator) -> None:
        self._time = np.arange(0.0, story.duration_s + 2.0, _STEP_S)
        level = np.array([story.during("swirl", t) for t in self._time])
        phase = 2.0 * np.pi * _SWIRL_HZ * self._time
        self._x, self._y = self._rest(story, faults, rng)
        self._x = self._x + _SWIRL_CM * level * np.cos(phase)
        self._y = self._y + _SWIRL_CM * level * np.sin(phase)
        splash = np.array([min(1.0, p.mass_g * 1.2 + 0.25) for p in story.portions])
        unrest = _with_decay(level, 1.1)
        self._ripple = unrest + 0.30 * self._pulses(story.portions, splash, 0.5)
        self._spin = 0.02 * self._time + np.cumsum(unrest) * _STEP_S * 2.0 * np.pi * 1.1
        self._since_stir = self._calm(unrest)

    def _rest(
        self, story: Story, faults: Faults, rng: np.random.Generator
    ) -> tuple[Floats, Floats]:
        """Resting place: a small random step after each swirl, a larger one at a push."""
        x, y = np.zeros_like(self._time), np.zeros_like(self._time)
        moves = [(a.end_s, 0.14) for a in story.acts if a.kind == "swirl"]
        moves += [(a.start_s, faults.shift_cm) for a in story.acts if a.kind == "shift"]
        for at, size in moves:
            way = rng.uniform(0, 2 * np.pi)
            slide = np.clip((self._time - at) / 0.35, 0.0, 1.0)
            x += size * np.cos(way) * slide
            y += size * np.sin(way) * slide
        return x, y

    def _pulses(self, portions: tuple[Portion, ...], size: Floats, tau_s: float) -> Floats:
        total = np.zeros_like(self._time)
        for portion, height in zip(portions, size, strict=True):
            age = self._time - portion.time_s
            total += np.where(age >= 0, height * np.exp(-np.maximum(age, 0) / tau_s), 0.0)
        return np.minimum(total, 1.5)

    def _calm(self, unrest: Floats) -> Floats:
        """Seconds since the liquid was last stirred."""
        last = np.maximum.accumulate(np.where(unrest > 0.1, self._time, 0.0))
        return np.asarray(self._time - last)

    def _read(self, column: Floats, time_s: float) -> float:
        return float(np.interp(time_s, self._time, column))

    def place_cm(self, time_s: float) -> tuple[float, float]:
        """Shift of the cup from its first place, x and y on the table."""
        return self._read(self._x, time_s), self._read(self._y, time_s)

    def ripple(self, time_s: float) -> float:
        """Height of ripples, 1 in a full swirl."""
        return self._read(self._ripple, time_s)

    def spin_rad(self, time_s: float) -> float:
        """Turn of the liquid so far."""
        return self._read(self._spin, time_s)

    def since_stir_s(self, time_s: float) -> float:
        """Seconds of calm."""
        return self._read(self._since_stir, time_s)


def _with_decay(level: Floats, tau_s: float) -> Floats:
    """Follow a level at once upwards, and downwards with a time constant."""
    keep = float(np.exp(-_STEP_S / tau_s))
    out = np.empty_like(level)
    held = 0.0
    for k, value in enumerate(level):
        held = max(float(value), held * keep)
        out[k] = held
    return out


def active_blobs(story: Story, motion: Motion, time_s: float) -> tuple[Blob, ...]:
    """Plumes of fresh titrant that have not mixed in yet.

    A plume widens and fades over seconds in calm liquid, and over tenths in a swirl.
    """
    blobs = []
    for portion in story.portions:
        age = time_s - portion.time_s
        if 0.0 <= age < _PLUME_S:
            pace = 1.0 + 4.0 * motion.ripple(time_s)
            start = 0.10 + 0.16 * min(1.0, portion.mass_g) ** 0.5
            width = start + 0.07 * age * pace**0.5
            strength = min(1.0, 6.0 * age) * np.exp(-age * pace / 3.2)
            turn = 0.25 * age * pace**0.5
            c, s = np.cos(turn), np.sin(turn)
            x, y = c * portion.x - s * portion.y, s * portion.x + c * portion.y
            blobs.append(Blob(float(x), float(y), float(width), float(strength)))
    return tuple(blobs)


def stray_acts(story: Story, people: People, faults: Faults) -> tuple[Act, ...]:
    """List what happens besides the titration: hands wandering, somebody waving, faults."""
    lasting = (
        ("wander", people.wandering_s, 2.4),
        ("knock", faults.knock_s, 1.2),
        ("shift", faults.shift_s, 0.35),
        ("gap", faults.gap_s, faults.gap_length_s),
        ("glare", faults.glare_s, faults.spell_s),
        ("dark", faults.dark_s, faults.spell_s),
    )
    acts = [
        Act(story.anchor_s + start, story.anchor_s + start + length, kind)
        for kind, starts, length in lasting
        for start in starts
    ]
    if people.waving:
        acts.append(Act(1.0, story.duration_s - 1.0, "waving"))
    return tuple(acts)


def poses(
    acts: tuple[Act, ...],
    time_s: float,
    people: People,
    cup_cm: tuple[float, float],
    radius_cm: float,
) -> list[Pose]:
    """Hands in view at a moment.

    Parameters
    ----------
    acts : tuple of Act
    time_s : float
    people : People
    cup_cm : (x, y)
        Where the cup stands now.
    radius_cm : float
        Of its rim.
    """
    scene = _Scene(people, cup_cm, radius_cm)
    return [
        _POSERS[act.kind](act, time_s, scene)
        for act in acts
        if act.kind in _POSERS and act.start_s - _EASE_S < time_s < act.end_s + _EASE_S
    ]


@dataclass(frozen=True, slots=True)
class _Scene:
    """Whose hands they are, and where the cup stands that they reach for."""

    people: People
    cup_cm: tuple[float, float]
    radius_cm: float


_EASE_S = 0.55
_AWAY_CM = 26.0


def _entered(act: Act, time_s: float) -> float:
    rise = (time_s - act.start_s) / _EASE_S + 1.0
    fall = (act.end_s - time_s) / _EASE_S + 1.0
    p = float(np.clip(min(rise, fall), 0.0, 1.0))
    return p * p * (3.0 - 2.0 * p)


def _reaching(
    act: Act, time_s: float, people: People, goal_cm: tuple[float, float], *, dropper: bool
) -> Pose:
    """Bring a hand in to a place on the table, let it tremble there, and take it away."""
    side = np.radians(people.side_deg)
    far = (1.0 - _entered(act, time_s)) * _AWAY_CM
    tremor = 0.05 * np.sin(9.0 * time_s) + 0.04 * np.sin(14.3 * time_s + 1.0)
    x = goal_cm[0] + far * np.cos(side) + tremor
    y = goal_cm[1] + far * np.sin(side) - tremor
    return Pose(float(x), float(y), people.side_deg, dropper=dropper)


def _dropping(act: Act, time_s: float, scene: _Scene) -> Pose:
    """Hold the dropper where the portion falls, or further across with a long reach."""
    side = np.radians(scene.people.side_deg)
    across = 1.1 * (0.35 - scene.people.reach)
    x = scene.cup_cm[0] + scene.radius_cm * (0.8 * act.at[0] + across * np.cos(side))
    y = scene.cup_cm[1] + scene.radius_cm * (-0.8 * act.at[1] + across * np.sin(side))
    return _reaching(act, time_s, scene.people, (float(x), float(y)), dropper=True)


def _gripping(act: Act, time_s: float, scene: _Scene) -> Pose:
    side = np.radians(scene.people.side_deg)
    x = scene.cup_cm[0] + 0.93 * scene.radius_cm * np.cos(side)
    y = scene.cup_cm[1] + 0.93 * scene.radius_cm * np.sin(side)
    return _reaching(act, time_s, scene.people, (float(x), float(y)), dropper=False)


def _wandering(act: Act, time_s: float, scene: _Scene) -> Pose:
    """Pass a hand over the cup and back."""
    p = (time_s - act.start_s) / (act.end_s - act.start_s)
    x = scene.cup_cm[0] + 16.0 - 26.0 * float(np.sin(np.pi * np.clip(p, 0, 1)))
    y = scene.cup_cm[1] + 2.0 * float(np.sin(5.0 * p))
    return Pose(x, y, scene.people.side_deg * 0.3, dropper=False)


def _waving(act: Act, time_s: float, scene: _Scene) -> Pose:
    far = 6.0 + (1.0 - _entered(act, time_s)) * _AWAY_CM
    x = far * np.cos(0.7 * time_s) * 0.6
    y = 4.5 * np.sin(4.4 * time_s) - 1.0
    return Pose(float(x), float(y), 35.0 + 40.0 * float(np.sin(4.4 * time_s)), dropper=False)


_POSERS = {
    "dropper": _dropping,
    "swirl": _gripping,
    "wander": _wandering,
    "wave": _wandering,
    "waving": _waving,
}
