"""Mesh files as plain polygons: the polygon formats OBJ and OFF, and what the readers share.

The readers are our own, not trimesh's, which skips malformed lines in silence, cuts concave polygons into a
fan and trusts the corner counts of a PLY file. The tests hold them against trimesh on sound files.
Numbers stay in file units. A file that breaks its format raises `PartError` with the line or the numbers.
"""

import re
from collections.abc import Sequence

import numpy as np

from geom.arrays import Floats, Ints
from geom.formats.raw import RawMesh, malformed, shown
from geom.surface.shell import area_vector, triangulate


def numbers(words: Sequence[str], where: str) -> Floats:
    """Turn words into floats; a word that is no plain number is named."""
    try:
        return np.array(words, dtype=np.float64)
    except ValueError:
        for word in words:
            try:
                float(word)
            except ValueError:
                raise malformed(f'"{shown(word)}" in {where} is not a number', "write 12.5, not 12,5") from None
        raise


def read_obj(data: bytes) -> RawMesh:
    """Read the vertices and faces of an OBJ file; materials and everything else are left alone."""
    text = data.decode("utf-8-sig", errors="replace").replace("\\\r\n", " ").replace("\\\n", " ")
    corners: list[str] = []
    polygons: list[list[int]] = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split()
        if not words or words[0] not in ("v", "f"):
            continue
        if words[0] == "v":
            if len(words) < 4:
                raise malformed(f"line {number} of the OBJ file: a vertex has three numbers")
            corners.extend(words[1:4])
            continue
        words = words[: words.index("#")] if "#" in words else words
        polygons.append([_obj_index(word, len(corners) // 3, number) for word in words[1:]])
    return polygon_mesh(numbers(corners, "the OBJ file").reshape(-1, 3), polygons)


def _obj_index(word: str, count: int, line: int) -> int:
    head = word.split("/")[0]
    try:
        index = int(head)
    except ValueError:
        raise malformed(f'line {line} of the OBJ file: "{shown(word)}" is not the number of a vertex') from None
    if index == 0 or index < -count:
        raise malformed(f"line {line} of the OBJ file names vertex {index}; vertices count from 1")
    return index - 1 if index > 0 else count + index


def read_off(data: bytes) -> RawMesh:
    """Read an OFF file: its counts, its vertices, its faces, and nothing after them."""
    text = data.decode("utf-8-sig", errors="replace")
    words = re.sub(r"#[^\r\n]*", "", text).split("\n" if "\n" in text else "\r")
    lines = [line.split() for line in words if line.strip()]
    if not lines or lines[0][0].upper() != "OFF":
        raise malformed('an OFF file begins with the word "OFF"')
    head = lines[0][1:] or (lines[1] if len(lines) > 1 else [])
    body = lines[1:] if lines[0][1:] else lines[2:]
    try:
        vertices, faces = int(head[0]), int(head[1])
    except (ValueError, IndexError):
        raise malformed("the OFF file does not give its numbers of vertices and faces") from None
    if vertices < 0 or faces < 0 or vertices + faces > len(body):
        raise malformed(
            f"the OFF file declares {vertices} vertices and {faces} faces, but has {len(body)} lines for them"
        )
    if any(len(line) < 3 for line in body[:vertices]):
        raise malformed("a vertex of the OFF file has fewer than three numbers")
    points = numbers([word for line in body[:vertices] for word in line[:3]], "the OFF file").reshape(-1, 3)
    return polygon_mesh(points, [_off_face(line) for line in body[vertices : vertices + faces]])


def _off_face(line: list[str]) -> list[int]:
    try:
        count = int(line[0])
        corners = [int(word) for word in line[1 : count + 1]]
    except ValueError:
        raise malformed(f'"{shown(" ".join(line))}" is not a face of an OFF file') from None
    if len(corners) != count or min(corners, default=0) < 0:
        raise malformed(f'the face "{shown(" ".join(line))}" of the OFF file has too few or negative corners')
    return corners


def polygon_mesh(vertices: Floats, polygons: Sequence[Sequence[int]]) -> RawMesh:
    """Cut polygons into triangles; a concave one by its true outline."""
    count = np.array([len(polygon) for polygon in polygons], dtype=np.int64)
    if len(count) and count.min() < 3:
        raise malformed(f"face {int(np.argmin(count)) + 1} of the file has fewer than three corners")
    flat = np.array([corner for polygon in polygons for corner in polygon], dtype=np.int64)
    if len(flat) and flat.max() >= len(vertices):
        face = int(np.repeat(np.arange(len(count)), count)[np.argmax(flat)])
        raise malformed(f"face {face + 1} of the file names vertex {int(flat.max()) + 1}; the file has {len(vertices)}")
    begin = np.cumsum(count) - count
    plain = np.flatnonzero(count == 3)
    faces = [flat[begin[plain][:, None] + np.arange(3)]]
    source = [plain]
    for number in np.flatnonzero(count > 3):
        cut = _cut(vertices, flat[begin[number] : begin[number] + count[number]])
        faces.append(cut)
        source.append(np.full(len(cut), number))
    order = np.argsort(np.concatenate(source), kind="stable")
    return RawMesh(vertices, np.concatenate(faces)[order], np.concatenate(source)[order])


def _cut(vertices: Floats, ring: Ints) -> Ints:
    """Cut one polygon: as a fan where it is convex, else by its outline in its mean plane."""
    points = vertices[ring]
    if not np.isfinite(points).all():
        return _fan(ring)
    whole = area_vector(points)
    fan = np.array([area_vector(points[[0, k, k + 1]]) for k in range(1, len(ring) - 1)])
    if not np.linalg.norm(whole) > 0 or (fan @ whole > 0).all():
        return _fan(ring)
    return triangulate(vertices, [ring])


def _fan(ring: Ints) -> Ints:
    return np.stack([np.full(len(ring) - 2, ring[0]), ring[1:-1], ring[2:]], axis=1)
