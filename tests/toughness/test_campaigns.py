"""The campaigns' own bookkeeping: what they call right, what they say grew."""

import pytest
from benchmarks.disturbances import CAMPAIGN, Outcome, outcome, table
from benchmarks.soak import Probe, observations

from huehold.virtual.presets import load_preset
from huehold.virtual.presets_settings import with_settings
from huehold.virtual.run import turning_ph


def made(verdict="endpoint", early_s=0.1, strength=1) -> Outcome:
    return Outcome("blur", strength, (), verdict, early_s, 0.9, 1.0, ())


@pytest.mark.parametrize(
    ("verdict", "early_s", "judged"),
    [
        ("endpoint", 0.1, "right"),
        ("endpoint", 5.0, "FALSE"),
        ("endpoint", -5.0, "late"),
        ("not_reached", None, "missed"),
        ("unreadable", None, "missed"),
    ],
)
def test_an_outcome_is_held_against_the_truth(verdict, early_s, judged):
    assert made(verdict, early_s).judged == judged


def test_the_table_names_the_first_strength_that_is_not_right():
    lines = table([made(), made("not_reached", None, 3)]).splitlines()
    assert len(lines) == 2 + len(CAMPAIGN)
    row = next(line for line in lines if line.startswith("| blur"))
    assert "missed 0.90 (100 %)" in row
    assert row.endswith("| 3 |")
    assert "not run" in row


@pytest.mark.parametrize("name", CAMPAIGN)
def test_each_disturbance_has_five_strengths_the_bench_takes(name):
    rows = CAMPAIGN[name][1]
    assert len(set(rows)) == 5
    for row in rows:
        changed = with_settings(load_preset("clean"), row)
        assert changed != load_preset("clean")
        assert 6.0 < turning_ph(changed.bench) < 9.5  # raises if no colour is left to see


def test_a_soak_goes_on_in_time_and_tells_what_grew(capsys):
    probe = Probe(every_s=120.0)
    last_s = 0.0
    for count, seen in enumerate(observations(0.2, benches=1), start=1):
        assert seen.time_s >= last_s
        last_s = seen.time_s
        probe.look(seen.time_s, count)
    assert last_s == pytest.approx(720.0, abs=21.0)
    assert len(probe.samples) >= 5
    assert "threads 1 to 1" in probe.told()
    assert "MB" in capsys.readouterr().out


@pytest.mark.slow
def test_an_undisturbed_run_is_right():
    found = outcome("none", 0, ())
    assert found.judged == "right"
    assert found.trust > 0.9
