"""The accuracy study: the detector on many virtual runs, against what really happened.

    python benchmarks/accuracy.py --runs 1000 --jobs 2

Every run draws its dose, dye lot, light, camera, person and disturbances from its seed
alone, so that any run can be made again by `--seed SEED --runs 1`. It prints detection,
false-endpoint and miss rates with 95 % confidence intervals (Wilson), the error of the
onset, the error of the mass, and the worst ten runs by seed.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
from scipy.stats import binomtest

from huehold.core import Event, Observation, Verdict
from huehold.detection import Detector, DetectorSettings
from huehold.methods import load_method
from huehold.virtual.bench import Bench
from huehold.virtual.observe import View, observe
from huehold.virtual.operator import Balance, Operator
from huehold.virtual.run import hue_turned, run_bench
from huehold.virtual.truth import Truth, last_entry

METHOD = "magnesium-hydroxide-by-vinegar"
LIGHTS = ("D65", "D50", "LED", "LED warm", "LED cool", "fluorescent", "bulb")
SLACK_S = 4.0  # a hold that ends this near to what is asked may be called or not
TOLERANCE_S = 0.5  # an onset this much before an addition was still brought by it
PORTION_S = 1.5  # drops closer than this are one portion
DOUBT = 0.1  # of the way, either side of the truth's edge of the end colour
MIXING_S = 2.0  # right after an addition the well-mixed pH is not what is seen


@dataclass(frozen=True)
class Setting:
    """One draw: what stands on the bench, who titrates, and how it is seen."""

    bench: Bench
    operator: Operator
    view: View
    hold_s: float


@dataclass(frozen=True)
class Outcome:
    """One run: what it should have come to, and what the detector said."""

    seed: int
    duration_s: float
    expected: str
    verdict: str
    false_endpoint: bool
    doubtful: bool
    premature: bool
    brink: bool
    onset_error_s: float | None
    mass_error_g: float | None
    result_error_percent: float | None
    additions: int
    additions_seen: int
    said: str

    @property
    def missed(self) -> bool:
        """Whether an endpoint that stood long enough was not called."""
        return self.expected == "endpoint" and self.verdict not in ("endpoint", "overshoot")

    @property
    def badness(self) -> float:
        """Order of the worst runs."""
        onset = abs(self.onset_error_s or 0.0)
        mass = 20.0 * abs(self.mass_error_g or 0.0)
        return (
            1e3 * self.false_endpoint
            + 1e2 * self.doubtful
            + 3e2 * self.missed
            + 50.0 * self.premature
            + onset
            + mass
        )


def draw(seed: int) -> Setting:
    """Draw a setting from a seed."""
    rng = np.random.default_rng([seed, 77])
    return Setting(_bench(rng, seed), _operator(rng), _view(rng, seed), float(rng.choice([30, 60])))


def _bench(rng: np.random.Generator, seed: int) -> Bench:
    curcumin = 0.45 * float(np.exp(0.2 * rng.standard_normal()))
    phycocyanin = 0.17 * float(np.exp(0.15 * rng.standard_normal()))
    return Bench(
        sample_g=float(rng.uniform(0.6, 5.5)),
        content_mg_per_ml=float(rng.uniform(70.0, 90.0)),
        water_g=float(rng.uniform(50.0, 120.0)),
        temperature_c=float(rng.uniform(17.0, 28.0)),
        alkalinity_mmol_per_kg=float(rng.uniform(0.0, 4.0)),
        acid_mol_per_kg=float(rng.uniform(0.75, 0.9)),
        drop_g=float(rng.uniform(0.03, 0.06)),
        dyes=MappingProxyType({"curcumin": curcumin, "phycocyanin": phycocyanin}),
        dye_lot=float(np.exp(0.25 * rng.standard_normal())),
        dye_fade_per_min=float(rng.choice([0.0, 0.005, 0.02])),
        depth_mm=float(rng.uniform(18.0, 40.0)),
        dissolution_s=float(rng.uniform(150.0, 600.0)),
        size_sd=float(rng.uniform(0.15, 0.5)),
        mixing_s=float(rng.uniform(0.8, 4.0)),
        swirl_mixing_s=float(rng.uniform(0.3, 0.8)),
        plume=float(rng.uniform(0.03, 0.15)),
        seed=seed,
    )


def _operator(rng: np.random.Generator) -> Operator:
    gives_up = rng.random() < 0.1
    return Operator(
        start_s=float(rng.uniform(3.0, 15.0)),
        reaction_s=float(rng.uniform(1.2, 4.0)),
        patience_s=float(rng.choice([25.0, 45.0, 75.0, 110.0], p=[0.05, 0.1, 0.6, 0.25])),
        eye_sd=float(rng.uniform(0.03, 0.12)),
        hasty=float(rng.choice([0.0, 0.05, 0.2])),
        reckless=float(rng.choice([0.0, 0.0, 0.03])),
        swirls=float(rng.uniform(0.2, 1.0)),
        knocks_per_min=float(rng.choice([0.0, 0.2, 0.6])),
        waves_per_min=float(rng.choice([0.0, 0.2, 1.0])),
        balance=Balance(gain=float(rng.normal(1.0, 0.001)), noise_g=0.003),
        stop_s=float(rng.uniform(60.0, 400.0)) if gives_up else None,
        longest_s=1500.0,
    )


def _view(rng: np.random.Generator, seed: int) -> View:
    grey = float(rng.uniform(0.35, 0.9))
    tint = rng.normal(1.0, 0.03, 3)
    return View(
        rate_hz=float(rng.uniform(5.0, 15.0)),
        jitter_s=float(rng.uniform(0.0, 0.02)),
        illuminant=str(rng.choice(LIGHTS)),
        ground=tuple(float(np.clip(grey * t, 0.0, 0.95)) for t in tint),
        noise=float(rng.uniform(0.2, 2.0)),
        wander=float(rng.uniform(0.1, 1.0)),
        white_drift_per_min=float(rng.choice([0.002, 0.005, 0.015])),
        exposure=float(np.exp(0.15 * rng.standard_normal())),
        unnoticed=float(rng.uniform(0.0, 0.15)),
        lost_per_min=float(rng.choice([0.0, 0.0, 0.5])),
        seed=seed,
    )


def watch(setting: Setting, seen: Iterable[Observation]) -> tuple[Verdict, tuple[Event, ...]]:
    """Let the detector watch a run."""
    method = load_method(METHOD)
    detector = Detector(
        DetectorSettings(
            start_hue_deg=method.indicator.start.hue_deg,
            end_hue_deg=method.indicator.end.hue_deg,
            hold_s=setting.hold_s,
            max_blind_s=method.endpoint.max_blind_s,
            clearing=method.endpoint.clearing,
        )
    )
    for observation in seen:
        detector.update(observation)
    return detector.finish(), detector.events


def study(seed: int) -> Outcome:
    """Make, watch and judge one run."""
    setting = draw(seed)
    truth = run_bench(setting.bench, setting.operator)
    verdict, events = watch(setting, observe(truth, setting.bench, setting.view))
    return judge(seed, setting.bench, truth, setting.hold_s, verdict, events)


def judge(
    seed: int,
    bench: Bench,
    truth: Truth,
    hold_s: float,
    verdict: Verdict,
    events: Sequence[Event],
) -> Outcome:
    """Hold a verdict against the truth.

    The truth's end colour begins at a share of the way from start to end colour; within
    `DOUBT` of it no eye can tell. An endpoint is *false* if at any moment of its hold the
    colour was back beyond that doubt, and *doubtful* if it was back within it. It is
    *premature* if the end colour stood as long as the method asks, but went back later. It
    is *missed* if the end colour stood beyond doubt for the hold, with enough titrant in,
    and was not called.
    """
    calls = [e for e in events if e.kind == "endpoint"]
    edge = _edge(bench, truth)
    lows = [_least_turned(bench, truth, _onset(e), e.time_s) for e in calls]
    false = any(low < edge - DOUBT for low in lows)
    doubtful = any(edge - DOUBT <= low < edge for low in lows)
    premature = any(
        low >= edge and _least_turned(bench, truth, e.time_s, math.inf) < edge
        for low, e in zip(lows, calls, strict=True)
    )
    called = verdict.kind in ("endpoint", "overshoot")
    real = truth.endpoint(hold_s)
    onset_s = verdict.onset_s if called and real is not None and not false else None
    mass_g = None if onset_s is None else _mass_g(truth, onset_s)
    return Outcome(
        seed=seed,
        duration_s=truth.duration_s,
        expected=_expected(bench, truth, hold_s),
        verdict=verdict.kind,
        false_endpoint=false,
        doubtful=doubtful,
        premature=premature,
        brink=_on_the_brink(bench, truth, hold_s),
        onset_error_s=None if onset_s is None or real is None else onset_s - real.onset_s,
        mass_error_g=None if mass_g is None or real is None else mass_g - real.mass_g,
        result_error_percent=_result_error_percent(truth, onset_s),
        additions=_portions(truth),
        additions_seen=sum(e.kind == "addition" for e in events),
        said=" ".join((*verdict.reasons, *verdict.warnings)),
    )


def _edge(bench: Bench, truth: Truth) -> float:
    """Return the share of the way at which the truth's end colour begins."""
    return float(hue_turned(bench, truth.turning_ph))


def _on_the_brink(bench: Bench, truth: Truth, hold_s: float) -> bool:
    """Tell whether the onset depends on where the end colour is said to begin.

    Where a little more or less names another addition, the colour hung between the two;
    and a portion that starts the hold anew, but falls into the full end colour, changes
    nothing that can be seen. No figure for the onset is fair then.
    """
    real = truth.endpoint(hold_s)
    if real is None:
        return False
    turned, edge = hue_turned(bench, truth.ph), _edge(bench, truth)
    before = float(np.interp(real.onset_s - 0.5, truth.time_s, turned))
    if real.onset_s > (truth.onset_s or 0.0) + 1.0 and before > edge + DOUBT:
        return True
    for level in (edge - DOUBT, edge + DOUBT):
        entry = last_entry(truth.time_s, turned > level)
        if entry is None:
            return True
        other = replace(truth, onset_s=float(truth.time_s[entry])).endpoint(hold_s)
        if other is None or abs(other.onset_s - real.onset_s) > 5.0:
            return True
    return False


def _onset(call: Event) -> float:
    return float(call.detail["onset_s"] or 0.0)


def _least_turned(bench: Bench, truth: Truth, from_s: float, to_s: float) -> float:
    """Return the least share of the way the well-mixed colour had turned between two times."""
    inside = (truth.time_s >= from_s + MIXING_S) & (truth.time_s <= to_s)
    return float(hue_turned(bench, truth.ph[inside]).min()) if inside.any() else 1.0


def _expected(bench: Bench, truth: Truth, hold_s: float) -> str:
    """Say what the run must come to; "either" where two verdicts are right."""
    if truth.onset_s is None or truth.held_s < hold_s - SLACK_S:
        return "not_reached"
    from_s = max(truth.onset_s, truth.additions[-1].time_s)
    last = truth.time_s >= from_s + MIXING_S
    clearly = bool(np.all(hue_turned(bench, truth.ph[last]) > _edge(bench, truth) + DOUBT))
    enough = truth.added_g[-1] >= truth.turning_g
    long = truth.duration_s - from_s >= hold_s + SLACK_S
    return "endpoint" if clearly and enough and long else "either"


def _portions(truth: Truth) -> int:
    """Count portions: drops that fall in quick succession are one."""
    times = np.array([a.time_s for a in truth.additions])
    return int(np.sum(np.diff(times, prepend=-math.inf) > PORTION_S))


def _mass_g(truth: Truth, onset_s: float) -> float:
    """Return the true mass in the cup after the last addition up to an onset."""
    return sum(a.mass_g for a in truth.additions if a.time_s <= onset_s + TOLERANCE_S)


def _result_error_percent(truth: Truth, onset_s: float | None) -> float | None:
    """Error of the titrant from the balance's readings, at the middle of the bracket."""
    if onset_s is None:
        return None
    additions = [a.time_s for a in truth.additions]
    before = [t for t in additions if t <= onset_s + TOLERANCE_S]
    if not before:
        return None
    later = [t for t in additions if t > before[-1]] if before else []
    after_g = _last_reading(truth, before[-1], later[0] if later else math.inf)
    start = truth.additions[len(before) - 1]
    if after_g is None:
        return None
    middle_g = after_g - 0.5 * start.mass_g
    return 100.0 * (middle_g - truth.turning_g) / truth.turning_g


def _last_reading(truth: Truth, from_s: float, to_s: float) -> float | None:
    read = [r.mass_g for r in truth.readings if from_s <= r.time_s < to_s]
    return read[-1] if read else None


def report(outcomes: Sequence[Outcome]) -> str:
    """Write the figures as text."""
    due = [o for o in outcomes if o.expected == "endpoint"]
    undue = [o for o in outcomes if o.expected == "not_reached"]
    lines = [
        f"runs {len(outcomes)}: endpoint due {len(due)}, not due {len(undue)}, "
        f"either {len(outcomes) - len(due) - len(undue)}",
        _rate("endpoints found", sum(not o.missed for o in due), len(due)),
        _rate("endpoints missed", sum(o.missed for o in due), len(due)),
        _rate("false endpoints", sum(o.false_endpoint for o in outcomes), len(outcomes)),
        _rate("called in doubt", sum(o.doubtful for o in outcomes), len(outcomes)),
        _rate("called, held, faded later", sum(o.premature for o in outcomes), len(outcomes)),
        _spread("onset error / s", [o.onset_error_s for o in due]),
        _spread("  of sharp onsets", [o.onset_error_s for o in due if not o.brink]),
        _spread("  on the brink", [o.onset_error_s for o in due if o.brink]),
        _spread("mass at endpoint, error / g", [o.mass_error_g for o in due]),
        _spread("middle of bracket against equivalence / %", [o.result_error_percent for o in due]),
        _rate(
            "additions seen",
            sum(min(o.additions_seen, o.additions) for o in outcomes),
            sum(o.additions for o in outcomes),
        ),
        f"verdicts: {dict(Counter((o.expected, o.verdict) for o in outcomes))}",
        "worst ten:",
    ]
    worst = sorted(outcomes, key=lambda o: o.badness, reverse=True)[:10]
    return "\n".join(lines + [_line(o) for o in worst])


def _rate(name: str, count: int, total: int) -> str:
    if total == 0:
        return f"{name}: none to count"
    low, high = binomtest(count, total).proportion_ci(method="wilson")
    return (
        f"{name}: {count} of {total} = {100 * count / total:.2f} % "
        f"(95 % interval {100 * low:.2f} to {100 * high:.2f} %)"
    )


def _spread(name: str, values: Iterable[float | None]) -> str:
    known = np.array([v for v in values if v is not None])
    if known.size == 0:
        return f"{name}: none to measure"
    size = np.abs(known)
    error = float(known.std(ddof=1) / math.sqrt(known.size)) if known.size > 1 else math.nan
    return (
        f"{name}: n {known.size}, mean {known.mean():+.3f} +- {error:.3f}, "
        f"|error| median {np.median(size):.3f}, 95th percentile {np.percentile(size, 95):.3f}, "
        f"worst {size.max():.3f}"
    )


def _line(o: Outcome) -> str:
    onset = "-" if o.onset_error_s is None else f"{o.onset_error_s:+.2f} s"
    mass = "-" if o.mass_error_g is None else f"{o.mass_error_g:+.3f} g"
    flags = (
        "BRINK " * o.brink
        + "FALSE " * o.false_endpoint
        + "DOUBTFUL " * o.doubtful
        + "MISSED " * o.missed
        + "PREMATURE " * o.premature
    )
    return (
        f"  seed {o.seed}: {flags}{o.expected} -> {o.verdict}, onset {onset}, mass {mass}, "
        f"{o.duration_s:.0f} s. {o.said}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=0, help="of the first run")
    parser.add_argument("--json", type=Path, help="write every run's outcome here")
    options = parser.parse_args(arguments)
    begun = time.monotonic()
    seeds = range(options.seed, options.seed + options.runs)
    with ProcessPoolExecutor(options.jobs) as pool:
        outcomes = []
        for outcome in pool.map(study, seeds, chunksize=4):
            outcomes.append(outcome)
            print(f"\r{len(outcomes)} of {options.runs}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    print(report(outcomes))
    print(f"{time.monotonic() - begun:.0f} s on {options.jobs} processes")
    if options.json is not None:
        options.json.write_text(json.dumps([asdict(o) for o in outcomes]), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
