"""Area below a level, against closed forms."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.surface.solid import box, upright_cylinder
from geom.surface.waterline import area_below


@given(st.one_of(st.floats(1e-4, 0.05), st.floats(-0.02, -1e-4)))
def test_a_box_is_wet_to_its_level_on_the_sides_and_whole_on_the_bottom(level: float):
    body = box((-0.01, -0.02, 0.0), (0.01, 0.02, 0.03))
    depth = min(max(level, 0.0), 0.03)
    bottom = 0.02 * 0.04
    expected = 0.0 if level <= 0 else bottom + 2 * (0.02 + 0.04) * depth + (bottom if level >= 0.03 else 0.0)
    assert_allclose(area_below(body, level).sum(), expected, rtol=1e-9, atol=0)


def test_a_cylinder_lying_half_under_is_half_wet():
    lying = upright_cylinder((0, 0, 0), 0.02, 0.1, 48).moved(np.array([[0, 0, 1], [0, 1, 0], [-1, 0, 0]]), np.zeros(3))
    assert_allclose(area_below(lying, 0.0).sum(), 0.5 * lying.area, rtol=1e-12, atol=0)


@given(st.floats(-0.9, 0.9), st.floats(0.0, 6.28))
def test_a_cut_and_the_cut_upside_down_make_the_whole(level: float, angle: float):
    c, s = np.cos(angle), np.sin(angle)
    turned = box((-0.5, -0.3, -0.2), (0.4, 0.6, 0.7)).moved(np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]), np.zeros(3))
    over = turned.moved(np.diag([1.0, -1.0, -1.0]), np.zeros(3))
    both = area_below(turned, level).sum() + area_below(over, -level).sum()
    assert_allclose(both, turned.area, rtol=1e-9, atol=0)
