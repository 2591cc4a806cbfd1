"""SVG files: closed forms, another reader, and files that must be refused."""

import io
import math

import numpy as np
import pytest
import shapely
import svgelements
from helpers import drawings as d

from geom.errors import PartError
from geom.formats.drawing import RawDrawing
from geom.formats.svg import read_svg

FLAT = 1e-4  # what cutting curves into straight pieces may change


def area(ring) -> float:
    return shapely.Polygon(ring).area


def areas(raw: RawDrawing) -> list[float]:
    return sorted([*map(area, raw.rings), *(math.pi * r**2 for _, _, r in raw.circles)])


def refusal(data: bytes) -> PartError:
    with pytest.raises(PartError) as caught:
        read_svg(data)
    return caught.value


def codes(raw: RawDrawing) -> list[str]:
    return [finding.code for finding in raw.findings]


def test_the_sound_link_has_its_outline_its_bores_and_its_unit():
    raw = read_svg(d.sound_svg())
    outer, slot = sorted(raw.rings, key=area, reverse=True)
    np.testing.assert_allclose(area(outer), 60 * 20 + math.pi * 100, rtol=FLAT, atol=0)
    np.testing.assert_allclose(shapely.LinearRing(outer).length, 120 + 20 * math.pi, rtol=FLAT, atol=0)
    np.testing.assert_allclose(area(slot), 60 + math.pi * 9, rtol=FLAT, atol=0)
    assert raw.circles == ((0.0, 0.0, 4.0), (60.0, 0.0, 4.0))
    assert raw.unit == 1e-3
    assert raw.is_downward
    assert raw.findings == ()


@pytest.mark.parametrize(
    ("element", "wanted"),
    [
        ('<rect x="1" y="2" width="40" height="20"/>', 800.0),
        ('<rect width="40" height="20" rx="5"/>', 800 - (4 - math.pi) * 25),
        ('<rect width="40" height="20" rx="5" ry="3"/>', 800 - (4 - math.pi) * 15),
        ('<rect width="40" height="20" ry="99"/>', 800 - (4 - math.pi) * 200),
        ('<circle cx="9" cy="9" r="5"/>', math.pi * 25),
        ('<ellipse cx="9" cy="9" rx="7" ry="3"/>', math.pi * 21),
        ('<polygon points="0,0 40,0 40,20 0 20"/>', 800.0),
        ('<polyline points="0,0 40,0 40,20 0,20 0,0"/>', 800.0),
        ('<path d="M0 0h40v20h-40z"/>', 800.0),
        ('<path d="m 0,0 40,0 0,20 -40,0 0,-20"/>', 800.0),
        ('<path d="M10 0A10 10 0 1 1 10 20 10 10 0 0 1 10 0"/>', math.pi * 100),
        ('<path d="M10 0a10 10 0 1110 10L10 10z"/>', math.pi * 75 + 100),
        ('<path d="M0 0A20 10 30 1 1 1 0Z"/>', None),
        ('<path d="M0 0Q10 20 20 0T40 0V30H0Z"/>', 1200.0),
        ('<path d="M0 0C0 10 10 20 20 20S40 10 40 0Z"/>', None),
        ('<path d="M.5.5-10-.5-1e1.5-10 9Z"/>', None),
    ],
)
def test_every_element_has_its_area_by_formula_and_by_another_reader(element, wanted):
    found = areas(read_svg(d.svg(element)))
    if wanted is not None:
        np.testing.assert_allclose(found, [wanted], rtol=FLAT, atol=0)
    np.testing.assert_allclose(found, [area_elsewhere(element)], rtol=FLAT, atol=0)


def area_elsewhere(element: str) -> float:
    """Area by svgelements: 2,000 points of the one shape in user units."""
    document = svgelements.SVG.parse(io.BytesIO(d.svg(element, size="", box="")))
    (shape,) = (svgelements.Path(one) for one in document.elements() if isinstance(one, svgelements.Shape))
    curves = [part for part in shape if not isinstance(part, svgelements.Move)]
    points = [part.point(t) for part in curves for t in np.linspace(0, 1, 500, endpoint=False)]
    return area([(point.x, point.y) for point in points])


@pytest.mark.parametrize(
    "transform",
    [
        "translate(5)",
        "translate(5,-7) scale(2)",
        "scale(2 3)",
        "rotate(30)",
        "rotate(-70, 4 5)",
        "skewX(20)",
        "skewY(-10) translate(1 2)",
        "matrix(1 .2,-.3 2 5 6)",
        "",
    ],
)
def test_transforms_move_as_another_reader_moves(transform):
    inner = '<path d="M0 0H40L30 20Z"/>'
    ring = read_svg(d.svg(f'<g transform="{transform}"><g transform="translate(3 4)">{inner}</g></g>')).rings[0]
    moved = svgelements.Matrix("translate(3 4)") * svgelements.Matrix(transform)
    wanted = [moved.point_in_matrix_space(p) for p in ((0, 0), (40, 0), (30, 20))]
    np.testing.assert_allclose(ring, [(p.x, p.y) for p in wanted], rtol=1e-9, atol=1e-9)


def test_a_circle_under_a_turn_and_a_scale_stays_one_and_under_a_stretch_does_not():
    raw = read_svg(d.svg('<circle transform="rotate(20) scale(2)" cx="5" r="3"/>'))
    np.testing.assert_allclose(raw.circles, [(10 * math.cos(math.pi / 9), 10 * math.sin(math.pi / 9), 6)], rtol=1e-12)
    raw = read_svg(d.svg('<circle transform="scale(2 1)" r="3"/>'))
    assert raw.circles == ()
    np.testing.assert_allclose(area(raw.rings[0]), math.pi * 18, rtol=FLAT, atol=0)


@pytest.mark.parametrize(
    ("size", "box", "unit"),
    [
        ('width="80mm" height="40mm"', 'viewBox="0 0 80 40"', 1e-3),
        ('width="8cm" height="4cm"', 'viewBox="0,0,80,40"', 1e-3),
        ('width="2in"', 'viewBox="0 0 4 4"', 0.0127),
        ('width="72pt" height="72pt"', 'viewBox="0 0 1 1"', 0.0254),
        ('height="6pc"', 'viewBox="0 0 10 10"', 0.00254),
        ('width="80mm" height="80mm"', 'viewBox="0 0 80 40"', 1e-3),  # fits inside: the lesser scale
        ('width="80mm" height="80mm" preserveAspectRatio="xMidYMid slice"', 'viewBox="0 0 80 40"', 2e-3),
        ('width="80" height="40"', 'viewBox="0 0 80 40"', None),
        ('width="80px" height="40px"', 'viewBox="0 0 80 40"', None),
        ('width="100%" height="100%"', 'viewBox="0 0 80 40"', None),
        ('width="80mm" height="40mm"', "", None),
        ("", "", None),
    ],
)
def test_the_unit_is_what_width_or_height_state_and_pixels_are_none(size, box, unit):
    found = read_svg(d.svg('<rect width="4" height="2"/>', size=size, box=box)).unit
    assert found == (unit if unit is None else pytest.approx(unit, rel=1e-12))


def test_a_drawing_stretched_unevenly_is_refused():
    data = d.svg('<rect width="4" height="2"/>', size='width="80mm" height="80mm" preserveAspectRatio="none"')
    assert "stretched" in refusal(data).message


def test_use_symbol_and_inner_svg_are_followed():
    raw = read_svg(
        d.svg(
            '<defs><circle id="o" r="1"/><symbol id="s"><rect width="2" height="1"/></symbol></defs>',
            '<use href="#o" x="3" y="4" transform="scale(2)"/><use xlink:href="#s" x="50"/>',
            '<svg x="10" y="20" width="20" height="10" viewBox="0 0 4 2"><rect width="2" height="2"/></svg>',
        )
    )
    assert raw.circles == ((6.0, 8.0, 2.0),)
    np.testing.assert_allclose(sorted(map(area, raw.rings)), [2, 100], rtol=1e-12)
    np.testing.assert_allclose(np.concatenate(raw.rings).max(axis=0), [52, 30], rtol=1e-12)


def test_hidden_things_words_and_scripts_are_left_out_and_told():
    raw = read_svg(
        d.svg(
            '<path d="M0 0H40V20H0Z"/><script>fetch("http://example.org/")</script><text>hello</text>',
            '<g display="none"><circle r="1"/></g><circle style="fill:red; visibility: hidden" r="1"/>',
            "<defs><style>.a { fill: none }</style><circle r='7'/></defs><title>x</title>",
        )
    )
    assert areas(raw) == [800.0]
    assert codes(raw) == ["drawing-words", "drawing-left-out", "drawing-hidden"]
    assert "1 script" in raw.findings[1].message
    assert "2 hidden" in raw.findings[2].message
    assert not any("fetch" in finding.message for finding in raw.findings)


def test_a_style_sheet_that_may_hide_is_told():
    raw = read_svg(d.svg("<style>.a { display: none }</style>", '<rect class="a" width="4" height="2"/>'))
    assert codes(raw) == ["drawing-style"]


@pytest.mark.parametrize(
    "path",
    [
        "M0 0HNaNV20H0Z",
        "M0 0H1e999V20H0Z",
        "M0 0H40,V20Z",
        "M0 0 40",
        "M0 0A10 10 0 2 1 9 9Z",
        "M0 0A10 10 0 1",
        "L0 0 H40",
        "M0 0H40V20H0Zx",
        "M0 0H40 , , V20Z",
        "M0 0H0x10V20Z",
        "M0 0Hinf",
    ],
)
def test_a_bad_path_is_refused_with_its_line(path):
    error = refusal(d.svg(f'<path d="{path}"/>'))
    assert error.slug == "part-mesh-format"
    assert "line 3" in error.message


@pytest.mark.parametrize(
    "element",
    [
        '<rect width="-4" height="2"/>',
        '<rect width="10mm" height="2"/>',
        '<rect width="4" height="2" rx="-1"/>',
        '<circle r="-1"/>',
        '<circle r="NaN"/>',
        '<polygon points="0 0 1 0 1"/>',
        '<g transform="rotate(1 2)"><circle r="1"/></g>',
        '<g transform="wobble(1)"><circle r="1"/></g>',
        '<g transform="scale(1"><circle r="1"/></g>',
        '<g style="transform: scale(2)"><circle r="1"/></g>',
        '<use href="other.svg#a"/>',
        '<use href="http://example.org/a.svg#a"/>',
        '<use href="#none"/>',
        "<use/>",
        '<use href="#a"/><g id="a"/><g id="a"/>',
        '<g id="a"><use href="#a"/></g>',
        '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>',
    ],
)
def test_a_broken_element_is_refused_with_its_line(element):
    error = refusal(d.svg("<circle r='50'/>", element))
    assert error.slug == "part-mesh-format"
    assert "line 4" in error.message


@pytest.mark.parametrize(
    "head",
    [
        "<!DOCTYPE svg>",
        '<!DOCTYPE svg [<!ENTITY a "b"><!ENTITY c "&a;&a;">]>',
        '<!DOCTYPE svg SYSTEM "file:///etc/hostname">',
        '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>',
    ],
)
def test_document_types_and_entities_are_refused(head):
    data = d.svg("<circle r='1'/>").decode().replace("\n<svg", f"\n{head}\n<svg")
    assert "document type" in refusal(data.encode()).message


def test_uses_that_multiply_are_refused_soon():
    levels = "".join(f'<g id="g{k}">' + f'<use href="#g{k - 1}"/>' * 20 + "</g>" for k in range(1, 9))
    data = d.svg(f"<defs><circle id='g0' r='1'/>{levels}</defs>", '<use href="#g8"/>')
    assert refusal(data).slug == "part-drawing-large"


def test_elements_nested_without_end_are_refused():
    assert "deep" in refusal(d.svg("<g>" * 5000 + "<circle r='1'/>" + "</g>" * 5000)).message


def test_open_paths_are_refused_with_both_ends_filled_or_not():
    error = refusal(d.svg('<path fill="red" d="M0 0H40V20H0"/>'))
    assert error.slug == "part-drawing-open"
    assert "(0, 0)" in error.message
    assert "(0, 20)" in error.message


def test_lines_and_open_paths_that_meet_are_joined():
    raw = read_svg(d.svg('<path d="M0 0H40V20"/><line x1="0" y1="0" x2="0" y2="20"/><polyline points="40 20 0 20"/>'))
    assert areas(raw) == [800.0]


def test_a_file_cut_anywhere_is_refused():
    data = d.sound_svg().rstrip()
    for end in range(len(data)):
        with pytest.raises(PartError):
            read_svg(data[:end])


def test_encodings_are_those_of_xml():
    text = d.svg('<rect width="4" height="2" id="Öse"/>').decode()
    for data in (text.encode(), b"\xef\xbb\xbf" + text.encode(), text.encode("utf-16")):
        assert areas(read_svg(data)) == [8.0]
    latin = text.replace('version="1.0"', 'version="1.0" encoding="iso-8859-1"').encode("latin-1")
    assert areas(read_svg(latin)) == [8.0]


@pytest.mark.parametrize("data", [b"", b"hello", b"<svg>", b"<html/>", b"<svg></svg><svg/>", b"\0" * 50, b"<svg/>"])
def test_a_file_that_is_no_drawing_is_refused(data):
    assert refusal(data).slug in ("part-mesh-format", "part-drawing-empty")


@pytest.mark.parametrize("how", ['clip-path="url(#a)"', 'style="fill:red;mask:url(#a)"'])
def test_what_is_cut_to_a_shape_is_taken_whole_and_told(how):
    raw = read_svg(d.svg(f'<clipPath id="a"><circle r="1"/></clipPath><rect {how} width="4" height="2"/>'))
    assert areas(raw) == [8.0]
    assert codes(raw) == ["drawing-clipped"]


@pytest.mark.parametrize(
    "style", ["width:2px", "HEIGHT : 1", "fill:red;scale:2", "translate:9px", "zoom:2", "x:1;/*;*/"]
)
def test_an_outline_that_its_own_style_moves_or_shapes_is_refused(style):
    assert "by its style" in refusal(d.svg(f'<rect style="{style}" width="4" height="2"/>')).message


@pytest.mark.parametrize("style", ["stroke-width:2", "/*width:2*/fill:red", "paint-order:stroke;line-height:1"])
def test_a_style_of_paint_alone_is_passed_over(style):
    raw = read_svg(d.svg(f'<g style="width:3"><rect style="{style}" width="4" height="2"/></g>'))
    assert areas(raw) == [8.0]
    assert codes(raw) == []


@pytest.mark.parametrize("style", ["display:inline;display:none", "DISPLAY:NONE", "visibility:hidden !important"])
def test_the_last_word_of_a_style_hides(style):
    raw = read_svg(d.svg(f'<rect width="4" height="2"/><circle style="{style}" cx="2" cy="1" r=".5"/>'))
    assert areas(raw) == [8.0]
    assert codes(raw) == ["drawing-hidden"]


@pytest.mark.parametrize(
    "sheet", ["rect{width:9px}", "circle{r:9}", ".a{fill:red;x:3}", "g{scale:2}", "*{rotate : 5deg}"]
)
def test_a_style_sheet_that_shapes_is_told(sheet):
    assert codes(read_svg(d.svg(f'<style>{sheet}</style><rect width="4" height="2"/>'))) == ["drawing-style"]


def test_a_style_sheet_of_paint_is_not_told():
    assert codes(read_svg(d.svg('<style>*{stroke-width:2}/*r:1*/</style><rect width="4" height="2"/>'))) == []


def test_a_style_sheet_of_another_file_is_told():
    text = d.svg('<rect width="4" height="2"/>').decode().replace("<svg", '<?xml-stylesheet href="a.css"?><svg', 1)
    assert codes(read_svg(text.encode())) == ["drawing-style"]


def test_a_drawing_that_is_transformed_as_a_whole_is_refused():
    text = d.svg('<rect width="4" height="2"/>').decode().replace("<svg", '<svg transform="scale(2)"', 1)
    assert "whole drawing" in refusal(text.encode()).message


def test_a_size_by_style_states_no_unit():
    text = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" {}height="9mm" viewBox="0 0 9 9"><rect width="4" height="2"/></svg>'
    assert read_svg(text.format("").encode()).unit == 1e-3
    assert read_svg(text.format('style="width:18mm" ').encode()).unit is None
