"""Shape and closedness of triangles, counted a second way."""

import numpy as np

from geom.arrays import Floats
from geom.surface.surface import Surface


def least_angles(surface: Surface) -> Floats:
    """Smallest angle of each face [deg], by the law of cosines."""
    corners = surface.corners
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    a, b, c = np.sort(sides, axis=1).T
    return np.degrees(np.arccos(np.clip((b * b + c * c - a * a) / (2 * b * c), -1.0, 1.0)))


def is_closed(surface: Surface) -> bool:
    """Every edge is used once in each direction."""
    pairs = np.concatenate([surface.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    forward = {tuple(p) for p in pairs.tolist()}
    return len(forward) == len(pairs) and all((b, a) in forward for a, b in forward)


def areas_by_tag(surface: Surface) -> Floats:
    """Area of each tag [m²]."""
    return np.bincount(surface.tag, weights=surface.areas)
