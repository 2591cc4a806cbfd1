"""Compressed layers against the same layers in full, and what is kept of them over a move of the body."""

import math

import numpy as np
import pytest
from helpers.electrodes import rows
from helpers.meshes import box_in_box, cube
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from geom.arrays import Floats, Ints
from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundarySolution, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.bem.tree import grown
from geom.surface.surface import Surface

INNER, OUTER = range(6), range(6, 12)
NEVER, ALWAYS = 10**12, 0


def cell(turn: float = 0.0, shift: float = 0.0) -> tuple[Surface, Ints]:
    """A cube of side 1 within one of side 3, the inner turned and moved; and the panels of the inner."""
    surface = box_in_box(9, 1.0, 3.0)
    inner = rows(surface, INNER)
    corners = np.unique(surface.faces[inner])
    vertices = np.array(surface.vertices)
    c, s = math.cos(turn), math.sin(turn)
    vertices[corners] = vertices[corners] @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) + [0, 0, shift]
    return Surface(vertices, surface.faces, surface.tag), inner


def products(operators: Operators) -> Floats:
    """The operators times a wave and its slope."""
    centroids = np.concatenate([g.centroids for g in operators.groups])
    order = np.concatenate([g.panels for g in operators.groups])
    places = np.zeros_like(centroids)
    places[order] = centroids
    potential = np.stack([np.sin(2 * places[:, 0]), places[:, 1] * places[:, 2]], axis=1)
    return operators.product(potential, 3.0 * potential[operators.electrodes])


def solved(operators: Operators, surface: Surface) -> BoundarySolution:
    return solve(
        operators,
        anodes=[ElectrodePatch(rows(surface, OUTER), None)],
        cathodes=[ElectrodePatch(rows(surface, INNER), None)],
        conductivity=1.0,
        control=Voltage(1.0),
    )


def test_compressed_products_are_those_in_full_to_one_part_in_ten_thousand() -> None:
    surface, inner = cell(0.3)
    everything = np.arange(len(surface.faces))
    full, thin = (
        products(assemble(surface, everything, dtype=np.float64, body=inner, compress_from=start))
        for start in (NEVER, ALWAYS)
    )
    assert np.linalg.norm(thin - full) < 2e-4 * np.linalg.norm(full)


def test_compression_saves_memory_and_changes_no_current_by_more_than_a_ten_thousandth() -> None:
    surface, inner = cell(0.3)
    everything = np.arange(len(surface.faces))
    full, thin = (assemble(surface, everything, body=inner, compress_from=start) for start in (NEVER, ALWAYS))
    assert thin.entries < 0.75 * full.entries == 0.75 * 2 * len(everything) ** 2
    a, b = solved(full, surface), solved(thin, surface)
    assert_allclose(b.cathode_current, a.cathode_current, rtol=1e-4, atol=0)
    assert np.linalg.norm(b.current_density - a.current_density) < 1e-3 * np.linalg.norm(a.current_density)


def test_single_precision_is_as_good_as_double() -> None:
    surface, inner = cell(0.3)
    everything = np.arange(len(surface.faces))
    single, double = (
        solved(assemble(surface, everything, body=inner, dtype=dtype), surface) for dtype in (np.float32, np.float64)
    )
    assert_allclose(single.cathode_current, double.cathode_current, rtol=1e-5, atol=0)
    change = np.linalg.norm(single.current_density - double.current_density)
    assert change < 1e-4 * np.linalg.norm(double.current_density)


@pytest.mark.parametrize("start", [NEVER, ALWAYS])
def test_a_move_keeps_the_layers_of_the_body_on_itself_and_of_the_rest_on_itself(start: int) -> None:
    before, inner = cell()
    after, _ = cell(0.4, 0.3)
    everything = np.arange(len(before.faces))
    first = assemble(before, everything, body=inner, compress_from=start)
    moved = assemble(after, everything, body=inner, kept=first, compress_from=start)
    assert moved.pairs[0][0] is first.pairs[0][0]
    assert moved.pairs[1][1] is first.pairs[1][1]
    assert moved.pairs[0][1] is not first.pairs[0][1]
    anew = assemble(after, everything, body=inner, compress_from=start)
    assert_allclose(solved(moved, after).cathode_current, solved(anew, after).cathode_current, rtol=5e-5, atol=0)


def test_a_body_that_changed_its_shape_is_not_taken_over() -> None:
    before, inner = cell()
    after, _ = cell()
    vertices = np.array(after.vertices)
    corner = np.unique(after.faces[inner])
    vertices[corner] *= [1.0, 1.0, 1.001]
    stretched = Surface(vertices, after.faces, after.tag)
    everything = np.arange(len(before.faces))
    first = assemble(before, everything, body=inner)
    assert assemble(stretched, everything, body=inner, kept=first).pairs[0][0] is not first.pairs[0][0]


def test_a_body_of_two_kinds_is_refused() -> None:
    surface, inner = cell()
    with pytest.raises(ValueError, match="electrode as a whole"):
        assemble(surface, inner[:5], body=inner)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 400), st.integers(2, 40), st.integers(0, 2**31))
def test_clusters_hold_every_panel_once_within_their_spheres(count: int, leaf: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    places, reach = rng.random((count, 3)), 0.01 * rng.random(count)
    tree = grown(places, reach, leaf)
    assert_array_equal(np.sort(tree.order), np.arange(count))
    leaves = tree.leaves
    assert_array_equal(tree.start[leaves][1:], tree.stop[leaves][:-1])
    assert (tree.stop[leaves] - tree.start[leaves]).max() <= leaf
    for k in range(len(tree.start)):
        own = tree.order[tree.start[k] : tree.stop[k]]
        assert (np.linalg.norm(places[own] - tree.centre[k], axis=1) + reach[own] <= tree.radius[k] * (1 + 1e-12)).all()


def test_equal_panels_give_the_same_operators_to_the_bit() -> None:
    surface = cube(8)
    everything = np.arange(len(surface.faces))
    one, two = (products(assemble(surface, everything, compress_from=ALWAYS)) for _ in range(2))
    assert_array_equal(one, two)
