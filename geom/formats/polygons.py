"""Polygons to triangles, for the formats whose faces may have any number of corners: OBJ, OFF, PLY.

The readers are our own, not trimesh's, which skips malformed lines in silence, cuts concave polygons into a
fan and trusts the corner counts of a PLY file. The tests hold them against trimesh on sound files.
Numbers stay in file units. A file that breaks its format raises `PartError` with the line or the numbers.
"""

from collections.abc import Iterator

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats.raw import RawMesh, malformed
from geom.surface.shell import triangulate

ROUNDING = 1e-12  # of the square of its extent: a polygon of less area has none
FLAT = 1e-6  # relative excess of the cut area over the area of the outline that a flat polygon may show
FOLD = 1e-6  # share of a polygon that a triangle of it may be turned over by rounded numbers
DOUBT = 1e-3  # the same of the whole mesh: beyond it the area depends on the cut
TOGETHER = 1_000_000  # corners looked at together


def polygon_mesh(vertices: Floats, count: Ints, flat: Ints, findings: tuple[Finding, ...] = ()) -> RawMesh:
    """Cut polygons into triangles; a concave one by its true outline.

    Parameters
    ----------
    vertices : (n, 3) in file units
    count : (k,) corners of each polygon
    flat : (sum of count,) the corners of all of them in turn, from 0
    findings : what the reader noted

    Raises
    ------
    PartError
        where a polygon has fewer than three corners, names a vertex that is not there, or crosses itself.
    """
    if len(count) and count.min() < 3:
        raise malformed(f"face {int(np.argmin(count)) + 1} of the file has fewer than three corners")
    if len(flat) and (flat.max() >= len(vertices) or flat.min() < 0):
        wrong = int(np.argmax((flat >= len(vertices)) | (flat < 0)))
        face = int(np.searchsorted(np.cumsum(count), wrong, side="right"))
        raise malformed(f"face {face + 1} of the file names vertex {int(flat[wrong]) + 1}; it has {len(vertices)}")
    begin = np.cumsum(count) - count
    faces, source, warped = [], [], _Warped()
    for members in _alike(count):
        rings = flat[begin[members][:, None] + np.arange(count[members[0]])]
        cut, whose = _cut(vertices, rings, members, warped)
        faces.append(cut)
        source.append(members[whose])
    if not faces:
        return RawMesh(vertices, np.zeros((0, 3), np.int64), np.zeros(0, np.int64), findings)
    if len(faces) == 1:
        return RawMesh(vertices, faces[0], source[0], (*findings, *warped.findings()))
    order = np.argsort(np.concatenate(source), kind="stable")
    all_faces, all_source = np.concatenate(faces)[order], np.concatenate(source)[order]
    return RawMesh(vertices, all_faces, all_source, (*findings, *warped.findings()))


def _alike(count: Ints) -> Iterator[Ints]:
    """Yield the polygons of equal numbers of corners, so many at a time that their arrays stay small."""
    for size in np.unique(count):
        members = np.flatnonzero(count == size)
        step = len(members) if size == 3 else max(1, TOGETHER // int(size))
        for start in range(0, len(members), step):
            yield members[start : start + step]


class _Warped:
    """Polygons that are not flat: how many, and how far the area depends on how they are cut."""

    def __init__(self) -> None:
        self._count, self._excess, self._area, self._first = 0, 0.0, 0.0, -1

    def add(self, members: Ints, cut: Floats, outline: Floats) -> None:
        """Take the area of the triangles and that of the outline of each polygon."""
        bent = cut - outline > FLAT * outline
        self._area += float(cut.sum())
        if bent.any():
            first = int(members[bent].min())
            self._first = first if self._first < 0 else min(first, self._first)
            self._count += int(bent.sum())
            self._excess += float((cut - outline)[bent].sum())

    def findings(self) -> tuple[Finding, ...]:
        if not self._count:
            return ()
        share = self._excess / self._area
        words = (
            f"{self._count} faces of more than three corners are not flat, first face {self._first + 1} of the file; "
            f"how they are cut into triangles changes their area by about {100 * share:.2g} %"
        )
        return (Finding(Severity.WARNING if share > DOUBT else Severity.NOTE, "part-mesh-warped", words),)


def _cut(vertices: Floats, rings: Ints, members: Ints, warped: _Warped) -> tuple[Ints, Ints]:
    """Cut polygons (k, n) of equally many corners; return triangles and the row of each."""
    k, n = rings.shape
    if n == 3:
        return rings, np.arange(k)
    fans = np.stack([np.repeat(rings[:, :1], n - 2, axis=1), rings[:, 1:-1], rings[:, 2:]], axis=2)
    cut, outline, is_fan = _measured(vertices[rings], members)
    warped.add(members[is_fan], cut[is_fan], outline[is_fan])
    faces, whose = [fans[is_fan].reshape(-1, 3)], [np.repeat(np.flatnonzero(is_fan), n - 2)]
    for row in np.flatnonzero(~is_fan):
        triangles = _by_outline(vertices, rings[row], int(members[row]))
        corners = vertices[triangles]
        area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2
        warped.add(members[row : row + 1], np.array([area]), outline[row : row + 1])
        faces.append(triangles)
        whose.append(np.full(len(triangles), row))
    return np.concatenate(faces), np.concatenate(whose)


def _measured(points: Floats, members: Ints) -> tuple[Floats, Floats, Bools]:
    """Return the area of the fan and of the outline of polygons (k, n, 3), and which of them a fan cuts rightly.

    A fan is right where its triangles follow each other around the first corner, all the same way round. A
    polygon without extent is left to the fan: its triangles have no area and are dropped later.
    """
    spokes = points[:, 1:] - points[:, :1]
    normals = 0.5 * np.cross(spokes[:, :-1], spokes[:, 1:])
    whole = normals.sum(axis=1)
    areas, outline = np.linalg.norm(normals, axis=2), np.linalg.norm(whole, axis=1)
    along = np.einsum("kij,kj->ki", normals, whole)
    turned = np.arctan2(2 * areas, np.einsum("kij,kij->ki", spokes[:, :-1], spokes[:, 1:])).sum(axis=1)
    extent = np.square(spokes).sum(axis=2).max(axis=1)
    cut = areas.sum(axis=1)
    no_area = ~(cut > ROUNDING * extent)
    crossed = ~no_area & (outline <= ROUNDING * cut) & np.isfinite(cut)
    if crossed.any():
        raise _crossing(int(members[np.argmax(crossed)]))
    is_fan = no_area | ~np.isfinite(cut) | ((along > 0).all(axis=1) & (turned < 2 * np.pi))
    return np.where(no_area | ~np.isfinite(cut), outline, cut), outline, is_fan


def _by_outline(vertices: Floats, ring: Ints, member: int) -> Ints:
    """Cut one polygon by its outline in its mean plane; one whose triangles turn over crosses itself."""
    points = vertices[ring] - vertices[ring[0]]
    points = points / np.abs(points).max()
    try:
        places = triangulate(points, [np.arange(len(ring))])
    except (ValueError, RuntimeError):
        raise _crossing(member) from None
    corners = points[places]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    whole = normals.sum(axis=0)
    size = float(np.linalg.norm(whole))
    if len(places) != len(ring) - 2 or not size > 0 or (normals @ whole < -FOLD * size**2).any():
        raise _crossing(member)
    return np.asarray(ring[places], dtype=np.int64)


def _crossing(member: int) -> PartError:
    return malformed(
        f"face {member + 1} of the file crosses itself: its outline bounds no area that can be told",
        "export the part again as triangles",
    )
