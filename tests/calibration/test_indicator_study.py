"""The table of docs/calibration.md: errors of pKa and pH over dyes, strengths and lights."""

import itertools
from datetime import date

import numpy as np
import pytest

from huehold.calibration.indicator_fit import ColourPoint, fit_chart
from huehold.virtual.optics import LiquidOptics
from huehold.vision.colour import lab_from_linear
from tests.calibration.test_indicator import KNOWN, PAPER

LIGHTS = {"D65": "daylight", "LED": "led", "bulb": "bulb", "fluorescent tri-band": "tri-band"}


def looks(doses, ph, light):
    seen = LiquidOptics(doses, 25.0, light).appearance(ph).over(PAPER)
    return lab_from_linear(np.maximum(seen, 1e-4), PAPER)


def one_chart(rng, doses, pka, light):
    ph = np.arange(pka - 2, pka + 2.01, 0.5)
    lab = looks(doses, ph, light) + rng.normal(0, 0.4, (len(ph), 3))
    stated = ph + rng.normal(0, 0.04, len(ph))
    points = [ColourPoint(p, 0.04, *c, u=0.4) for p, c in zip(stated, lab, strict=True)]
    return fit_chart(points, name="x", dye="d", made=date(2026, 1, 1), illuminant=LIGHTS[light])


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("light", LIGHTS)
def test_study(light):
    rng = np.random.default_rng(7)
    off_pka, u_pka, off_ph, inside = [], [], [], []
    for (dye, pka), dose, _ in itertools.product(KNOWN.items(), (0.08, 0.15, 0.25), range(3)):
        chart = one_chart(rng, {dye: dose}, pka, light)
        assert chart.basis == "protolysis"
        nearest = min(chart.pka, key=lambda v: abs(v.value - pka))
        off_pka.append(abs(nearest.value - pka))
        u_pka.append(nearest.u)
        ph = np.linspace(*chart.turning_ph(), 30)
        lab = looks({dye: dose}, ph, light) + rng.normal(0, 0.5, (30, 3))
        read = np.array([chart.ph(a, b, u=0.5, dose_rel=0.0) for _, a, b in lab])
        off_ph += list(np.abs(read[:, 0] - ph))
        inside += list(np.abs(read[:, 0] - ph) < 1.96 * read[:, 1])
    near = np.mean(np.array(off_ph) < 0.2)
    held = np.mean(np.array(off_pka) < 1.96 * np.array(u_pka))
    print(
        f"\n{light}: pKa {np.median(off_pka):.3f}, {np.percentile(off_pka, 95):.3f}, worst "
        f"{max(off_pka):.3f}, inside {100 * held:.1f} %; pH {np.median(off_ph):.3f}, "
        f"{np.percentile(off_ph, 95):.3f}, within 0.2 {100 * near:.1f} %, "
        f"inside {100 * np.mean(inside):.1f} %"
    )
    assert np.median(off_pka) < 0.05
    assert np.percentile(off_pka, 95) < 0.1
    assert held > 0.95
    assert near > 0.99
    assert np.mean(inside) > 0.95
