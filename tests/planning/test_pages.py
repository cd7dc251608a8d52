"""What the pages on the plan and the virtual bench say still holds."""

import re
import shlex
from pathlib import Path

import numpy as np
import pytest

from huehold.cli.plan import plan as plan_command
from huehold.cli.simulate import simulate as simulate_command
from huehold.methods import list_methods, load_method
from huehold.planning.chemistry import why_not
from huehold.virtual.bench import Bench, kitchen_bench
from huehold.virtual.optics import LiquidOptics
from huehold.virtual.presets import load_preset
from huehold.virtual.presets_settings import with_settings
from huehold.virtual.run import hue_turned, run_bench, turning_ph

DOCS = Path(__file__).resolve().parents[2] / "docs"
PLAN = (DOCS / "plan.md").read_text("utf-8")
BENCH = (DOCS / "virtual_bench.md").read_text("utf-8")


def commands(page, name):
    joined = page.replace("\\\n", " ")
    lines = re.findall(rf"^huehold {name}\b(.*)$", joined, flags=re.MULTILINE)
    return [shlex.split(line, comments=True) for line in lines]


@pytest.mark.parametrize("arguments", commands(PLAN, "plan"))
def test_commands_of_the_plan_page_are_understood(arguments):
    context = plan_command.make_context("plan", list(arguments))
    assert load_method(context.params["method"])


@pytest.mark.parametrize("arguments", commands(BENCH, "simulate"))
def test_commands_of_the_bench_page_are_understood(arguments):
    context = simulate_command.make_context("simulate", list(arguments))
    assert with_settings(load_preset(context.params["preset"]), context.params["assignments"])


@pytest.mark.parametrize("page", [PLAN, BENCH])
def test_pictures_and_pages_named_are_there(page):
    for target in re.findall(r"\]\(([^)#:]+)\)", page):
        assert (DOCS / target).is_file(), target


def test_python_of_the_bench_page_runs(capsys):
    (code,) = re.findall(r"```python\n(.*?)```", BENCH, flags=re.DOTALL)
    exec(compile(code, "virtual_bench.md", "exec"), {})
    assert "TrueEndpoint" in capsys.readouterr().out


def test_how_many_methods_have_a_curve():
    assert "Seven of the ten" in PLAN
    assert sum(not why_not(load_method(name)) for name in list_methods()) == 7


def test_turning_is_as_stated():
    assert turning_ph(kitchen_bench()) == pytest.approx(7.80, abs=0.005)
    stated = {9.0: 0.09, 8.5: 0.24, 8.0: 0.49, 7.5: 0.75, 7.0: 0.91, 6.5: 0.98}
    turned = hue_turned(kitchen_bench(), list(stated))
    assert turned == pytest.approx(list(stated.values()), abs=0.006)


def test_how_solid_hides_the_ground_is_as_stated():
    sharp = LiquidOptics().appearance(9.5, np.array([0.1, 0.4, 0.8, 1.6])).sharp
    assert sharp == pytest.approx([0.78, 0.28, 0.06, 0.002], rel=0.05, abs=0.0005)


@pytest.mark.parametrize(("pace_s", "minutes"), [(300.0, (9.2, 9.9)), (600.0, (13.9, 15.1))])
def test_pace_is_as_stated(pace_s, minutes):
    truth = run_bench(Bench(dissolution_s=pace_s, seed=1))
    assert minutes[0] <= truth.duration_s / 60.0 <= minutes[1]
    early, late = _fade_times(truth, 0.0, 0.5), _fade_times(truth, 0.95, 1.0)
    assert 1.5 < np.median(early) < 4.5
    assert 5.0 < np.median(late) < 12.0  # of one run; the page pools six
    assert max(late) < 61.0


def _fade_times(truth, from_share, to_share):
    """How long the mixed liquid was past the turning pH after additions that faded."""
    starts = np.array([a.time_s for a in truth.additions])
    times = []
    for start, end in zip(starts, [*starts[1:], truth.duration_s], strict=True):
        rows = (truth.time_s >= start) & (truth.time_s < end)
        green = truth.ph[rows] < truth.turning_ph
        share = truth.added_g[rows][0] / truth.turning_g
        if green.any() and not green[-1] and from_share <= share < to_share:
            times.append(0.1 * (np.flatnonzero(green)[-1] - np.flatnonzero(green)[0] + 1))
    return times
