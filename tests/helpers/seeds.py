"""Small sound files of ours in every format that is read: a plate with a slanted lid, and outlines of one."""

import io
import struct
import zipfile

import numpy as np

from helpers.drawings import sound_dxf, sound_svg
from helpers.step_parts import step_box

CORNERS = np.array(
    [(0, 0, 0), (40, 0, 0), (40, 20, 0), (0, 20, 0), (0, 0, 4), (40, 0, 5), (40, 20, 5), (0, 20, 4)], dtype=float
)
QUADS = ((0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7))
FACES = np.array([face for a, b, c, d in QUADS for face in ((a, b, c), (a, c, d))])


def area() -> float:
    """Area of the plate in file units squared."""
    a, b, c = (CORNERS[FACES[:, k]] for k in range(3))
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def stl_binary(header: bytes = b"a plate of the tests") -> bytes:
    facets = b"".join(struct.pack("<12fH", 0, 0, 0, *CORNERS[face].ravel(), 0) for face in FACES)
    return header.ljust(80) + struct.pack("<I", len(FACES)) + facets


def stl_ascii() -> bytes:
    lines = ["solid plate of the tests"]
    for face in FACES:
        lines += ["facet normal 0 0 0", "  outer loop"]
        lines += [f"    vertex {x:.6e} {y:.4f} {z:g}" for x, y, z in CORNERS[face]]
        lines += ["  endloop", "endfacet"]
    return "\n".join([*lines, "endsolid plate of the tests", ""]).encode()


def obj() -> bytes:
    lines = ["# a plate", "mtllib none.mtl", "o plate", *(f"v {x} {y} {z}" for x, y, z in CORNERS)]
    lines += ["vt 0 0", "vn 0 0 1", "g sides", "s off", "usemtl steel"]
    lines += [f"f {a + 1}/1/1 {b + 1}/1/1 {c + 1}//1 {d + 1}" for a, b, c, d in QUADS[:3]]
    lines += ["f " + " ".join(str(k - 8) for k in quad) for quad in QUADS[3:]]
    return "\n".join([*lines, "l 1 2", ""]).encode()


def off() -> bytes:
    lines = ["OFF # a plate", "8 6 12", *(f"{x} {y} {z}" for x, y, z in CORNERS)]
    return "\n".join([*lines, *("4 " + " ".join(map(str, quad)) for quad in QUADS), ""]).encode()


def ply(kind: str = "ascii") -> bytes:
    """Text, or binary of either byte order; faces of four corners as text, of three in binary."""
    faces = QUADS if kind == "ascii" else FACES.tolist()
    header = (
        f"ply\nformat {kind} 1.0\ncomment a plate\nelement vertex 8\nproperty float x\nproperty float y\n"
        f"property float z\nproperty uchar red\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if kind == "ascii":
        rows = [f"{x:g} {y:g} {z:g} 7" for x, y, z in CORNERS] + [f"4 {a} {b} {c} {d}" for a, b, c, d in faces]
        return header + "\n".join([*rows, ""]).encode()
    order = "<" if kind == "binary_little_endian" else ">"
    vertices = b"".join(struct.pack(order + "3fB", *corner, 7) for corner in CORNERS)
    return header + vertices + b"".join(struct.pack(order + "B3i", 3, *face) for face in faces)


MODEL = "3D/3dmodel.model"


def model_xml() -> bytes:
    vertices = "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in CORNERS)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in FACES)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
        f'<object id="1" type="model"><mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh></object>'
        '<object id="2" type="model"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 6 7"/></components>'
        '</object></resources><build><item objectid="2"/></build></model>'
    ).encode()


def zipped(model: bytes) -> bytes:
    """A 3MF package around a model part."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in (
            (
                "[Content_Types].xml",
                b'<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
                b'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
                b'<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>',
            ),
            (
                "_rels/.rels",
                b'<?xml version="1.0"?><Relationships '
                b'xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship '
                b'Target="/3D/3dmodel.model" Id="rel0" '
                b'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>',
            ),
            (MODEL, model),
        ):
            package.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), content)
    return target.getvalue()


# name of a format -> suffix and seeds
SEEDS: dict[str, tuple[str, tuple[bytes, ...]]] = {
    "stl-b": (".stl", (stl_binary(), stl_binary(b"solid"))),
    "stl-a": (".stl", (stl_ascii(), stl_ascii().upper().replace(b"\n", b"\r\n"))),
    "obj": (".obj", (obj(),)),
    "ply-b": (".ply", (ply("binary_little_endian"), ply("binary_big_endian"))),
    "ply-a": (".ply", (ply(),)),
    "off": (".off", (off(),)),
    "3mf": (".3mf", (zipped(model_xml()),)),
    "dxf": (".dxf", (sound_dxf(),)),
    "svg": (".svg", (sound_svg(),)),
    "step": (".step", (step_box((40.0, 20.0, 4.0)),)),
}
