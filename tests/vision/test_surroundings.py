"""Flicker runs along whole rows; what reaches in from one side is no flicker."""

import numpy as np
import pytest

from huehold.core import Ellipse
from huehold.vision.channels import median_of, quantile_of, share_after
from huehold.vision.surroundings import Surroundings

VESSEL = Ellipse(160.0, 120.0, 40.0, 40.0)
ROWS = np.s_[60:180]


def picture(seed: int) -> np.ndarray:
    """An even table with grain."""
    grain = np.random.default_rng(seed).normal(0.0, 2.0, (240, 320, 1))
    return np.clip(150.0 + grain + np.zeros(3), 0, 255).astype(np.uint8)


def look(surroundings: Surroundings, image: np.ndarray, number: int):
    return surroundings.look(image, VESSEL, number / 12)


@pytest.fixture
def settled() -> Surroundings:
    surroundings = Surroundings()
    for number in range(12):
        look(surroundings, picture(number), number)
    return surroundings


def test_a_sleeve_over_half_the_picture_is_no_flicker(settled):
    image = picture(20)
    image[ROWS, :200] = 60
    around = look(settled, image, 12)
    assert around.banding == 0.0
    assert around.changed > 0.2


def test_dark_rows_from_edge_to_edge_are_flicker(settled):
    image = picture(20)
    image[ROWS] = (0.85 * image[ROWS]).astype(np.uint8)
    around = look(settled, image, 12)
    dark, bright = around.band(120.0, 20.0), around.band(20.0, 10.0)
    assert dark / bright == pytest.approx(0.85**2.2, abs=0.06)
    assert around.changed < 0.05


@pytest.mark.parametrize("count", [1, 2, 7, 100, 101])
def test_medians_and_quantiles_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=count).astype(np.float32)
    assert median_of(values) == pytest.approx(float(np.median(values)), abs=1e-6)
    nearest = float(np.quantile(values, 0.25, method="nearest"))
    assert quantile_of(values, 0.25) == pytest.approx(nearest, abs=1e-6)


def test_memory_fades_by_time_and_not_by_frames():
    quick = 1.0
    for _ in range(24):
        quick *= 1.0 - share_after(0.03, 1 / 24)
    assert quick == pytest.approx(1.0 - share_after(0.03, 1.0))
    assert share_after(0.03, 1 / 12) == pytest.approx(0.03)
