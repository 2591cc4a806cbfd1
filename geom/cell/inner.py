"""Wires through the part: an anode along the axis of a bore, placed where the part hangs."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import part_solid
from geom.cell.cell import Anode, InnerWire, Pose, WireAnode
from geom.errors import CellError
from geom.feature import Feature, Kind
from geom.part.part import Part
from geom.surface.solid import LEAST_GAP

HOLLOW = (Kind.BORE, Kind.SLOT, Kind.INSIDE)
STRAIGHT = 1e-3  # largest mean square of the walls' slant against the axis
BENT = 0.01  # least mean square of the walls that look across the main pair: less is one flat, or two


def fixed(anodes: Sequence[Anode | InnerWire]) -> tuple[Anode, ...]:
    """Return the anodes that stand in the tank wherever the part hangs."""
    return tuple(
        anode
        for anode in anodes
        if not isinstance(anode, InnerWire) and not (isinstance(anode, WireAnode) and anode.inner is not None)
    )


def placed(anodes: Sequence[Anode | InnerWire], part: Part, pose: Pose) -> tuple[Anode, ...]:
    """Return the anodes with every wire through the part where the part hangs.

    A wire that was placed for another pose is placed anew; one asked for by the name of a feature of a single
    part stands in every copy on the rack.

    Raises
    ------
    CellError
        where the feature is not there, has no axis, or is too narrow for the wire.
    """
    found: list[Anode] = []
    for number, anode in enumerate(anodes, 1):
        inner = anode.inner if isinstance(anode, WireAnode) else anode if isinstance(anode, InnerWire) else None
        if inner is None:
            assert not isinstance(anode, InnerWire)
            found.append(anode)
        else:
            found += [_wire(inner, tags, part, pose) for tags in _chosen(inner, part, number)]
    return tuple(found)


def _chosen(inner: InnerWire, part: Part, number: int) -> list[list[int]]:
    """Return the tags of the features that one wire each runs through: one entry for each copy."""
    where = f"[[anode]] number {number}, through"
    matching = [k for k, feature in enumerate(part.features) if _is_meant(feature, inner.through)]
    hollow = [f.name_alone for f in part.features if f.kind in HOLLOW]
    if not matching:
        raise CellError(
            "wire-feature-unknown",
            f'the part has no feature called "{inner.through}" for a wire to run through',
            where=where,
            hint=f"a wire can run through: {', '.join(dict.fromkeys(hollow))}" if hollow else "this part has no bore",
        )
    for feature in (part.features[k] for k in matching):
        if feature.kind not in HOLLOW:
            raise CellError(
                "wire-feature-unknown",
                f"{feature.name_alone} is no bore, slot or inside: a wire cannot run through it",
                where=where,
                hint=f"a wire can run through: {', '.join(dict.fromkeys(hollow))}" if hollow else "",
            )
        if inner.diameter + 2 * LEAST_GAP > feature.width:
            raise CellError(
                "wire-too-thick",
                f"a wire of {1e3 * inner.diameter:.2f} mm does not pass through {feature.name_alone}, "
                f"{1e3 * feature.width:.2f} mm wide, with {1e3 * LEAST_GAP:.1f} mm left all round",
                where=where,
                hint="take a thinner wire; a wire that touches the part is a short circuit",
            )
    copies = sorted({part.features[k].copy for k in matching})
    return [[k for k in matching if part.features[k].copy == copy] for copy in copies]


def _is_meant(feature: Feature, name: str) -> bool:
    """Is this the feature called ``name``, in full or without its size, on any copy or on the one named?"""
    alone, _, copy = name.partition(", part ")
    if copy and copy != str(feature.copy):
        return False
    return feature.name_alone == alone or feature.name_alone.startswith(f"{alone} (")


def _wire(inner: InnerWire, tags: list[int], part: Part, pose: Pose) -> WireAnode:
    """Return the wire along the axis of the features with these tags, in the tank frame."""
    solid = part_solid(part, pose)
    rows = np.isin(solid.tag, tags)
    points = solid.vertices[np.unique(solid.faces[rows])]
    axis = _axis(solid.normals[rows], solid.areas[rows], part.features[tags[0]])
    basis = np.linalg.svd(axis[None, :])[2][1:]  # two directions across
    across = points @ basis.T
    middle = (across.min(axis=0) + across.max(axis=0)) / 2
    along = points @ axis
    low, high = along.min() - inner.beyond, along.max() + inner.beyond
    start, end = (middle @ basis + place * axis for place in (low, high))
    copy = part.features[tags[0]].copy
    if copy:  # placed anew for another pose, it stays in its copy
        inner = replace(inner, through=f"{inner.through.partition(', part ')[0]}, part {copy}")
    return WireAnode(inner.diameter, _point(start), _point(end), inner.law, inner)


def _point(values: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


def _axis(normals: Floats, areas: Floats, feature: Feature) -> Floats:
    """Return the (3,) direction that all walls run along."""
    moments, axes = np.linalg.eigh((normals * areas[:, None]).T @ normals / areas.sum())
    if moments[0] > STRAIGHT or moments[1] < BENT:
        raise CellError(
            "wire-feature-unknown",
            f"{feature.name_alone} is not round a straight axis: no wire can run along it",
            where="[[anode]] through",
            hint="give the wire by start and end instead",
        )
    axis = axes[:, 0]
    return np.asarray(axis * np.sign(axis[np.argmax(np.abs(axis))]))  # one sign of the two, always the same
