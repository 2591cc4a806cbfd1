"""Narrow holes shut by a body that fills them, as water does that will not leave by itself."""

from collections.abc import Sequence

import manifold3d
import numpy as np

from geom.feature import Feature, Kind
from geom.surface.solid import joined
from geom.surface.surface import Surface

HOLDS = 3e-3
"""Water does not leave a hole narrower than this by itself [m]: about the capillary length, (0.072 N/m / (998 kg/m³ ·
9.81 m/s²))^½ = 2.7 mm (closed form; figures of water at 20 °C from memory; wetting agent makes it less)."""

THROUGH = (Kind.BORE, Kind.SLOT, Kind.INSIDE)


def is_narrow(feature: Feature) -> bool:
    """Is it a hole that surface tension may keep shut?"""
    return feature.kind in (*THROUGH, Kind.BLIND_HOLE) and 0 < feature.width < HOLDS and not feature.bare


def shut(solid: Surface, numbers: Sequence[int]) -> Surface:
    """Return a solid with a body in each of the features of these numbers; bodies and part may overlap.

    The body is the convex hull of the feature, which fills a straight hole exactly.
    """
    bodies = [solid]
    for number in numbers:
        corners = np.unique(solid.faces[solid.tag == number])
        hull = manifold3d.Manifold.hull_points(np.array(solid.vertices[corners]))
        if hull.is_empty():  # a flat feature
            continue
        mesh = hull.to_mesh64()
        faces = np.asarray(mesh.tri_verts, dtype=np.int64)
        points = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
        bodies.append(Surface(points, faces, np.full(len(faces), number)))
    return joined(bodies)
