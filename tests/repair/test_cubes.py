"""Heaps of cubes that touch along edges and at corners: the skin is what a count of squares says."""

import numpy as np
import pytest
from helpers.damage import area, box, corners_of, flipped, mend, volume, voxels
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.surface.soundness import edge_report, touching_vertices

Cube = tuple[int, int, int]
SPOILS = ("as drawn", "some turned", "all turned", "some twice", "each cube a body")
GRID = list(np.ndindex(3, 3, 3))


def enclosed(cubes: list[Cube]) -> bool:
    """Is there an empty place that no way over squares leads to from outside?"""
    filled, seen, todo = set(cubes), set(), [(-1, -1, -1)]
    while todo:
        place = todo.pop()
        if place in seen or place in filled or min(place) < -1 or max(place) > 3:
            continue
        seen.add(place)
        for axis in range(3):
            for step in (-1, 1):
                beside = list(place)
                beside[axis] += step
                todo.append((beside[0], beside[1], beside[2]))
    return any(place not in filled and place not in seen for place in GRID)


def spoiled(cubes: list[Cube], how: str, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    if how == "each cube a body":
        return np.concatenate([box((0.01, 0.01, 0.01), tuple(0.01 * np.array(cube))) for cube in cubes])
    corners = voxels(cubes)
    if how == "some turned":
        return flipped(corners, rng.random(len(corners)) < 0.4)
    if how == "some twice":
        return np.concatenate([corners, corners[rng.integers(0, len(corners), 5)]])
    return corners[:, ::-1] if how == "all turned" else corners


@pytest.mark.parametrize("how", SPOILS)
@settings(max_examples=8, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6), share=st.floats(0.2, 0.8))
def test_heap_of_cubes_has_the_skin_that_a_count_of_squares_gives(how: str, seed: int, share: float) -> None:
    chosen = np.random.default_rng(seed).random(27) < share
    cubes = [cube for cube, is_there in zip(GRID, chosen, strict=True) if is_there]
    assume(cubes and not enclosed(cubes))
    mesh = mend(spoiled(cubes, how, seed))
    assert_allclose(area(corners_of(mesh)), area(voxels(cubes)), rtol=1e-6, atol=0)
    assert_allclose(volume(corners_of(mesh)), len(cubes) * 1e-6, rtol=1e-6, atol=0)
    report = edge_report(np.array(mesh.faces))
    assert report.is_closed
    assert len(touching_vertices(np.array(mesh.faces), report.pairs)) == 0


def test_sheets_that_share_an_edge_and_both_its_ends_get_middles_of_their_own() -> None:
    # cubes 0 and 1 share an upright edge; round its two ends the skin hangs together over cubes 2 and 3
    cubes = [(0, 0, 1), (1, 1, 1), (1, 0, 0), (0, 1, 2), (0, 0, 0), (1, 1, 0), (0, 0, 2), (1, 1, 2)]
    mesh = mend(voxels(cubes))
    assert_allclose(area(corners_of(mesh)), area(voxels(cubes)), rtol=1e-9, atol=0)
    assert edge_report(np.array(mesh.faces)).is_closed
    assert mesh.bodies == 1
