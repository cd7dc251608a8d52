"""Runs seen without pictures."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import spearmanr

from huehold.errors import InputError
from huehold.virtual.bench import brisk_bench, kitchen_bench
from huehold.virtual.observe import View, observe
from huehold.virtual.operator import brisk_operator
from huehold.virtual.run import run_bench
from huehold.virtual.truth import Disturbance

QUIET = View(noise=0.0, wander=0.0, white_drift_per_min=0.0, turbidity_noise=0.0, jitter_s=0.0)


@pytest.fixture(scope="module")
def bench():
    return brisk_bench(5)


@pytest.fixture(scope="module")
def truth(bench):
    return run_bench(bench, brisk_operator())


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("rate_hz", 0.0, "must be greater than 0"),
        ("exposure", -1.0, "must be greater than 0"),
        ("noise", -0.1, "cannot be negative"),
        ("seed", -1, "cannot be negative"),
        ("wander", float("nan"), "must be a finite number"),
    ],
)
def test_senseless_views_are_refused(field, value, said):
    with pytest.raises(InputError, match=f"view's {field} is .*{said}"):
        replace(View(), **{field: value})


def test_observations_are_in_time_order_and_within_their_ranges(truth, bench):
    seen = observe(truth, bench)
    times = np.array([o.time_s for o in seen])
    assert np.all(np.diff(times) > 0.0)
    assert len(seen) == pytest.approx(10.0 * truth.duration_s, rel=0.02)
    for o in seen:
        assert 0.0 <= o.hue_deg < 360.0
        assert 0.0 <= o.trust <= 1.0
        assert o.hue_sd_deg > 0.0
        assert np.hypot(o.a, o.b) == pytest.approx(o.chroma)
        assert (o.trust < 0.98) <= bool(o.reasons)


def test_the_same_seed_gives_the_same_view(truth, bench):
    assert observe(truth, bench) == observe(truth, bench)
    assert observe(truth, bench) != observe(truth, bench, View(seed=1))


def test_colour_follows_the_liquid(truth, bench):
    seen = observe(replace(truth, disturbances=()), bench, QUIET)
    times = np.array([o.time_s for o in seen])
    hue = np.array([o.hue_deg for o in seen])
    ph = truth.at("ph", times)
    settled = truth.at("plume_fraction", times) == 0.0
    assert spearmanr(hue[settled], -ph[settled])[0] > 0.9
    assert np.all((hue[settled & (ph > 9.5)] > 30.0) & (hue[settled & (ph > 9.5)] < 75.0))
    held = times > truth.onset_s + 3.0
    assert np.all(hue[held] > 95.0)


def test_turbidity_follows_the_undissolved_solid_in_rank(truth, bench):
    """Design: Spearman at least 0.9."""
    seen = observe(truth, bench)
    cloud = np.array([o.turbidity for o in seen])
    left = truth.at("undissolved_fraction", np.array([o.time_s for o in seen]))
    assert spearmanr(cloud, left)[0] >= 0.9
    assert cloud[:20].mean() == pytest.approx(1.0, abs=0.1)
    assert cloud[-20:].mean() < 0.1


def test_a_hand_takes_trust_and_says_so(truth, bench):
    covered = replace(truth, disturbances=(Disturbance(5.0, 9.0, "wave"),))
    seen = observe(covered, bench, replace(QUIET, unnoticed=0.0))
    during = [o for o in seen if 6.0 < o.time_s < 8.0]
    assert all(o.trust < 0.5 and o.reasons == ("hand",) for o in during)
    assert all(o.trust == 1.0 and not o.reasons for o in seen if o.time_s > 10.0)


def test_some_hands_go_unnoticed(truth, bench):
    covered = replace(truth, disturbances=(Disturbance(5.0, 25.0, "wave"),))
    seen = observe(covered, bench, View(unnoticed=0.3))
    trusted = np.mean([o.trust >= 0.5 for o in seen if 6.0 < o.time_s < 24.0])
    assert 0.15 < trusted < 0.45


def test_noise_is_as_large_as_asked(truth, bench):
    still = replace(truth, disturbances=())
    clean = observe(still, bench, QUIET)
    noisy = observe(still, bench, replace(QUIET, noise=0.5, wander=0.4))
    off = np.array([n.a - c.a for n, c in zip(noisy, clean, strict=True)])
    assert off.std() == pytest.approx(np.hypot(0.5, 0.4), rel=0.25)


def test_lost_frames_stay_gaps(truth, bench):
    seen = observe(truth, bench, View(lost_per_min=4.0))
    gaps = np.diff([o.time_s for o in seen])
    assert gaps.max() > 0.5


def test_faded_dye_is_paler():
    bench = replace(brisk_bench(5), dye_fade_per_min=0.5)
    truth = run_bench(bench, brisk_operator())
    first, last = (o.chroma for o in (observe(truth, bench)[-5], observe(
        replace(truth, dye_left=np.ones_like(truth.dye_left)), bench)[-5]))  # fmt: skip
    assert first < last - 3.0


def test_a_quarter_of_an_hour_is_made_quickly():
    """1,000 runs in 5 minutes on two cores leave 0.6 s of one core for each."""
    bench = kitchen_bench(9)
    run_bench(brisk_bench(9), brisk_operator())  # libraries and caches
    began = time.process_time()
    observe(run_bench(bench), bench)
    assert time.process_time() - began < 1.5  # generous: other work shares the caches
