"""`plugged`: a bore, or the inside of a tube, closed flat at every opening."""

import math
from dataclasses import replace

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.feature import Feature
from geom.part.masks import Plug
from geom.part.naming import called
from geom.part.part import Part
from geom.surface.remesh import half_edge_twins
from geom.surface.shell import area_vector, triangulate
from geom.surface.surface import Surface

FLAT = 0.02  # an opening may be warped by this share of its width


def plugged(part: Part, plug: Plug, *, where: str) -> Part:
    """Return the part with the walls of a hollow feature taken away and its openings closed by flat, bare faces.

    Raises
    ------
    PartError
        where there is no such feature, or it has no flat openings to close.
    """
    tags = called(part, plug.feature, where=where)
    for tag in tags:
        part = _closed(part, tag, where)
    return _without(part, tags)


def _closed(part: Part, tag: int, where: str) -> Part:
    """Return the part with one feature closed; the feature itself stays in the list, without faces."""
    surface, feature = part.surface, part.features[tag]
    stays = surface.tag != tag
    rings = _openings(surface, tag, feature, where)
    caps, features = [], []
    for number, ring in enumerate(rings, 1):
        caps.append(triangulate(surface.vertices, [ring]))
        name = f"{feature.name}, plug" if len(rings) == 1 else f"{feature.name}, plug {number}"
        area = float(np.linalg.norm(area_vector(surface.vertices[ring])))
        middle = surface.vertices[ring].mean(axis=0).tolist()
        place = None if feature.middle is None else (middle[0], middle[1], middle[2])
        features.append(replace(feature, name=name, area=area, depth=0.0, bare="plug", middle=place))
    first = len(part.features)
    tags = [np.full(len(cap), first + k) for k, cap in enumerate(caps)]
    closed = Surface(
        surface.vertices,
        np.concatenate([surface.faces[stays], *caps]),
        np.concatenate([surface.tag[stays], *tags]),
    )
    source = part.file_face
    if source is not None:
        source = np.concatenate([source[stays], np.full(sum(map(len, caps)), -1)])
    return replace(
        part,
        surface=closed,
        features=(*part.features, *features),
        volume=part.volume + closed.volume - surface.volume,
        file_face=source,
    )


def _openings(surface: Surface, tag: int, feature: Feature, where: str) -> list[Ints]:
    """Return the border of the feature as closed rings, each the way round that its plug is seen from outside."""
    own = surface.faces[surface.tag == tag]
    twin = half_edge_twins(own)
    rim = np.flatnonzero(twin < 0)
    start, end = own.reshape(-1)[rim], np.roll(own, -1, axis=1).reshape(-1)[rim]
    # a plug is wound against the walls it replaces in no way: it takes over their side of each rim edge
    rings = _rings(start, end)
    if not rings or len(np.unique(start)) < len(start):
        raise _cannot(feature, where, "its border is no set of closed rings")
    for ring in rings:
        places = surface.vertices[ring]
        if _warp(places) > FLAT:
            raise _cannot(feature, where, "an opening of it is not flat")
    return rings


def _rings(start: Ints, end: Ints) -> list[Ints]:
    """Return closed rings of vertices from directed edges."""
    onward = dict(zip(start.tolist(), end.tolist(), strict=True))
    rings = []
    while onward:
        first, place = next(iter(onward.items()))
        ring = [first]
        del onward[first]
        while place != first and place in onward:
            ring.append(place)
            place = onward.pop(place)
        rings.append(np.array(ring, dtype=np.int64))
    return rings


def _warp(ring: Floats) -> float:
    """Return by how much a ring leaves its plane, as a share of its width."""
    normal = area_vector(ring)
    length = float(np.linalg.norm(normal))
    if length == 0:
        return math.inf
    away = (ring - ring.mean(axis=0)) @ (normal / length)
    return float(np.ptp(away) / math.sqrt(length))


def _cannot(feature: Feature, where: str, why: str) -> PartError:
    return PartError(
        "plug-not-possible",
        f"{feature.name} cannot be plugged: {why}",
        where=where,
        hint="plug a bore, a slot, a blind hole or the inside of a tube; cover anything else with [[stop_off]]",
    )


def _without(part: Part, tags: tuple[int, ...]) -> Part:
    """Return the part without features that have no faces any more."""
    kept = [k for k in range(len(part.features)) if k not in tags]
    number = np.full(len(part.features), -1)
    number[kept] = np.arange(len(kept))
    surface = Surface(part.surface.vertices, part.surface.faces, number[part.surface.tag])
    used, faces = np.unique(surface.faces, return_inverse=True)
    features = tuple(part.features[k] for k in kept)
    return replace(
        part,
        surface=Surface(surface.vertices[used], faces.reshape(-1, 3), surface.tag),
        features=features,
        area=math.fsum(feature.area for feature in features if feature.is_plated),
    )
