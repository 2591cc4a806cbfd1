"""`racked`: copies of a part on one rack, made into a single rigid part, so that they hang and turn as one."""

from dataclasses import dataclass, replace
from itertools import product
from math import prod

import numpy as np

from geom.arrays import Floats
from geom.errors import PartError
from geom.part.part import Part
from geom.surface.solid import LEAST_GAP, clearance, joined
from geom.surface.surface import Surface


@dataclass(frozen=True, slots=True)
class Rack:
    """How many copies hang beside, behind and above one another, along x, y and z of the tank."""

    copies: tuple[int, int, int]
    pitch: tuple[float, float, float]  # from centre to centre along each axis [m], either way; 0 where there is one

    @property
    def count(self) -> int:
        """All copies."""
        return prod(self.copies)

    @property
    def places(self) -> Floats:
        """(count, 3) where the copies hang, about the middle of the rack [m]; along x first, then y, then z."""
        x, y, z = (pitch * (np.arange(n) - (n - 1) / 2) for n, pitch in zip(self.copies, self.pitch, strict=True))
        return np.array([(a, b, c) for c in z for b in y for a in x])

    @property
    def half_turned(self) -> "Rack":
        """The rack after half a turn about the vertical: each copy keeps its number."""
        x, y, z = self.pitch
        return Rack(self.copies, (-x, -y, z))


def racked(part: Part, rack: Rack, turned: Floats) -> Part:
    """Return all copies on the rack as one part, in the frame of a single one.

    Parameters
    ----------
    turned : (3, 3) how each copy is turned in the tank when it is first hung

    Raises
    ------
    PartError
        where copies touch or overlap.
    """
    _check_clear(part, rack, turned)
    places = rack.places @ turned  # of the tank's axes in the frame of the part
    count = len(part.features)
    surfaces = [
        Surface(part.surface.vertices + place, part.surface.faces, part.surface.tag + k * count)
        for k, place in enumerate(places)
    ]
    features = tuple(
        replace(feature, name=f"{feature.name}, part {k}", copy=k)
        for k in range(1, rack.count + 1)
        for feature in part.features
    )
    return replace(
        part,
        title=f"{rack.count} x {part.title}",
        surface=joined(surfaces),
        features=features,
        area=rack.count * part.area,
        volume=rack.count * part.volume,
        smooth=tuple(k * count + tag for k in range(rack.count) for tag in part.smooth),
        file_face=None if part.file_face is None else np.tile(part.file_face, rack.count),
    )


def _check_clear(part: Part, rack: Rack, turned: Floats) -> None:
    """Refuse a rack on which a copy is too near to another one."""
    hung = part.surface.moved(turned, np.zeros(3))
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
