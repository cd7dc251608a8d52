"""What calibrations give to an assay."""

from datetime import date

import pytest

from huehold.calibration import balance, density, dropper, titrant
from huehold.calibration.applied import applied, gather, hue_bands
from huehold.calibration.store import Store
from huehold.errors import InputError, UsageError
from huehold.methods import load_method
from huehold.stoichiometry.assay import assay
from huehold.stoichiometry.standardise import Standardisation

MADE = date(2026, 11, 1)
METHOD = load_method("magnesium-hydroxide-by-vinegar")
TYPED = {"sample_mass": "5.22 g", "titrant_mass": "16.56 g", "strength": "5.0 %"}
DROPPER = dropper.calibrate(
    [dropper.Weighing(20, 0.95), dropper.Weighing(20, 0.97)], name="d", made=MADE
)
BALANCE = balance.calibrate(name="b", made=MADE, readability_g=0.01, together=[([5, 5], 10.02)])
DENSITY = density.against_water([104.6], [100.0], name="s", made=MADE, method=METHOD.name)
TITRANT = titrant.calibrate(
    METHOD, Standardisation("baking soda", "1.05 g", "15.05 g"), name="v", made=MADE
)
CHART = Store("nowhere").get("indicator/turmeric-and-spirulina-food-colouring")


def test_one_made_for_another_method_is_left_out():
    other = load_method("lime-water")
    found = applied([DENSITY], other)
    assert found.arguments == {}
    assert "was made for magnesium-hydroxide-by-vinegar, not lime-water" in found.warnings[0]


def test_a_colour_of_another_dye_gives_no_ph():
    found = applied([CHART], METHOD, end_colour=(60.0, -60.0))
    assert found.arguments == {}
    assert "is none of the chart" in found.warnings[0]


def test_nothing_gives_nothing():
    assert applied([], METHOD).arguments == {}
    assert applied([CHART], METHOD).used == ()


def test_an_assay_takes_all_of_them():
    found = applied([DROPPER, BALANCE, DENSITY, TITRANT, CHART], METHOD, end_colour=(-36.0, 62.0))
    assert set(found.arguments) == {
        "drop_mass", "balance", "density", "standardisation", "end_ph",
    }  # fmt: skip
    assert found.used[0] == "dropper/d@1"
    assert len(found.used) == 5
    ph, u = found.arguments["end_ph"]
    assert u >= 0.5  # a computed chart is doubted
    assert abs(ph - 7.0) < 2 * u
    typed = {key: value for key, value in TYPED.items() if key != "strength"}
    result = assay(METHOD, **typed, bracket_mass="1 drop", **found.arguments)
    names = {item.name: item for item in result.inputs}
    assert names["density of the sample"].source.startswith("calibration density/s@1")
    assert result.results["content"].value == pytest.approx(80, rel=0.05)


def test_the_dropper_counts_where_drops_were_typed():
    result = assay(METHOD, **TYPED, bracket_mass="1 drop", **applied([DROPPER], METHOD).arguments)
    assert any(item.value == pytest.approx(0.024) for item in result.inputs)


def test_a_worse_balance_widens_the_result():
    worse = assay(METHOD, **TYPED, **applied([BALANCE], METHOD).arguments)
    plain = assay(METHOD, **TYPED)
    share = {item.name: item.u for item in worse.inputs}["sample mass"]
    assert share > {item.name: item.u for item in plain.inputs}["sample mass"]


def test_one_named_for_a_run_must_be_there(tmp_path):
    store = Store(tmp_path)
    with pytest.raises(UsageError):
        gather(["nothing"], store=store)
    with pytest.raises(InputError):
        gather([str(tmp_path / "x.toml")], store=store)


def test_a_run_goes_on_without_a_broken_one_in_use(tmp_path):
    store = Store(tmp_path)
    store.save(DROPPER)
    store.use("dropper/d")
    (tmp_path / "dropper.d.toml").write_text("schema")
    found, told = gather(store=store)
    assert found == ()
    assert "is not used" in told[0]


def test_a_run_goes_on_without_a_broken_one_that_was_named_if_asked_to(tmp_path):
    store = Store(tmp_path)
    store.save(BALANCE)
    (tmp_path / "cut.toml").write_text('schema = "huehold.calibration/1"\nkind = "dro')
    refs = ["nothing", str(tmp_path / "cut.toml"), "balance/b"]
    found, told = gather(refs, store=store, skip=True)
    assert [c.ref for c in found] == ["balance/b@1"]
    assert len(told) == 2
    assert "nothing is not used: There is no calibration 'nothing'" in told[0]
    assert "cut.toml is not valid TOML" in told[1]


def test_one_that_is_named_goes_before_the_one_in_use(tmp_path):
    store = Store(tmp_path)
    store.save(DROPPER)
    store.save(BALANCE)
    other = dropper.calibrate([dropper.Weighing(20, 1.05)], name="other", made=MADE)
    store.save(other)
    store.use("dropper/d")
    store.use("balance/b")
    assert {c.ref for c in gather(store=store)[0]} == {"dropper/d@1", "balance/b@1"}
    assert {c.ref for c in gather(["other"], store=store)[0]} == {"dropper/other@1", "balance/b@1"}
    assert [c.ref for c in gather(["none", "other"], store=store)[0]] == ["dropper/other@1"]


def test_reminders_come_with_it(tmp_path):
    store = Store(tmp_path)
    store.save(DROPPER)
    assert gather(["d"], store=store, today=date(2026, 11, 2))[1] == ()
    assert "was to be repeated" in gather(["d"], store=store, today=date(2028, 1, 1))[1][0]


def test_a_computed_chart_moves_no_hue_band():
    assert hue_bands([CHART], METHOD) is None
    assert hue_bands([DROPPER], METHOD) is None


def test_hue_bands_of_a_measured_chart():
    measured = CHART.model_copy(update={"origin": "measured"})
    start, end = hue_bands([measured], METHOD)
    # At pH 9.2 and more the suspension is orange; at 7 and less the mixture is green.
    assert start[0] < 65.0 < start[1] < end[0] < 120.0 < end[1]
    assert hue_bands([measured], load_method("total-hardness-by-edta")) is None
    elsewhere = measured.model_copy(update={"method": "lime-water"})
    assert hue_bands([elsewhere], METHOD) is None
    other = Store("nowhere").get("indicator/bromocresol-green")
    assert hue_bands([other.model_copy(update={"origin": "measured"})], METHOD) is None


def test_hue_bands_where_acid_is_the_start():
    chart = Store("nowhere").get("indicator/thymol-blue").model_copy(update={"origin": "measured"})
    start, end = hue_bands([chart], load_method("acetic-acid-in-vinegar"))
    assert start[0] < 100.0 < start[1] < end[0] < 230.0
