"""Parts given by dimensions: area, volume and extent against formulae, and closed surfaces.

The formulae are elementary; those with a name are given with it. Each is written here a second time, in another
way than in the program where there is one.
"""

import math

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.feature import Kind
from geom.part.build import build_part
from geom.part.part import Part
from geom.part.shapes import Angle, Bar, Channel, Hole, Offset, Outline, Rod, Shape, Tube, Washer
from geom.surface.soundness import edge_report

FACETED = 1e-3  # the brief: triangles within 0.1 % of the formula
RIGHT = math.pi / 2

few = settings(max_examples=25, deadline=None, derandomize=True)


def radii(high_mm: float) -> st.SearchStrategy[float]:
    """A radius that may be zero, else at least 1 micrometre."""
    return st.one_of(st.just(0.0), lengths(0.001, high_mm))


def lengths(low_mm: float, high_mm: float) -> st.SearchStrategy[float]:
    return st.floats(low_mm, high_mm, allow_nan=False).map(lambda value: value * 1e-3)


def genus(part: Part) -> int:
    """Handles of the closed surface by the library's own count; fails where it is not manifold."""
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(np.array(part.surface.vertices), part.surface.faces.astype(np.uint64))
    )
    assert solid.status() == manifold3d.Error.NoError
    return int(solid.genus())


def euler(part: Part) -> int:
    faces = part.surface.faces
    return len(np.unique(faces)) - 3 * len(faces) // 2 + len(faces)


def assert_sound(part: Part, *, handles: int, size: tuple[float, float, float] | None = None) -> None:
    """The surface is closed, outside out, centred, true to its formulae and to the sum of its features."""
    surface = part.surface
    assert edge_report(surface.faces).is_closed
    assert surface.volume > 0
    assert len(np.unique(surface.vertices, axis=0)) == len(surface.vertices) == len(np.unique(surface.faces))
    assert surface.areas.min() > 1e-9 * surface.areas.mean()
    assert genus(part) == handles
    assert euler(part) == 2 - 2 * handles
    assert_allclose(surface.area, part.area, rtol=FACETED, atol=0)
    assert_allclose(surface.volume, part.volume, rtol=FACETED, atol=0)
    assert_allclose(math.fsum(f.area for f in part.features), part.area, rtol=1e-12, atol=0)
    by_feature = np.bincount(surface.tag, surface.areas, len(part.features))
    assert_allclose(by_feature, [f.area for f in part.features], rtol=2e-3, atol=0)
    assert len({f.name for f in part.features}) == len(part.features)
    low, high = surface.bounds
    assert_allclose(low, -high, rtol=1e-9, atol=0)
    if size is not None:
        assert_allclose(high - low, size, rtol=1e-9, atol=0)


def area_of(part: Part, name: str) -> float:
    return next(f.area for f in part.features if f.name == name)


@few
@given(lengths(5, 300), lengths(5, 100), lengths(0.3, 20))
def test_sharp_bar_has_the_area_and_volume_of_a_box(length: float, width: float, thickness: float) -> None:
    part = build_part(Bar(length, width, thickness))
    assert_sound(part, handles=0, size=(length, width, thickness))
    assert_allclose(part.area, 2 * (length * width + width * thickness + thickness * length), rtol=1e-12, atol=0)
    assert_allclose(part.volume, length * width * thickness, rtol=1e-12, atol=0)
    assert len(part.surface.faces) == 12
    assert_allclose(part.surface.area, part.area, rtol=1e-12, atol=0)


def test_reference_bar_with_two_holes_has_its_area_by_hand() -> None:
    part = build_part(Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (-0.03, 0)), Hole(0.008, (0.03, 0)))))
    assert_sound(part, handles=2, size=(0.1, 0.02, 0.003))
    by_hand_mm2 = 2 * (100 * 20 - 2 * 16 * math.pi) + 2 * (100 + 20) * 3 + 2 * 8 * math.pi * 3
    assert_allclose(part.area, by_hand_mm2 * 1e-6, rtol=1e-12, atol=0)
    assert [f.name for f in part.features if f.kind is Kind.BORE] == ["bore 1 (8.0 mm)", "bore 2 (8.0 mm)"]
    assert {"face A (+z)", "face B (-z)", "long edge +y", "long edge -y", "end +x", "end -x"} <= {
        f.name for f in part.features
    }
    assert part.title == "bar 100 x 20 x 3 mm, 2 holes"
    assert part.smallest == 0.003


@pytest.mark.parametrize(
    ("name", "axis", "sign"),
    [
        ("face A (+z)", 2, 1),
        ("face B (-z)", 2, -1),
        ("long edge +y", 1, 1),
        ("long edge -y", 1, -1),
        ("end +x", 0, 1),
        ("end -x", 0, -1),
    ],
)
@pytest.mark.parametrize("radius", [0.0, 0.0005])
def test_face_of_a_bar_looks_the_way_its_name_says(name: str, axis: int, sign: int, radius: float) -> None:
    part = build_part(Bar(0.1, 0.02, 0.003, radius, (Hole(0.008, (0.01, 0)),)))
    mine = part.surface.tag == [f.name for f in part.features].index(name)
    assert_allclose(part.surface.normals[mine][:, axis], sign, rtol=1e-12, atol=0)


def test_wall_of_a_bore_looks_at_its_axis() -> None:
    part = build_part(Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (0.01, 0.002)),)))
    wall = part.surface.tag == [f.kind for f in part.features].index(Kind.BORE)
    to_axis = np.array([0.01, 0.002, 0.0]) - part.surface.centroids[wall]
    assert (np.einsum("ij,ij->i", to_axis, part.surface.normals[wall]) > 0).all()


@few
@given(lengths(6, 200), lengths(6, 60), lengths(1, 6), st.floats(0.02, 0.5))
def test_rounded_bar_obeys_steiners_formula(length: float, width: float, thickness: float, share: float) -> None:
    """Steiner 1840: V(K + rB) = V + S r + M r² + 4/3 π r³ and S(K + rB) its derivative in r; M = π (a + b + c)."""
    r = share * thickness
    part = build_part(Bar(length, width, thickness, r))
    a, b, c = length - 2 * r, width - 2 * r, max(thickness - 2 * r, 0.0)
    box, skin, mean = a * b * c, 2 * (a * b + b * c + c * a), math.pi * (a + b + c)
    assert_sound(part, handles=0, size=(length, width, thickness))
    assert_allclose(part.volume, box + skin * r + mean * r**2 + 4 / 3 * math.pi * r**3, rtol=1e-9, atol=0)
    assert_allclose(part.area, skin + 2 * mean * r + 4 * math.pi * r**2, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("size", "area", "volume"),
    [
        ((0.01, 0.01, 0.01), math.pi * 1e-4, math.pi / 6 * 1e-6),  # a ball
        ((0.05, 0.01, 0.01), math.pi * 0.01 * 0.05, math.pi / 4 * 1e-4 * 0.04 + math.pi / 6 * 1e-6),  # a capsule
    ],
)
def test_bar_rounded_all_over_is_a_ball_or_a_capsule(
    size: tuple[float, float, float], area: float, volume: float
) -> None:
    part = build_part(Bar(*size, 0.005))
    assert_sound(part, handles=0, size=size)
    assert_allclose([part.area, part.volume], [area, volume], rtol=1e-12, atol=0)
    assert [f.name for f in part.features] == ["rounded edges"]


def test_rounded_bar_with_holes_loses_their_openings_and_gains_their_walls() -> None:
    plain = build_part(Bar(0.1, 0.02, 0.003, 0.0003))
    part = build_part(Bar(0.1, 0.02, 0.003, 0.0003, (Hole(0.008, (-0.03, 0)), Hole(0.004, (0.03, 0), 0.01, 0.4))))
    assert_sound(part, handles=2, size=(0.1, 0.02, 0.003))
    opening = math.pi * 0.004**2 + math.pi * 0.002**2 + 0.004 * 0.006
    around = math.pi * 0.008 + math.pi * 0.004 + 2 * 0.006
    assert_allclose(part.area, plain.area - 2 * opening + around * 0.003, rtol=1e-12, atol=0)
    assert_allclose(part.volume, plain.volume - opening * 0.003, rtol=1e-12, atol=0)


@few
@given(
    st.lists(
        st.tuples(st.integers(0, 5), lengths(0.5, 12), lengths(0, 6), st.floats(0, 6.3)),
        max_size=6,
        unique_by=lambda h: h[0],
    )
)
def test_plate_with_any_holes_is_closed_and_true(drilled: list[tuple[int, float, float, float]]) -> None:
    holes = tuple(
        Hole(d, (-0.05 + 0.02 * place, 0.0), d + extra if extra > 1e-5 else 0.0, angle)
        for place, d, extra, angle in drilled
    )
    part = build_part(Bar(0.13, 0.04, 0.002, holes=holes, kind="plate"))
    assert_sound(part, handles=len(holes), size=(0.13, 0.04, 0.002))
    solid = shapely.box(-0.065, -0.02, 0.065, 0.02)
    for hole in holes:
        half = max(hole.length - hole.diameter, 0) / 2
        way = np.array([math.cos(hole.angle), math.sin(hole.angle)]) * half
        line = shapely.LineString([hole.at - way, hole.at + way]) if half else shapely.Point(hole.at)
        solid = solid.difference(line.buffer(hole.diameter / 2, quad_segs=200))
    assert_allclose(part.volume, solid.area * 0.002, rtol=1e-5, atol=0)
    assert_allclose(part.area, 2 * solid.area + solid.length * 0.002, rtol=1e-5, atol=0)


@few
@given(lengths(1, 50), lengths(1, 300))
def test_rod_has_the_area_and_volume_of_a_cylinder(diameter: float, length: float) -> None:
    part = build_part(Rod(length, diameter))
    assert_sound(part, handles=0, size=(length, diameter, diameter))
    assert_allclose(part.area, math.pi * diameter * (length + diameter / 2), rtol=1e-12, atol=0)
    assert_allclose(part.volume, math.pi * diameter**2 / 4 * length, rtol=1e-12, atol=0)


@few
@given(lengths(2, 50), st.floats(0.01, 0.49), lengths(1, 300))
def test_tube_has_the_area_and_volume_of_a_pipe(diameter: float, share: float, length: float) -> None:
    wall = share * diameter if diameter * (1 - 2 * share) > 1e-4 else diameter / 4
    part = build_part(Tube(length, diameter, wall))
    mean = math.pi * (diameter - wall)  # Pappus: section = mean circumference times wall
    assert_sound(part, handles=1, size=(length, diameter, diameter))
    assert_allclose(part.volume, mean * wall * length, rtol=1e-12, atol=0)
    assert_allclose(part.area, 2 * mean * length + 2 * mean * wall, rtol=1e-12, atol=0)


@few
@given(lengths(10, 30), st.floats(0.02, 0.15), st.floats(0.35, 0.95), st.integers(0, 2))
def test_flattened_tube_keeps_its_outside_perimeter_and_wall(
    diameter: float, wall_share: float, flat_share: float, count: int
) -> None:
    wall, thickness, length = wall_share * diameter, flat_share * diameter, 0.1
    flat = math.pi / 2 * (diameter - thickness)
    hole = min(flat * 0.6, 0.008)
    holes = tuple(Hole(hole, (-0.02 + 0.04 * n, 0.0)) for n in range(count))
    part = build_part(Tube(length, diameter, wall, thickness, holes))
    assert_sound(part, handles=1 + 2 * count, size=(length, flat + thickness, thickness))
    outside = shapely.LineString([(-flat / 2, 0), (flat / 2, 0)])
    section = math.pi * (diameter - wall) * wall  # Pappus again: the middle line shrinks by 2 pi times half a wall
    assert_allclose(outside.buffer(thickness / 2, quad_segs=500).length, math.pi * diameter, rtol=1e-5, atol=0)
    opening = math.pi / 4 * hole**2 * count
    assert_allclose(part.volume, section * length - 2 * opening * wall, rtol=1e-9, atol=0)
    skin = (math.pi * diameter + math.pi * (diameter - 2 * wall)) * length + 2 * section
    assert_allclose(part.area, skin - 4 * opening + 2 * count * math.pi * hole * wall, rtol=1e-9, atol=0)


@few
@given(lengths(3, 60), st.floats(0.05, 0.95), lengths(0.2, 10))
def test_washer_is_a_short_thick_tube(diameter: float, share: float, thickness: float) -> None:
    bore = share * diameter
    if diameter - bore < 2e-4:
        bore = diameter / 2
    washer = build_part(Washer(diameter, bore, thickness))
    tube = build_part(Tube(thickness, diameter, (diameter - bore) / 2))
    assert_sound(washer, handles=1, size=(diameter, diameter, thickness))
    assert_allclose([washer.area, washer.volume], [tube.area, tube.volume], rtol=1e-9, atol=0)


@few
@given(radii(6), lengths(0.5, 4), st.floats(2, 160))
def test_bend_has_the_area_and_volume_of_pappus(radius: float, thickness: float, degrees: float) -> None:
    """Pappus of Alexandria (Guldin 1641): a turned surface or solid = path of its centroid times what is turned."""
    bend, width = math.radians(degrees), 0.02
    setback = (radius + thickness) * math.tan(bend / 2)
    part = build_part(Angle(0.04 + setback, 0.03 + setback, width, thickness, radius, bend))
    assert_sound(part, handles=0)
    if radius:
        assert_allclose(area_of(part, "inside of bend 1"), bend * radius * width, rtol=1e-9, atol=0)
    assert_allclose(area_of(part, "outside of bend 1"), bend * (radius + thickness) * width, rtol=1e-9, atol=0)
    path = 0.07 + bend * (radius + thickness / 2)
    assert_allclose(part.volume, path * thickness * width, rtol=1e-9, atol=0)
    # a bent strip has the surface of the straight one with the length of its middle line
    assert_allclose(part.area, 2 * (path * width + width * thickness + path * thickness), rtol=1e-9, atol=0)


def test_square_angle_is_as_long_and_high_as_it_says() -> None:
    part = build_part(Angle(0.05, 0.03, 0.02, 0.003, 0.002, holes=(Hole(0.006, (0.01, 0.002)),)))
    assert_sound(part, handles=1, size=(0.05, 0.02, 0.03))
    wall = part.surface.tag == [f.kind for f in part.features].index(Kind.BORE)
    corners = part.surface.corners[wall].reshape(-1, 3)
    assert_allclose(corners.min(axis=0)[:2] + corners.max(axis=0)[:2], [0.02, 0.004], rtol=1e-9, atol=0)
    assert_allclose([corners[:, 2].min(), corners[:, 2].max()], [-0.015, -0.012], rtol=1e-9, atol=0)


def test_square_angle_without_radius_inside_is_two_boxes_and_a_quarter_round() -> None:
    part = build_part(Angle(0.05, 0.03, 0.02, 0.003, 0.0))
    by_hand = (0.047 * 0.003 + 0.027 * 0.003 + math.pi / 4 * 0.003**2) * 0.02
    assert_sound(part, handles=0, size=(0.05, 0.02, 0.03))
    assert_allclose(part.volume, by_hand, rtol=1e-12, atol=0)


@few
@given(lengths(20, 60), lengths(12, 40), lengths(0.5, 3), radii(3), st.integers(0, 3))
def test_channel_is_a_bent_strip(width: float, height: float, thickness: float, radius: float, count: int) -> None:
    hole = 0.6 * (width - 2 * (radius + thickness))
    holes = tuple(Hole(min(hole, 0.015), (-0.03 + 0.02 * n, 0.0)) for n in range(count))
    part = build_part(Channel(0.1, width, height, thickness, radius, holes))
    corner = radius + thickness
    path = 2 * (height - corner) + width - 2 * corner + math.pi * (radius + thickness / 2)
    opening = math.pi / 4 * min(hole, 0.015) ** 2 * count
    assert_sound(part, handles=count, size=(0.1, width, height))
    assert_allclose(part.volume, (path * 0.1 - opening) * thickness, rtol=1e-9, atol=0)
    inside = [f for f in part.features if f.kind is Kind.INSIDE]
    assert_allclose([f.width for f in inside], width - 2 * thickness, rtol=1e-12, atol=0)


@few
@given(lengths(0.5, 4), radii(5), st.floats(5, 90), lengths(0, 20), st.booleans())
def test_offset_bar_is_a_bent_strip(thickness: float, radius: float, degrees: float, web: float, drilled: bool) -> None:
    bend = math.radians(degrees)
    middle = 2 * radius + thickness
    web = web if web > 1e-6 else 0.0
    offset = middle * (1 - math.cos(bend)) + web * math.sin(bend)
    across = middle * math.sin(bend) + web * math.cos(bend)
    length = across + 0.05
    place = length / 2 - 0.0125
    holes = (Hole(0.008, (-place, 0.001)), Hole(0.008, (place, 0.0))) if drilled else ()
    part = build_part(Offset(length, 0.02, thickness, offset, radius, bend, holes))
    path = 0.05 + web + 2 * bend * (radius + thickness / 2)
    opening = math.pi / 4 * 0.008**2 * len(holes)
    assert_sound(part, handles=len(holes), size=(length, 0.02, offset + thickness))
    assert_allclose(part.volume, (path * 0.02 - opening) * thickness, rtol=1e-7, atol=0)


def test_outline_of_a_rectangle_is_the_bar() -> None:
    corners = ((0.0, 0.0), (0.1, 0.0), (0.1, 0.02), (0.05, 0.02), (0.0, 0.02), (0.0, 0.0))
    hole = Hole(0.008, (0.02, 0.01))
    drawn = build_part(Outline(corners, 0.003, holes=(hole,)))
    bar = build_part(Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (-0.03, 0)),)))
    assert_sound(drawn, handles=1, size=(0.1, 0.02, 0.003))
    assert_allclose([drawn.area, drawn.volume], [bar.area, bar.volume], rtol=1e-12, atol=0)
    assert next(f.name for f in drawn.features if f.kind is Kind.EDGE) == "edge 1 (100 mm)"
    assert [f.code for f in drawn.findings] == ["part-outline-origin"]


@few
@given(st.lists(st.floats(0.4, 1.0), min_size=5, max_size=40), st.booleans(), st.booleans())
def test_star_shaped_outline_has_the_area_of_its_polygon(spokes: list[float], clockwise: bool, cut: bool) -> None:
    angles = np.arange(len(spokes)) * 2 * math.pi / len(spokes)
    points = 0.05 * np.array(spokes)[:, None] * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    ring = tuple(map(tuple, points[::-1] if clockwise else points))
    cutouts = (((-0.003, -0.003), (0.003, -0.003), (0.0, 0.003)),) if cut else ()
    polygon = shapely.Polygon(ring, cutouts)
    part = build_part(Outline(ring, 0.002, cutouts))
    assert_sound(part, handles=int(cut))
    assert_allclose(part.volume, polygon.area * 0.002, rtol=1e-6, atol=0)
    assert_allclose(part.area, 2 * polygon.area + polygon.length * 0.002, rtol=1e-6, atol=0)


ONE_OF_EACH: list[Shape] = [
    Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (-0.03, 0)),)),
    Bar(0.1, 0.02, 0.003, 0.0005, (Hole(0.004, (0.02, 0), 0.012, 0.5),)),
    Rod(0.1, 0.01),
    Tube(0.1, 0.015, 0.001),
    Tube(0.1, 0.015, 0.001, 0.004, (Hole(0.006, (0.03, 0)),)),
    Washer(0.02, 0.0084, 0.0016),
    Angle(0.05, 0.03, 0.02, 0.003, 0.003, holes=(Hole(0.008, (0.01, 0)),)),
    Channel(0.1, 0.03, 0.02, 0.002, 0.002, (Hole(0.006, (0.02, 0)),)),
    Offset(0.1, 0.02, 0.003, 0.01, 0.003, holes=(Hole(0.008, (-0.035, 0)),)),
    Outline(((0, 0), (0.03, 0), (0.03, 0.02), (0.01, 0.02), (0, 0.01)), 0.002, holes=(Hole(0.004, (0.02, 0.01)),)),
]


@pytest.mark.parametrize("shape", ONE_OF_EACH, ids=lambda shape: type(shape).__name__)
def test_area_and_volume_do_not_change_when_the_part_is_turned(shape: Shape) -> None:
    surface = build_part(shape).surface
    turn, _ = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))
    turn *= np.linalg.det(turn)
    moved = surface.moved(turn, np.array([0.3, -0.2, 0.1]))
    assert_allclose([moved.area, moved.volume], [surface.area, surface.volume], rtol=1e-9, atol=0)


@pytest.mark.parametrize("shape", ONE_OF_EACH, ids=lambda shape: type(shape).__name__)
@pytest.mark.parametrize("factor", [0.1, 7.0])
def test_area_goes_with_the_square_and_volume_with_the_cube_of_size(shape: Shape, factor: float) -> None:
    one, other = build_part(shape), build_part(scaled(shape, factor))
    assert_allclose(other.area, one.area * factor**2, rtol=1e-9, atol=0)
    assert_allclose(other.volume, one.volume * factor**3, rtol=1e-9, atol=0)
    assert genus(other) == genus(one)


def scaled(shape: Shape, factor: float) -> Shape:
    def grown(value: object, name: str) -> object:
        if name in ("angle", "bend", "kind"):
            return value
        if isinstance(value, tuple):
            return tuple(grown(item, name) for item in value)
        if isinstance(value, Hole):
            return scaled(value, factor)  # type: ignore[arg-type]
        return value * factor  # type: ignore[operator]

    return type(shape)(**{name: grown(getattr(shape, name), name) for name in shape.__dataclass_fields__})
