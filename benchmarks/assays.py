"""From a virtual run's readings to an assay, held against what was really in the sample.

Used by the accuracy study. The chemist of the virtual bench reads sample and titrant off one
balance and knows strength and density as well as is stated; what is stated differs from the
truth by a draw from that very doubt. The interval of the assay is then right if it holds the
true content as often as it says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from huehold.balance.additions import addition_times
from huehold.balance.bracket import titrant_bracket
from huehold.core import Event, Verdict
from huehold.errors import HueholdError
from huehold.stoichiometry.assay import Settings, assay
from huehold.stoichiometry.uncertain import Input
from huehold.virtual.bench import Bench
from huehold.virtual.operator import Balance
from huehold.virtual.truth import Truth

__all__ = ["Weighed", "weigh"]

_STRENGTH = 0.002  # half width: a titrant that was standardised
_DENSITY_U = 0.001  # a sample whose density was measured
_QUICK = Settings(trials=False)


@dataclass(frozen=True)
class Weighed:
    """The content found, its expanded uncertainty (95 %) and the true one, in mg/mL."""

    content: float
    expanded: float
    true: float
    warned: bool

    @property
    def error_percent(self) -> float:
        """Relative error of the content."""
        return 100.0 * (self.content - self.true) / self.true

    @property
    def covered(self) -> bool:
        """Whether the interval holds the true content."""
        return abs(self.content - self.true) <= self.expanded


def weigh(
    seed: int,
    bench: Bench,
    balance: Balance,
    truth: Truth,
    verdict: Verdict,
    events: Sequence[Event],
    method: str,
) -> Weighed | None:
    """Compute a run's assay from its readings; None without an endpoint or masses for it."""
    if verdict.kind != "endpoint" or verdict.onset_s is None or not truth.readings:
        return None
    rng = np.random.default_rng([seed, 78])
    additions, unseen = addition_times(events)
    told: dict[str, Any] = _told(rng, bench, balance, truth)
    try:
        found = titrant_bracket(truth.readings, verdict.onset_s, additions, unseen_s=unseen)
        last_g = None if found.before_g is None else max(found.after_g - found.before_g, 0.01)
        done = assay(
            method, titrant_mass=found.mass_g, bracket_mass=last_g, settings=_QUICK, **told
        )
    except HueholdError:
        return None
    result = done.results["content"]
    return Weighed(result.value, result.U, bench.content_mg_per_ml, bool(found.warnings))


def _told(rng: np.random.Generator, bench: Bench, balance: Balance, truth: Truth) -> dict[str, Any]:
    """Draw what the chemist knows: readings of the balance, strength and density as stated."""
    strength = bench.acid_mol_per_kg * (1.0 + _STRENGTH * float(rng.uniform(-1.0, 1.0)))
    density = bench.density_g_per_ml * (1.0 + _DENSITY_U * float(rng.standard_normal()))
    told: dict[str, Any] = {
        "sample_mass": balance.show(bench.sample_g, 0.0, rng),
        "water_mass": bench.water_g,
        "strength": f"{strength:.6f} +/- {_STRENGTH * strength:.6f} mol/kg",
        "density": Input.normal(
            "density of the sample", density, _DENSITY_U * bench.density_g_per_ml, "g/mL"
        ),
    }
    if truth.blank_g > 0.5 * bench.drop_g:  # titrated by the same drops
        drops = round(truth.blank_g / bench.drop_g)
        told["blank_mass"] = max(balance.show(drops * bench.drop_g, 0.0, rng), 0.0)
    return told
