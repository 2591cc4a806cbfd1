"""OBJ, OFF, PLY and STL in their variants: read to the same plate, or refused by name; nothing is left out in silence."""

import struct
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from helpers import seeds
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.errors import PartError
from geom.findings import Severity
from geom.formats.guard import read_guarded
from geom.formats.obj import read_obj
from geom.formats.off import read_off
from geom.formats.open import read_bytes
from geom.formats.ply import read_ply
from geom.formats.polygons import polygon_mesh
from geom.formats.raw import RawMesh
from geom.formats.second_reading import second_reading
from geom.formats.stl import read_stl
from geom.surface.shell import area_vector


def area_of(raw: RawMesh) -> float:
    a, b, c = (raw.vertices[raw.faces[:, k]] for k in range(3))
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def codes(raw: RawMesh) -> list[str]:
    return [finding.code for finding in raw.findings]


def polygon(*corners: tuple[float, ...]) -> RawMesh:
    """The mesh of one polygon; a third coordinate may be left out."""
    points = np.array([(*corner, 0.0)[:3] for corner in corners], dtype=float)
    return polygon_mesh(points, np.array([len(points)]), np.arange(len(points)))


# polygons


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(0.3, 2.0), min_size=4, max_size=40), st.integers(0, 39), st.booleans(), st.integers(0, 999))
def test_a_flat_polygon_of_any_outline_has_its_own_area(
    radii: list[float], first: int, turned: bool, seed: int
) -> None:
    """Star-shaped about a point inside, so simple; most are concave."""
    angle = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    flat = np.stack([radii * np.cos(angle), radii * np.sin(angle), 0 * angle], axis=1)
    pose = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    points = np.roll(flat[:: -1 if turned else 1], first, axis=0) @ pose + [5.0, -3.0, 11.0]
    raw = polygon_mesh(points, np.array([len(points)]), np.arange(len(points)))
    assert_allclose(area_of(raw), np.linalg.norm(area_vector(points)), rtol=1e-9, atol=0)
    assert len(raw.faces) == len(points) - 2
    assert raw.findings == ()
    corners = raw.vertices[raw.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (normals @ area_vector(points) > 0).all()


CROSSING: dict[str, list[tuple[float, ...]]] = {
    "bow tie of equal halves": [(0, 0), (2, 2), (2, 0), (0, 2)],
    "bow tie of unequal halves": [(0, 0), (3, 2), (3, 0), (0, 1)],
    "five-pointed star": [(np.cos(a), np.sin(a)) for a in 0.8 * np.pi * np.arange(5)],
    "loop within a loop": [(0, 0), (9, 0), (9, 9), (0, 9), (0, 1), (8, 1), (8, 8), (1, 8)],
    "twice around": [(np.cos(a), np.sin(a)) for a in 2 * np.pi * 2 * np.arange(14) / 14 + 0.01 * np.arange(14)],
}


@pytest.mark.parametrize("kind", CROSSING)
@pytest.mark.parametrize("first", range(5))
def test_a_polygon_that_crosses_itself_is_refused(kind: str, first: int) -> None:
    corners = CROSSING[kind]
    with pytest.raises(PartError, match="crosses itself"):
        polygon(*corners[first % len(corners) :], *corners[: first % len(corners)])


def test_a_spiral_that_does_not_cross_itself_is_read() -> None:
    corners = [(0, 0), (9, 0), (9, 9), (0, 9), (0, 2), (6, 2), (6, 6), (3, 6)]
    corners += [(3, 5), (5, 5), (5, 3), (1, 3), (1, 8), (8, 8), (8, 1), (0, 1)]
    for first in range(len(corners)):
        raw = polygon(*corners[first:], *corners[:first])
        assert_allclose(area_of(raw), np.linalg.norm(area_vector(raw.vertices)), rtol=1e-12, atol=0)


def test_a_polygon_around_a_hole_with_a_seam_is_read() -> None:
    """One outline that goes in to the hole and back along the same line, as some programs write holes."""
    outer, inner = [(0, 0), (9, 0), (9, 9), (0, 9)], [(3, 3), (3, 6), (6, 6), (6, 3)]
    points = np.array([(*p, 0.0) for p in outer + inner], dtype=float)
    flat = np.array([0, 1, 2, 3, 0, 4, 5, 6, 7, 4])
    raw = polygon_mesh(points, np.array([len(flat)]), flat)
    assert_allclose(area_of(raw), 81 - 9, rtol=1e-12, atol=0)


def test_a_polygon_that_is_not_flat_is_told_with_what_it_changes() -> None:
    small, large = (
        polygon((0, 0, 0), (9, 0, 0), (9, 9, 0.1), (0, 9, 0)),
        polygon((0, 0, 0), (9, 0, 0), (9, 9, 5), (0, 9, 0)),
    )
    assert codes(small) == codes(large) == ["part-mesh-warped"]
    assert small.findings[0].severity is Severity.NOTE
    assert large.findings[0].severity is Severity.WARNING
    assert "first face 1 of the file" in large.findings[0].message


def test_polygons_are_told_apart_and_keep_their_order() -> None:
    points = np.array([(x, y, 0) for y in range(3) for x in range(6)], dtype=float)
    count, flat = np.array([3, 4, 3, 5, 4]), [0, 1, 6, 1, 2, 8, 7, 2, 3, 8, 3, 4, 10, 9, 8, 4, 5, 11, 10]
    raw = polygon_mesh(points, count, np.array(flat))
    assert raw.file_face.tolist() == [0, 1, 1, 2, 3, 3, 3, 4, 4]
    assert_allclose(area_of(raw), 0.5 + 1 + 0.5 + 1.5 + 1, rtol=1e-12, atol=0)


def test_a_polygon_without_area_is_left_for_the_repair() -> None:
    assert len(polygon((0, 0), (1, 0), (2, 0), (3, 0)).faces) == 2
    assert len(polygon((1, 1), (1, 1), (1, 1), (1, 1)).faces) == 2


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_face_of_too_few_corners_is_refused(count: int) -> None:
    with pytest.raises(PartError, match="fewer than three"):
        polygon_mesh(np.eye(3), np.array([3, count]), np.arange(3 + count) % 3)


# variants that are the same plate

SAME: dict[str, tuple[str, Callable[[], bytes]]] = {
    "OBJ": (".obj", seeds.obj),
    "OBJ with carriage returns": (".obj", lambda: seeds.obj().replace(b"\n", b"\r")),
    "OBJ with Windows line ends": (".obj", lambda: seeds.obj().replace(b"\n", b"\r\n")),
    "OBJ with a mark of byte order": (".obj", lambda: b"\xef\xbb\xbf" + seeds.obj()),
    "OBJ with tabs": (".obj", lambda: seeds.obj().replace(b" ", b"\t")),
    "OBJ with colours": (".obj", lambda: seeds.obj().replace(b".0\n", b".0 0.5 0.5 1\n")),
    "OBJ with colours and alpha": (".obj", lambda: seeds.obj().replace(b".0\n", b".0 0.5 0.5 1 0.5\n")),
    "OBJ with some colours": (".obj", lambda: seeds.obj().replace(b".0\n", b".0 0.5 0.5 1\n", 3)),
    "OBJ with weights of one": (".obj", lambda: seeds.obj().replace(b".0\n", b".0 1\n")),
    "OBJ with remarks at the ends": (".obj", lambda: seeds.obj().replace(b"\nf", b" # x 1\nf")),
    "OBJ with lines continued": (".obj", lambda: seeds.obj().replace(b"f ", b"f \\\n").replace(b"v 4", b"v \\\n4")),
    "OBJ without a last line end": (".obj", lambda: seeds.obj().rstrip()),
    "OFF": (".off", seeds.off),
    "OFF with counts beside the word": (".off", lambda: seeds.off().replace(b"# a plate\n", b"")),
    "OFF in small letters": (".off", lambda: seeds.off().replace(b"OFF", b"off")),
    "OFF with carriage returns": (".off", lambda: seeds.off().replace(b"# a plate", b"").replace(b"\n", b"\r")),
    "OFF with empty lines": (".off", lambda: seeds.off().replace(b"\n", b"\n\n# x\n")),
    "COFF": (".off", lambda: b"C" + seeds.off().replace(b".0\n", b".0 9 9 9 255\n")),
    "NOFF": (".off", lambda: b"N" + seeds.off().replace(b".0\n", b".0 0 0 1\n")),
    "STOFF": (".off", lambda: b"ST" + seeds.off().replace(b".0\n", b".0 0.5 0.5\n")),
    "OFF with colours of faces": (".off", lambda: seeds.off().replace(b"\n4 ", b" 3 9 9 9\n4 ")[:-1] + b" 3 9 9 9\n"),
    "PLY": (".ply", seeds.ply),
    "PLY little": (".ply", lambda: seeds.ply("binary_little_endian")),
    "PLY big": (".ply", lambda: seeds.ply("binary_big_endian")),
    "PLY with Windows line ends": (".ply", lambda: seeds.ply().replace(b"\n", b"\r\n")),
    "PLY with carriage returns": (".ply", lambda: seeds.ply().replace(b"\n", b"\r")),
    "PLY that speaks of its end": (".ply", lambda: seeds.ply().replace(b"comment a plate", b"comment end_header")),
    "PLY with edges": (".ply", lambda: with_edges()),
    "PLY with faces of colour": (".ply", lambda: mixed("<", colour=True)),
    "PLY with faces of three and four": (".ply", lambda: mixed("<", colour=False)),
    "PLY with faces of three and four, big": (".ply", lambda: mixed(">", colour=False)),
    "STL": (".stl", seeds.stl_binary),
    "STL as text": (".stl", seeds.stl_ascii),
    "STL as text, one line a word": (".stl", lambda: seeds.stl_ascii().replace(b" ", b"  \t ")),
    "STL as text, two solids": (".stl", lambda: two_solids()),
    "STL as text, no name": (".stl", lambda: seeds.stl_ascii().replace(b" plate of the tests", b"")),
    "STL as text, solid named solid": (".stl", lambda: seeds.stl_ascii().replace(b"plate", b"solid facet normal")),
}


def with_edges() -> bytes:
    data = seeds.ply().replace(b"end_header", b"element edge 2\nproperty int vertex1\nproperty int vertex2\nend_header")
    return data + b"0 1\n1 2\n"


def mixed(order: str, *, colour: bool) -> bytes:
    """Binary PLY of faces with three and four corners, with a list of their own before and a colour after them."""
    kind = {"<": "binary_little_endian", ">": "binary_big_endian"}[order]
    more = "property uchar red\nproperty double quality\n" if colour else ""
    head = (
        f"ply\nformat {kind} 1.0\nelement vertex 8\nproperty double x\nproperty short more\nproperty double y\n"
        "property float z\nelement face 7\nproperty list ushort float weights\n"
        f"property list uint ushort vertex_index\n{more}end_header\n"
    )
    body = b"".join(struct.pack(order + "dhdf", x, -7, y, z) for x, y, z in seeds.CORNERS)
    faces = [*seeds.QUADS[:5], seeds.FACES[10], seeds.FACES[11]]
    for number, face in enumerate(faces):
        body += struct.pack(f"{order}H{number}f", number, *range(number))
        body += struct.pack(f"{order}I{len(face)}H", len(face), *face)
        body += struct.pack(order + "Bd", 9, 0.5) if colour else b""
    return head.encode() + body


def two_solids() -> bytes:
    lines = seeds.stl_ascii().split(b"\n")
    half = 1 + 7 * 5
    return b"\n".join([*lines[:half], b"endsolid a", b"", b"solid b", *lines[half:]])


@pytest.mark.parametrize("kind", SAME)
def test_a_variant_of_a_format_is_the_same_plate(kind: str) -> None:
    suffix, make = SAME[kind]
    raw = read_bytes(make(), suffix)
    assert isinstance(raw, RawMesh)
    assert len(raw.faces) == 12
    assert_allclose(area_of(raw), seeds.area(), rtol=1e-6, atol=0)
    assert {finding.severity for finding in raw.findings} <= {Severity.NOTE}
    assert set(codes(raw)) <= {"part-mesh-loose", "part-mesh-read-once"}


# what is refused by name

REFUSED: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "UTF-16 little": (".obj", lambda: seeds.obj().decode().encode("utf-16-le"), "UTF-16"),
    "UTF-16 big": (".off", lambda: seeds.off().decode().encode("utf-16-be"), "UTF-16"),
    "UTF-16 of STL": (".stl", lambda: seeds.stl_ascii().decode().encode("utf-16-le"), "UTF-16"),
    "UTF-16 marked": (".stl", lambda: seeds.stl_ascii().decode().encode("utf-16"), "UTF-16"),
    "OFF of four dimensions": (".off", lambda: b"4" + seeds.off(), "not supported"),
    "OFF of n dimensions": (".off", lambda: b"n" + seeds.off(), "not supported"),
    "OFF binary": (".off", lambda: b"OFF BINARY\n" + bytes(99), "not supported"),
    "OFF with more faces": (".off", lambda: seeds.off().replace(b"8 6 12", b"8 5 12"), "lines of numbers after"),
    "OFF with fewer vertices": (
        ".off",
        lambda: seeds.off().replace(b"8 6 12", b"7 6 12"),
        "not a|too few|other words|lines of numbers",
    ),
    "OFF without counts": (".off", lambda: b"OFF\n", "numbers of vertices"),
    "OFF with negative counts": (".off", lambda: b"OFF\n-1 2 0\n", "declares"),
    "OFF with words for numbers": (".off", lambda: seeds.off().replace(b"40.0", b"4O.0"), "not a number"),
    "OBJ with curves": (".obj", lambda: seeds.obj() + b"cstype bezier\n", "curved surfaces"),
    "OBJ with other words": (".obj", lambda: seeds.obj() + b"vertex 1 2 3\n", "no word of OBJ"),
    "OBJ with weights": (".obj", lambda: seeds.obj().replace(b".0\n", b".0 2\n"), "weight"),
    "OBJ with two numbers": (".obj", lambda: seeds.obj().replace(b" 20.0 5.0\n", b" 20.0\n"), "three numbers"),
    "OBJ with five numbers": (".obj", lambda: seeds.obj().replace(b".0\n", b".0 1 1\n", 1), "three numbers"),
    "OBJ with a number too long ago": (".obj", lambda: seeds.obj().replace(b"-1 ", b"-9 "), "names vertex -9"),
    "OBJ with words for corners": (".obj", lambda: seeds.obj().replace(b"f -", b"f x"), "not the number of a vertex"),
    "OBJ with fractions": (".obj", lambda: seeds.obj().replace(b"f 1/1/1", b"f 1.5"), "not the number of a vertex"),
    "OBJ with underlined numbers": (".obj", lambda: seeds.obj().replace(b"v 40.0", b"v 4_0.0"), "not a number"),
    "OBJ with foreign digits": (".obj", lambda: seeds.obj().replace(b"v 40.0", "v ٤٠".encode()), "not a number"),
    "OBJ cut in a continued line": (".obj", lambda: seeds.obj() + b"f 1 2 \\", "to be continued|fewer than three"),
    "PLY with strips": (
        ".ply",
        lambda: seeds.ply().replace(b"element face 6", b"element tristrips 6"),
        "triangle strips",
    ),
    "PLY with faces twice": (
        ".ply",
        lambda: (
            seeds.ply()
            .replace(b"element edge", b"element face")
            .replace(b"element face 6", b"element face 0\nelement face 6")
        ),
        "more than once",
    ),
    "PLY with a property twice": (".ply", lambda: seeds.ply().replace(b"float z", b"float y"), "property twice"),
    "PLY without z": (".ply", lambda: seeds.ply().replace(b"float z", b"float w"), "no property z"),
    "PLY without corners": (
        ".ply",
        lambda: seeds.ply().replace(b"vertex_indices", b"corners"),
        "no property vertex_indices",
    ),
    "PLY with lists of fractions": (
        ".ply",
        lambda: seeds.ply().replace(b"uchar int", b"uchar float"),
        "list of whole numbers",
    ),
    "PLY with lengths in fractions": (
        ".ply",
        lambda: seeds.ply().replace(b"uchar int", b"float int"),
        "no whole number",
    ),
    "PLY with more faces": (".ply", lambda: seeds.ply().replace(b"face 6", b"face 5"), "holds more of them"),
    "PLY with more faces, binary": (
        ".ply",
        lambda: seeds.ply("binary_little_endian").replace(b"face 12", b"face 11"),
        "holds more of them",
    ),
    "PLY with fewer faces": (".ply", lambda: seeds.ply().replace(b"face 6", b"face 7"), "ends before"),
    "PLY with fewer faces, binary": (
        ".ply",
        lambda: seeds.ply("binary_big_endian").replace(b"face 12", b"face 13"),
        "ends before",
    ),
    "PLY of a thousand million": (".ply", lambda: seeds.ply().replace(b"vertex 8", b"vertex 1000000000"), "declares"),
    "PLY with a negative length": (
        ".ply",
        lambda: (
            seeds.ply("binary_little_endian")
            .replace(b"list uchar", b"list char")
            .replace(b"\x03\0\0\0\0\x03", b"\xff\0\0\0\0\x03", 1)
        ),
        "negative|ends before",
    ),
    "PLY without a format": (".ply", lambda: seeds.ply().replace(b"format ascii 1.0\n", b""), "format"),
    "STL text cut behind a facet": (".stl", lambda: seeds.stl_ascii().rpartition(b"facet normal")[0], "was cut off"),
    "STL text with a stray line": (
        ".stl",
        lambda: seeds.stl_ascii().replace(b"endloop", b"endloop\nx", 1),
        "must begin",
    ),
    "STL text with a solid inside a facet": (
        ".stl",
        lambda: seeds.stl_ascii().replace(b"  endloop", b"solid\n  endloop", 1),
        "must begin",
    ),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_is_not_read_is_refused_by_name(kind: str) -> None:
    suffix, make, words = REFUSED[kind]
    with pytest.raises(PartError, match=words) as caught:
        read_bytes(make(), suffix)
    assert caught.value.slug == "part-mesh-format"


def test_the_line_of_a_fault_is_named() -> None:
    data = seeds.stl_ascii().split(b"\n")
    data[10] = b"vertx 1 2 3"
    with pytest.raises(PartError, match='line 11 of the ASCII STL file must begin "vertex", not "vertx 1 2 3"'):
        read_stl(b"\n".join(data))
    rows = seeds.obj().split(b"\n")
    rows[5] = b"v 1 2 x"
    with pytest.raises(PartError, match='"x" in line 6 of the OBJ file is not a number'):
        read_obj(b"\n".join(rows))


NAMED: dict[str, tuple[str, Callable[[], bytes]]] = {
    "OBJ": (".stl", seeds.obj),
    "ASCII STL": (".obj", seeds.stl_ascii),
    "OFF": (".obj", seeds.off),
    "PLY": (".stl", lambda: seeds.ply("binary_little_endian")),
    "a zip archive": (".stl", lambda: seeds.zipped(seeds.model_xml())),
    "STEP": (".stl", lambda: b"ISO-10303-21;\nHEADER;"),
    "a DXF drawing": (".off", lambda: b"  0\nSECTION\n  2\nHEADER\n"),
    "an SVG drawing": (".ply", lambda: b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg">'),
    "a web page": (".stl", lambda: b"<!DOCTYPE html><html><body>Not found"),
    "a picture \\(PNG\\)": (".obj", lambda: b"\x89PNG\r\n\x1a\n" + bytes(200)),
    "a picture \\(JPEG\\)": (".stl", lambda: b"\xff\xd8\xff\xe0" + bytes(range(200))),
    "a PDF document": (".step", lambda: b"%PDF-1.7 ..."),
    "compressed \\(gzip\\)": (".stl", lambda: b"\x1f\x8b\x08" + bytes(100)),
    "a pointer of Git LFS": (".stl", lambda: b"version https://git-lfs.github.com/spec/v1\noid sha256:0\nsize 1\n"),
}


@pytest.mark.parametrize("found", NAMED)
def test_a_file_of_another_format_is_named_by_what_it_is(found: str) -> None:
    suffix, make = NAMED[found]
    with pytest.raises(PartError, match=f"ends in {suffix}, but its content is {found}"):
        read_bytes(make(), suffix)


@pytest.mark.parametrize("header", [b"PK\x03\x04", b"%PDF", b"OFF", b"v 1 2 3", b"<html>", b"solid x facet"])
def test_a_whole_binary_stl_is_read_whatever_its_header_says(header: bytes) -> None:
    assert len(read_stl(seeds.stl_binary(header)).faces) == 12


def test_lines_and_points_of_an_obj_file_are_noted() -> None:
    raw = read_obj(seeds.obj() + b"p 1 2 3\nl 1 2\n")
    assert codes(raw) == ["part-mesh-loose"]
    assert raw.findings[0].message.startswith("3 lines and points")


def test_words_after_the_last_element_are_noted() -> None:
    assert codes(read_ply(seeds.ply() + b"the end\n")) == ["part-mesh-trailing"]
    assert codes(read_ply(seeds.ply("binary_little_endian") + b"the end\n")) == ["part-mesh-trailing"]
    assert codes(read_off(seeds.off() + b"the end\n")) == ["part-mesh-trailing"]


def test_a_text_without_its_last_line_is_taken_where_it_closes() -> None:
    raw = read_stl(seeds.stl_ascii().rpartition(b"endsolid")[0])
    assert codes(raw) == ["part-mesh-no-endsolid"]


def test_both_ways_through_a_text_stl_find_the_same() -> None:
    """An empty facet line more makes the quick way give up; the slow one must give the same."""
    quick = read_stl(seeds.stl_ascii())
    slow = read_stl(seeds.stl_ascii().replace(b"facet normal 0 0 0", b"facet normal 0 0", 1))
    np.testing.assert_array_equal(quick.vertices, slow.vertices)


def test_the_second_reading_of_stl_sees_what_the_first_missed() -> None:
    for data in (seeds.stl_binary(), seeds.stl_ascii()):
        raw = read_stl(data)
        assert second_reading(data, ".stl", raw) == []
        off_by_little = RawMesh(raw.vertices * 1.00001, raw.faces, raw.file_face)
        with pytest.raises(PartError, match="two readers"):
            second_reading(data, ".stl", off_by_little)


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".off", ".ply"])
def test_trimesh_reads_the_same_from_a_large_file(suffix: str) -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=20)
    for kind, more in {
        ".stl": [("stl_ascii", {}), ("stl", {})],
        ".ply": [("ply", {}), ("ply", {"encoding": "ascii"})],
    }.get(suffix, [(suffix[1:], {})]):
        data = ball.export(file_type=kind, **more)
        raw = read_bytes(data.encode() if isinstance(data, str) else data, suffix)
        assert isinstance(raw, RawMesh)
        assert len(raw.faces) == len(ball.faces)
        assert raw.findings == ()
        assert_allclose(area_of(raw), ball.area, rtol=1e-6, atol=0)


@pytest.mark.benchmark
def test_a_million_triangles_are_read_in_about_a_second(tmp_path: Path) -> None:
    data = bytearray(seeds.stl_binary())
    facets = np.tile(np.frombuffer(bytes(data[84:]), np.uint8).reshape(12, 50), (83334, 1))[:1_000_000]
    path = tmp_path / "large.stl"
    path.write_bytes(bytes(80) + struct.pack("<I", 1_000_000) + facets.tobytes())
    begin = time.perf_counter()
    raw = read_guarded(path)
    print(f"a million triangles through the guard: {time.perf_counter() - begin:.2f} s")
    assert isinstance(raw, RawMesh)
    assert len(raw.faces) == 1_000_000


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".off", ".ply", ".3mf", ".dxf", ".svg"])
def test_an_empty_file_is_called_empty(suffix: str) -> None:
    for data in (b"", b" \r\n\n"):
        with pytest.raises(PartError, match="the file is empty"):
            read_bytes(data, suffix)
