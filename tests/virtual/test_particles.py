"""Particles that shrink together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from huehold.errors import InputError
from huehold.virtual.particles import ParticleSizes


@pytest.mark.parametrize("sd", [-0.1, 2.0, float("nan")])
def test_senseless_spread_is_refused(sd):
    with pytest.raises(InputError, match="makes no sense"):
        ParticleSizes(sd)


def test_equal_spheres_follow_the_cube_law():
    """Hixson and Crowell 1931: the cube root of the mass falls evenly."""
    lost = np.array([0.0, 0.1, 0.5, 0.9, 1.0, 1.5])
    expected = np.clip(1.0 - lost, 0.0, None) ** 3
    assert ParticleSizes(0.0).left(lost) == pytest.approx(expected, abs=1e-12)


def test_a_spread_leaves_a_tail():
    even, spread = ParticleSizes(0.0), ParticleSizes(0.4)
    assert spread.left(0.95) > 10.0 * even.left(0.95)
    assert spread.left(spread.largest) == 0.0


@settings(deadline=None)
@given(st.floats(0.0, 1.5), st.floats(0.001, 1.0))
def test_length_for_a_fraction_is_the_inverse(sd, left):
    sizes = ParticleSizes(sd)
    assert float(sizes.left(sizes.lost_for(left))) == pytest.approx(left, abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 1.0))
def test_surface_is_the_slope(sd):
    sizes = ParticleSizes(sd)
    lost = np.linspace(0.0, sizes.largest, 1001)
    gone = cumulative_trapezoid(sizes.surface(lost), lost, initial=0.0)
    assert 1.0 - sizes.left(lost) == pytest.approx(gone, abs=1e-3)


def test_table_agrees_with_the_sum():
    sizes = ParticleSizes(0.3)
    step, values = sizes.table
    assert np.asarray(values) == pytest.approx(sizes.left(step * np.arange(len(values))))
