"""An upright rod in a jar with an upright rod anode, hung higher; half of it by tetrahedra.

The smoothing length, conductivity times resistance, is 1.6 mm.
"""

import math
from functools import cache

import numpy as np
import pytest
import shapely
from helpers.cells import MM, bath
from helpers.peers import Pair, own_change
from helpers.tetrahedra import Metal, TetField, filling, lines, rings, solve_tetrahedra, stack
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.bem.problem import Voltage
from geom.cell.build import build_cell
from geom.cell.cell import JarTank, Pose, RodAnode
from geom.electrode.laws import Linear
from geom.field import Field, prepare, solve_field
from geom.panels import mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Rod

KAPPA, RESISTANCE = 8.0, 2e-4
JAR = 60 * MM  # radius
PART, PART_RADIUS, LOW, HIGH = (-25 * MM, 0.0), 6 * MM, 25 * MM, 85 * MM
ANODE, ANODE_RADIUS, ANODE_LOW, ANODE_HIGH = (30 * MM, 0.0), 4 * MM, 30 * MM, 110 * MM
FEATURES = {"round side": ["round side"], "lower end": ["end -x"], "upper end": ["end +x"]}


@cache
def field() -> Field:
    """Solve with geom: rod of 12 x 60 mm and anode of 8 x 80 mm in 120 mm of liquid."""
    cell = build_cell(
        build_part(Rod(60 * MM, 12 * MM)),
        bath(KAPPA, Linear(RESISTANCE)),
        tank=JarTank(0.12, 0.12),
        anodes=(RodAnode(8 * MM, 80 * MM, (*ANODE, 70 * MM)),),
        pose=Pose((0.0, -0.5 * math.pi, 0.0), (*PART, 55 * MM)),
    )
    return solve_field(prepare(cell, mesh_cell(cell)), Voltage(1.0))


def rounded(radius: float, sides: int) -> float:
    """Return the radius of the corners of a polygon as long round as the circle."""
    return radius * (math.pi / sides) / math.sin(math.pi / sides)


@cache
def half(size: float = 1.0) -> TetField:
    """Solve the half behind the plane through both axes; ``size`` enlarges every element."""
    edge, most, growth, sides, anode_sides = 0.8 * MM * size, 20 * MM * size, 0.65 * size**0.5, 16 / size, 11 / size
    ends = [2 * round(sides), 2 * round(anode_sides), 48]
    part, anode, jar = (rounded(r, n) for r, n in zip((PART_RADIUS, ANODE_RADIUS, JAR), ends, strict=True))
    turns = [np.linspace(0.0, math.pi, n // 2 + 1) for n in ends]
    around_part = part + edge * np.array([-2.2, -1.0, 0.0, 1.0, 2.2])
    around_anode = anode + edge * np.array([-2.5, 0.0, 2.0, 5.0])
    given = [
        rings(PART, np.array([0.5 * part, *around_part]), turns[0]),
        rings(ANODE, around_anode, turns[1]),
        rings((0.0, 0.0), np.array([jar]), turns[2]),
        np.array([PART, ANODE]),
    ]
    stops = [-jar, PART[0] - around_part[-1], PART[0] + around_part[-1], ANODE[0] - around_anode[-1]]
    stops += [ANODE[0] + around_anode[-1], jar]
    for low, high in zip(stops[::2], stops[1::2], strict=True):
        between = lines({low: 2 * edge, high: 2 * edge}, growth, most)[1:-1]
        given.append(np.stack([between, np.zeros_like(between)], axis=1))
    taken = np.concatenate(given)
    points = np.concatenate([taken, filling(taken, shapely.Polygon(given[2]), growth, most, 2.5 * edge)])
    circles = [
        shapely.Polygon(rings(centre, np.array([r]), np.linspace(0.0, 2 * math.pi, n, endpoint=False)))
        for centre, r, n in zip((PART, ANODE), (part, anode), ends[:2], strict=True)
    ]
    stops_up = {0: most, LOW: 0.8 * edge, ANODE_LOW: 3 * edge, HIGH: 0.8 * edge, ANODE_HIGH: 3 * edge, 2 * JAR: most}
    metals = [Metal(circles[0], LOW, HIGH), Metal(circles[1], ANODE_LOW, ANODE_HIGH)]
    mesh, on = stack(points, lines(stops_up, growth, most), metals)
    return solve_tetrahedra(mesh, on, KAPPA, RESISTANCE)


def places(peer: TetField) -> dict[str, np.ndarray]:
    """Return which points of the peer lie where, by their normals into the metal."""
    up = peer.normals[:, 2]
    return {"round side": np.abs(up) < 0.5, "lower end": up > 0.5, "upper end": up < -0.5}


def pair() -> Pair:
    return Pair("rod in a jar", field(), half(), 2)


def test_each_point_of_the_peer_lies_on_one_feature() -> None:
    assert np.all(np.sum(list(places(half()).values()), axis=0) == 1)
    assert_allclose(2 * half().area, field().cell.part.area, rtol=2e-3, atol=0)


def test_the_current_agrees() -> None:
    pair().hold_current(0.005)


def test_the_spread_of_current_density_agrees() -> None:
    pair().hold_percentiles(0.015)


def test_the_side_and_both_ends_agree() -> None:
    pair().hold_features(places(half()), FEATURES, dict.fromkeys(FEATURES, 0.01))


@pytest.mark.parametrize(("name", "sign"), [("near half of the side", 1), ("far half of the side", -1)])
def test_the_side_towards_the_anode_and_the_side_away_agree(name: str, sign: int) -> None:
    own, peer = field(), half()
    part = own.panels.part
    rows = (np.abs(part.normals[:, 2]) < 0.5) & (sign * (part.centroids[:, 0] - PART[0]) > 0)
    value = float(np.average(own.current_density[rows], weights=own.areas[rows])) / own.mean_current_density
    points = places(peer)["round side"] & (sign * (peer.places[:, 0] - PART[0]) > 0)
    source = f"scikit-fem, {peer.unknowns:,} unknowns"
    panels = len(own.panels.body)
    hold(
        "peers", "rod in a jar", f"mean over {name}", value, peer.mean(points), rtol=0.01, panels=panels, source=source
    )


@pytest.mark.benchmark
def test_the_peer_has_converged() -> None:
    fine = half(0.65)
    both = {name: (rows, places(fine)[name]) for name, rows in places(half()).items()}
    moved = own_change(half(), fine, both)
    assert max(moved.values()) < 0.007, moved
