"""Outlines bent about lines: held against the parts that are bent by dimensions, and against formulas."""

import math

import numpy as np
import pytest

from geom.errors import PartError
from geom.feature import Kind
from geom.part.build import FAITHFUL, build_part
from geom.part.folded import build_folded
from geom.part.part import Part
from geom.part.shapes import Angle, BendLine, Channel, Hole, Offset, Outline
from geom.surface.solid import to_manifold
from geom.surface.soundness import edge_report, touching_vertices

T, R, W = 2e-3, 3e-3, 25e-3  # thickness, inside radius, width [m]
SQUARE = math.pi / 2
SAME = 1e-6


def strip(length: float, width: float = W, holes: tuple[Hole, ...] = ()) -> Outline:
    return Outline(((0, 0), (length, 0), (length, width), (0, width)), T, holes=holes)


def across(x: float, angle: float, width: float = W, radius: float = R, k: float = 0.5) -> BendLine:
    """A bend right across a strip; what is at less x stays... or not: the shape is the same."""
    return BendLine((x, width), (x, 0.0), angle, radius, k)


def folded(outline: Outline, *bends: BendLine) -> Part:
    part = build_folded(outline, bends)
    report = edge_report(part.surface.faces)
    assert report.is_closed
    assert not len(touching_vertices(part.surface.faces, report.pairs))
    assert to_manifold(part.surface).volume() > 0
    np.testing.assert_allclose(part.surface.area, part.area, rtol=FAITHFUL, atol=0)
    np.testing.assert_allclose(part.surface.volume, part.volume, rtol=FAITHFUL, atol=0)
    for tag, feature in enumerate(part.features):
        found = float(part.surface.areas[part.surface.tag == tag].sum())
        np.testing.assert_allclose(found, feature.area, rtol=3e-3, atol=0)
    assert len({feature.name for feature in part.features}) == len(part.features)
    return part


def same(one: Part, other: Part) -> None:
    """Equal area and volume, and equally far from the middle of the metal, however each part lies."""
    np.testing.assert_allclose(one.area, other.area, rtol=SAME, atol=0)
    np.testing.assert_allclose(one.volume, other.volume, rtol=SAME, atol=0)
    far = []
    for part in (one, other):
        solid = part.surface
        six = np.einsum("ij,ij->i", solid.corners[:, 0], 2 * solid.area_vectors)  # six tetrahedra to the origin
        middle = six @ solid.corners.sum(axis=1) / 4 / six.sum()
        far.append(np.linalg.norm(solid.vertices - middle, axis=1).max())
    np.testing.assert_allclose(*far, rtol=0, atol=1e-6)


@pytest.mark.parametrize("degrees", [20, 90, 135, -90])
def test_one_bend_makes_the_angle_of_the_same_dimensions(degrees):
    bend = math.radians(abs(degrees))
    length, height, setback = 60e-3, 45e-3, (R + T) * math.tan(bend / 2)
    arc = bend * (R + T / 2)
    leg = length - setback
    part = folded(strip(leg + arc + height - setback), across(leg + arc / 2, math.radians(degrees)))
    same(part, build_part(Angle(length, height, W, T, R, bend)))


def test_two_bends_make_the_channel_of_the_same_dimensions():
    length, width, height = 50e-3, 30e-3, 20e-3
    flange, arc = height - R - T, SQUARE * (R + T / 2)
    flat = 2 * (flange + arc) + width - 2 * (R + T)
    bends = (across(flange + arc / 2, SQUARE, length), across(flat - flange - arc / 2, SQUARE, length))
    same(folded(strip(flat, length), *bends), build_part(Channel(length, width, height, T, R)))


def offset_blank(bend: float) -> tuple[float, float, float, float]:
    """Length of the blank, places of its bends, and the offset."""
    length, offset, middle = 80e-3, 15e-3, 2 * R + T
    web = (offset - middle * (1 - math.cos(bend))) / math.sin(bend)
    leg = (length - middle * math.sin(bend) - web * math.cos(bend)) / 2
    arc = bend * (R + T / 2)
    return 2 * leg + web + 2 * arc, leg + arc / 2, leg + arc + web + arc / 2, offset


def test_two_bends_opposite_ways_make_the_offset_bar():
    bend = math.radians(60)
    flat, first, second, offset = offset_blank(bend)
    part = folded(strip(flat), across(first, bend), across(second, -bend))
    same(part, build_part(Offset(80e-3, W, T, offset, R, bend)))


@pytest.mark.parametrize("turn", [0.3, 1.1, 2.0, 4.5])
def test_turning_the_drawing_with_its_lines_changes_nothing(turn):
    bend = math.radians(60)
    flat, first, second, _ = offset_blank(bend)

    def at(point):
        x, y = point
        return math.cos(turn) * x - math.sin(turn) * y + 0.01, math.sin(turn) * x + math.cos(turn) * y - 0.02

    bends = (across(first, bend), across(second, -bend))
    turned = [BendLine(at(b.start), at(b.end), b.angle, b.inside_radius) for b in bends]
    outline = strip(flat)
    moved = Outline(tuple(map(at, outline.points)), T)
    same(folded(outline, *bends), folded(moved, *turned))


def test_a_line_drawn_the_other_way_and_bends_in_another_order_make_the_same_part():
    flat, first, second, _ = offset_blank(1.0)
    one, two = across(first, 1.0), across(second, -1.0)
    back = BendLine(one.end, one.start, one.angle, one.inside_radius)
    part = folded(strip(flat), one, two)
    same(part, folded(strip(flat), two, one))
    same(part, folded(strip(flat), back, two))


@pytest.mark.parametrize("k", [0.33, 0.44, 0.5])
def test_the_k_factor_says_how_wide_a_strip_becomes_the_bend(k):
    """The strip angle (r + k t) wide becomes an arc whose middle is angle (r + t/2) long."""
    part = folded(strip(80e-3), across(40e-3, SQUARE, k=k))
    longer = SQUARE * (0.5 - k) * T
    np.testing.assert_allclose(part.volume, (80e-3 + longer) * W * T, rtol=SAME, atol=0)
    np.testing.assert_allclose(part.area, 2 * ((80e-3 + longer) * (W + T) + W * T), rtol=SAME, atol=0)


def test_features_are_flats_bends_edges_and_bores_to_be_found_by_name():
    hole = Hole(6e-3, (15e-3, 12e-3))
    part = folded(strip(80e-3, holes=(hole,)), across(40e-3, SQUARE))
    names = {feature.name: feature for feature in part.features}
    assert list(names)[:6] == [
        "flat 1 (fixed) face A",
        "flat 1 (fixed) face B",
        "flat 2 (beyond bend 1) face A",
        "flat 2 (beyond bend 1) face B",
        "inside of bend 1",
        "outside of bend 1",
    ]
    inside, outside, bore = names["inside of bend 1"], names["outside of bend 1"], names["bore 1 (6.0 mm)"]
    assert (inside.kind, outside.kind, bore.kind) == (Kind.BEND_INSIDE, Kind.BEND_OUTSIDE, Kind.BORE)
    np.testing.assert_allclose([inside.radius, outside.radius], [R, R + T], rtol=1e-12, atol=0)
    np.testing.assert_allclose(np.abs([inside.axis, bore.axis]), [[0, 1, 0], [1, 0, 0]], rtol=0, atol=1e-9)
    np.testing.assert_allclose(inside.area, SQUARE * R * W, rtol=SAME, atol=0)
    np.testing.assert_allclose(outside.area, SQUARE * (R + T) * W, rtol=SAME, atol=0)
    np.testing.assert_allclose(bore.area, math.pi * 6e-3 * T, rtol=SAME, atol=0)
    np.testing.assert_allclose(part.volume, (80e-3 * W - math.pi * 9e-6) * T, rtol=SAME, atol=0)


def test_a_hole_in_a_bend_keeps_the_volume_of_the_metal_left_and_is_told():
    hole = Hole(6e-3, (41e-3, 12e-3))
    part = folded(strip(80e-3, holes=(hole,)), across(40e-3, SQUARE))
    assert [finding.code for finding in part.findings] == ["part-hole-in-bend"]
    np.testing.assert_allclose(part.volume, (80e-3 * W - math.pi * 9e-6) * T, rtol=1e-5, atol=0)


def test_an_oblique_bend_keeps_the_volume_and_the_faces_of_the_bend_their_share():
    part = folded(strip(80e-3), BendLine((35.4516129e-3, 0), (47.5483871e-3, W), 1.2, R))
    same(part, folded(strip(80e-3), BendLine((34e-3, -3e-3), (49e-3, W + 3e-3), 1.2, R)))
    np.testing.assert_allclose(part.volume, 80e-3 * W * T, rtol=SAME, atol=0)
    width, slope = 1.2 * (R + T / 2), math.hypot(15, 31) / 31
    inside = next(f.area for f in part.features if f.kind is Kind.BEND_INSIDE)
    np.testing.assert_allclose(inside, width * slope * W * R / (R + T / 2), rtol=SAME, atol=0)


def box_blank(a: float, b: float, f: float) -> Outline:
    corners = [(0, 0), (0, -f), (a, -f), (a, 0), (a + f, 0), (a + f, b), (a, b), (a, b + f), (0, b + f), (0, b)]
    return Outline((*corners, (-f, b), (-f, 0)), T)


def test_a_box_of_four_flanges_keeps_its_volume_and_stands_as_high_as_they_do():
    a, b, f = 40e-3, 30e-3, 12e-3
    h = SQUARE * (R + T / 2) / 2  # half the strip: the bends begin at the sides of the bottom
    lines = [((a, -h), (0, -h)), ((a + h, b), (a + h, 0)), ((0, b + h), (a, b + h)), ((-h, 0), (-h, b))]
    part = folded(box_blank(a, b, f), *(BendLine(end, start, SQUARE, R) for start, end in lines))
    np.testing.assert_allclose(part.volume, (a * b + 2 * f * (a + b)) * T, rtol=SAME, atol=0)
    high = f - 2 * h + R + T
    size = [a + 2 * (R + T), b + 2 * (R + T), high]
    np.testing.assert_allclose(np.ptp(part.surface.bounds, axis=0), size, rtol=0, atol=1e-7)


def refusal(outline: Outline, *bends: BendLine) -> PartError:
    with pytest.raises(PartError) as caught:
        build_folded(outline, bends)
    return caught.value


@pytest.mark.parametrize(
    ("bends", "slug", "words"),
    [
        ([BendLine((30e-3, 5e-3), (30e-3, 30e-3), 1.0, R)], "part-bend-line", "ends within the metal"),
        ([BendLine((30e-3, 5e-3), (30e-3, 15e-3), 1.0, R)], "part-bend-line", "ends within the metal"),
        ([across(0.2, 1.0)], "part-bend-line", "does not cross"),
        ([across(1e-3, 1.0)], "part-bend-line", "leaves no flat"),
        ([across(30e-3, 1.0), across(32e-3, 1.0)], "part-bend-overlap", "4 mm wide"),
        ([across(30e-3, 1.0), across(34e-3, 1.0)], "part-bend-overlap", "no flat is left"),
        ([BendLine((0, 12e-3), (60e-3, 12e-3), 1.0, R), across(30e-3, 1.0)], "part-bend-overlap", "overlap at"),
        ([across(30e-3, 3.1)], "part-bend", "170 degrees"),
        ([across(30e-3, 0.001)], "part-bend", "1 to 170"),
        ([across(30e-3, math.nan)], "part-bend", "not finite"),
        ([across(30e-3, 1.0, radius=0.0)], "part-bend", "0.05 mm is the least"),
        ([across(30e-3, 1.0, k=0.9)], "part-bend", "k factor"),
        ([BendLine((0, 0), (0, 0), 1.0, R)], "part-bend", "0 mm long"),
        ([across(1e-3 * k, 1.0) for k in range(51)], "part-bend", "at most 50"),
    ],
)
def test_bends_that_cannot_be_are_refused_with_the_reason(bends, slug, words):
    error = refusal(strip(60e-3), *bends)
    assert error.slug == slug
    assert words in error.message


def test_a_strip_rolled_into_itself_is_refused():
    bends = (across(80e-3, 2.6), across(140e-3, -2.6))
    folded(strip(200e-3), *bends)
    error = refusal(strip(200e-3), across(80e-3, 2.6), BendLine((140e-3, 0), (140e-3, W), 2.6, R))
    assert error.slug == "part-bend-collides"


def test_flanges_that_meet_are_refused():
    """Two flanges as long as the half of the bottom, folded flat over it, run into each other."""
    arc = math.radians(160) * (R + T / 2)
    flat = 60e-3 + 2 * 58e-3 + 2 * arc
    places = (58e-3 + arc / 2, flat - 58e-3 - arc / 2)
    error = refusal(strip(flat), *(across(place, math.radians(160)) for place in places))
    assert error.slug == "part-bend-collides"
    assert "runs into" in error.message


def test_a_corner_that_is_not_cut_open_is_refused():
    """A frame around a window, bent on all four sides of one corner: the metal would have to tear."""
    ring = Outline(
        ((0, 0), (60e-3, 0), (60e-3, 60e-3), (0, 60e-3)),
        T,
        (((15e-3, 15e-3), (45e-3, 15e-3), (45e-3, 45e-3), (15e-3, 45e-3)),),
    )
    bends = (BendLine((30e-3, 15e-3), (30e-3, 0), 0.5, R), BendLine((30e-3, 60e-3), (30e-3, 45e-3), 0.9, R))
    assert refusal(ring, *bends).slug == "part-bend-tears"
    alike = (bends[0], BendLine((30e-3, 60e-3), (30e-3, 45e-3), 0.5, R))
    folded(ring, *alike)
