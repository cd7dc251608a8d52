"""The cup on its way: conservation, the stiff steps, and the pace seen on the bench."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from huehold.errors import InputError
from huehold.virtual.bench import Bench, brisk_bench, kitchen_bench
from huehold.virtual.equilibrium import saturated
from huehold.virtual.kinetics import Beaker, dissolution_speed
from huehold.virtual.titration import PhTable, Recipe

PLAN = [(2.0, 0.40), (8.0, 0.40), (14.0, 0.30)]


@pytest.fixture(scope="module")
def brisk() -> Bench:
    return replace(brisk_bench(), alkalinity_mmol_per_kg=0.0)


def titrate(bench: Bench, plan: list[tuple[float, float]], end_s: float, step_s: float = 0.1):
    beaker = Beaker(bench)
    samples = [beaker.sample()]
    due = list(plan)
    for index in range(round(end_s / step_s)):
        if due and index * step_s >= due[0][0] - 1e-9:
            beaker.add(due.pop(0)[1])
        beaker.step(step_s)
        samples.append(beaker.sample())
    return beaker, samples


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("sample_g", -1.0, "must be greater than 0"),
        ("drop_g", 0.0, "must be greater than 0"),
        ("seed", -1, "cannot be negative"),
        ("acid_mol_per_kg", float("nan"), "must be a finite number"),
        ("water_g", -1.0, "cannot be negative"),
        ("temperature_c", 90.0, "must be 0 to 60"),
        ("content_mg_per_ml", 2000.0, "more than the suspension weighs"),
        ("plume", 2.0, "must be 0 to 1"),
        ("squirt_g", float("inf"), "must be a finite number"),
        ("water_g", float("nan"), "must be a finite number"),
        ("acid_mol_per_kg", 1e9, "cannot be over 20"),
    ],
)
def test_senseless_benches_are_refused(field, value, said):
    with pytest.raises(InputError, match=f"bench's {field} is .*{said}"):
        replace(kitchen_bench(), **{field: value})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"solid": "chalk"}, "no solid called 'chalk'"),
        ({"acid": "vinegar"}, "no acid called 'vinegar'"),
        ({"sample_g": 0.001}, "dissolve in this much water"),
        ({"alkalinity_mmol_per_kg": 0.01, "water_ph": 10.0}, "cannot have an alkalinity"),
        ({"size_sd": 4.0}, "makes no sense"),
    ],
)
def test_benches_that_cannot_be_are_told_in_a_sentence(change, said):
    with pytest.raises(InputError, match=said):
        Beaker(replace(kitchen_bench(), **change))


@pytest.mark.parametrize("mass", [0.0, -0.1, float("nan")])
def test_a_portion_must_weigh_something(brisk, mass):
    with pytest.raises(InputError, match="it must weigh something"):
        Beaker(brisk).add(mass)


def test_starts_saturated(brisk):
    """PH of brucite in water, 10.40 at 25 degrees (check values, section 2.3)."""
    bench = replace(brisk, temperature_c=25.0)
    assert Beaker(bench).sample().ph == pytest.approx(10.40, abs=0.02)
    recipe = Recipe(bench)
    metal = saturated(recipe.water, "brucite")[1]
    dissolved = (1.0 - Beaker(bench).sample().undissolved) * recipe.solid_mol
    assert dissolved / float(recipe.water_kg(0.0)) == pytest.approx(metal, rel=0.01)


def test_titrant_and_solid_are_conserved(brisk):
    beaker, samples = titrate(brisk, PLAN, 25.0)
    recipe = beaker.recipe
    for s in samples:
        assert s.mixed_g + s.plume_g == pytest.approx(
            sum(m for t, m in PLAN if t < s.time_s - 1e-6), rel=1e-9, abs=1e-12
        )
        dissolved = recipe.solid_mol * (1.0 - s.undissolved)
        mixed = recipe.composition(s.mixed_g, dissolved)
        kg = float(recipe.water_kg(s.mixed_g))
        assert float(mixed.metals["magnesium"]) * kg == pytest.approx(dissolved, rel=1e-9)
        excess = recipe.acid_mol_per_g * s.mixed_g - 2.0 * dissolved
        assert s.excess_mol == pytest.approx(excess, rel=1e-9, abs=1e-15)


def test_ph_on_the_way_balances_the_charge(brisk):
    beaker, samples = titrate(brisk, PLAN, 25.0)
    recipe = beaker.recipe
    for s in samples[::50]:
        dissolved = recipe.solid_mol * (1.0 - s.undissolved)
        exact = recipe.ph(s.mixed_g, dissolved)
        assert s.ph == pytest.approx(float(exact), abs=0.02)
        found = recipe.water.speciate(exact, recipe.composition(s.mixed_g, dissolved))
        assert abs(float(found.charge)) <= 1e-9 * float(found.ionic_strength)


def test_table_agrees_with_the_exact_ph():
    for bench in (kitchen_bench(), replace(kitchen_bench(), alkalinity_mmol_per_kg=3.0)):
        recipe = Recipe(bench)
        table = PhTable(recipe)
        rng = np.random.default_rng(5)
        titrant = rng.uniform(0.1, 1.0, 400) * recipe.equivalence_g
        excess = np.sinh(rng.uniform(-6.0, 6.0, 400)) * 1e-6 * recipe.water_kg(titrant)
        base = (titrant * recipe.acid_mol_per_g - excess) / 2.0
        base = np.clip(base, 0.0, recipe.solid_mol)
        found = table.look_up(titrant, table.excess_mol(titrant, base))
        assert found == pytest.approx(recipe.ph(titrant, base), abs=0.01)


def test_steps_agree_with_an_independent_integrator(brisk):
    """The same law with the exact pH of each moment, by Radau's rule in scipy."""
    recipe, sizes = Recipe(brisk), Beaker(brisk).sizes
    lag = brisk.mixing_s
    log_k = recipe.solid.log_k_at(brisk.temperature_c)

    def mixed_g(t: float) -> float:
        return sum(m * -np.expm1(-(t - at) / lag) for at, m in PLAN if t > at)

    def slope(t: float, state: np.ndarray) -> list[float]:
        left = float(sizes.left(min(state[0], sizes.largest)))
        mixed = recipe.composition(mixed_g(t), recipe.solid_mol * (1.0 - left))
        ph = recipe.water.ph(mixed)
        activity = recipe.water.speciate(ph, mixed).metal_activity["magnesium"]
        log_omega = float(np.log10(activity) + 2.0 * ph - log_k)
        return [dissolution_speed(brisk, float(ph), log_omega)]

    beaker, samples = titrate(brisk, PLAN[:1], 5.0)
    del beaker
    state, t = [samples[0].lost], 2.0
    reference = solve_ivp(
        slope, (t, 5.0), state, method="Radau", rtol=2e-4, atol=1e-6, t_eval=[2.5, 3, 3.5, 4, 5]
    )
    ours = np.interp(reference.t, [s.time_s for s in samples], [s.lost for s in samples])
    gained = reference.y[0] - state[0]
    assert ours - state[0] == pytest.approx(gained, rel=0.03, abs=2e-5)


def test_halving_the_step_hardly_matters(brisk):
    coarse = titrate(brisk, PLAN, 25.0, 0.1)[1]
    fine = titrate(brisk, PLAN, 25.0, 0.025)[1]
    a = np.array([s.undissolved for s in coarse])
    b = np.array([s.undissolved for s in fine[::4]])
    assert a == pytest.approx(b, abs=2e-3)  # 0.02 s of this brisk dissolution


def test_no_dissolution_at_saturation():
    bench = kitchen_bench()
    assert dissolution_speed(bench, 9.0, 0.0) == 0.0
    assert dissolution_speed(bench, 9.0, 0.3) == 0.0
    assert dissolution_speed(bench, 7.0, -30.0) == pytest.approx(1.0 / bench.dissolution_s)


def test_acid_speeds_dissolution_like_the_published_law():
    """Palandri and Kharaka 2004 in check values, section 10: rates at pH 2, 4, 7 and 9."""
    published = {2: 1.87e-6, 4: 1.92e-7, 7: 1.16e-8, 9: 6.34e-9}
    for ph, rate in published.items():
        ratio = dissolution_speed(kitchen_bench(), ph, -30.0) * kitchen_bench().dissolution_s
        assert ratio == pytest.approx(rate / published[7], rel=0.03)


def test_swirling_mixes_faster():
    still, swirled = Beaker(kitchen_bench()), Beaker(kitchen_bench())
    swirled.swirl(2.0)
    for beaker in (still, swirled):
        beaker.add(0.4)
        for _ in range(10):
            beaker.step(0.1)
    assert swirled.sample().plume_g < 0.5 * still.sample().plume_g


def test_the_place_where_titrant_lands_turns_at_once():
    beaker, samples = titrate(kitchen_bench(), [(0.5, 0.05)], 3.0)
    there, liquid = beaker.plume_ph(samples), np.array([s.ph for s in samples])
    # One drop alone cannot turn the liquid, but where it lands it does.
    assert liquid.min() > 8.3
    assert there[6:9].max() < 6.5
    assert np.all(there <= liquid)


def test_carbon_dioxide_lowers_the_ph_in_the_end(brisk):
    plan = [(1.0, 2.70)]
    _, without = titrate(brisk, plan, 60.0)
    _, taken = titrate(replace(brisk, co2_uptake_mmol_per_min=0.02), plan, 60.0)
    assert taken[-1].excess_mol - without[-1].excess_mol > 1e-5
    assert taken[-1].ph < without[-1].ph


@pytest.mark.parametrize(
    ("change", "equivalents"), [({"acid": "citric"}, 3), ({"solid": "portlandite"}, 1)]
)
def test_other_acids_and_hydroxides(change, equivalents):
    bench = replace(kitchen_bench(), **change)
    recipe = Recipe(bench)
    base = 2.0 * bench.dose_mg / 1000.0 / recipe.solid.molar_mass
    expected = base / (equivalents * bench.acid_mol_per_kg / 1000.0)
    assert recipe.equivalence_g == pytest.approx(expected, rel=1e-12)
    assert recipe.titrant_for_ph(8.0) == pytest.approx(expected, rel=0.005)


def test_hard_water_costs_titrant():
    """2 mmol/kg in 100 g ask for most of 0.2 mmol by pH 6, hardly any at pH 8."""
    recipe = Recipe(replace(kitchen_bench(), alkalinity_mmol_per_kg=2.0))
    blank = recipe.titrant_for_ph(5.0, with_sample=False) * recipe.acid_mol_per_g
    assert blank == pytest.approx(0.2e-3 / (1.0 / (1.0 + 10 ** (4.757 - 5.0))), rel=0.1)
    # The suspension's own water dilutes it a little.
    assert abs(recipe.titrant_for_ph(7.8, with_sample=False)) < 1e-4
    assert recipe.titrant_for_ph(8.0, with_sample=False) < 0.0
