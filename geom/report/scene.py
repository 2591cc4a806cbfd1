"""`scene_of`: the part, its tank and what lies on it as plain lists, for whatever draws in three dimensions."""

from typing import Any

import numpy as np

from geom.advice.coverage import BARE
from geom.arrays import Bools, Floats, Ints
from geom.cell.bodies import other_solids, part_solid, tank_solid
from geom.cell.cell import BoxTank, Cell, Tank
from geom.chemistry import Range
from geom.deposit import growth_rate
from geom.feature import Feature
from geom.field import Field
from geom.plan import Plan
from geom.surface.surface import Surface
from geom.units import unit_factor

MILLIMETRE = unit_factor("mm", "length")
MICROMETRE = unit_factor("um", "length")
AMPERE_PER_DM2 = unit_factor("A/dm2", "current density")
MINUTE = unit_factor("min", "time")

PLACES = 3  # of a coordinate in mm
DIGITS = 4  # of a value
GROWTH_DIGITS = 6  # what is multiplied with minutes and added up
STATES = ("bare", "under", "within", "over")
"""What the numbers of ``values["state"]`` mean: next to nothing deposits, under the bath's range, within it, over it."""


def scene_of(plan: Plan) -> dict[str, Any]:
    """Return what is drawn of a plan: the part's panels, what each gets, the electrodes and the tank.

    Lengths are in mm in the tank's frame as first hung. Faces are the panels of the part, first those that are plated,
    then those that stay bare; values of the latter are None.
    """
    first, deposit = plan.fields[0], plan.deposit
    panels, bare, plated = first.panels, len(first.panels.bare_feature), face_values(plan)
    known = plan.cell.bath.current_density
    return {
        **_around(plan.cell, panels.hung, outward=False),
        "values": {
            **{name: [*values, *[None] * bare] for name, values in plated.items()},
            "state": [*states(first.current_density, known).tolist(), *[0] * bare],
        },
        "stages": [
            {
                "name": stage.name,
                "minutes": _number(stage.time / MINUTE, 8),
                "growth_um_per_min": _with_bare(growth_rate(field) * MINUTE / MICROMETRE, bare, GROWTH_DIGITS),
            }
            for stage, field in zip(deposit.stages, plated_fields(plan), strict=True)
            if np.isfinite(stage.time)
        ],
        "range_A_per_dm2": [_number(end / AMPERE_PER_DM2, DIGITS) for end in (known.low, known.high)],
        "target_um": _number(plan.job.target.thickness / MICROMETRE, DIGITS),
    }


def face_values(plan: Plan) -> dict[str, list[float | None]]:
    """Return thickness after the schedule and current density as first hung of each plated panel, in a few digits."""
    return {
        "thickness_um": _with_bare(plan.deposit.thickness / MICROMETRE, 0, DIGITS),
        "current_density_A_per_dm2": _with_bare(plan.fields[0].current_density / AMPERE_PER_DM2, 0, DIGITS),
    }


def cell_scene(cell: Cell) -> dict[str, Any]:
    """Return what is drawn of a part in its tank before any solve: the faces of the part as given, without values."""
    return _around(cell, part_solid(cell.part, cell.pose), outward=True)


def plated_fields(plan: Plan) -> list[Field]:
    """Return the field of each stage of the schedule, in their order."""
    times = plan.schedule.times(len(plan.fields))
    return [field for field, time in zip(plan.fields, times, strict=True) if time > 0]


def states(density: Floats, known: Range) -> Ints:
    """Return (n,) the place in ``STATES`` of each current density [A/m²]: a value on a border is in the upper one."""
    edges = np.array((BARE * known.low, known.low, known.high))
    return np.searchsorted(edges, density, side="right")


def _around(cell: Cell, part: Surface, *, outward: bool) -> dict[str, Any]:
    """Return part, electrodes and tank; ``outward``: the faces of the part are wound as seen from outside it."""
    features = cell.part.features
    names = [
        *(("anode", f"anode {k}") for k in range(1, len(cell.anodes) + 1)),
        *(("shield", f"shield {k}") for k in range(1, len(cell.shields) + 1)),
        *(("thief", f"thief {k}") for k in range(1, len(cell.thieves) + 1)),
    ]
    return {
        "unit": "mm",
        "part": {
            **_triangles(part, outward=outward),
            "feature": part.tag.tolist(),
            "features": [feature.name for feature in features],
            "bare": _are_bare(features)[part.tag].tolist(),
        },
        "electrodes": [
            {"kind": kind, "name": name, **_triangles(_in_liquid(body, cell.tank), outward=True)}
            for (kind, name), body in zip(names, other_solids(cell), strict=True)
        ],
        "tank": {"outline": _outline(cell.tank), "depth": _number(cell.tank.depth / MILLIMETRE, 6)},
    }


def _triangles(surface: Surface, *, outward: bool) -> dict[str, list[float] | list[int]]:
    corners = np.round(surface.vertices / MILLIMETRE, PLACES) + 0.0
    faces = surface.faces if outward else surface.faces[:, [0, 2, 1]]
    columns = zip("xyzijk", (*corners.T, *faces.T), strict=True)
    return {name: column.tolist() for name, column in columns}


def _are_bare(features: tuple[Feature, ...]) -> Bools:
    return np.array([not feature.is_plated for feature in features], dtype=np.bool_)


def _in_liquid(body: Surface, tank: Tank) -> Surface:
    """Return a body that is carried through wall, floor or liquid surface for a clean cut, ended where it touches."""
    x, y, z = body.vertices.T
    if isinstance(tank, BoxTank):
        x, y = (np.clip(v, -size / 2, size / 2) for v, size in ((x, tank.length), (y, tank.width)))
    return Surface(np.stack([x, y, np.clip(z, 0.0, tank.depth)], axis=1), body.faces, body.tag)


def _outline(tank: Tank) -> list[list[float]]:
    """Return the corners of the tank from above, counter-clockwise; a round one has many."""
    if isinstance(tank, BoxTank):
        x, y = tank.length / 2 / MILLIMETRE, tank.width / 2 / MILLIMETRE
        corners = [(-x, -y), (x, -y), (x, y), (-x, y)]
    else:
        rim = tank_solid(tank).vertices / MILLIMETRE
        rim = rim[np.hypot(rim[:, 0], rim[:, 1]) > 0.49 * tank.diameter / MILLIMETRE][:, :2]
        rim = np.unique(np.round(rim, PLACES), axis=0)
        corners = rim[np.argsort(np.arctan2(rim[:, 1], rim[:, 0]))].tolist()
    return [[round(float(v), PLACES) + 0.0 for v in corner] for corner in corners]


def _with_bare(values: Floats, bare: int, digits: int) -> list[float | None]:
    """Return values to so many significant digits, then None for each bare panel; None too for what is not finite."""
    return [*(_number(value, digits) for value in values.tolist()), *[None] * bare]


def _number(value: float, digits: int) -> float | None:
    return float(f"{value:.{digits}g}") + 0.0 if np.isfinite(value) else None
