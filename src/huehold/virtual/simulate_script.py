"""A scripted run: colours that turn and fade back by rule, without kinetics."""

from __future__ import annotations

import numpy as np

from huehold.virtual.optics import LiquidOptics
from huehold.virtual.simulate_story import Act, Portion, Story

__all__ = ["scripted_story"]


def scripted_story(seed: int = 1, onset_s: float = 72.0, duration_s: float = 115.0) -> Story:
    """Play eight additions that fade back ever more slowly and one that holds."""
    rng = np.random.default_rng([seed, 20])
    time = np.arange(0.0, duration_s, 0.1)
    ph, left = np.full_like(time, 10.0), np.clip(1.0 - time / (onset_s - 2.0), 0.0, 1.0)
    starts = [*np.linspace(8.0, onset_s - 8.0, 8), onset_s]
    portions, acts = [], []
    for k, start in enumerate(starts):
        age = time - start
        fading = 10.0 - 5.0 * np.exp(-np.maximum(age, 0.0) / (1.0 + 0.45 * k))
        ph = np.where(age >= 0.0, fading if start < onset_s else 5.6, ph)
        x, y = rng.normal(0.0, 0.1, 2)
        portions.append(Portion(float(start), 0.4 if k < 5 else 0.05, float(x), float(y)))
        acts.append(Act(start - 1.0, start + 0.7, "dropper"))
        acts.append(Act(start + 1.2, start + 2.8, "swirl"))
    optics = LiquidOptics(depth_mm=32.0)
    looks = [optics.fast(p, 4.0 * left) for p in (ph, np.full_like(ph, 4.5))]
    look, plume = (
        np.column_stack([each.veil, each.through, each.sharp, each.blur_mm]) for each in looks
    )
    titrant = np.array([sum(p.mass_g for p in portions if p.time_s <= t) for t in time])
    return Story(time, ph, left, titrant, look, plume, tuple(portions), tuple(acts), onset_s)
