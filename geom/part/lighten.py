"""`lightened`: a mesh of very many faces made light enough to solve on. Areas stay those of the original."""

from dataclasses import dataclass, replace

import manifold3d
import numpy as np

from geom.arrays import Floats
from geom.findings import Finding, Severity
from geom.part.part import Part
from geom.surface.remesh import SHARP
from geom.surface.solid import from_manifold
from geom.surface.soundness import edge_report
from geom.surface.surface import Surface
from geom.wording import mm

HEAVY = 20_000  # faces from which a mesh is made lighter
LIGHT = 20_000  # faces that are aimed at
STEPS = (1e-5, 5e-5, 1e-4, 2e-4, 4e-4)  # distances tried, as a share of the diagonal of the bounding box
AREA_KEPT = 2e-3  # most that any feature of weight may change in area, as a share of it
OF_WEIGHT = 1e-2  # share of the whole area from which a feature is of weight


@dataclass(frozen=True, eq=False)
class Lightened:
    """The lighter surface, and how far it may lie from the original [m]."""

    surface: Surface
    distance: float


def solvable(part: Part) -> Part:
    """Return the part with a surface that can be solved on; area, volume and features stay those of the original."""
    light = lightened(part.surface)
    if light is None:
        return part
    words = (
        f"the current is solved on {len(light.surface.faces)} faces that lie within {mm(light.distance)} mm of the "
        f"{len(part.surface.faces)} faces of the part; areas are those of the part"
    )
    finding = Finding(Severity.NOTE, "part-lightened", words)
    return replace(
        part,
        surface=light.surface,
        smooth=smooth_tags(part.surface),
        file_face=None,
        findings=(*part.findings, finding),
    )


def smooth_tags(surface: Surface) -> tuple[int, ...]:
    """Return the tags within which no edge of a closed surface is sharp.

    Faces that were made fewer turn by more than those they stand for: an edge between them may seem sharp.
    """
    pairs = edge_report(surface.faces).pairs
    one, two = pairs.T // 3
    inner = surface.tag[one] == surface.tag[two]
    one, two = one[inner], two[inner]
    cosine = np.einsum("ij,ij->i", surface.normals[one], surface.normals[two])
    thick = np.minimum(surface.areas[one], surface.areas[two]) > 0  # a face without area has no normal
    sharp = np.unique(surface.tag[one[(cosine < SHARP) & thick]])
    return tuple(np.setdiff1d(surface.tag, sharp).tolist())


def lightened(surface: Surface) -> Lightened | None:
    """Return a surface of fewer faces within a small distance of ``surface``, with its tags; None if none is worth it.

    Vertices are taken out while the surface stays within the distance (edge collapse of the manifold3d library).
    Borders between tags are kept. The least of `STEPS` that reaches `LIGHT` faces is taken, or the largest one
    that changes no feature by more than `AREA_KEPT`.
    """
    if len(surface.faces) <= HEAVY:
        return None
    tags, ids = np.unique(surface.tag, return_inverse=True)
    mesh = manifold3d.Mesh64(
        vert_properties=np.array(surface.vertices),
        tri_verts=np.array(surface.faces, dtype=np.uint64),
        face_id=np.asarray(ids.reshape(-1), dtype=np.uint64),  # faces of one tag may be merged, others not
    )
    solid = manifold3d.Manifold(mesh)
    diagonal = float(np.linalg.norm(np.ptp(surface.bounds, axis=0)))
    best, distance = None, 0.0
    for step in STEPS:
        solid = solid.simplify(step * diagonal)
        distance += step * diagonal  # each step starts from the one before
        lighter = from_manifold(solid, np.asarray(tags, dtype=np.int64))
        if not len(lighter.faces) or not _keeps_areas(surface, lighter):
            break
        best = Lightened(lighter, distance)
        if len(lighter.faces) <= LIGHT:
            break
    return best if best is not None and len(best.surface.faces) < len(surface.faces) else None


def _keeps_areas(before: Surface, after: Surface) -> bool:
    count = int(before.tag.max()) + 1
    old, new = _areas(before, count), _areas(after, count)
    heavy = old > OF_WEIGHT * old.sum()
    return bool(np.all(np.abs(new[heavy] - old[heavy]) <= AREA_KEPT * old[heavy]))


def _areas(surface: Surface, count: int) -> Floats:
    """Return (count,) area of each tag [m²]."""
    return np.asarray(np.bincount(surface.tag, weights=surface.areas, minlength=count), dtype=np.float64)
