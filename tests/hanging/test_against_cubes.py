"""Random tunnels through a block of cubes: what they hold, against a count of cubes by another way.

A cube of free space holds air where, of all free space at its height and over, what hangs together with it does not reach
the outside. That is counted layer by layer with labels of `scipy.ndimage`; nothing of it is in the program.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import ndimage

from geom.hanging.columns import columns_round, grid_over
from geom.hanging.pockets import dry_air, held_air, held_bath
from geom.surface.surface import Surface

EDGE = 1e-3  # of a cube [m]
SHAPE = (13, 11, 12)
QUADS = {  # corners of the side of a cube that looks along each axis, counter-clockwise from outside
    (0, 1): ((1, 0, 0), (1, 1, 0), (1, 1, 1), (1, 0, 1)),
    (0, -1): ((0, 0, 0), (0, 0, 1), (0, 1, 1), (0, 1, 0)),
    (1, 1): ((0, 1, 0), (0, 1, 1), (1, 1, 1), (1, 1, 0)),
    (1, -1): ((0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 0, 1)),
    (2, 1): ((0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1)),
    (2, -1): ((0, 0, 0), (0, 1, 0), (1, 1, 0), (1, 0, 0)),
}


def random_cubes(seed: int) -> np.ndarray:
    """A block of metal with tunnels bored from its sides, that turn at random; free all round."""
    rng = np.random.default_rng(seed)
    metal = np.zeros(SHAPE, dtype=bool)
    metal[1:-1, 1:-1, 1:-1] = True
    for _ in range(rng.integers(2, 5)):
        place = np.array([rng.integers(2, n - 2) for n in SHAPE])
        side = rng.integers(3)
        place[side] = rng.choice([1, SHAPE[side] - 2])
        wide = rng.integers(1, 3)
        for _ in range(rng.integers(3, 9)):
            axis = rng.integers(3)
            step = np.zeros(3, dtype=int)
            step[axis] = rng.integers(-5, 6)
            end = np.clip(place + step, 2, np.array(SHAPE) - 3)
            low, high = np.minimum(place, end), np.maximum(place, end) + wide
            metal[low[0] : high[0], low[1] : high[1], low[2] : high[2]] = False
            place = end
    return metal


def skin(metal: np.ndarray) -> Surface:
    """The sides of cubes between metal and free space, two triangles each, on shared corners."""
    quads = []
    for (axis, way), corners in QUADS.items():
        outside = ~np.roll(metal, -way, axis=axis)
        cubes = np.argwhere(metal & outside)
        quads.append(cubes[:, None, :] + np.array(corners)[None])
    all_quads = np.concatenate(quads)
    vertices, index = np.unique(all_quads.reshape(-1, 3), axis=0, return_inverse=True)
    index = index.reshape(-1, 4)
    faces = np.concatenate([index[:, [0, 1, 2]], index[:, [0, 2, 3]]])
    return Surface(EDGE * vertices, faces, np.zeros(len(faces)))


def counted_air(metal: np.ndarray) -> int:
    """Free cubes from which gas cannot rise or run level to the outside."""
    free = ~metal
    whole, _ = ndimage.label(free)
    open_ = whole == whole[0, 0, 0]  # voids that nothing reaches are not looked at
    count = 0
    for k in range(metal.shape[2]):
        part, _ = ndimage.label(free[:, :, k:])
        outside = np.unique(
            np.concatenate([part[0].ravel(), part[-1].ravel(), part[:, 0].ravel(), part[:, -1].ravel()])
        )
        count += int((free[:, :, k] & open_[:, :, k] & ~np.isin(part[:, :, 0], outside)).sum())
    return count


@pytest.mark.parametrize("seed", range(60))
def test_air_and_bath_are_those_of_the_cubes(seed: int):
    metal = random_cubes(seed)
    solid = skin(metal)
    columns, flipped = columns_round(solid, grid_over(solid.bounds, EDGE / 2))
    air, bath = counted_air(metal), counted_air(metal[:, :, ::-1])
    assert_allclose(held_air(columns, np.inf).volumes.sum() / EDGE**3, air, rtol=1e-6, atol=1e-6)
    assert_allclose(held_bath(columns, flipped, np.inf).volumes.sum() / EDGE**3, bath, rtol=1e-6, atol=1e-6)


def test_the_blocks_hold_air_and_bath_often_enough_to_tell():
    metals = [random_cubes(seed) for seed in range(60)]
    assert sum(counted_air(metal) > 5 for metal in metals) > 15
    assert sum(counted_air(metal[:, :, ::-1]) > 5 for metal in metals) > 15


@pytest.mark.parametrize("seed", range(60))
def test_under_a_liquid_surface_what_gas_or_a_brim_keeps_dry_is_told_once(seed: int):
    """Free cubes under the surface that hold gas, and those that liquid under it cannot run to."""
    metal, layers = random_cubes(seed), 6
    solid = skin(metal)
    columns, flipped = columns_round(solid, grid_over(solid.bounds, EDGE / 2))
    free = ~metal
    whole, _ = ndimage.label(free)
    reached, _ = ndimage.label(free[:, :, :layers])
    stays = reached != reached[0, 0, 0]
    for k in range(layers):
        part, _ = ndimage.label(free[:, :, k:])
        stays[:, :, k] |= part[:, :, 0] != part[0, 0, 0]
    stays &= (free & (whole == whole[0, 0, 0]))[:, :, :layers]
    level = EDGE * layers - 1e-8  # a brim at the surface itself is over it
    found = held_air(columns, level), dry_air(columns, flipped, level)
    assert_allclose(sum(held.volumes.sum() for held in found) / EDGE**3, stays.sum(), rtol=1e-4, atol=1e-6)
