"""Unions of bodies against boxes counted on a grid, the lens of two spheres, and nests of known area."""

import numpy as np
import pytest
import trimesh
from helpers.corpus import corpus, rows
from numpy.testing import assert_allclose
from scipy import ndimage
from scipy.spatial.transform import Rotation

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.formats.open import read_bytes
from geom.formats.raw import RawMesh
from geom.repair import bodies
from geom.repair.bodies import United, united
from geom.repair.change import Change
from geom.repair.intersections import crossing_faces
from geom.surface.solid import box, joined, left_over, upright_cylinder
from geom.surface.surface import Surface

UNIT = [(0.0, 0.0, 0.0), (1.0, 1.0, 1.0)]


def turned_out(body: Surface) -> Surface:
    return Surface(body.vertices, body.faces[:, ::-1], body.tag)


def cube(low: float, high: float, hollow: bool = False) -> Surface:
    body = box([low] * 3, [high] * 3)
    return turned_out(body) if hollow else body


def union(*parts: Surface, vented: bool = False) -> United:
    whole = joined(parts)
    return united(whole.vertices, whole.faces, np.arange(len(whole.faces)), vented=vented)


def skin(found: United) -> Surface:
    return Surface(found.vertices, found.faces, found.source)


def codes(found: United) -> list[str]:
    """What was changed, then what was found."""
    return [told.code for told in (*found.changes, *found.findings)]


def change(found: United, code: str) -> Change:
    return next(change for change in found.changes if change.code == code)


def message(found: United, code: str) -> str:
    return next(told.message for told in (*found.changes, *found.findings) if told.code == code)


def assert_closed(found: United) -> None:
    assert trimesh.Trimesh(found.vertices, found.faces, process=False).is_watertight


def counted(lows: Ints, highs: Ints, hollow: Bools) -> list[tuple[int, int]]:
    """Area and volume of boxes with whole coordinates, hollow ones cut out, sealed voids filled, on a grid.

    Two answers where a void meets the outside along an edge or a corner only.
    """
    grid = np.zeros((14, 14, 14), dtype=np.bool_)
    for value in (True, False):
        for (x, y, z), (i, j, k), is_hollow in zip(lows, highs, hollow, strict=True):
            if is_hollow != value:
                grid[x:i, y:j, z:k] = value
    out = []
    for links in (1, 3):
        filled = ndimage.binary_fill_holes(grid, ndimage.generate_binary_structure(3, links))
        padded = np.pad(filled, 1).astype(np.int64)
        out.append((sum(int(np.abs(np.diff(padded, axis=k)).sum()) for k in range(3)), int(filled.sum())))
    return out


def worst(found: United, truths: list[tuple[int, int]], unit: float) -> float:
    """Relative difference in area or volume from the nearer of the two answers."""
    area, volume = skin(found).area / unit**2, skin(found).volume / unit**3
    return min(max(abs(area / a - 1), abs(volume / v - 1)) for a, v in truths)


def placed(vertices: Floats, seed: int, how: str) -> Floats:
    """Boxes as they are, turned and made small, and rounded as in a file besides."""
    if how == "as drawn":
        return vertices
    turned = Rotation.random(rng=seed).apply(np.array(vertices) - 4.0) * 1e-3
    return turned.astype(np.float32).astype(np.float64) if how == "rounded" else np.asarray(turned)


@pytest.mark.parametrize(("how", "tolerance"), [("as drawn", 1e-12), ("turned", 1e-9), ("rounded", 2e-6)])
def test_the_union_of_random_boxes_has_the_area_and_volume_counted_on_a_grid(how: str, tolerance: float) -> None:
    for seed in range(40):
        rng = np.random.default_rng(seed)
        number = rng.integers(2, 9)
        low = rng.integers(0, 8, (number, 3))
        high = low + rng.integers(1, 6, (number, 3))
        whole = joined([box(a, b) for a, b in zip(low, high, strict=True)])
        found = united(placed(whole.vertices, seed, how), whole.faces, np.arange(len(whole.faces)))
        truths = counted(low, high, np.zeros(number, dtype=np.bool_))
        assert worst(found, truths, 1.0 if how == "as drawn" else 1e-3) <= tolerance, seed
        assert_closed(found)


@pytest.mark.parametrize(("how", "tolerance"), [("as drawn", 1e-12), ("turned", 1e-9), ("rounded", 2e-6)])
def test_hollow_boxes_are_cut_out_where_they_cross_the_outside_and_filled_where_not(how: str, tolerance: float) -> None:
    checked = 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        block = np.array([[1, 1, 1], [9, 8, 7]])
        low = rng.integers(0, 8, (3, 3))
        high = low + rng.integers(1, 4, (3, 3))
        if not ((low < block[1]) & (high > block[0])).all():
            continue
        lows, highs = np.concatenate([block[:1], low]), np.concatenate([block[1:], high])
        hollow = np.array([False, True, True, True])
        boxes = [box(a, b) for a, b in zip(lows, highs, strict=True)]
        turned = [turned_out(b) if h else b for b, h in zip(boxes, hollow, strict=True)]
        whole = joined([turned[k] for k in rng.permutation(4)])
        found = united(placed(whole.vertices, seed, how), whole.faces, np.arange(len(whole.faces)))
        assert worst(found, counted(lows, highs, hollow), 1.0 if how == "as drawn" else 1e-3) <= tolerance, seed
        assert_closed(found)
        checked += 1
    assert checked > 15


@pytest.mark.parametrize("apart", [0.4, 1.0, 1.5])
def test_two_spheres_make_the_area_and_volume_of_the_lens_formula(apart: float) -> None:
    """Caps of height h: area 2 pi r h, volume pi h² (3 r - h) / 3; within what the flat faces fall short."""
    big, small = trimesh.creation.icosphere(4), trimesh.creation.icosphere(4, radius=0.8)
    small.apply_translation([apart, 0.0, 0.0])
    h = 1 - (apart**2 + 1 - 0.64) / (2 * apart)
    k = 0.8 - (apart**2 + 0.64 - 1) / (2 * apart)
    area = 4 * np.pi * 1.64 - 2 * np.pi * (h + 0.8 * k)
    volume = 4 / 3 * np.pi * (1 + 0.8**3) - np.pi * (h**2 * (3 - h) + k**2 * (2.4 - k)) / 3
    found = union(*(Surface(s.vertices, s.faces, np.zeros(len(s.faces))) for s in (big, small)))
    short = 1 - big.area / (4 * np.pi)
    assert skin(found).area < area
    assert_allclose(skin(found).area, area, rtol=1.5 * short, atol=0)
    assert_allclose(skin(found).volume, volume, rtol=3 * short, atol=0)
    assert found.bodies == 1


def test_bodies_are_joined_though_no_face_passes_through_another() -> None:
    """A double pyramid on a square of side 0.1, whose square lies in a face of the cube."""
    corners = [[1, 0.7, 0.1], [1, 0.8, 0.1], [1, 0.8, 0.2], [1, 0.7, 0.2], [0.9, 0.75, 0.15], [1.1, 0.75, 0.15]]
    sides = [(k, (k + 1) % 4) for k in range(4)]
    faces = np.array([[j, i, 4] for i, j in sides] + [[i, j, 5] for i, j in sides])
    spike = Surface(np.array(corners), faces, np.zeros(8))
    both = joined([cube(0, 1), spike])
    assert len(crossing_faces(both.vertices, both.faces)) == 0
    found = union(cube(0, 1), spike)
    assert_allclose(skin(found).volume, 1 + 0.01 * 0.1 / 3, rtol=1e-9, atol=0)
    assert_allclose(skin(found).area, 6 - 0.01 + spike.area / 2, rtol=1e-9, atol=0)


def test_every_face_of_a_union_lies_on_the_face_of_the_file_it_names() -> None:
    whole = joined([cube(0, 2), cube(1, 3)])
    source = np.arange(len(whole.faces)) + 100
    found = united(whole.vertices, whole.faces, source)
    plane = whole.normals[found.source - 100]
    assert_allclose(skin(found).normals, plane, rtol=0, atol=1e-12)
    apart = np.einsum("ij,ij->i", skin(found).centroids - whole.centroids[found.source - 100], plane)
    assert np.abs(apart).max() < 1e-12


def test_the_change_tells_the_skin_before_and_after() -> None:
    found = union(cube(0, 1), box((1, 0, 0), (2, 1, 1)))
    told = change(found, "repair-united")
    assert_allclose(told.area, -2.0, rtol=1e-12, atol=0)
    assert "12000000 mm² of skin before, 10000000 mm² after" in told.message
    assert codes(found) == ["repair-united"]


@pytest.mark.parametrize(
    ("low", "high", "area", "number"),
    [
        ((1, 0, 0), (2, 1, 1), 10.0, 1),  # a whole face
        ((1, 0.25, 0.25), (2, 0.75, 0.75), 8.0, 1),  # part of a face, with no corner in common
        ((1, 1, 0), (2, 2, 1), 12.0, 2),  # an edge
        ((1, 1, 1), (2, 2, 2), 12.0, 2),  # a corner
        ((0, 0, 0), (1, 1, 1), 6.0, 1),  # the same again
        ((0, 0, 0.5), (1, 1, 1.5), 8.0, 1),  # flush on four sides
        ((0, 0, 0), (0.5, 0.5, 0.5), 6.0, 1),  # inside, flush on three sides
    ],
)
def test_bodies_that_touch(low: tuple[float, ...], high: tuple[float, ...], area: float, number: int) -> None:
    found = union(cube(0, 1), box(low, high))
    assert_allclose(skin(found).area, area, rtol=1e-9, atol=0)
    assert found.bodies == number


@pytest.mark.parametrize("how", ["as drawn", "turned", "rounded"])
@pytest.mark.parametrize(("low", "high"), [(0.0, 3.0), (-2.5, 5.5), (0.0, 5.0)])
def test_a_pin_in_a_bore_of_its_own_size_hides_the_wall_between(low: float, high: float, how: str) -> None:
    """Flush with the plate on both sides, standing out on both, flush on one."""
    plate = left_over(box((-10, -10, 0), (10, 10, 3)), [upright_cylinder((0, 0, 1.5), 8, 5, 24)])[0]
    pin = upright_cylinder((0, 0, (low + high) / 2), 8, high - low, 24)
    whole = joined([plate, pin])
    unit = 1.0 if how == "as drawn" else 1e-3
    found = united(placed(whole.vertices, 5, how), whole.faces, np.arange(len(whole.faces)))
    assert_allclose(skin(found).area / unit**2, plate.area + pin.area - 2 * np.pi * 8 * 3, rtol=1e-6, atol=0)
    assert found.bodies == 1


def test_a_pin_cut_into_other_flats_than_its_bore_leaves_gaps_that_are_told() -> None:
    plate = left_over(box((-10, -10, 0), (10, 10, 3)), [upright_cylinder((0, 0, 1.5), 8, 5, 64)])[0]
    whole = joined([plate, upright_cylinder((0, 0, 1.5), 8, 8, 50)])
    found = united(whole.vertices * 1e-3, whole.faces, np.arange(len(whole.faces)))
    assert codes(found) == ["repair-united", "part-narrow-gap"]
    assert "0.2 mm from a wall opposite" in message(found, "part-narrow-gap")


@pytest.mark.parametrize(("gap", "told"), [(0.1e-3, True), (0.3e-3, False)])
def test_bodies_apart_by_less_than_the_bath_gets_in_are_told(gap: float, told: bool) -> None:
    found = union(box((0, 0, 0), (0.02, 0.02, 0.01)), box((0.02 + gap, 0, 0), (0.04, 0.02, 0.01)))
    assert ("part-narrow-gap" in codes(found)) is told
    assert codes(found)[0] == "part-bodies"
    assert not told or "about 400 mm²" in message(found, "part-narrow-gap")


def test_a_sealed_void_is_filled_and_told() -> None:
    found = union(cube(0, 2), cube(0.5, 1.5, hollow=True))
    assert codes(found) == ["part-void"]
    assert skin(found).area == 24.0
    assert_allclose(change(found, "part-void").area, -6.0, rtol=1e-12, atol=0)


def test_a_vented_void_keeps_its_walls() -> None:
    found = union(cube(0, 2), cube(0.5, 1.5, hollow=True), vented=True)
    assert codes(found) == []
    assert_allclose([skin(found).area, skin(found).volume], [30.0, 7.0], rtol=1e-12, atol=0)
    assert found.bodies == 1


def test_a_rattle_in_a_void_is_shut_in_or_a_body_of_its_own() -> None:
    nest = (cube(0, 5), cube(1, 4, hollow=True), cube(1.5, 3.5), cube(2, 3, hollow=True))
    sealed = union(*nest)
    assert skin(sealed).area == 150.0
    assert codes(sealed) == ["part-void"]
    assert "1 loose piece of metal" in change(sealed, "part-void").message
    assert_allclose(change(sealed, "part-void").area, -(54 + 24 + 6), rtol=1e-12, atol=0)
    vented = union(*nest, vented=True)
    assert_allclose(skin(vented).area, 150 + 54 + 24 + 6, rtol=1e-12, atol=0)
    assert vented.bodies == 2
    assert sorted(np.bincount(vented.body)) == [24, 24]


def test_voids_that_meet_are_one_void() -> None:
    nest = (cube(0, 9), cube(1, 3, hollow=True), cube(2, 4, hollow=True))
    sealed = union(*nest)
    assert skin(sealed).area == 486.0
    assert codes(sealed) == ["repair-united", "part-void"]
    assert_allclose(change(sealed, "part-void").area, -42.0, rtol=1e-12, atol=0)
    assert_allclose(skin(union(*nest, vented=True)).volume, 729 - 15, rtol=1e-12, atol=0)


def test_a_body_within_a_body_is_swallowed() -> None:
    found = union(cube(0, 2), cube(0.5, 1.5))
    assert codes(found) == ["part-swallowed"]
    assert skin(found).area == 24.0


def test_a_body_in_a_pocket_that_a_hollow_body_cuts_hangs_by_itself() -> None:
    pocket = turned_out(box((1, 1, 1), (3, 3, 5)))
    found = union(cube(0, 4), pocket, box((1.5, 1.5, 1.5), (2.5, 2.5, 2.5)))
    assert found.bodies == 2
    assert_allclose(skin(found).area, 96 + 4 * 2 * 3 + 6, rtol=1e-12, atol=0)
    assert codes(found) == ["repair-united", "part-bodies"]


def test_a_hollow_body_outside_all_metal_is_refused() -> None:
    with pytest.raises(PartError) as told:
        union(cube(0, 1), cube(2, 3, hollow=True))
    assert told.value.slug == "part-mesh-inside-out"
    assert told.value.marks


def test_bodies_that_cancel_each_other_are_refused() -> None:
    with pytest.raises(PartError) as told:
        union(cube(0, 1), cube(0, 1, hollow=True))
    assert told.value.slug == "part-mesh-flat"


def test_a_body_that_crosses_itself_is_refused_with_the_place() -> None:
    body = box((0, 0, 0), (4, 1, 1))
    corners = np.array(body.vertices)
    corners[corners[:, 0] == 4] = corners[corners[:, 0] == 4] * [1, -1, 1] + [0, 1.2, 0]
    with pytest.raises(PartError) as told:
        united(corners, body.faces, np.arange(12))
    assert told.value.slug == "part-mesh-crossing"
    assert told.value.marks


@pytest.mark.parametrize("most", [1, 3])
def test_more_crossings_than_can_be_sorted_out_are_refused(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bodies, "MOST_PAIRS", most)
    with pytest.raises(PartError) as told:
        union(cube(0, 2), cube(1, 3), cube(0.5, 2.5))
    assert told.value.slug == "part-mesh-tangled"


def test_more_bodies_about_each_other_than_can_be_sorted_out_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bodies, "MOST_PAIRS", 2)
    with pytest.raises(PartError) as told:
        union(cube(0, 9), cube(1, 8), cube(2, 7))
    assert told.value.slug == "part-mesh-tangled"


def test_two_thousand_bodies_apart_are_kept_to_the_bit() -> None:
    places = np.stack(np.meshgrid(np.arange(20), np.arange(10), np.arange(10)), axis=-1).reshape(-1, 3)
    whole = joined([box(2 * place, 2 * place + 1) for place in places])
    order = np.random.default_rng(3).permutation(len(whole.faces))
    found = united(whole.vertices, whole.faces[order], order)
    assert found.bodies == 2000
    assert np.array_equal(found.vertices, whole.vertices)
    assert np.array_equal(found.faces, whole.faces[order])
    assert np.array_equal(found.source, order)
    assert "2000 separate bodies" in message(found, "part-bodies")


def test_bodies_beside_a_union_are_kept_to_the_bit() -> None:
    far = Surface(Rotation.random(rng=2).apply(np.array(cube(0, 1).vertices)) + 9, cube(0, 1).faces, np.zeros(12))
    found = union(cube(0, 2), cube(1, 3), far)
    own = found.source >= 24
    assert np.array_equal(found.vertices[found.faces[own]], far.corners)
    assert found.bodies == 2


needed = pytest.mark.skipif(corpus() is None, reason="the corpus of files is not here")


@pytest.mark.corpus
@needed
@pytest.mark.parametrize(
    "name", ["MINI__MINI-z-carriage-front.stl", "i3__z-axis-top.stl", "MINI__MINI-extruder-rear.stl"]
)
def test_voids_of_real_parts_are_left_out_with_the_area_on_record(name: str) -> None:
    folder = corpus()
    assert folder is not None
    row = next(row for row in rows() if row["name"].endswith(name))
    raw = read_bytes((folder / row["file"]).read_bytes(), ".stl")
    assert isinstance(raw, RawMesh)
    vertices, number = np.unique(raw.vertices, axis=0, return_inverse=True)
    found = united(vertices * 1e-3, number.reshape(-1)[raw.faces], raw.file_face)
    voids = float(row["void_area"])
    assert_allclose(change(found, "part-void").area, -voids * 1e-6, rtol=1e-6, atol=0)
    assert f"{row['void_shells']} sealed void" in change(found, "part-void").message
    assert_allclose(skin(found).area, (float(row["area"]) - voids) * 1e-6, rtol=1e-6, atol=0)
