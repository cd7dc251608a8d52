"""A reflection over all of the liquid is no colour of it; chemistry is never taken for one."""

import numpy as np
import pytest

from huehold.vision.condition import Veil

GREEN = np.array([0.05, 0.14, 0.02])
ORANGE = np.array([0.30, 0.10, 0.02])
CLOUDY = np.array([0.45, 0.30, 0.12])
LAMP = np.full(3, 0.5)


def watched(veil: Veil, colour: np.ndarray, since_s: float, until_s: float) -> list[float]:
    return [veil.over(t, colour) for t in np.arange(since_s, until_s, 0.1)]


@pytest.mark.parametrize("liquid", [GREEN, ORANGE], ids=["green", "orange"])
def test_a_lamp_mirrored_in_the_liquid_is_seen_from_its_first_frame_to_its_last(liquid):
    veil = Veil()
    assert max(watched(veil, liquid, 0, 10)) == 0.0
    assert min(watched(veil, liquid + LAMP, 10, 13)) > 0.5
    assert max(watched(veil, liquid, 13, 20)) == 0.0


@pytest.mark.parametrize(
    ("before", "after"), [(ORANGE, GREEN), (GREEN, ORANGE), (CLOUDY, GREEN), (ORANGE, CLOUDY)]
)
def test_what_an_addition_does_is_no_veil(before, after):
    veil = Veil()
    watched(veil, before, 0, 5)
    assert max(watched(veil, after, 5, 8)) < 0.5


def test_a_look_that_stays_is_the_liquids_own():
    veil = Veil()
    watched(veil, GREEN, 0, 5)
    assert watched(veil, GREEN + LAMP, 5, 40)[-1] == 0.0
