"""From a scenario to its story: the chemistry run, and how it looks."""

from __future__ import annotations

from dataclasses import asdict, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from huehold.virtual.bench import Bench
from huehold.virtual.operator import Operator
from huehold.virtual.optics import Appearance, LiquidOptics
from huehold.virtual.presets import Scenario
from huehold.virtual.run import run_bench
from huehold.virtual.simulate_story import Act, Portion, Story, still_story
from huehold.virtual.truth import Truth

__all__ = ["story_of"]

Floats = NDArray[np.float64]
_ACID_PH = 5.4
_NO_SOLID_LEFT = 0.002
_HOLDS_S = (30.0, 40.0, 60.0, 120.0)  # holds for which the truth file names the endpoint


def story_of(scenario: Scenario) -> Story:
    """Run the chemistry of a scenario.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Story
        A titration, or a still life for the negative controls.
    """
    if scenario.chemistry == "titration":
        return _titration(scenario)
    if scenario.chemistry == "acid":
        return _acid_from_start(scenario)
    return still_story(scenario.length_s)


def _bench(scenario: Scenario) -> Bench:
    depth_mm = max(10.0 * scenario.cup.liquid_cm, 1.0)
    return replace(scenario.bench, seed=scenario.seed, depth_mm=depth_mm)


def _operator(scenario: Scenario) -> Operator:
    balance = replace(scenario.operator.balance, readability_g=scenario.balance.readability_g)
    return replace(scenario.operator, balance=balance)


@lru_cache(maxsize=4)
def _optics(dyes: tuple[tuple[str, float], ...], depth_mm: float, lamp: str) -> LiquidOptics:
    # Kept, for its table takes longer to make than a short run.
    return LiquidOptics(dict(dyes), depth_mm, lamp, precipitation=True)


def _liquid_optics(scenario: Scenario, bench: Bench) -> LiquidOptics:
    dyes = tuple(sorted(bench.dye_doses.items()))
    return _optics(dyes, bench.depth_mm, scenario.light.lamp)


def _columns(look: Appearance) -> Floats:
    return np.column_stack([look.veil, look.through, look.sharp, look.blur_mm])


def _titration(scenario: Scenario) -> Story:
    bench = _bench(scenario)
    truth = run_bench(bench, _operator(scenario))
    optics = _liquid_optics(scenario, bench)
    look, plume = (
        _columns(optics.fast(ph, truth.solid_g_per_l, truth.dye_left))
        for ph in (truth.ph, _fresh_ph(truth))
    )
    return Story(
        truth.time_s,
        truth.ph,
        truth.undissolved_fraction,
        truth.added_g,
        look,
        plume,
        portions=tuple(Portion(a.time_s, a.mass_g, a.x, a.y) for a in truth.additions),
        acts=_acts(truth),
        onset_s=truth.onset_s,
        masses=tuple((r.time_s, r.mass_g) for r in truth.readings),
        facts=_facts(truth),
    )


def _fresh_ph(truth: Truth) -> Floats:
    """PH inside a plume; between plumes that of the last one, for what is left of it."""
    there = truth.plume_fraction > 0.0
    if not there.any():
        return truth.ph
    last = np.maximum.accumulate(np.where(there, np.arange(len(there)), 0))
    return np.minimum(truth.plume_ph[last], truth.ph)


def _acts(truth: Truth) -> tuple[Act, ...]:
    acts = []
    for d in truth.disturbances:
        places = [(a.x, a.y) for a in truth.additions if d.start_s <= a.time_s <= d.end_s]
        acts.append(Act(d.start_s, d.end_s, d.kind, places[0] if places else (0.0, 0.0)))
    return tuple(acts)


def _facts(truth: Truth) -> MappingProxyType[str, Any]:
    ends = {f"{hold:g}": truth.endpoint(hold) for hold in _HOLDS_S}
    return MappingProxyType(
        {
            "endpoints_by_hold_s": {
                hold: None if end is None else asdict(end) for hold, end in ends.items()
            },
            "equivalence_g": truth.equivalence_g,
            "blank_g": truth.blank_g,
            "turning_ph": truth.turning_ph,
            "dose_mg": truth.dose_mg,
        }
    )


def _acid_from_start(scenario: Scenario) -> Story:
    """Tell of a cup without solid that is acid from the start, and gets a few drops more."""
    bench = _bench(scenario)
    time = np.arange(0.0, scenario.length_s, 0.1)
    drops = np.arange(4.0, 0.6 * scenario.length_s, 9.0)
    ph = _ACID_PH - 0.04 * (time[:, None] > drops).sum(axis=1)
    look = _columns(_liquid_optics(scenario, bench).appearance(ph, _NO_SOLID_LEFT))
    portions = tuple(Portion(float(t), bench.drop_g) for t in drops)
    added = bench.drop_g * (time[:, None] > drops).sum(axis=1)
    acts = tuple(Act(float(t) - 0.9, float(t) + 0.6, "dropper") for t in drops)
    masses = tuple((float(t) + 1.0, bench.drop_g * (k + 1)) for k, t in enumerate(drops))
    return Story(time, ph, np.zeros_like(time), added, look, look, portions, acts, masses=masses)
