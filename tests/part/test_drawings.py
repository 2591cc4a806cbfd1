"""Parts from flat drawings: area, volume, bores, units and what is refused."""

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from helpers import drawings as d
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import PartError
from geom.feature import Kind
from geom.formats.drawing import RawDrawing
from geom.formats.dxf import read_dxf
from geom.formats.raw import Limits
from geom.formats.svg import read_svg
from geom.part import drawing
from geom.part.build import build_part
from geom.part.drawing import build_drawing, outline_of
from geom.part.flat import build_outline
from geom.part.part import Part
from geom.part.shapes import BendLine, Drawing
from geom.surface.soundness import edge_report

MM, INCH = 1e-3, 0.0254
FLAT = 1e-4


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder for drawings, read within this process: the child process has tests of its own."""

    def read(path: Path, _: Limits) -> RawDrawing:
        return (read_dxf if path.suffix == ".dxf" else read_svg)(path.read_bytes())

    monkeypatch.setattr(drawing, "read_guarded", read)
    return tmp_path


def made(folder: Path, name: str, data: bytes, unit: float | None = None, bends: tuple[BendLine, ...] = ()) -> Part:
    (folder / name).write_bytes(data)
    part = build_part(Drawing(folder / name, unit, 3 * MM, bends))
    assert edge_report(part.surface.faces).is_closed
    return part


def refusal(folder: Path, name: str, data: bytes, unit: float | None = None) -> PartError:
    with pytest.raises(PartError) as caught:
        made(folder, name, data, unit)
    assert caught.value.where.endswith(name)
    return caught.value


def link_figures() -> tuple[float, float]:
    """Area [m²] and volume [m³] of the sound link, 3 mm thick, by formula."""
    face = 60 * 20 + math.pi * 100 - (60 + 9 * math.pi) - 2 * 16 * math.pi
    around = 120 + 20 * math.pi + (20 + 6 * math.pi) + 2 * 8 * math.pi
    return (2 * face + 3 * around) * MM**2, 3 * face * MM**3


@pytest.mark.parametrize(("name", "data"), [("link.dxf", d.sound_dxf()), ("link.svg", d.sound_svg())])
def test_a_link_has_area_volume_and_bores_by_formula(here, name, data):
    part = made(here, name, data)
    area, volume = link_figures()
    np.testing.assert_allclose(part.area, area, rtol=FLAT, atol=0)
    np.testing.assert_allclose(part.volume, volume, rtol=FLAT, atol=0)
    np.testing.assert_allclose(part.surface.area, area, rtol=1e-3, atol=0)
    assert part.title == f"{name}, 3 mm, 2 holes"
    assert [f.name for f in part.features if f.kind is Kind.BORE] == ["bore 1 (8.0 mm)", "bore 2 (8.0 mm)"]
    assert part.findings == ()


def test_the_child_process_reads_a_drawing_too(tmp_path):
    part = made(tmp_path, "link.dxf", d.sound_dxf())
    np.testing.assert_allclose(part.area, link_figures()[0], rtol=FLAT, atol=0)


def test_a_bore_drawn_as_arcs_a_bulged_line_or_curves_is_a_bore(here):
    frame = d.polyline(d.rectangle(60, 20))
    halves = d.arc((10, 10), 4, 0, 180) + d.arc((10, 10), 4, 180, 360)
    bulged = d.polyline([(26, 10, 1), (34, 10, 1)])
    part = made(here, "a.dxf", d.dxf(frame, halves, bulged, d.circle((50, 10), 4)))
    bores = [f for f in part.features if f.kind is Kind.BORE]
    assert len(bores) == 3
    np.testing.assert_allclose([f.width for f in bores], 8 * MM, rtol=FLAT, atol=0)
    np.testing.assert_allclose([f.area for f in bores], 24 * math.pi * MM**2, rtol=FLAT, atol=0)


def test_a_polygon_is_no_bore(here):
    corners = [(30 + 5 * math.cos(k * math.pi / 12), 10 + 5 * math.sin(k * math.pi / 12)) for k in range(24)]
    part = made(here, "a.dxf", d.dxf(d.polyline(d.rectangle(60, 20)), d.polyline(corners)))
    assert [f.name for f in part.features if f.kind is Kind.BORE] == []
    assert "cutout 1" in [f.name for f in part.features]


def test_a_disc_and_a_washer_are_parts(here):
    disc = made(here, "a.dxf", d.dxf(d.circle((7, 7), 20)))
    np.testing.assert_allclose(disc.area, (800 * math.pi + 120 * math.pi) * MM**2, rtol=FLAT, atol=0)
    washer = made(here, "b.dxf", d.dxf(d.circle((7, 7), 20), d.circle((7, 7), 5)))
    np.testing.assert_allclose(washer.area, (750 * math.pi + 150 * math.pi) * MM**2, rtol=FLAT, atol=0)


def test_the_unit_of_the_file_counts_and_one_stated_alike_is_no_contradiction(here):
    inch = d.dxf(d.polyline(d.rectangle(2, 1)), unit=1)
    for unit in (None, INCH):
        part = made(here, "a.dxf", inch, unit)
        np.testing.assert_allclose(part.volume, 2 * INCH * INCH * 3 * MM, rtol=1e-9, atol=0)


def test_a_stated_unit_counts_where_the_file_has_none(here):
    part = made(here, "a.dxf", d.dxf(d.polyline(d.rectangle(4, 2)), unit=None), 1e-2)
    np.testing.assert_allclose(part.volume, 4e-2 * 2e-2 * 3 * MM, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.dxf", d.dxf(d.polyline(d.rectangle(4, 2)), unit=None)),
        ("a.svg", d.svg('<rect width="4" height="2"/>', size='width="80" height="40"')),
    ],
)
def test_a_missing_unit_is_asked_for_with_the_size_in_three(here, name, data):
    error = refusal(here, name, data)
    assert error.slug == "drawing-unit-missing"
    assert "4 x 2 mm if it is mm" in error.message
    assert "101.6 x 50.8 mm if it is inch" in error.message
    assert "4000 x 2000 mm if it is m" in error.message
    assert "--unit" in error.hint


def test_a_unit_against_that_of_the_file_is_refused(here):
    error = refusal(here, "a.dxf", d.dxf(d.polyline(d.rectangle()), unit=1), MM)
    assert error.slug == "drawing-unit-contradicts"
    assert "25.4 mm" in error.message


def test_an_odd_size_is_questioned(here):
    part = made(here, "a.dxf", d.dxf(d.polyline(d.rectangle(5000, 20)), unit=4))
    assert [f.code for f in part.findings] == ["part-size"]


@pytest.mark.parametrize(
    ("entities", "slug", "place"),
    [
        ((d.polyline([(0, 0), (40, 20), (40, 0), (0, 20)]),), "part-drawing-crossing", "(20, 10) mm"),
        ((d.polyline(d.rectangle()), d.circle((3, 3), 5)), "part-drawing-crossing", "(7, 0) mm"),
        ((d.polyline(d.rectangle()), d.circle((5, 10), 5)), "part-drawing-crossing", "(0, 10) mm"),
        ((d.polyline(d.rectangle()), d.circle((60, 10), 5)), "part-drawing-several", "(65, 10) mm"),
        ((d.polyline(d.rectangle()), d.circle((10, 10), 5), d.circle((10, 10), 2)), "part-drawing-several", "(12, 10)"),
    ],
)
def test_outlines_that_bound_no_single_part_are_refused_with_the_place(here, entities, slug, place):
    error = refusal(here, "a.dxf", d.dxf(*entities))
    assert error.slug == slug
    assert place in error.message


def test_too_little_metal_between_openings_is_refused(here):
    assert refusal(here, "a.dxf", d.dxf(d.polyline(d.rectangle()), d.circle((5, 10), 4.99))).slug == "part-hole-outside"


def test_face_a_is_what_the_screen_shows():
    """An L is not its own mirror image: of a DXF y goes up, of an SVG down."""
    corners = [(0, 0), (30, 0), (30, 10), (10, 10), (10, 20), (0, 20)]
    dxf = outline_of(read_dxf(d.dxf(d.polyline(corners))), MM, MM)
    points = " ".join(f"{x},{20 - y}" for x, y in corners)
    svg = outline_of(read_svg(d.svg(f'<polygon points="{points}"/>')), MM, MM)
    one, two = (shapely.Polygon(outline.points) for outline in (dxf, svg))
    moved = shapely.affinity.translate(two, yoff=20 * MM)
    np.testing.assert_allclose(one.symmetric_difference(moved).area, 0, atol=1e-15)


def test_a_bend_of_an_svg_is_in_its_own_coordinates(here):
    """The same tab in both formats, bent at the same place on the screen."""
    hole = (10, 5)
    bend = BendLine((25 * MM, -1 * MM), (25 * MM, 21 * MM), math.radians(60), 2 * MM)
    up = made(here, "a.dxf", d.dxf(d.polyline(d.rectangle()), d.circle(hole, 2)), None, (bend,))
    element = f'<rect width="40" height="20"/><circle cx="{hole[0]}" cy="{20 - hole[1]}" r="2"/>'
    flipped = BendLine((25 * MM, 21 * MM), (25 * MM, -1 * MM), math.radians(60), 2 * MM)
    down = made(here, "a.svg", d.svg(element), None, (flipped,))
    np.testing.assert_allclose(up.area, down.area, rtol=1e-9, atol=0)
    np.testing.assert_allclose(up.surface.bounds, down.surface.bounds, rtol=0, atol=1e-8)
    middles = [np.array(next(f.middle for f in part.features if f.kind is Kind.BORE)) for part in (up, down)]
    np.testing.assert_allclose(*middles, rtol=0, atol=1e-7)
    assert up.title == "a.dxf, 3 mm, 1 hole, 1 bend"


def test_another_suffix_is_refused(tmp_path):
    with pytest.raises(PartError, match="drawing ends in"):
        build_drawing(Drawing(tmp_path / "a.stl", MM, MM))


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0, 6.28),
    st.floats(-100, 100),
    st.floats(0.1, 100),
    st.permutations(range(8)),
    st.lists(st.booleans(), min_size=8, max_size=8),
)
def test_turning_moving_scaling_and_shuffling_a_drawing_changes_nothing(turn, shift, scale, order, backward):
    cos, sin = scale * math.cos(turn), scale * math.sin(turn)

    def at(x, y):
        return cos * x - sin * y + shift, sin * x + cos * y - shift

    corners = [(0, 0), (20, 0), (40, 0), (40, 20), (25, 20), (25, 8), (15, 8), (0, 20)]
    moved = [at(*corner) for corner in corners]
    lines = [(moved[k], moved[(k + 1) % 8]) for k in order]
    text = [d.line(*(line[::-1] if back else line)) for line, back in zip(lines, backward, strict=True)]
    raw = read_dxf(d.dxf(*text, d.circle(at(32, 10), 3 * scale)))
    outline = outline_of(raw, MM, MM * scale)
    part = build_outline(outline)
    ring = shapely.Polygon(corners)
    face = ring.area - 9 * math.pi
    wanted = 2 * face + ring.length + 6 * math.pi
    np.testing.assert_allclose(part.area, wanted * scale**2 * MM**2, rtol=1e-9, atol=0)
