"""`masked`: the surface split exactly where masks cut it; what they cover becomes features of its own that stay bare."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.feature import Feature
from geom.part.contacts import CONTACT
from geom.part.masks import Contact, CoveringMask, Mask, Plug, StopOff, StopOffBox, StopOffFacing, StopOffNear
from geom.part.naming import called
from geom.part.part import Part
from geom.part.plugging import plugged
from geom.surface.boxtree import box_tree
from geom.surface.cutters import CLOSE, SAME_AREA, Ball, HalfSpace
from geom.surface.splitting import Split, split
from geom.surface.surface import Surface
from geom.wording import mm

WORDS = {"stop-off": "stopped off", CONTACT: CONTACT, "plug": "plug"}
"""What the name of a bare feature ends in, by its reason."""


@dataclass(frozen=True, eq=False)
class _Covered:
    """The surface so far: the face of the part each face is a piece of, and the reason why it is bare, if it is."""

    surface: Surface
    source: Ints  # (m,)
    reason: Ints  # (m,) 0 plated, else one more than the place in `WORDS`

    def split_as(self, cut: Split) -> "_Covered":
        return _Covered(cut.surface, self.source[cut.source], self.reason[cut.source])


def masked(part: Part, masks: Sequence[Mask]) -> Part:
    """Return the part with what the masks cover as features of their own that stay bare.

    ``area`` then counts what is plated only. Where masks overlap, the first one holds.

    Raises
    ------
    PartError
        where a mask names no feature or touches nothing, or nothing is left to plate.
    """
    if not masks:
        return part
    plugs = [mask for mask in masks if isinstance(mask, Plug)]
    for number, plug in enumerate(plugs, 1):
        part = plugged(part, plug, where=f"[[plug]] number {number}")
    done = _Covered(part.surface, np.arange(len(part.surface.faces)), np.zeros(len(part.surface.faces), dtype=np.int64))
    numbers = {"stop_off": 0, "contact": 0}
    for mask in masks:
        if isinstance(mask, Plug):
            continue
        section = "contact" if isinstance(mask, Contact) else "stop_off"
        numbers[section] += 1
        done = _covered(part, done, mask, f"[[{section}]] number {numbers[section]}")
    return _renamed(part, done)


def _covered(part: Part, done: _Covered, mask: CoveringMask, where: str) -> _Covered:
    """Return the surface with one more mask on it."""
    done, inside = _cut(part, done, mask, where)
    if not np.any(inside):
        raise _touches_nothing(part, mask, where)
    reason = CONTACT if isinstance(mask, Contact) else "stop-off"
    free = np.array([feature.is_plated for feature in part.features])[done.surface.tag] & (done.reason == 0)
    return replace(done, reason=np.where(inside & free, 1 + list(WORDS).index(reason), done.reason))


def _cut(part: Part, done: _Covered, mask: CoveringMask, where: str) -> tuple[_Covered, Bools]:
    """Return the surface cut along the border of one mask, and (m,) what lies inside."""
    if isinstance(mask, StopOff):
        tags = [tag for name in mask.features for tag in called(part, name, where=where)]
        return done, np.isin(done.surface.tag, tags)
    if isinstance(mask, StopOffFacing):
        direction = np.asarray(mask.direction) / np.linalg.norm(mask.direction)
        return done, np.asarray(done.surface.normals @ direction >= math.cos(mask.within) - CLOSE)
    if isinstance(mask, StopOffBox):
        return _boxed(done, np.asarray(mask.low), np.asarray(mask.high))
    if isinstance(mask, StopOffNear):
        return _balled(done, np.asarray(mask.at), mask.within)
    assert isinstance(mask, Contact)
    return _spot(done, mask)


def _boxed(done: _Covered, low: Floats, high: Floats) -> tuple[_Covered, Bools]:
    """Cut by the six sides of a box; what lies on a side is inside."""
    slack = CLOSE * float(np.ptp(done.surface.bounds, axis=0).max())
    corners = done.surface.corners
    inside = np.all((corners.min(axis=1) <= high + slack) & (corners.max(axis=1) >= low - slack), axis=1)
    for axis in range(3):
        for sign, bound in ((1.0, high[axis]), (-1.0, -low[axis])):
            normal = sign * np.eye(3)[axis]
            cut = split(done.surface, HalfSpace((normal[0], normal[1], normal[2]), float(bound), slack), inside)
            done, inside = done.split_as(cut), cut.inside
    return done, inside


def _balled(done: _Covered, centre: Floats, radius: float) -> tuple[_Covered, Bools]:
    corners, reach = done.surface.corners, 1.01 * radius
    near = np.all((corners.min(axis=1) <= centre + reach) & (corners.max(axis=1) >= centre - reach), axis=1)
    x, y, z = centre.tolist()
    cut = split(done.surface, Ball((x, y, z), radius * SAME_AREA), near)
    return done.split_as(cut), cut.inside


def _spot(done: _Covered, contact: Contact) -> tuple[_Covered, Bools]:
    """Cut a round spot about the place nearest to the contact; a thin sheet is not pierced."""
    at = np.asarray(contact.at)
    _, distance, foot = box_tree(done.surface.corners).nearest(at[None])
    if distance[0] > 0.5 * contact.diameter:
        return done, np.zeros(len(done.reason), dtype=np.bool_)
    done, inside = _balled(done, foot[0], 0.5 * contact.diameter)
    rows = np.flatnonzero(inside)
    nearest = box_tree(done.surface.corners[rows]).nearest(foot)[0][0]
    joined = np.zeros(len(inside), dtype=np.bool_)
    joined[rows] = _groups(done.surface.faces[rows]) == _groups(done.surface.faces[rows])[nearest]
    return done, joined


def _groups(faces: Ints) -> Ints:
    """Return (m,) a number for each piece of faces that hang together by their vertices."""
    _, number = np.unique(faces, return_inverse=True)
    number = number.reshape(-1)
    rows = np.repeat(np.arange(len(faces)), 3)
    shape = (len(faces), int(number.max()) + 1)
    touching = csr_array((np.ones(len(rows)), (rows, number)), shape=shape)
    return np.asarray(connected_components(touching @ touching.T, directed=False)[1], dtype=np.int64)


def _touches_nothing(part: Part, mask: CoveringMask, where: str) -> PartError:
    """Return the refusal of a mask that covers no place, with the nearest feature or the size of the part."""
    if isinstance(mask, StopOffFacing):
        return PartError(
            "mask-touches-nothing",
            f"no face of the part looks that way within {math.degrees(mask.within):.0f}°",
            where=where,
            hint="the direction is in the frame of the part, as x, y, z of its drawing; a larger angle takes in more",
        )
    middle = 0.5 * (np.asarray(mask.low) + np.asarray(mask.high)) if isinstance(mask, StopOffBox) else _place(mask)
    row, distance, foot = box_tree(part.surface.corners).nearest(middle[None])
    name = part.features[part.surface.tag[row[0]]].name
    return PartError(
        "mask-touches-nothing",
        f"it touches no place of the part: the nearest to its middle is {name}, {mm(float(distance[0]))} mm away "
        f"at ({', '.join(mm(float(v)) for v in foot[0])}) mm",
        where=where,
        hint="places are in the frame of the part: its origin is the centre of the part's bounding box",
    )


def _place(mask: CoveringMask) -> Floats:
    assert isinstance(mask, StopOffNear | Contact)
    return np.asarray(mask.at)


def _renamed(part: Part, done: _Covered) -> Part:
    """Return the part with its features told apart by what is bare; areas by formula where a feature is whole."""
    count = len(part.features)
    surface, kinds = done.surface, list(WORDS)
    pair = done.reason * count + surface.tag
    facets = np.bincount(pair, weights=surface.areas, minlength=(len(kinds) + 1) * count)
    used = np.bincount(pair, minlength=(len(kinds) + 1) * count)
    whole = np.bincount(surface.tag, weights=surface.areas, minlength=count)
    features: list[Feature] = []
    number = np.full(len(used), -1)
    for key in np.flatnonzero(used):
        reason, tag = divmod(int(key), count)
        number[key] = len(features)
        features.append(_piece(part.features[tag], kinds[reason - 1] if reason else "", facets[key] / whole[tag]))
    if not any(feature.is_plated for feature in features):
        raise PartError(
            "everything-masked",
            "the masks cover the whole part: nothing is left to plate",
            where="[[stop_off]]",
            hint="leave a mask out, or make it smaller",
        )
    pieces = Surface(surface.vertices, surface.faces, number[pair])
    return replace(
        part,
        surface=pieces,
        features=tuple(_with_middle(features, pieces)),
        area=math.fsum(feature.area for feature in features if feature.is_plated),
        file_face=None if part.file_face is None else part.file_face[done.source],
    )


def _piece(feature: Feature, reason: str, share: float) -> Feature:
    if not reason:
        return feature if share == 1.0 else replace(feature, area=feature.area * share)
    return replace(feature, name=f"{feature.name}, {WORDS[reason]}", area=feature.area * share, bare=reason)


def _with_middle(features: Sequence[Feature], surface: Surface) -> list[Feature]:
    """Return the features with the middles of what is left of them, where they had one."""
    found = []
    for tag, feature in enumerate(features):
        if feature.middle is not None:
            corners = surface.corners[surface.tag == tag].reshape(-1, 3)
            x, y, z = (0.5 * (corners.min(axis=0) + corners.max(axis=0))).tolist()
            feature = replace(feature, middle=(x, y, z))
        found.append(feature)
    return found
