"""The detector on runs of the virtual bench, seen without pictures."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import pytest

from huehold.core import Observation
from huehold.virtual.bench import brisk_bench
from huehold.virtual.observe import View, observe
from huehold.virtual.operator import Operator
from huehold.virtual.run import run_bench
from huehold.virtual.truth import Truth
from tests.detection.traces import run

CAREFUL = Operator(patience_s=75.0, waves_per_min=0.3)


@lru_cache(maxsize=8)
def titrated(seed: int, operator: Operator = CAREFUL) -> Truth:
    return run_bench(brisk_bench(seed), operator)


def seen(seed: int, operator: Operator = CAREFUL, **view: object) -> list[Observation]:
    return observe(titrated(seed, operator), brisk_bench(seed), View(seed=seed, **view))  # type: ignore[arg-type]


def test_a_run_given_up_early_is_not_reached() -> None:
    gives_up = replace(CAREFUL, stop_s=30.0)
    assert titrated(3, gives_up).onset_s is None
    assert run(seen(3, gives_up)).finish().kind == "not_reached"


def test_a_run_cut_off_within_the_hold_is_not_reached() -> None:
    truth = titrated(1)
    assert truth.onset_s is not None
    short = [o for o in seen(1) if o.time_s < truth.onset_s + 50.0]
    assert run(short).finish().kind == "not_reached"


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    "view",
    [{}, {"noise": 1.5, "rate_hz": 6.0}, {"illuminant": "LED warm"}, {"white_drift_per_min": 0.01}],
    ids=str,
)
def test_the_endpoint_is_found_where_it_was(seed: int, view: dict[str, object]) -> None:
    truth = titrated(seed)
    found = run(seen(seed, **view)).finish()
    assert found.kind == "endpoint"
    assert found.onset_s == pytest.approx(truth.onset_s, abs=1.0)
    assert found.cleared


def test_every_portion_is_seen_once() -> None:
    times = [a.time_s for a in titrated(2).additions]
    portions = 1 + sum(b - a > 1.5 for a, b in pairwise(times))  # drops in a row are one
    told = [e for e in run(seen(2)).events if e.kind == "addition"]
    assert len(told) == portions
