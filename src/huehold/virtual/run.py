"""One virtual titration from bench and operator to its truth."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from huehold.errors import InputError
from huehold.virtual.bench import Bench
from huehold.virtual.kinetics import Beaker, Sample
from huehold.virtual.operator import Hand, Operator
from huehold.virtual.optics import LiquidOptics
from huehold.virtual.spectra import load_dye
from huehold.virtual.titration import Recipe
from huehold.virtual.truth import Truth, last_entry

__all__ = ["STEP_S", "hue_turned", "run_bench", "turning_ph"]

FloatArray = NDArray[np.float64]

STEP_S = 0.1
"""Step of the chemistry and of the truth's time grid."""

_LOOK_EVERY = 3  # steps between two looks of the operator
_START_PH, _END_PH = 9.5, 6.0
_TURNED = 0.6
_LEAST_CHANGE = 20.0  # in CIELAB a, b


@lru_cache(maxsize=64)
def _hue_path(dyes: tuple[tuple[str, float], ...]) -> tuple[FloatArray, FloatArray]:
    """PH nodes and how far the clear liquid's colour has turned there, 0 to 1 between ends."""
    import colour

    ph = np.linspace(3.0, 13.0, 401)
    nodes = np.concatenate([ph, [_START_PH, _END_PH]])
    rgb = LiquidOptics(dict(dyes)).appearance(nodes).over(0.85)
    xyz = rgb @ np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ).T
    ab = np.asarray(colour.XYZ_to_Lab(xyz))[:, 1:]
    start, end = ab[-2], ab[-1]
    if float(np.hypot(*(end - start))) < _LEAST_CHANGE:
        raise InputError(
            f"The indicator ({', '.join(name for name, _ in dyes)}) hardly changes colour between "
            "pH 9.5 and 6, so this titration has no visible end; choose another."
        )
    along = (ab[:-2] - start) @ (end - start) / float((end - start) @ (end - start))
    return ph, along


def hue_turned(bench: Bench, ph: ArrayLike) -> FloatArray:
    """How far the clear liquid's colour has turned at a pH: 0 at pH 9.5, 1 at pH 6.

    The share along the straight line between the two colours in the CIELAB a, b plane (D65).
    pH 9.5 is where undissolved magnesium hydroxide holds the liquid, pH 6 is well past the end.
    """
    nodes, along = _hue_path(tuple(sorted(bench.dye_doses.items())))
    return np.asarray(np.interp(np.asarray(ph, dtype=float), nodes, along))


def turning_ph(bench: Bench) -> float:
    """PH at which the colour has turned six tenths of the way, see `hue_turned`.

    A little past the middle, so that plain yellow is not yet called the end colour.
    """
    nodes, along = _hue_path(tuple(sorted(bench.dye_doses.items())))
    between = (nodes >= _END_PH) & (nodes <= _START_PH)
    ph, share = nodes[between], along[between]
    crossing = int(np.flatnonzero(share >= _TURNED)[-1])
    rise = (_TURNED - share[crossing]) / (share[crossing + 1] - share[crossing])
    return float(ph[crossing] + rise * (ph[crossing + 1] - ph[crossing]))


def run_bench(bench: Bench, operator: Operator | None = None) -> Truth:
    """Titrate.

    Parameters
    ----------
    bench : Bench
        What stands on the bench; its seed decides everything random.
    operator : Operator, optional
        Who titrates; by default a careful person.

    Returns
    -------
    Truth
        On a grid of 0.1 s.
    """
    _check_indicator(bench)
    who = operator or Operator()
    rng = np.random.default_rng([bench.seed, 1])
    beaker = Beaker(bench)
    hand = Hand(who, (bench.drop_g, bench.drop_sd_g), (bench.squirt_g, bench.squirt_sd_g), rng)
    samples = _titrate(beaker, hand, bench)
    duration = samples[-1].time_s
    hand.read_last(duration, beaker.added_g - beaker.evaporated_g)
    hand.scatter_mishaps(duration)
    return _truth(bench, who, beaker, hand, samples)


def _check_indicator(bench: Bench) -> None:
    for name in bench.dyes:
        variable = load_dye(name).variable
        if variable != "pH":
            raise InputError(
                f"The indicator {name} shows {variable}, not pH, so it cannot follow this "
                "titration; choose an acid-base indicator."
            )


def _titrate(beaker: Beaker, hand: Hand, bench: Bench) -> list[Sample]:
    nodes, along = _hue_path(tuple(sorted(bench.dye_doses.items())))
    samples = [beaker.sample()]
    swirls = 0
    while not hand.finished(samples[-1].time_s):
        now = samples[-1]
        if len(samples) % _LOOK_EVERY == 0:
            turned = float(np.interp(now.ph, nodes, along))
            gained = beaker.added_g - beaker.evaporated_g
            for portion in hand.act(now.time_s, turned, gained):
                beaker.add(portion.mass_g)
        while swirls < len(hand.disturbances) and hand.disturbances[swirls].start_s <= now.time_s:
            planned = hand.disturbances[swirls]
            if planned.kind == "swirl":
                beaker.swirl(planned.end_s - planned.start_s)
            swirls += 1
        beaker.step(STEP_S)
        samples.append(beaker.sample())
    return samples


def _truth(bench: Bench, who: Operator, beaker: Beaker, hand: Hand, samples: list[Sample]) -> Truth:
    time: FloatArray = np.asarray(np.arange(len(samples)) * STEP_S, dtype=np.float64)
    ph = np.array([s.ph for s in samples])
    undissolved = np.array([s.undissolved for s in samples])
    added = np.array([s.mixed_g + s.plume_g for s in samples])
    start_l = bench.water_g / 1000.0 + bench.sample_g / bench.density_g_per_ml / 1000.0
    lost = bench.evaporation_g_per_min * time / 60.0
    middle = turning_ph(bench)
    entry = last_entry(time, ph < middle)
    recipe: Recipe = beaker.recipe
    return Truth(
        time_s=time,
        ph=ph,
        plume_ph=beaker.plume_ph(samples),
        plume_fraction=np.array([s.plume_fraction for s in samples]),
        undissolved_fraction=undissolved,
        solid_g_per_l=undissolved * bench.dose_mg / 1000.0 / start_l,
        dye_left=np.exp(-bench.dye_fade_per_min * time / 60.0),
        added_g=added,
        liquid_g=bench.water_g + bench.sample_g + added - lost,
        additions=tuple(hand.additions),
        readings=tuple(hand.readings),
        disturbances=tuple(hand.disturbances),
        equivalence_g=recipe.equivalence_g,
        blank_g=recipe.titrant_for_ph(middle, with_sample=False),
        turning_g=recipe.titrant_for_ph(middle),
        turning_ph=middle,
        onset_s=None if entry is None else _crossing(time, ph, entry, middle),
        dose_mg=bench.dose_mg,
        settings={"bench": bench.plain(), "operator": who.plain()},
    )


def _crossing(time: FloatArray, ph: FloatArray, entry: int, middle: float) -> float:
    """Time of the crossing between two samples, linear."""
    if entry == 0:
        return float(time[0])
    before, after = ph[entry - 1], ph[entry]
    share = (before - middle) / (before - after)
    return float(time[entry - 1] + share * (time[entry] - time[entry - 1]))
