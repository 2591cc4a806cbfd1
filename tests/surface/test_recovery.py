"""Means over quarters of faces, recovered from one value a face, against fields that are known."""

import numpy as np
import pytest
from helpers.meshes import cube, icosphere
from helpers.order import observed_order
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.surface.recovery import Recovery
from geom.surface.surface import Surface


def quarter_means(surface: Surface, value) -> Floats:  # type: ignore[no-untyped-def]
    """The means of a quadratic field over the quarters, exactly: by the middles of their edges."""
    corners = surface.corners
    middles = 0.5 * (corners + np.roll(corners, -1, axis=1))
    quarters = [middles]
    for k in range(3):
        quarters.append(np.stack([corners[:, k], middles[:, k], middles[:, k - 1]], axis=1))
    means = []
    for q in quarters:
        edges = 0.5 * (q + np.roll(q, -1, axis=1))
        means.append(np.mean([value(edges[:, a]) for a in range(3)], axis=0))
    return np.stack(means, axis=1)


def inner(surface: Surface) -> Floats:
    """Faces of the cube that touch no border of its sides."""
    return ~Recovery(surface)._at_border


def test_a_linear_field_is_recovered_within_flat_sides() -> None:
    surface = cube(6)

    def value(p: Floats) -> Floats:
        return 3.0 + p @ np.array([0.4, -0.2, 0.3])

    found = Recovery(surface).quarters(value(surface.centroids))
    far = inner(surface)
    scale = 1.0 / (surface.areas @ found.mean(axis=1)) * (surface.areas @ value(surface.centroids))
    assert_allclose(
        found[far] * scale, quarter_means(surface, value)[far], rtol=6e-3, atol=0
    )  # corner panels end at their ring


def test_a_bent_field_is_recovered_with_second_order_or_better_where_its_mean_is_off_by_the_bend() -> None:
    def value(p: Floats) -> Floats:
        return np.exp(1.5 * p[:, 0] + p[:, 1])

    sizes, errors, plain = [], [], []
    for n in (4, 8, 16):
        surface = cube(n)
        far = inner(surface)
        truth = quarter_means(surface, value).mean(axis=1)
        values = value(surface.centroids)
        found = Recovery(surface).raw_means(values)
        sizes.append(1 / n)
        errors.append(float(np.abs(found - truth)[far].max()))
        plain.append(float(np.abs(values - truth)[far].max()))
    assert observed_order(sizes, errors) > 1.8
    assert errors[-1] < 0.5 * plain[-1]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**31))
def test_the_sum_over_the_surface_is_kept_whatever_the_values(seed: int) -> None:
    surface = icosphere(2)
    values = np.random.default_rng(seed).uniform(0.5, 2.0, len(surface.faces))
    found = Recovery(surface).quarters(values)
    assert_allclose(surface.areas @ found.mean(axis=1), surface.areas @ values, rtol=1e-12, atol=0)


def test_no_quarter_within_a_patch_goes_beyond_its_neighbours() -> None:
    surface = icosphere(2)  # one patch without a border
    values = np.random.default_rng(1).uniform(0.5, 2.0, len(surface.faces))
    found = Recovery(surface).quarters(values)
    change = (surface.areas @ values) / (surface.areas @ values)
    assert found.max() <= values.max() * 1.2 * change
    assert found.min() >= values.min() / 1.2


def test_an_even_field_stays_even() -> None:
    for surface in (cube(3), icosphere(2)):
        found = Recovery(surface).quarters(np.full(len(surface.faces), 7.0))
        assert_allclose(found, 7.0, rtol=1e-9, atol=0)


@pytest.mark.parametrize("tag", [0, 3])
def test_values_do_not_leak_over_the_border_of_a_patch(tag: int) -> None:
    surface = cube(4)
    values = np.where(surface.tag == tag, 5.0, 1.0)
    found = Recovery(surface).quarters(values)
    assert_allclose(found, np.repeat(values[:, None], 4, axis=1), rtol=1e-9, atol=0)
