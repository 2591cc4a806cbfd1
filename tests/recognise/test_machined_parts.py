"""Holes, pockets and rounding cut into blocks by another library, sizes known: what is found is what was cut."""

import math
from collections import Counter

import manifold3d
import numpy as np
import pytest
from helpers.typed_parts import MM, as_read, turn
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.feature import Feature, Kind
from geom.recognise.recognise import Recognised, recognised
from geom.surface.soundness import edge_report
from geom.surface.surface import Surface

Solid = manifold3d.Manifold


def block(length: float = 60, width: float = 40, height: float = 20, at: tuple[float, float, float] = (0, 0, 0)):
    return Solid.cube((length, width, height), True).translate(at)


def drill(diameter: float, depth: float, at: tuple[float, float] = (0, 0), facets: int = 64, tip: float = 0.0):
    """From the top of the block, 10 mm up, down; ``tip`` the height of the drill's point."""
    x, y = at
    wall = Solid.cylinder(depth + 1, diameter / 2, diameter / 2, facets).translate((x, y, 10 - depth))
    if tip == 0:
        return wall
    return wall + Solid.cylinder(tip, 0, diameter / 2, facets).translate((x, y, 10 - depth - tip))


def cone(diameter: float, depth: float, narrow: float):
    return Solid.cylinder(depth, narrow / 2, diameter / 2, 64).translate((0, 0, 10 - depth))


def surface_of(solid: manifold3d.Manifold, rotation: Floats | None = None) -> Surface:
    mesh = solid.to_mesh()
    return as_read(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts), rotation)


def found(solid: manifold3d.Manifold, rotation: Floats | None = None) -> Recognised:
    surface = surface_of(solid, rotation)
    return recognised(surface, edge_report(surface.faces).pairs)


def of_kind(result: Recognised, kind: Kind) -> list[Feature]:
    return [feature for feature in result.features if feature.kind is kind]


def only(result: Recognised, kind: Kind) -> Feature:
    (feature,) = of_kind(result, kind)
    return feature


@pytest.mark.parametrize("facets", [12, 16, 32, 100, 500])
@pytest.mark.parametrize("seed", [None, 4])
def test_a_bore_is_found_however_coarse_or_fine(facets: int, seed: int | None) -> None:
    bore = only(found(block() - drill(10, 30, (7, 3), facets), None if seed is None else turn(seed)), Kind.BORE)
    assert_allclose(bore.width, 10 * MM, rtol=1e-4, atol=0)
    assert_allclose(bore.depth, 20 * MM, rtol=1e-4, atol=0)
    assert_allclose(bore.aspect, 2, rtol=1e-4, atol=0)


@pytest.mark.parametrize("tip", [0.0, 2.4])
@pytest.mark.parametrize("seed", [None, 8])
def test_a_blind_hole_is_wall_and_bottom_down_to_the_deepest_point(tip: float, seed: int | None) -> None:
    hole = only(found(block() - drill(8, 10, (10, 0), tip=tip), None if seed is None else turn(seed)), Kind.BLIND_HOLE)
    assert_allclose(hole.width, 8 * MM, rtol=1e-4, atol=0)
    assert_allclose(hole.depth, (10 + tip) * MM, rtol=1e-4, atol=0)
    bottom = math.pi * 4 * math.hypot(4, tip)
    assert_allclose(hole.area, (math.pi * 8 * 10 + bottom) * MM**2, rtol=5e-3, atol=0)


def test_a_countersink_and_a_counterbore_are_features_beside_their_bore() -> None:
    for cut, word, width, depth in (
        (cone(14, 4, 6), "countersink", 14, 4),
        (drill(12, 6), "counterbore", 12, 6),
    ):
        result = found(block() - drill(6, 30) - cut, turn(2))
        place = only(result, Kind.RECESS)
        assert place.name.startswith(f"{word} 1 ({width:.1f} mm)")
        assert_allclose([place.width, place.depth], [width * MM, depth * MM], rtol=1e-3, atol=0)
        bore = only(result, Kind.BORE)
        assert_allclose([bore.width, bore.depth], [6 * MM, (20 - depth) * MM], rtol=1e-3, atol=0)


@pytest.mark.parametrize("seed", [None, 5])
def test_a_pocket_has_the_width_and_depth_it_was_milled(seed: int | None) -> None:
    result = found(block() - block(20, 10, 10, (0, 0, 8)), None if seed is None else turn(seed))
    pocket = only(result, Kind.RECESS)
    assert pocket.name.startswith("pocket 1 (10.0 x 20.0 mm)")
    assert_allclose([pocket.width, pocket.depth], [10 * MM, 7 * MM], rtol=1e-4, atol=0)
    assert_allclose(pocket.area, (2 * 30 * 7 + 200) * MM**2, rtol=1e-5, atol=0)
    assert Counter(f.kind for f in result.features) == {Kind.FACE: 2, Kind.END: 2, Kind.EDGE: 2, Kind.RECESS: 1}


def test_a_pocket_with_rounded_corners_and_a_bore_in_its_floor() -> None:
    round_pocket = Solid.extrude(manifold3d.CrossSection.square((14, 6), True).offset(
        3, manifold3d.JoinType.Round, 2, 48), 9).translate((0, 0, 3))  # fmt: skip
    result = found(block() - round_pocket - drill(4, 30), turn(9))
    pocket, bore = only(result, Kind.RECESS), only(result, Kind.BORE)
    assert_allclose([pocket.width, pocket.depth], [12 * MM, 7 * MM], rtol=2e-3, atol=0)
    assert_allclose([bore.width, bore.depth], [4 * MM, 13 * MM], rtol=2e-3, atol=0)


def test_a_groove_is_one_feature() -> None:
    groove = only(found(block() - block(70, 8, 10, (0, 0, 8)), turn(3)), Kind.RECESS)
    assert groove.name.startswith("groove 1 (8.0 mm)")
    assert_allclose([groove.width, groove.depth], [8 * MM, 7 * MM], rtol=1e-4, atol=0)


def test_a_groove_turned_into_a_rod_is_one_feature() -> None:
    ring = Solid.cylinder(4, 15, 15, 96) - Solid.cylinder(4, 7.5, 7.5, 96)
    result = found(Solid.cylinder(60, 10, 10, 96) - ring.translate((0, 0, 20)), turn(3))
    groove = only(result, Kind.RECESS)
    assert_allclose([groove.width, groove.depth], [4 * MM, 2.5 * MM], rtol=5e-3, atol=0)


def test_bores_that_cross_are_bores_all_the_same() -> None:
    across = Solid.cylinder(80, 3, 3, 64, True).rotate((0, 90, 0))
    result = found(block() - drill(8, 30) - across, turn(6))
    bores = of_kind(result, Kind.BORE)
    assert_allclose(sorted(b.width for b in bores), [6 * MM, 6 * MM, 8 * MM], rtol=1e-3, atol=0)
    assert_allclose(max(b.depth for b in bores), (30 - math.sqrt(16 - 9)) * MM, rtol=2e-3, atol=0)


def test_a_cutout_of_any_outline_is_one_feature() -> None:
    """A star has corners of both sorts; an L has one that juts in."""
    star = [(r * math.cos(a), r * math.sin(a)) for a, r in zip(np.arange(16) * math.pi / 8, [5, 8] * 8, strict=True)]
    ell = [(0, 0), (20, 0), (20, 6), (6, 6), (6, 20), (0, 20)]
    for ring, width in ((star, 10.0), (ell, 6.0)):
        hole = Solid.extrude(manifold3d.CrossSection([ring]), 10).translate((-3, -3, -5))
        result = found(block(60, 60, 3) - hole, turn(1))
        cutout = only(result, Kind.SLOT)
        assert width * MM * 0.999 < cutout.width < width * 1.18 * MM  # the circle into the elbow of the L is larger
        assert_allclose(cutout.depth, 3 * MM, rtol=1e-4, atol=0)


def test_a_tube_has_an_inside_and_a_drilled_block_has_a_bore() -> None:
    pipe = Solid.cylinder(80, 10, 10, 64) - Solid.cylinder(80, 8, 8, 64)
    holed = pipe - Solid.cylinder(40, 2.5, 2.5, 32, True).rotate((0, 90, 0)).translate((0, 0, 40))
    result = found(holed, turn(7))
    inside = only(result, Kind.INSIDE)
    assert_allclose([inside.width, inside.depth], [16 * MM, 80 * MM], rtol=2e-3, atol=0)
    assert_allclose([b.width for b in of_kind(result, Kind.BORE)], [5 * MM, 5 * MM], rtol=5e-3, atol=0)
    through = Solid.cylinder(80, 4, 4, 64, True).rotate((0, 90, 0))
    assert [f.depth for f in of_kind(found(block() - through), Kind.BORE)] == pytest.approx([60 * MM], rel=1e-4)


def test_a_boss_is_no_hole() -> None:
    result = found(block(60, 40, 6) + Solid.cylinder(25, 7, 7, 64) + block(14, 10, 12, (18, 0, 8)), turn(4))
    assert not {f.kind for f in result.features} & {Kind.BORE, Kind.SLOT, Kind.RECESS, Kind.BLIND_HOLE, Kind.INSIDE}
    assert sum(f.name.startswith("round side") for f in result.features) == 1


def test_many_bores_alike_share_a_feature() -> None:
    solid = block()
    for x in range(-27, 28, 6):
        for y in range(-15, 16, 5):
            solid -= drill(3, 30, (x, y), 24)
    result = found(solid)
    assert len(result.features) <= 60
    bores = only(result, Kind.BORE)
    assert bores.name == "70 bores (3.0 mm)"
    assert_allclose(bores.area, 70 * math.pi * 3 * 20 * MM**2, rtol=5e-3, atol=0)


def test_an_edge_rounded_by_itself_and_a_corner_filled() -> None:
    """A fillet rolled along one edge of a block, and one in its inside corner."""
    rod = Solid.cylinder(70, 4, 4, 96, True).rotate((0, 90, 0))
    strip = block(70, 4, 4, (0, 18, 8))
    outside = found(block() - (strip - rod.translate((0, 16, 6))), turn(11))
    (rounded,) = [f for f in outside.features if f.name.startswith("rounded")]
    assert rounded.kind is Kind.EDGE
    assert rounded.name.startswith("rounded edge 1 (radius 4.0 mm)")
    assert_allclose(rounded.area, math.pi / 2 * 4 * 60 * MM**2, rtol=2e-3, atol=0)
    step = block() - block(70, 20, 10, (0, 14, 9))
    fillet = step + (block(60, 4, 4, (0, 6, 6)) - rod.translate((0, 8, 8)))
    inside = only(found(fillet, turn(12)), Kind.BEND_INSIDE)
    assert_allclose(inside.radius, 4 * MM, rtol=2e-3, atol=0)
    assert inside.name.startswith("fillet 1 (radius 4.0 mm)")


def test_sharp_outside_edges_are_measured() -> None:
    result = found(block() - drill(8, 30))
    circles = 2 * 64 * 8 * math.sin(math.pi / 64)
    assert_allclose(result.sharp_edge_length, (4 * (60 + 40 + 20) + circles) * MM, rtol=1e-4, atol=0)


def test_a_ball_and_a_cone_are_named() -> None:
    names = [f.name for f in found(Solid.sphere(10, 64) + Solid.cylinder(30, 3, 3, 64)).features]
    assert any(name.startswith("ball 1 (radius 10.0 mm)") for name in names)
    names = [f.name for f in found(Solid.cylinder(40, 10, 10, 64) + Solid.cylinder(12, 10, 2, 64).translate((0, 0, 40))).features]  # fmt: skip
    assert any(name.startswith("cone 1 (20.0 mm), near the +z end") for name in names)
