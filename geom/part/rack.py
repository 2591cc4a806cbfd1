"""`racked`: copies of a part, and other parts, on one rack, made into a single rigid part: they hang and turn as one."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import pi, prod

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.feature import Feature
from geom.findings import Finding
from geom.part.build import build_part
from geom.part.lighten import solvable
from geom.part.part import Part
from geom.part.shapes import Shape
from geom.surface.solid import LEAST_GAP, clearance, joined
from geom.surface.surface import Surface
from geom.surface.turning import rotation


@dataclass(frozen=True, slots=True)
class Other:
    """A part of another shape that hangs on the same rack."""

    name: str  # its features are called by it: "washer: bore 1 (8.0 mm)"
    shape: Shape
    turn: tuple[float, float, float]  # about the tank's x, then y, then z, when the rack is first hung [rad]
    at: tuple[float, float, float]  # of the centre of its bounding box, from the middle of the copies, along the tank's axes [m]

    @property
    def half_turned(self) -> "Other":
        """The same after half a turn of the rack about the vertical."""
        (x, y, z), (a, b, c) = self.at, self.turn
        return replace(self, at=(-x, -y, z), turn=(a, b, c + pi))


@dataclass(frozen=True, slots=True)
class Rack:
    """How many copies hang beside, behind and above one another, along x, y and z of the tank, and what else."""

    copies: tuple[int, int, int]
    pitch: tuple[float, float, float]  # from centre to centre along each axis [m], either way; 0 where there is one
    others: tuple[Other, ...] = ()

    @property
    def count(self) -> int:
        """All copies."""
        return prod(self.copies)

    @property
    def total(self) -> int:
        """All parts."""
        return self.count + len(self.others)

    @property
    def names(self) -> tuple[str, ...]:
        """Of the other parts."""
        return tuple(other.name for other in self.others)

    @property
    def places(self) -> Floats:
        """(count, 3) where the copies hang, about the middle of the rack [m]; along x first, then y, then z."""
        x, y, z = (pitch * (np.arange(n) - (n - 1) / 2) for n, pitch in zip(self.copies, self.pitch, strict=True))
        return np.array([(a, b, c) for c in z for b in y for a in x])

    @property
    def half_turned(self) -> "Rack":
        """The rack after half a turn about the vertical: each copy keeps its number."""
        x, y, z = self.pitch
        return Rack(self.copies, (-x, -y, z), tuple(other.half_turned for other in self.others))


@dataclass(frozen=True, eq=False)
class _Hung:
    """One part on the rack."""

    part: Part
    local: Surface  # in the frame of a copy, about the middle of the copies
    turn: Floats  # (3, 3) from its own frame to that of a copy
    prefix: str  # of the names of its features; "" of a copy


def racked(part: Part, rack: Rack, turn: Floats) -> Part:
    """Return all parts on the rack as one, in the frame of a single copy.

    Parameters
    ----------
    turn : (3, 3) how each copy is turned in the tank when it is first hung

    Raises
    ------
    PartError
        where parts touch or overlap, or another part cannot be.
    """
    _check_clear(part, rack, turn)
    copies = [_Hung(part, part.surface.moved(np.eye(3), place @ turn), np.eye(3), "") for place in rack.places]
    others = [_other(other, turn) for other in rack.others]
    _check_others(copies, others, rack)
    hung = [*copies, *others]
    surfaces: list[Surface] = []
    features: list[Feature] = []
    smooth: list[int] = []
    for number, one in enumerate(hung, 1):
        smooth += [len(features) + tag for tag in one.part.smooth]
        surfaces.append(Surface(one.local.vertices, one.local.faces, one.local.tag + len(features)))
        features += [_on_rack(feature, one, number) for feature in one.part.features]
    whole = joined(surfaces)
    if others:  # its centre is that of its bounding box, as of every part
        low, high = whole.bounds
        whole = Surface(whole.vertices - (low + high) / 2, whole.faces, whole.tag)
    parts = [one.part for one in hung]
    return replace(
        part,
        title=" and ".join([f"{rack.count} x {part.title}", *(f"{o.name} ({h.part.title})" for o, h in _pairs(rack, others))]),
        surface=whole,
        features=tuple(features),
        area=sum(one.area for one in parts),
        volume=sum(one.volume for one in parts),
        exact=all(one.exact for one in parts),
        smallest=min(one.smallest for one in parts),
        findings=(*part.findings, *(_named(f, o) for o, h in _pairs(rack, others) for f in h.part.findings)),
        smooth=tuple(smooth),
        file_face=None if part.file_face is None else np.concatenate([_file_faces(one) for one in hung]),
        changes=(*part.changes, *(change for one in others for change in one.part.changes)),
    )


def _pairs(rack: Rack, others: Sequence[_Hung]) -> list[tuple[Other, _Hung]]:
    return list(zip(rack.others, others, strict=True))


def _other(other: Other, turn: Floats) -> _Hung:
    """Return another part built; ``turn`` is that of a copy in the tank."""
    part, own = solvable(build_part(other.shape)), turn.T @ rotation(other.turn)
    return _Hung(part, part.surface.moved(own, np.array(other.at) @ turn), own, f"{other.name}: ")


def _on_rack(feature: Feature, one: _Hung, number: int) -> Feature:
    """Return a feature by its name on the rack; in which frame its axis and place are told holds for copies alone."""
    named = replace(feature, name=f"{one.prefix}{feature.name}, part {number}", copy=number)
    return replace(named, axis=None, middle=None) if one.prefix else named


def _file_faces(one: _Hung) -> Ints:
    """Return the faces of the file of the copies; those of other files are not told."""
    known = None if one.prefix else one.part.file_face
    return np.full(len(one.local.faces), -1) if known is None else known


def _named(finding: Finding, other: Other) -> Finding:
    return replace(finding, message=f"{other.name}: {finding.message}")


def _check_others(copies: Sequence[_Hung], others: Sequence[_Hung], rack: Rack) -> None:
    """Refuse another part that is too near to a copy or to one of its kind."""
    for k, one in enumerate(others):
        for number, other in enumerate([*copies, *others[:k]], 1):
            gap = clearance(one.local, other.local, 1.0)
            if gap < LEAST_GAP:
                name, against = rack.others[k].name, f"part {number}"
                how = "touches or overlaps" if gap <= 0 else f"is only {1e3 * gap:.3f} mm from"
                raise PartError(
                    "rack-copies-touch",
                    f"{name} {how} {against} on the rack",
                    where=f"[[rack.other]] number {k + 1}, at",
                    hint=f"at is from the middle of the copies to its own middle: leave at least {1e3 * LEAST_GAP:.1f} mm between "
                    "parts, tens of millimetres are usual",
                )


def _check_clear(part: Part, rack: Rack, turn: Floats) -> None:
    """Refuse a rack on which a copy is too near to another one."""
    hung = part.surface.moved(turn, np.zeros(3))
    extent = np.ptp(hung.bounds, axis=0)
    steps = np.array(list(product(*(range(-n + 1, n) for n in rack.copies))))
    for step in steps[len(steps) // 2 + 1 :]:  # the other half are the same pairs, looked at from the other one
        shift = step * np.array(rack.pitch)
        if np.any(np.abs(shift) >= extent + LEAST_GAP):
            continue
        gap = clearance(hung, hung.moved(np.eye(3), shift), 1.0)
        if gap < LEAST_GAP:
            axes = " and ".join(axis for axis, n in zip("xyz", step, strict=True) if n)
            sides = ", ".join(f"{1e3 * v:.1f} mm along {axis}" for v, axis in zip(extent, "xyz", strict=True))
            how = "touch or overlap" if gap <= 0 else f"are only {1e3 * gap:.3f} mm apart"
            raise PartError(
                "rack-copies-touch",
                f"neighbours along {axes} on the rack {how}; each part, as it hangs, takes {sides}",
                where="[rack] pitch",
                hint=f"the pitch is from centre to centre: leave at least {1e3 * LEAST_GAP:.1f} mm between the parts, "
                "tens of millimetres are usual",
            )
