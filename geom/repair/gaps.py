"""`narrow_gaps`: walls so near each other that the bath hardly gets between."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.findings import Finding, Severity
from geom.repair.intersections import rounding
from geom.repair.work import at
from geom.surface.boxtree import box_tree
from geom.surface.solid import LEAST_GAP
from geom.wording import mm, mm2

TOLD = 1e-3  # share of the area in narrow gaps from which on it is told


def narrow_gaps(vertices: Floats, faces: Ints) -> tuple[Finding, ...]:
    """Say how much of a skin stands less than `LEAST_GAP` from a wall opposite, by a ray out of each face.

    Bodies that were meant to fit, as a pin in a bore, leave such gaps where their rounds are not cut into the
    same flats; no union closes them.
    """
    corners = vertices[faces]
    vectors = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    step, _ = rounding(vertices, faces)
    out = vectors / np.maximum(areas, 1e-300)[:, None]
    middle = corners.mean(axis=1)
    gap = box_tree(corners).along_rays(middle, out, step, LEAST_GAP)
    narrow = np.isfinite(gap)
    area = float(areas[narrow].sum())
    if area <= TOLD * float(areas.sum()):
        return ()
    first = middle[int(np.argmax(np.where(narrow, areas, 0.0)))]
    message = (
        f"about {mm2(area)}, {area / float(areas.sum()) * 100:.3g} % of the skin, stands less than "
        f"{mm(LEAST_GAP)} mm from a wall opposite, most of it at {at(first)}: it is counted, though the bath hardly gets "
        "in; pieces that are meant to be joined, join in the model"
    )
    return (Finding(Severity.WARNING, "part-narrow-gap", message),)
