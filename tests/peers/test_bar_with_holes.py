"""The reference cell: a bar with two holes in a box tank, one sheet anode; a quarter of it by tetrahedra.

The finite elements' own change from 87,000 to 300,000 unknowns: see `test_the_peer_has_converged`.
"""

from functools import cache

import numpy as np
import pytest
import shapely
from helpers.cells import MM, reference_field
from helpers.peers import SHARES, Pair, own_change
from helpers.tetrahedra import Metal, TetField, grid, lines, rings, solve_tetrahedra, stack
from numpy.testing import assert_allclose

from geom.electrode.laws import Linear

KAPPA, RESISTANCE = 8.0, 1.3e-4
HOLE, RADIUS = (30 * MM, 0.0), 4 * MM
HALF_LENGTH, HALF_WIDTH = 50 * MM, 10 * MM
FRONT, BACK = 30 * MM, 33 * MM  # of the bar, along the tank [m]; the first faces the anode
FEATURES = {
    "near face": ["face B (-z)"],
    "far face": ["face A (+z)"],
    "bores": ["bore 1 (8.0 mm)", "bore 2 (8.0 mm)"],
    "long edges": ["long edge +y", "long edge -y"],
    "ends": ["end +x", "end -x"],
}


@cache
def quarter(size: float = 1.0) -> TetField:
    """Solve a quarter: section along the bar and up from its middle, layers from the anode's end of the tank.

    ``size`` enlarges every element.
    """
    edge, hole, most, growth = 0.6 * MM * size, 1.0 * MM * size, 20 * MM * size, 0.6 * size**0.5
    along = lines({0: 5 * MM, 24 * MM: 1.6 * hole, 36 * MM: 1.6 * hole, HALF_LENGTH: edge, 75 * MM: most}, growth, most)
    up = lines({0: 1.3 * hole, 6 * MM: 1.3 * hole, HALF_WIDTH: edge, 50 * MM: 6 * edge, 75 * MM: most}, growth, most)
    angles = np.linspace(0.0, np.pi, round(14 / size) + 1)
    true = RADIUS * (0.5 * angles[1]) / np.sin(0.5 * angles[1])  # the polygon is as long as the circle
    square = grid(along, up)
    square = square[np.hypot(*(square - HOLE).T) > RADIUS + 1.7 * hole]
    radii = np.array([0.5 * RADIUS, 0.8 * RADIUS, true, true + 0.4 * hole, true + hole])
    circle = rings(HOLE, np.array([true]), np.concatenate([angles, -angles[1:-1][::-1]]))
    bar = shapely.box(-HALF_LENGTH, -HALF_WIDTH, HALF_LENGTH, HALF_WIDTH) - shapely.Polygon(circle)
    anode = shapely.box(-50 * MM, -50 * MM, 50 * MM, 50 * MM)
    across = lines(
        {-100 * MM: most, -31 * MM: 4 * edge, -30 * MM: 4 * edge}
        | {FRONT: 0.8 * edge, 0.5 * (FRONT + BACK): edge, BACK: 0.8 * edge, 100 * MM: most},
        growth,
        most,
    )
    points = np.concatenate([square, rings(HOLE, radii, angles), [HOLE]])
    mesh, on = stack(points, across, [Metal(bar, FRONT, BACK), Metal(anode, -31 * MM, -30 * MM)])
    return solve_tetrahedra(mesh, on, KAPPA, RESISTANCE)


def places(peer: TetField) -> dict[str, np.ndarray]:
    """Return which points of the peer lie where, by their normals into the metal."""
    x, y = peer.places[:, 0], peer.places[:, 1]
    flat = np.abs(peer.normals[:, 2]) > 0.5
    return {
        "near face": flat & (peer.normals[:, 2] > 0),
        "far face": flat & (peer.normals[:, 2] < 0),
        "bores": ~flat & (np.hypot(x - HOLE[0], y) < 1.1 * RADIUS),
        "long edges": ~flat & (y > 0.999 * HALF_WIDTH),
        "ends": ~flat & (x > 0.9999 * HALF_LENGTH),
    }


def pair() -> Pair:
    return Pair("bar with two holes", reference_field(Linear(RESISTANCE)), quarter(), 4)


def test_the_peer_gives_the_known_values_of_this_cell() -> None:
    """Computed once on unstructured meshes, 0.125 and 0.08 mm at the edges, agreeing to 0.1 %."""
    assert_allclose(4 * quarter().current, 1.5268, rtol=2e-3, atol=0)
    assert_allclose(quarter().percentiles(SHARES), [0.4910, 0.5476, 0.8750, 1.5904, 2.2644], rtol=5e-3, atol=0)


def test_each_point_of_the_peer_lies_on_one_feature() -> None:
    assert np.all(np.sum(list(places(quarter()).values()), axis=0) == 1)
    assert_allclose(4 * quarter().area, reference_field(Linear(RESISTANCE)).cell.part.area, rtol=5e-4, atol=0)


def test_the_current_agrees() -> None:
    pair().hold_current(0.005)


def test_the_spread_of_current_density_agrees() -> None:
    pair().hold_percentiles(0.015)


def test_bores_edges_and_both_faces_agree() -> None:
    """Bores are where panels of constant current converge slowest: 2.8 % off at 6,560 panels, 1.4 % at 11,540."""
    pair().hold_features(places(quarter()), FEATURES, dict.fromkeys(FEATURES, 0.01) | {"bores": 0.035})


@pytest.mark.benchmark
def test_the_peer_has_converged() -> None:
    fine = quarter(0.65)
    both = {name: (rows, places(fine)[name]) for name, rows in places(quarter()).items()}
    moved = own_change(quarter(), fine, both)
    assert max(moved.values()) < 0.007, moved
