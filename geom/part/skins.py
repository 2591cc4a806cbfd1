"""The features of a mesh: smooth pieces between sharp edges, and the round bores among them."""

import math
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.feature import Feature, Kind
from geom.surface.soundness import smooth_groups
from geom.surface.surface import Surface

CORNER = math.radians(30)  # a turn that ends a smooth piece
MOST_SKINS, MOST_BORES = 16, 24
STRAY = 0.02  # a bore's corners lie on its circle to this share of the radius
TILT = 0.05  # and its normals at right angles to its axis to this sine


@dataclass(frozen=True, slots=True)
class _Round:
    diameter: float
    depth: float


def mesh_features(surface: Surface, pairs: Ints) -> tuple[tuple[Feature, ...], Ints, float]:
    """Split a closed mesh into features.

    Parameters
    ----------
    pairs : half-edges that meet, of `geom.surface.soundness.EdgeReport`

    Returns
    -------
    the features, the feature of each face (m,), and the least bore diameter [m] (inf where there is none)
    """
    group = smooth_groups(pairs, surface.normals, CORNER)
    count = int(group.max()) + 1
    area = np.bincount(group, surface.areas, count)
    order = np.argsort(-area, kind="stable")
    members = np.split(np.argsort(group, kind="stable"), np.cumsum(np.bincount(group, minlength=count))[:-1])
    features: list[Feature] = []
    tag_of_group = np.full(count, -1)
    skins = bores = 0
    smallest = math.inf
    for number in order[: 8 * (MOST_SKINS + MOST_BORES)]:
        bore = _bore(surface, members[number]) if bores < MOST_BORES else None
        if bore is not None:
            bores += 1
            name = f"bore {bores} ({round(bore.diameter * 1e3, 2)} mm)"
            feature = Feature(name, Kind.BORE, float(area[number]), bore.diameter, bore.depth)
            smallest = min(smallest, bore.diameter)
        elif skins < MOST_SKINS:
            skins += 1
            name = f"skin {skins} ({_direction(surface, members[number])}), {area[number] * 1e6:.4g} mm²"
            feature = Feature(name, Kind.SKIN, float(area[number]), 0.0, 0.0)
        else:
            continue
        tag_of_group[number] = len(features)
        features.append(feature)
    rest = tag_of_group < 0
    if rest.any():
        tag_of_group[rest] = len(features)
        features.append(Feature("small faces", Kind.SKIN, float(area[rest].sum()), 0.0, 0.0))
    return tuple(features), np.asarray(tag_of_group[group], dtype=np.int64), smallest


def _direction(surface: Surface, members: Ints) -> str:
    """Say which way a piece looks: an axis where it clearly does, else that it is curved or slanted."""
    total = surface.area_vectors[members].sum(axis=0)
    share = float(np.linalg.norm(total)) / float(surface.areas[members].sum() or 1.0)
    if share < 0.7:
        return "curved"
    axis = int(np.argmax(np.abs(total)))
    if abs(total[axis]) < 0.9 * np.linalg.norm(total):
        return "slanted"
    return ("+" if total[axis] > 0 else "-") + "xyz"[axis]


def _bore(surface: Surface, members: Ints) -> _Round | None:
    """Return the diameter and depth of a piece that is the whole inner wall of a cylinder."""
    if len(members) < 16:
        return None
    normals, weight = surface.normals[members], surface.areas[members]
    moments, axes = np.linalg.eigh((normals * weight[:, None]).T @ normals / weight.sum())
    axis = axes[:, 0]
    if moments[0] > TILT**2 or np.abs(normals @ axis).max() > 4 * TILT:
        return None
    points = surface.vertices[np.unique(surface.faces[members])]
    plane = axes[:, 1:]
    flat = points @ plane
    centre, radius = _circle(flat)
    stray = np.abs(np.linalg.norm(flat - centre, axis=1) - radius).max()
    spokes = surface.centroids[members] @ plane - centre
    if stray > STRAY * radius or (np.einsum("ij,ij->i", spokes, normals @ plane) > 0).any():
        return None
    angles = np.sort(np.arctan2(flat[:, 1] - centre[1], flat[:, 0] - centre[0]))
    gaps = np.diff(np.append(angles, angles[0] + 2 * math.pi))
    if gaps.max() > math.radians(60):
        return None
    return _Round(2 * radius, float(np.ptp(points @ axis)))


def _circle(points: Floats) -> tuple[Floats, float]:
    """Centre and radius of the circle nearest to plane points, by linear least squares."""
    middle = points.mean(axis=0)
    local = points - middle
    system = np.column_stack([2 * local, np.ones(len(local))])
    answer, *_ = np.linalg.lstsq(system, (local**2).sum(axis=1), rcond=None)
    return middle + answer[:2], math.sqrt(max(float(answer[2] + answer[:2] @ answer[:2]), 0.0))
