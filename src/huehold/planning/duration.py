"""How long a titration may take: played through on the virtual bench, or counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from huehold.errors import UsageError
from huehold.planning.chemistry import Cup
from huehold.planning.colours import dyes_of
from huehold.planning.expected import Expected
from huehold.planning.pace import Stretch
from huehold.virtual import species
from huehold.virtual.bench import Bench
from huehold.virtual.operator import Operator
from huehold.virtual.run import run_bench

__all__ = ["Duration", "bench_of", "counted", "played"]

_PACES_S = (300.0, 600.0)  # of the virtual bench's dissolution, see docs/virtual_bench.md
_SEEDS = (1, 2)
_LONGEST_S = 5400.0
_PER_PORTION_S = (5.0, 12.0)  # swirl, look, read: common practice, no source
_WAIT_BEYOND_HOLD_S = 10.0
_DROP_SCATTER, _SQUIRT_SCATTER = 0.06, 0.14
_PLAYED = (
    "played through on the virtual bench with particles that dissolve quickly and slowly, "
    "hold included"
)
_COUNTED = (
    "counted at 5 to 12 s for a portion, swirl and look (common practice, no source), hold included"
)


@dataclass(frozen=True, slots=True)
class Duration:
    """The shortest and longest time to expect, in seconds, and where they are from."""

    low_s: float
    high_s: float
    basis: str


def bench_of(expected: Expected, cup: Cup) -> Bench:
    """Set out the virtual bench with a plan's masses.

    Parameters
    ----------
    expected : Expected
    cup : Cup
        Its cup, in which a hydroxide is suspended and to which a weak acid is added.

    Raises
    ------
    UsageError
        If it is another kind of titration.
    """
    if cup.solid is None or cup.acid is None:
        raise UsageError(
            f"The virtual bench titrates a hydroxide with a weak acid; {cup.method.name} is "
            "another kind of titration."
        )
    request, tap = expected.request, cup.tap
    density = expected.density_g_per_ml or 1.0
    milligrams = expected.amount_mmol * species.solid(cup.solid).molar_mass
    return Bench(
        sample_g=expected.sample_g,
        content_mg_per_ml=milligrams / (expected.sample_g / density),
        density_g_per_ml=density,
        solid=cup.solid,
        water_g=expected.water_g,
        temperature_c=request.temperature_c,
        alkalinity_mmol_per_kg=tap.alkalinity_mmol_per_l,
        water_ph=tap.ph,
        acid=cup.acid,
        acid_mol_per_kg=expected.titrant_mol_per_g * 1000.0,
        drop_g=request.drop_g,
        drop_sd_g=_DROP_SCATTER * request.drop_g,
        squirt_g=request.squirt,
        squirt_sd_g=_SQUIRT_SCATTER * request.squirt,
        dyes=dyes_of(request.method.indicator),
    )


def played(expected: Expected, cup: Cup) -> Duration:
    """Titrate the plan on the virtual bench, quick and slow particles, and take the times."""
    bench = bench_of(expected, cup)
    patience = cup.method.endpoint.hold_s + _WAIT_BEYOND_HOLD_S
    who = Operator(patience_s=patience, longest_s=_LONGEST_S, tail_s=0.0)
    times = [
        run_bench(replace(bench, dissolution_s=pace, seed=seed), who).duration_s
        for pace in _PACES_S
        for seed in _SEEDS
    ]
    cut = f"; stopped at {_LONGEST_S / 60.0:.0f} min" if max(times) >= _LONGEST_S else ""
    return Duration(min(times), max(times), _PLAYED + cut)


def counted(stretches: Sequence[Stretch], hold_s: float) -> Duration:
    """Add up the portions and the hold."""
    portions = sum(stretch.count for stretch in stretches)
    low, high = (portions * each + hold_s for each in _PER_PORTION_S)
    return Duration(low, high, _COUNTED)
