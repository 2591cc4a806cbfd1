"""The GLB that the STEP library answers with: triangles of each body, and the face of the STEP file each belongs to."""

import json
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from geom.arrays import Floats, Ints

HEADER = struct.Struct("<4sII")  # magic, version, length
CHUNK = struct.Struct("<I4s")  # length, kind
INDEX_KINDS = {5121: "u1", 5123: "<u2", 5125: "<u4"}
TRIANGLES = 4
FACES = "TM_brep_faces"


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One body of a file, where it stands."""

    vertices: Floats  # (n, 3) [m]; no two faces share one
    triangles: Ints  # (m, 3)
    face: Ints  # (m,) which face of the body each triangle is of
    surfaces: tuple[dict[str, Any] | None, ...]  # of each face: its type and sizes before the body is placed, if known
    own: Floats  # (n, 3) vertices before the body is placed [m]
    shape: tuple[int, ...]  # bodies of the same shape differ in place only


def read_glb(data: bytes) -> list[Piece]:
    """Return the bodies of a GLB that holds faces of a boundary representation.

    Raises
    ------
    ValueError, KeyError, IndexError
        where it is not one.
    """
    tree, content = _chunks(data)
    roots = tree["scenes"][tree.get("scene", 0)].get("nodes", [])
    return [piece for root in roots for piece in _pieces(tree, content, root, np.eye(4))]


def _chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    magic, version, length = HEADER.unpack_from(data)
    if magic != b"glTF" or version != 2 or length != len(data):
        raise ValueError("not a GLB of version 2")
    at, found = HEADER.size, {}
    while at < length:
        size, kind = CHUNK.unpack_from(data, at)
        found[kind] = data[at + CHUNK.size : at + CHUNK.size + size]
        at += CHUNK.size + size
    tree: dict[str, Any] = json.loads(found[b"JSON"])
    return tree, found.get(b"BIN\0", b"")


def _pieces(tree: dict[str, Any], content: bytes, number: int, above: Floats) -> Iterator[Piece]:
    """Yield the bodies of a node and of those below it."""
    node = tree["nodes"][number]
    frame = above @ _frame(node)
    if "mesh" in node:
        primitives = tree["meshes"][node["mesh"]]["primitives"]
        kept = [one for one in primitives if one.get("mode", TRIANGLES) == TRIANGLES]
        if kept:
            yield _piece(tree, content, kept, frame)
    for child in node.get("children", ()):
        yield from _pieces(tree, content, child, frame)


def _piece(tree: dict[str, Any], content: bytes, primitives: list[dict[str, Any]], frame: Floats) -> Piece:
    """Join the sets of triangles of one body; a body whose faces differ in colour has several."""
    points: list[Floats] = []
    triangles: list[Ints] = []
    faces: list[Ints] = []
    surfaces: list[dict[str, Any] | None] = []
    for primitive in primitives:
        own = _values(tree, content, primitive["attributes"]["POSITION"], "<f4", 3)
        kind = INDEX_KINDS[tree["accessors"][primitive["indices"]]["componentType"]]
        corners = _values(tree, content, primitive["indices"], kind, 1).astype(np.int64).reshape(-1, 3)
        face, known = _faces(tree, content, primitive, corners, len(own) // 3)
        triangles.append(corners + sum(len(one) for one in points))
        points.append(own.astype(np.float64).reshape(-1, 3))
        faces.append(face + len(surfaces))
        surfaces += known
    own, corners = np.concatenate(points), np.concatenate(triangles)
    if np.linalg.det(frame[:3, :3]) < 0:
        corners = corners[:, ::-1]
    shape = tuple(primitive["attributes"]["POSITION"] for primitive in primitives)
    placed = own @ frame[:3, :3].T + frame[:3, 3]
    return Piece(placed, corners, np.concatenate(faces), tuple(surfaces), own, shape)


def _faces(
    tree: dict[str, Any], content: bytes, primitive: dict[str, Any], corners: Ints, count: int
) -> tuple[Ints, list[dict[str, Any] | None]]:
    """Return the face of each triangle, and the surfaces of the faces; counted where they are not told.

    No two faces share a vertex, so a connected piece is a face where the answer does not say.
    """
    told = primitive.get("extensions", {}).get(FACES)
    if told is None:
        group = body_of_vertex(corners, count)[corners[:, 0]]
        found, face = np.unique(group, return_inverse=True)
        return face.reshape(-1).astype(np.int64), [None] * len(found)
    face = _values(tree, content, told["faceIndices"], "<u4", 1).astype(np.int64)
    if len(face) != len(corners) or face.max(initial=-1) >= len(told["faces"]):
        raise ValueError("faces and triangles do not match")
    return face, list(told["faces"])


def body_of_vertex(corners: Ints, count: int) -> Ints:
    """Number (count,) of the connected piece that each vertex is of."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = np.concatenate([corners[:, :2], corners[:, 1:]])
    graph = coo_array((np.ones(len(links), dtype=np.bool_), (links[:, 0], links[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _values(tree: dict[str, Any], content: bytes, number: int, kind: str, width: int) -> Any:
    accessor = tree["accessors"][number]
    view = tree["bufferViews"][accessor["bufferView"]]
    start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    return np.frombuffer(content, dtype=kind, count=accessor["count"] * width, offset=start)


def _frame(node: dict[str, Any]) -> Floats:
    """Return the matrix (4, 4) of a node."""
    if "matrix" in node:
        return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
    x, y, z, w = node.get("rotation", (0.0, 0.0, 0.0, 1.0))
    turn = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    frame = np.eye(4)
    frame[:3, :3] = np.array(turn) * np.array(node.get("scale", (1.0, 1.0, 1.0)))
    frame[:3, 3] = node.get("translation", (0.0, 0.0, 0.0))
    return frame
