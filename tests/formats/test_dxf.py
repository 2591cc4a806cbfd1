"""DXF files: closed forms, another reader, and files that must be refused."""

import io
import math

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import path as ezdxf_path
from helpers import drawings as d

from geom.errors import PartError
from geom.formats.drawing import RawDrawing
from geom.formats.dxf import read_dxf

FLAT = 1e-4  # what cutting curves into straight pieces may change


def area(ring) -> float:
    return shapely.Polygon(ring).area


def only_ring(data: bytes):
    raw = read_dxf(data)
    assert len(raw.rings) == 1
    assert raw.circles == ()
    return raw.rings[0]


def refusal(data: bytes) -> PartError:
    with pytest.raises(PartError) as caught:
        read_dxf(data)
    return caught.value


def codes(raw: RawDrawing) -> list[str]:
    return [finding.code for finding in raw.findings]


def test_the_sound_link_has_its_outline_its_bores_and_its_unit():
    raw = read_dxf(d.sound_dxf())
    outer, slot = sorted(raw.rings, key=area, reverse=True)
    np.testing.assert_allclose(area(outer), 60 * 20 + math.pi * 100, rtol=FLAT, atol=0)
    np.testing.assert_allclose(shapely.LinearRing(outer).length, 120 + 20 * math.pi, rtol=FLAT, atol=0)
    np.testing.assert_allclose(area(slot), 60 + math.pi * 9, rtol=FLAT, atol=0)
    assert raw.circles == ((0.0, 0.0, 4.0), (60.0, 0.0, 4.0))
    assert raw.unit == 1e-3
    assert raw.findings == ()


def test_a_rounded_rectangle_of_lines_and_arcs_has_its_area_and_perimeter():
    long, w, r = 50.0, 30.0, 6.0
    pieces = [
        d.line((r, 0), (long - r, 0)),
        d.arc((long - r, r), r, 270, 0),
        d.line((long, w - r), (long, r)),
        d.arc((long - r, w - r), r, 0, 90),
        d.line((long - r, w), (r, w)),
        d.arc((r, w - r), r, 90, 180),
        d.line((0, r), (0, w - r)),
        d.arc((r, r), r, 180, 270),
    ]
    for order in (pieces, pieces[::-1], pieces[3:] + pieces[:3], sorted(pieces)):
        ring = only_ring(d.dxf(*order))
        np.testing.assert_allclose(area(ring), long * w - (4 - math.pi) * r**2, rtol=FLAT, atol=0)
        length = 2 * (long + w) - 8 * r + 2 * math.pi * r
        np.testing.assert_allclose(shapely.LinearRing(ring).length, length, rtol=FLAT, atol=0)


@pytest.mark.parametrize("bulge", [1.0, -1.0, 0.3, -0.3, 2.5, -0.01])
def test_a_bulge_makes_a_circular_segment(bulge):
    chord, turn = 20.0, 4 * math.atan(bulge)
    radius = chord / 2 / math.sin(abs(turn) / 2)
    segment = radius**2 / 2 * (abs(turn) - math.sin(abs(turn)))
    ring = only_ring(d.dxf(d.polyline([(0, 0, bulge), (chord, 0), (chord, 50), (0, 50)])))
    np.testing.assert_allclose(area(ring), chord * 50 + math.copysign(segment, bulge), rtol=FLAT, atol=0)


def test_two_half_circles_and_an_arc_all_round_are_circles():
    halves = only_ring(d.dxf(d.polyline([(0, 0, 1), (10, 0, 1)])))
    np.testing.assert_allclose(area(halves), math.pi * 25, rtol=FLAT, atol=0)
    assert read_dxf(d.dxf(d.arc((3, 4), 5, 10, 370))).circles == ((3.0, 4.0, 5.0),)


@pytest.mark.parametrize(
    ("code", "unit"), [(1, 0.0254), (2, 0.3048), (4, 1e-3), (5, 1e-2), (6, 1.0), (9, 25.4e-6), (13, 1e-6)]
)
def test_insunits_states_the_unit(code, unit):
    assert read_dxf(d.dxf(d.circle((0, 0), 1), unit=code)).unit == unit


@pytest.mark.parametrize("code", [None, 0])
def test_a_drawing_without_unit_says_none(code):
    assert read_dxf(d.dxf(d.circle((0, 0), 1), unit=code)).unit is None


def ezdxf_bytes(doc) -> bytes:
    text = io.StringIO()
    doc.write(text)
    return text.getvalue().encode()


@pytest.mark.parametrize("version", ["R2000", "R2007", "R2018"])
def test_what_another_library_writes_is_read_as_that_library_reads_it(version):
    doc = ezdxf.new(version)
    doc.header["$INSUNITS"] = 1
    space, block = doc.modelspace(), doc.blocks.new("eye")
    block.add_ellipse((1, 2), (3, 1), 0.5)
    block.add_circle((8, 0), 1)
    space.add_blockref("eye", (30, 20), dxfattribs={"rotation": 30, "xscale": 2, "yscale": 3})
    space.add_blockref("eye", (70, 30), dxfattribs={"xscale": -1})
    space.add_lwpolyline([(0, 0, 0), (100, 0, 0.2), (100, 50, 0), (0, 50, -0.3)], format="xyb", close=True)
    space.add_lwpolyline([(200, 0, 0.4), (210, 0, 0), (210, 9, 0)], format="xyb", close=True).dxf.extrusion = (0, 0, -1)
    space.add_polyline2d([(0, 80, 0.1), (20, 80, 0), (20, 99, 0)], format="xyb", close=True)
    corners = [(80, 70), (95, 70), (95, 90), (80, 90), (80, 70)]
    space.add_rational_spline(corners, weights=[1, 2, 1, 0.5, 1])
    space.add_text("KEEP OUT")
    raw = read_dxf(ezdxf_bytes(doc))
    wanted = []
    for entity in space:
        for one in entity.virtual_entities() if entity.dxftype() == "INSERT" else [entity]:
            if one.dxftype() == "TEXT":
                continue
            path = ezdxf_path.make_path(one)
            wanted.append(area([(p.x, p.y) for p in path.flattening(1e-3, segments=64)]))
    found = [area(ring) for ring in raw.rings] + [math.pi * r**2 for _, _, r in raw.circles]
    # that library draws arcs by Bezier curves, which are 3e-4 of a radius off
    np.testing.assert_allclose(sorted(found), sorted(wanted), rtol=1e-3, atol=0)
    assert len(found) == 8
    assert raw.unit == 0.0254
    assert codes(raw) == ["drawing-words"]


def test_blocks_are_put_in_where_they_stand_nested_and_in_rows():
    inner = d.block("hole", d.circle((1, 0), 1))
    outer = d.block("pair", d.insert("hole", (0, 0), (50, 90)), d.insert("hole", (10, 0)))
    row = d.insert("pair", (100, 0), (70, 2), (71, 2), (44, 30), (45, 40), (41, 2), (42, 2), (43, 2))
    raw = read_dxf(d.dxf(row, blocks=[inner, outer]))
    wanted = [(100 + 30 * i + x, 40 * j + y, 2.0) for i in (0, 1) for j in (0, 1) for x, y in ((0.0, 2.0), (22.0, 0.0))]
    np.testing.assert_allclose(sorted(raw.circles), sorted(wanted), rtol=0, atol=1e-9)


def test_a_block_stretched_along_one_axis_makes_a_circle_an_ellipse():
    raw = read_dxf(d.dxf(d.insert("o", (0, 0), (41, 3)), blocks=[d.block("o", d.circle((0, 0), 2))]))
    assert raw.circles == ()
    np.testing.assert_allclose(area(raw.rings[0]), math.pi * 12, rtol=FLAT, atol=0)


def test_small_gaps_are_joined_and_told_with_the_distance():
    raw = read_dxf(d.dxf(d.polyline([(0, 0), (40, 0), (40, 20)], closed=False), d.line((40.002, 20), (0, 0))))
    assert codes(raw) == ["drawing-joined"]
    assert "0.002 units" in raw.findings[0].message
    np.testing.assert_allclose(area(raw.rings[0]), 400, rtol=FLAT, atol=0)


def test_an_open_outline_is_refused_with_both_ends():
    error = refusal(d.dxf(d.line((0, 0), (40, 0)), d.line((40, 0), (40, 20)), d.line((40, 20), (0, 20))))
    assert error.slug == "part-drawing-open"
    assert "(0, 0)" in error.message
    assert "(0, 20)" in error.message
    assert "20 units apart" in error.message


def test_lines_that_branch_are_refused_with_the_place():
    square = [d.line(a, b) for a, b in zip(d.rectangle(), d.rectangle()[1:] + d.rectangle()[:1], strict=True)]
    error = refusal(d.dxf(*square, d.line((0, 0), (40, 20))))
    assert error.slug == "part-drawing-branches"
    assert "(0, 0)" in error.message or "(40, 20)" in error.message


def test_lines_outlines_and_circles_drawn_twice_count_once():
    square = d.rectangle()
    sides = [d.line(a, b) for a, b in zip(square, square[1:] + square[:1], strict=True)]
    back = d.line(square[1], square[0])
    raw = read_dxf(d.dxf(*sides, back, d.polyline(square[2:] + square[:2]), d.circle((5, 5), 1), d.circle((5, 5), 1)))
    assert len(raw.rings) == 1
    assert len(raw.circles) == 1
    assert codes(raw) == ["drawing-double", "drawing-double"]


def test_layers_are_told_and_hidden_ones_left_out():
    tables = d.pairs((0, "SECTION"), (2, "TABLES"), (0, "TABLE"), (2, "LAYER"))
    for name, color in (("CUT", 7), ("FRAME", -7)):
        tables += d.pairs((0, "LAYER"), (2, name), (70, 0), (62, color))
    tables += d.pairs((0, "ENDTAB"), (0, "ENDSEC"))
    plain = d.dxf(
        d.polyline(d.rectangle(), layer="CUT"),
        d.circle((5, 5), 1, layer="0"),
        d.polyline(d.rectangle(100, 100, (-9, -9)), layer="FRAME"),
    ).decode()
    cut = plain.index("  0\nSECTION\n  2\nENTITIES")
    raw = read_dxf((plain[:cut] + tables + plain[cut:]).encode())
    assert len(raw.rings) == 1
    assert codes(raw) == ["drawing-layers", "drawing-hidden"]
    assert '"CUT" (1)' in raw.findings[0].message


def test_what_is_left_out_is_named_and_counted():
    other = d.pairs((0, "HATCH"), (8, "0")) + d.pairs((0, "WONDER"), (8, "0")) * 2
    raw = read_dxf(d.dxf(d.polyline(d.rectangle()), other))
    assert codes(raw) == ["drawing-words", "drawing-left-out"]
    assert "1 HATCH" in raw.findings[0].message
    assert "2 WONDER" in raw.findings[1].message


@pytest.mark.parametrize(
    "entity",
    [
        d.pairs((0, "3DFACE"), (8, "0")),
        d.pairs((0, "LINE"), (10, 0), (20, 0), (30, 0), (11, 9), (21, 0), (31, 5)),
        d.pairs((0, "CIRCLE"), (10, 0), (20, 0), (40, 1), (210, 1), (220, 0), (230, 0)),
        d.pairs((0, "CIRCLE"), (10, 0), (20, 0), (30, 7), (40, 1)),
        d.pairs((0, "POLYLINE"), (66, 1), (70, 64), (0, "SEQEND")),
    ],
)
def test_things_in_space_are_refused(entity):
    assert refusal(d.dxf(d.polyline(d.rectangle()), entity)).slug == "part-drawing-not-flat"


@pytest.mark.parametrize(
    ("entity", "words"),
    [
        (d.pairs((0, "CIRCLE"), (10, 0), (20, 0)), "no group 40"),
        (d.pairs((0, "CIRCLE"), (10, 0), (20, 0), (40, 0)), "radius of 0"),
        (d.pairs((0, "CIRCLE"), (10, 0), (20, "nan"), (40, 1)), "not a number"),
        (d.pairs((0, "CIRCLE"), (10, 0), (20, "1,5"), (40, 1)), "write 12.5"),
        (d.pairs((0, "CIRCLE"), (10, 0), (20, "1e999"), (40, 1)), "no drawing has"),
        (d.pairs((0, "LINE"), (10, 0), (20, 0), (11, 1)), "no group 21"),
        (d.pairs((0, "LINE"), (10, 0), (10, 0), (20, 0), (11, 1), (21, 1)), "2 times"),
        (d.pairs((0, "LWPOLYLINE"), (90, 4), (10, 0), (20, 0), (10, 1), (20, 0), (10, 1), (20, 1)), "declares 4"),
        (d.pairs((0, "LWPOLYLINE"), (10, 0), (20, 0), (10, 1), (10, 1), (20, 1)), "without x or y"),
        (d.pairs((0, "SPLINE"), (71, 3), (10, 0), (20, 0), (10, 1), (20, 0)), "do not make a spline"),
        (d.pairs((0, "SPLINE"), (71, 3), (11, 0), (21, 0)), "points to pass through"),
        (d.pairs((0, "ELLIPSE"), (10, 0), (20, 0), (11, 1), (21, 0), (40, -1)), "in the ratio -1"),
        (d.pairs((0, "VERTEX"), (10, 0), (20, 0)), "no polyline"),
        (d.pairs((0, "POLYLINE"), (66, 1)), "does not end"),
        (d.insert("nowhere"), "does not have"),
        (d.insert("a", (0, 0), (70, -1)), "repeats its block"),
    ],
)
def test_a_broken_entity_is_refused_by_line_and_reason(entity, words):
    error = refusal(d.dxf(d.polyline(d.rectangle()), entity, blocks=[d.block("a", d.circle((0, 0), 1))]))
    assert error.slug == "part-mesh-format"
    assert words in str(error)


def test_blocks_that_contain_themselves_or_multiply_are_refused():
    circle = [d.block("a", d.insert("b")), d.block("b", d.insert("a"))]
    assert "contains itself" in refusal(d.dxf(d.insert("a"), blocks=circle)).message
    doubling = [d.block("n0", d.circle((0, 0), 1))]
    doubling += [d.block(f"n{k}", *[d.insert(f"n{k - 1}")] * 40) for k in range(1, 6)]
    assert refusal(d.dxf(d.insert("n5"), blocks=doubling)).slug == "part-drawing-large"
    many = d.insert("n0", (0, 0), (70, 40_000), (71, 50_000))
    assert refusal(d.dxf(many, blocks=doubling)).slug == "part-drawing-large"
    deep = [d.block("n0", d.circle((0, 0), 1))] + [d.block(f"n{k}", d.insert(f"n{k - 1}")) for k in range(1, 40)]
    assert "deep" in refusal(d.dxf(d.insert("n39"), blocks=deep)).message


def test_a_file_cut_anywhere_is_refused():
    data = d.sound_dxf().rstrip()
    for end in range(len(data)):
        with pytest.raises(PartError):
            read_dxf(data[:end])


def test_line_ends_marks_and_comments_change_nothing():
    plain = d.dxf(d.polyline(d.rectangle()))
    commented = b"999\nmade for a test\n" + plain
    for data in (plain.replace(b"\n", b"\r\n"), plain.replace(b"\n", b"\r"), b"\xef\xbb\xbf" + plain, commented):
        np.testing.assert_array_equal(read_dxf(data).rings[0], d.rectangle())


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"AutoCAD Binary DXF\r\n\x1a\0", "binary"),
        (b"\0" * 100, "no text"),
        (b"", "cut off"),
        (b"hello\nworld\n", "code of a group"),
        (b"  0\nEOF\n", "no section"),
        (d.dxf(d.polyline(d.rectangle())) + b"more\n", "goes on"),
        (d.dxf(d.circle((0, 0), 1), unit=99), "unit no part"),
    ],
)
def test_a_file_that_is_no_drawing_is_refused_with_the_reason(data, words):
    assert words in str(refusal(data))


def test_an_empty_drawing_is_refused():
    assert refusal(d.dxf()).slug == "part-drawing-empty"
    assert refusal(d.dxf(d.polyline([(0, 0), (1, 0)]))).slug == "part-drawing-empty"


def test_lines_far_shorter_than_what_counts_as_one_place_keep_their_order():
    """A curve exported as 2,000 lines, each a third of the joining distance, in a plate 424 long from corner to corner."""
    angle = np.arange(2000) * 2 * math.pi / 2000
    points = np.stack([np.cos(angle), np.sin(angle)], axis=1) * (5 + 0.3 * np.sin(7 * angle))[:, None] + 100
    text = [d.line(a, b) for a, b in zip(points.tolist(), np.roll(points, -1, axis=0).tolist(), strict=True)]
    raw = read_dxf(d.dxf(d.polyline(d.rectangle(300, 300)), *text[::3], *text[1::3], *text[2::3]))
    assert codes(raw) == []
    np.testing.assert_allclose(area(raw.rings[1]), area(points), rtol=1e-9, atol=0)


def test_a_stray_dot_is_left_out_and_a_short_line_between_two_ends_is_not():
    dot = d.line((5, 5), (5.001, 5))
    raw = read_dxf(d.dxf(d.polyline(d.rectangle()), dot))
    assert codes(raw) == ["drawing-no-length"]
    chain = [d.polyline([(0, 0), (40, 0), (40, 20)], closed=False), d.line((40, 20), (40, 20.001))]
    raw = read_dxf(d.dxf(*chain, d.line((40, 20.001), (0, 0))))
    assert codes(raw) == []


def test_bands_and_blocks_of_other_files_are_told():
    band = d.pairs(
        (0, "LWPOLYLINE"), (90, 2), (70, 1), (43, 2), (10, 10), (20, 10), (42, 1), (10, 14), (20, 10), (42, 1)
    )
    other = d.pairs((0, "BLOCK"), (2, "far"), (70, 4), (10, 0), (20, 0), (1, "far.dxf"), (0, "ENDBLK"))
    raw = read_dxf(d.dxf(d.polyline(d.rectangle()), band, d.insert("far"), blocks=[other]))
    assert codes(raw) == ["drawing-left-out", "drawing-wide-lines"]
    assert "1 EXTERNAL REFERENCE" in raw.findings[0].message


def test_a_block_with_a_height_of_zero_is_put_in():
    """As one widely used drawing library writes blocks of flat drawings."""
    raw = read_dxf(d.dxf(d.insert("o", (1, 2), (41, 1), (42, 1), (43, 0)), blocks=[d.block("o", d.circle((0, 0), 2))]))
    assert raw.circles == ((1.0, 2.0, 2.0),)


def test_closed_lines_that_run_back_on_themselves_are_left_out():
    raw = read_dxf(d.dxf(d.polyline(d.rectangle()), d.polyline([(5, 5), (6, 6), (6, 6), (5, 5)])))
    assert len(raw.rings) == 1
    assert codes(raw) == ["drawing-no-length"]


def test_what_is_drawn_from_below_is_mirrored():
    """Axes of an entity whose extrusion points down run x to the left (DXF reference, arbitrary axis algorithm)."""
    below = ((210, 0), (220, 0), (230, -1))
    circle = d.circle((-20, 10), 4) + d.pairs(*below)
    half = d.arc((5, 0), 2, 0, 90) + d.pairs(*below)
    raw = read_dxf(d.dxf(circle, half, d.line((-5, 2), (-5, 0)), d.line((-5, 0), (-7, 0))))
    assert raw.circles == ((20.0, 10.0, 4.0),)
    np.testing.assert_allclose(area(raw.rings[0]), math.pi, rtol=FLAT, atol=0)
    np.testing.assert_allclose(raw.rings[0].min(axis=0), [-7, 0], rtol=0, atol=1e-9)
