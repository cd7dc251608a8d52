"""The accuracy study: the detector on many virtual runs, against what really happened.

    python -m benchmarks.accuracy --runs 1000 --jobs 2             by colour alone
    python -m benchmarks.accuracy --runs 1000 --jobs 2 --masses    with the balance, and assays

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
from collections import Counter, deque
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from types import MappingProxyType

import numpy as np
from scipy.stats import binomtest

from benchmarks.assays import weigh
from benchmarks.judging import Outcome, judge
from huehold.balance.additions import rises
from huehold.core import Event, Observation, Reading, Verdict
from huehold.detection import Detector, DetectorSettings, Phase
from huehold.methods import load_method
from huehold.virtual.bench import Bench
from huehold.virtual.observe import View, observe
from huehold.virtual.operator import Balance, Operator
from huehold.virtual.run import run_bench
from huehold.virtual.truth import Truth

METHOD = "magnesium-hydroxide-by-vinegar"
LIGHTS = ("D65", "D50", "LED", "LED warm", "LED cool", "fluorescent", "bulb")


@dataclass(frozen=True)
class Setting:
    """One draw: what stands on the bench, who titrates, and how it is seen."""

    bench: Bench
    operator: Operator
    view: View
    hold_s: float


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


def watch(
    setting: Setting, seen: Iterable[Observation], readings: Sequence[Reading] = ()
) -> tuple[Verdict, tuple[Event, ...]]:
    """Let the detector watch a run, told of the masses as they are read."""
    method = load_method(METHOD)
    start_hue_deg, end_hue_deg = method.indicator.hue_bands()
    detector = Detector(
        DetectorSettings(
            start_hue_deg=start_hue_deg,
            end_hue_deg=end_hue_deg,
            hold_s=setting.hold_s,
            max_blind_s=method.endpoint.max_blind_s,
            clearing=method.endpoint.clearing,
        )
    )
    weighed = deque(rises(readings))
    for observation in seen:
        while weighed and weighed[0].time_s <= observation.time_s:
            time_s = weighed.popleft().time_s
            if detector.phase not in (Phase.ENDPOINT, Phase.OVERSHOOT):
                detector.note_addition(time_s)
        detector.update(observation)
    return detector.finish(), detector.events


def study(seed: int, masses: bool = False) -> Outcome:
    """Make, watch and judge one run, with the balance's readings told or by colour alone."""
    setting = draw(seed)
    truth = run_bench(setting.bench, setting.operator)
    return outcome(seed, setting, truth, observe(truth, setting.bench, setting.view), masses)


def outcome(
    seed: int, setting: Setting, truth: Truth, seen: Iterable[Observation], masses: bool
) -> Outcome:
    """Watch and judge a run that was made."""
    verdict, events = watch(setting, seen, truth.readings if masses else ())
    weighed = None
    if masses:
        balance = setting.operator.balance
        weighed = weigh(seed, setting.bench, balance, truth, verdict, events, METHOD)
    return judge(seed, setting.bench, truth, setting.hold_s, verdict, events, weighed)


def report(outcomes: Sequence[Outcome]) -> str:
    """Write the figures as text."""
    due = [o for o in outcomes if o.due]
    undue = [o for o in outcomes if o.expected == "not_reached"]
    lines = [
        f"runs {len(outcomes)}: endpoint due {len(due)}, not due {len(undue)}, "
        f"either {len(outcomes) - len(due) - len(undue)}",
        _rate("endpoints found", sum(not o.missed for o in due), len(due)),
        _rate("endpoints missed", sum(o.missed for o in due), len(due)),
        *_at_rest(outcomes),
        _rate("false endpoints", sum(o.false_endpoint for o in outcomes), len(outcomes)),
        _rate("called in doubt", sum(o.doubtful for o in outcomes), len(outcomes)),
        *_premature(outcomes),
        _spread("onset error / s", [o.onset_error_s for o in due]),
        _spread("  of sharp onsets", [o.onset_error_s for o in due if not o.brink]),
        _spread("  on the brink", [o.onset_error_s for o in due if o.brink]),
        _spread("  against the nearest edge in doubt", [o.onset_off_s for o in due]),
        _spread("mass at endpoint, error / g", [o.mass_error_g for o in due]),
        _spread("middle of bracket against equivalence / %", [o.result_error_percent for o in due]),
        *_assays(outcomes),
        _rate(
            "additions seen", sum(o.portions_seen for o in outcomes),
            sum(o.portions for o in outcomes),
        ),
        _rate(
            "additions told that were one", sum(o.portions_seen for o in outcomes),
            sum(o.additions_told for o in outcomes),
        ),
        f"verdicts: {dict(Counter((o.expected, o.verdict) for o in outcomes))}",
        "worst ten:",
    ]  # fmt: skip
    worst = sorted(outcomes, key=lambda o: o.badness, reverse=True)[:10]
    return "\n".join(lines + [_line(o) for o in worst])


def _at_rest(outcomes: Sequence[Outcome]) -> list[str]:
    """Say what counting those that come to rest in doubt would make of the misses."""
    resting = [o for o in outcomes if o.at_rest_in_doubt]
    missed = [o for o in resting if o.verdict not in ("endpoint", "overshoot")]
    seeds = ", ".join(str(o.seed) for o in missed)
    return [
        f"  not due only because the colour comes to rest in doubt: {len(resting)}, "
        f"of them not called: {len(missed)} ({seeds})"
    ]


def _premature(outcomes: Sequence[Outcome]) -> list[str]:
    lines = []
    for hold_s in sorted({o.hold_s for o in outcomes}):
        held = [o for o in outcomes if o.hold_s == hold_s]
        early = [o for o in held if o.premature]
        stand = [o for o in early if not o.taken_back]
        lines.append(
            _rate(f"called, held {hold_s:g} s, faded later", len(early), len(held))
            + f"; taken back {len(early) - len(stand)}"
        )
        lines.append(_spread("  drops short", [o.short_drops for o in early]))
    return lines


def _assays(outcomes: Sequence[Outcome]) -> list[str]:
    lines = []
    for name, chosen in (
        ("all called", outcomes),
        ("due", [o for o in outcomes if o.due]),
    ):
        weighed = [o.weighed for o in chosen if o.weighed is not None]
        if weighed:
            lines.append(
                _spread(f"content, error / % ({name})", [w.error_percent for w in weighed])
            )
            inside = sum(w.covered for w in weighed)
            lines.append(_rate("  95 % interval holds the truth", inside, len(weighed)))
    return lines


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
    onset = "-" if o.onset_off_s is None else f"{o.onset_off_s:+.2f} s"
    mass = "-" if o.mass_error_g is None else f"{o.mass_error_g:+.3f} g"
    flags = (
        "BRINK " * o.brink
        + "FALSE " * o.false_endpoint
        + "DOUBTFUL " * o.doubtful
        + "MISSED " * o.missed
        + "PREMATURE " * (o.premature and not o.taken_back)
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
    parser.add_argument(
        "--masses", action="store_true", help="tell the detector the masses, and compute assays"
    )
    parser.add_argument("--json", type=Path, help="write every run's outcome here")
    options = parser.parse_args(arguments)
    begun = time.monotonic()
    seeds = range(options.seed, options.seed + options.runs)
    with ProcessPoolExecutor(options.jobs) as pool:
        outcomes = []
        for found in pool.map(partial(study, masses=options.masses), seeds, chunksize=4):
            outcomes.append(found)
            if sys.stderr.isatty():
                print(f"\r{len(outcomes)} of {options.runs}", end="", file=sys.stderr, flush=True)
    print(report(outcomes))
    print(f"{time.monotonic() - begun:.0f} s on {options.jobs} processes")
    if options.json is not None:
        options.json.write_text(json.dumps([asdict(o) for o in outcomes]), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
