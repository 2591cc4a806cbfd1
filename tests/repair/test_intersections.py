"""Faces that pass through each other are found, and no others: against exact arithmetic and a corpus of real parts."""

from itertools import combinations

import numpy as np
import pytest
from helpers.corpus import corpus, rows
from scipy.spatial.transform import Rotation

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.formats.open import read_bytes
from geom.formats.raw import RawMesh
from geom.repair.intersections import SHALLOW, crossing_faces
from geom.surface.solid import box, joined, upright_cylinder

Point = tuple[int, int, int]


def side(a: Point, b: Point, c: Point, d: Point) -> int:
    """Sign of the volume of four points with whole coordinates, exactly."""
    u, v, w = ([q - p for p, q in zip(a, other, strict=True)] for other in (b, c, d))
    volume = sum(u[k] * (v[k - 2] * w[k - 1] - v[k - 1] * w[k - 2]) for k in range(3))
    return (volume > 0) - (volume < 0)


def pierces(p: Point, q: Point, triangle: list[Point]) -> bool | None:
    """Does the segment pq pass through the inside of a triangle? None where it only touches, or it is near."""
    a, b, c = triangle
    one, two = side(a, b, c, p), side(a, b, c, q)
    turns = {side(p, q, a, b), side(p, q, b, c), side(p, q, c, a)}
    if one * two < 0 and len(turns) == 1 and 0 not in turns:
        return True
    return None if 0 in turns or one * two == 0 else False


def exact(one: list[Point], two: list[Point]) -> bool | None:
    """Do two triangles with whole coordinates cross? None where they touch without crossing for sure."""
    found = [pierces(x[i], x[i - 1], y) for x, y in ((one, two), (two, one)) for i in range(3)]
    if any(found):
        return True
    return None if None in found else False


def test_random_pairs_cross_just_where_whole_number_arithmetic_says() -> None:
    rng, told = np.random.default_rng(4), {True: 0, False: 0}
    for _ in range(2000):
        points = rng.integers(-9, 10, (6, 3))
        first, second = ([tuple(int(x) for x in row) for row in points[k : k + 3]] for k in (0, 3))
        truth = exact(first, second)
        flat = any(not np.cross(*np.diff(points[k : k + 3], axis=0)).any() for k in (0, 3))
        if truth is None or flat:
            continue
        found = crossing_faces(points.astype(np.float64), np.arange(6).reshape(2, 3))
        assert (len(found) == 1) is truth, points.tolist()
        told[truth] += 1
    assert min(told.values()) > 150


def test_a_tree_of_faces_finds_what_looking_at_every_pair_finds() -> None:
    rng = np.random.default_rng(5)
    middle = rng.random((90, 1, 3))
    vertices = (middle + 0.15 * rng.standard_normal((90, 3, 3))).reshape(-1, 3)
    faces = np.arange(270).reshape(-1, 3)
    found = {tuple(pair) for pair in crossing_faces(vertices, faces).tolist()}
    slow = set()
    for i, j in combinations(range(90), 2):
        two = vertices[faces[[i, j]].reshape(-1)]
        if len(crossing_faces(two, np.arange(6).reshape(2, 3))):
            slow.add((i, j))
    assert found == slow
    assert len(found) > 40


def test_the_search_stops_at_the_number_asked_for() -> None:
    rng = np.random.default_rng(6)
    vertices, faces = rng.random((300, 3)), np.arange(300).reshape(-1, 3)
    every = {tuple(pair) for pair in crossing_faces(vertices, faces).tolist()}
    few = crossing_faces(vertices, faces, most=7)
    assert len(few) == 7 < len(every)
    assert {tuple(pair) for pair in few.tolist()} <= every


def two_faces(third: list[float], *, shared: int) -> tuple[Floats, Ints]:
    """A face, and one that shares two or one of its corners and has ``third`` for its last."""
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], third, [0.9, 0.9, 1.0]], dtype=np.float64)
    return vertices, np.array([[0, 1, 2], [1, 0, 3] if shared == 2 else [0, 4, 3]])


@pytest.mark.parametrize(
    ("third", "shared", "crossing"),
    [
        ([0.5, -1.0, 0.0], 2, False),  # one plane, side by side
        ([0.5, 0.4, 0.0], 2, True),  # folded onto each other
        ([0.5, 0.4, 1e-3], 2, False),  # folded, but open by a thousandth
        ([0.5, 0.4, 1.0], 2, False),  # a bend
        ([0.2, 0.2, -1.0], 1, True),  # the far side pierces
        ([0.2, 0.2, 1.0], 1, False),
        ([-0.9, -0.9, -0.5], 1, False),  # passes beside it
    ],
)
def test_neighbours_cross_only_where_folded_or_pierced(third: list[float], shared: int, crossing: bool) -> None:
    assert bool(len(crossing_faces(*two_faces(third, shared=shared)))) is crossing


@pytest.mark.parametrize("depth", [0.1, 0.5, 2.0, 10.0])
def test_a_crossing_counts_from_the_least_depth_on(depth: float) -> None:
    least = SHALLOW * np.sqrt(3)
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, -depth * least], [0, 0, 1], [0.3, 0.5, 1]])
    found = crossing_faces(vertices, np.array([[0, 1, 2], [3, 4, 5]]))
    assert bool(len(found)) is (depth > 1)


def test_two_skins_on_each_other_are_found_and_the_two_sides_of_a_thin_wall_are_not() -> None:
    plate = box((0, 0, 0), (20e-3, 20e-3, 10e-9))
    assert len(crossing_faces(plate.vertices, plate.faces)) == 0
    skins = joined([box((0, 0, 0), (1, 1, 1)), box((1 + 1e-8, 0, 0), (2, 1, 1))])
    assert len(crossing_faces(skins.vertices, skins.faces)) >= 2


@pytest.mark.parametrize("seed", range(6))
def test_no_alarm_on_sound_bodies_rounded_to_single_precision(seed: int) -> None:
    rng = np.random.default_rng(seed)
    body = joined([upright_cylinder((0, 0, 0), 8e-3, 1e-3, 300), box((5e-3, 0, 0), (9e-3, 1e-3, 1e-3))])
    place = Rotation.random(rng=rng).apply(np.array(body.vertices)) + rng.standard_normal(3) * 0.05
    vertices = place.astype(np.float32).astype(np.float64)
    assert len(crossing_faces(vertices, body.faces)) == 0


needed = pytest.mark.skipif(corpus() is None, reason="the corpus of files is not here")

ONLY_SUSPECTED = ("Original-Prusa-MINI__MINI-extruder-rear.stl",)
"""Looked at: its suspects lie side by side in one plane; none cross by more than nothing, in double precision."""


def faces_of(row: dict[str, str]) -> tuple[Floats, Ints] | None:
    """Faces of a file of the corpus on shared corners, without those that have no area; None where unreadable."""
    folder = corpus()
    assert folder is not None
    path = folder / row["file"]
    try:
        raw = read_bytes(path.read_bytes(), path.suffix.lower())
    except PartError:
        return None
    if not isinstance(raw, RawMesh):
        return None
    points, number = np.unique(raw.vertices, axis=0, return_inverse=True)
    faces = number.reshape(-1)[raw.faces]
    return points, faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]


def index(of: str) -> list[dict[str, str]]:
    return [row for row in rows() if row["set"] == of and row["file"].lower().endswith((".stl", ".obj", ".ply"))]


@pytest.mark.corpus
@needed
def test_no_alarm_on_any_good_part() -> None:
    read = {row["name"]: faces_of(row) for row in index("good")}
    assert sum(mesh is not None for mesh in read.values()) >= 40
    assert [name for name, mesh in read.items() if mesh is not None and len(crossing_faces(*mesh))] == []


@pytest.mark.corpus
@needed
def test_broken_parts_with_crossing_faces_on_record_are_found() -> None:
    broken = [row for row in index("broken") if int(row["self_intersecting"] or 0) > 10]
    read = {row["name"]: faces_of(row) for row in broken if row["name"] not in ONLY_SUSPECTED}
    assert sum(mesh is not None for mesh in read.values()) >= 6
    assert [name for name, mesh in read.items() if mesh is not None and not len(crossing_faces(*mesh))] == []
