"""Synthetic traces for the detector's tests: a colour that is added to and fades back.

The model is deliberately plain and not the virtual bench's: the colour's place between
start and end colour is 1 right after an addition and relaxes with a time that grows; the
path from start to end bends over yellow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from huehold.core import Observation
from huehold.detection import Detector, DetectorSettings

SETTINGS = DetectorSettings(
    start_hue_deg=(25.0, 92.0), end_hue_deg=(102.0, 190.0), hold_s=60.0, max_blind_s=10.0
)

_HUES_DEG = (52.0, 90.0, 124.0)  # at places 0, 0.5, 1
_CHROMAS = (46.0, 50.0, 38.0)
_LIGHTNESS = (56.0, 70.0, 66.0)


@dataclass(frozen=True)
class Addition:
    """One portion: when, how long until half is gone (None: it stays), and its rise time."""

    time_s: float
    half_s: float | None
    height: float = 1.0
    rise_s: float = 0.5


@dataclass(frozen=True)
class Blind:
    """A stretch of low trust."""

    start_s: float
    end_s: float
    reason: str = "hand"
    trust: float = 0.1
    wrong_colour: bool = True


def places(times_s: np.ndarray, additions: Sequence[Addition], floor: float = 0.0) -> np.ndarray:
    """Place between start (0) and end colour (1) over time."""
    place = np.full(times_s.shape, floor)
    for number, addition in enumerate(additions):
        later = times_s >= addition.time_s
        age = times_s[later] - addition.time_s
        before = float(np.interp(addition.time_s, times_s, place)) if number else floor
        rise = 1.0 - np.exp(-age / addition.rise_s * 1.5)
        if addition.half_s is None:
            stays = np.ones_like(age)
        else:
            stays = 1.0 / (1.0 + (age / addition.half_s) ** 4)
        top = addition.height
        place[later] = floor + (before - floor) * (1 - rise) + (top - floor) * rise * stays
    return place


def colour_of(place: np.ndarray, hue_shift_deg: float = 0.0, pale: float = 1.0) -> np.ndarray:
    """L*, a*, b* along the path, shape (n, 3)."""
    hue = np.radians(np.interp(place, [0, 0.5, 1], _HUES_DEG) + hue_shift_deg)
    chroma = pale * np.interp(place, [0, 0.5, 1], _CHROMAS)
    light = np.interp(place, [0, 0.5, 1], _LIGHTNESS)
    return np.stack([light, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)


def sample_times(
    duration_s: float, rate_hz: float, rng: np.random.Generator, jitter: float = 0.0
) -> np.ndarray:
    """Times at about a rate, with jitter as a share of the step."""
    times = np.arange(0.0, duration_s, 1.0 / rate_hz)
    return np.sort(times + jitter / rate_hz * rng.uniform(-0.5, 0.5, times.shape))


def observe(
    times_s: np.ndarray,
    lab: np.ndarray,
    rng: np.random.Generator,
    *,
    noise: float = 0.6,
    turbidity: np.ndarray | float = math.nan,
    blinds: Iterable[Blind] = (),
) -> list[Observation]:
    """Observations with noise; blind stretches show a hand's colour at low trust."""
    lab = lab + noise * rng.standard_normal(lab.shape)
    cloud = np.broadcast_to(np.asarray(turbidity, dtype=float), times_s.shape)
    seen = [
        observation(t, *row, turbidity=c) for t, row, c in zip(times_s, lab, cloud, strict=True)
    ]
    return [_through(o, tuple(blinds)) for o in seen]


def observation(
    time_s: float,
    lightness: float,
    a: float,
    b: float,
    *,
    turbidity: float = math.nan,
    trust: float = 1.0,
    reasons: tuple[str, ...] = (),
) -> Observation:
    chroma = math.hypot(a, b)
    return Observation(
        time_s=float(time_s),
        lightness=float(lightness),
        a=float(a),
        b=float(b),
        hue_deg=math.degrees(math.atan2(b, a)) % 360.0,
        chroma=chroma,
        hue_sd_deg=math.degrees(min(0.6 / max(chroma, 0.1), 1.5)),
        turbidity=float(turbidity),
        vessel=None,
        trust=trust,
        reasons=reasons,
    )


def _through(seen: Observation, blinds: tuple[Blind, ...]) -> Observation:
    for blind in blinds:
        if blind.start_s <= seen.time_s < blind.end_s:
            if not blind.wrong_colour:
                return replace(seen, trust=blind.trust, reasons=(blind.reason,))
            return observation(
                seen.time_s, 60.0, 22.0, 24.0, trust=blind.trust, reasons=(blind.reason,)
            )
    return seen


def titration(last_s: float | None = 150.0) -> list[Addition]:
    """Seven additions whose fade-backs grow, and one that stays (or none that does)."""
    growing = [
        Addition(10.0, 2.0), Addition(20.0, 3.0), Addition(32.0, 4.0), Addition(46.0, 6.0),
        Addition(65.0, 9.0), Addition(88.0, 13.0), Addition(112.0, 20.0),
    ]  # fmt: skip
    return growing if last_s is None else [*growing, Addition(last_s, None)]


def make(
    additions: Sequence[Addition],
    duration_s: float,
    *,
    rate_hz: float = 12.0,
    seed: int = 1,
    jitter: float = 0.3,
    noise: float = 0.6,
    blinds: Iterable[Blind] = (),
    turbidity: Callable[[np.ndarray], np.ndarray] | float = math.nan,
    hue_shift_deg: float = 0.0,
    pale: float = 1.0,
    change: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
) -> list[Observation]:
    """A whole trace."""
    rng = np.random.default_rng(seed)
    times = sample_times(duration_s, rate_hz, rng, jitter)
    lab = colour_of(places(times, additions), hue_shift_deg, pale)
    if change is not None:
        lab = change(times, lab)
    cloud = turbidity(times) if callable(turbidity) else turbidity
    return observe(times, lab, rng, noise=noise, turbidity=cloud, blinds=blinds)


def run(trace: Iterable[Observation], settings: DetectorSettings = SETTINGS) -> Detector:
    """Feed a trace and finish."""
    detector = Detector(settings)
    for seen in trace:
        detector.update(seen)
    detector.finish()
    return detector


def noted(trace: Iterable[Observation], *typed_s: float) -> Detector:
    """Feed a trace and note additions at the times given."""
    detector = Detector(SETTINGS)
    waiting = list(typed_s)
    for seen in trace:
        while waiting and waiting[0] <= seen.time_s:
            detector.note_addition(waiting.pop(0))
        detector.update(seen)
    return detector
