"""Strength of the titrant: refusals, then a standardisation by hand."""

from datetime import date

import pytest

from huehold.calibration.store import Store
from huehold.calibration.titrant import calibrate
from huehold.errors import InputError, UsageError
from huehold.methods import load_method
from huehold.stoichiometry.standardise import Standardisation

METHOD = load_method("magnesium-hydroxide-by-vinegar")
FACTS = {"name": "x", "made": date(2026, 11, 1)}


@pytest.mark.parametrize(
    ("given", "error", "words"),
    [
        (Standardisation("chalk", "1.05", "15"), UsageError, "has no standard 'chalk'"),
        (Standardisation("baking soda", "-1", "15"), InputError, "negative"),
        (Standardisation("baking soda", "1.05", "0"), InputError, "zero"),
        (Standardisation("baking soda", "1.05", "0.1", "5 g"), InputError, "exchanged"),
        (Standardisation("baking soda", "1.05", "15", assay="5 %"), InputError, "cannot be that"),
    ],
)
def test_standardisations_that_make_no_sense(given, error, words):
    with pytest.raises(error, match=words):
        calibrate(METHOD, given, **FACTS)


def test_strength_by_hand():
    made = calibrate(METHOD, Standardisation("baking soda", "1.050 g", "15.05 g"), **FACTS)
    # 1.050 g of 99.5 % NaHCO3, 84.0065 g/mol (CIAAW 2021), in 15.05 g less half a drop.
    assert made.strength.value == pytest.approx(1.050 * 0.995 / 84.0065 / 15.025e-3, rel=1e-4)
    assert made.strength.u / made.strength.value == pytest.approx(0.0052, abs=0.002)
    assert made.method == METHOD.name


def test_five_percent_vinegar_comes_out_as_its_label_says():
    # 5 g per 100 mL are 0.8283 mol/kg (CRC density): so much soda takes 20.025 g.
    soda = 0.82833 * 20.0e-3 * 84.0065 / 0.995
    made = calibrate(METHOD, Standardisation("NaHCO3", f"{soda:.4f}", "20.025"), **FACTS)
    assert made.strength.value == pytest.approx(0.8283, abs=0.0005)


def test_it_keeps_what_a_run_needs_to_show_its_working(tmp_path):
    given = Standardisation("baking soda", "1.05 g", "15.05 g", "0.04 g", "99.7 %")
    Store(tmp_path).save(calibrate(METHOD, given, **FACTS))
    assert Store(tmp_path).get("titrant/x").as_standardisation() == given
