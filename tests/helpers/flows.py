"""Fields with a current density of the test's own, on panels of a cell that nobody had to solve."""

from dataclasses import replace
from functools import cache, cached_property

import numpy as np

from geom.arrays import Floats
from geom.bem.problem import BoundarySolution
from geom.cell.build import build_cell
from geom.cell.cell import Anode, Cell, Pose, Tank
from geom.field import Field
from geom.panels import MeshOptions, Panels, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Shape
from helpers.cells import bath
from helpers.small_plan import small_plan


class EvenField(Field):
    """A field whose current density is even over each panel, as the test gave it."""

    @cached_property
    def quarters(self) -> Floats:
        """(part_count, 4) the panel's one value, four times."""
        return np.repeat(self.at_centroids[:, None], 4, axis=1)


@cache
def coarse(
    shape: Shape,
    budget: int = 1500,
    *,
    tank: Tank | None = None,
    anodes: tuple[Anode, ...] | None = None,
    pose: Pose | None = None,
) -> tuple[Cell, Panels]:
    """A part hung in the tank the program would choose, meshed once for a run."""
    cell = build_cell(build_part(shape), bath(), tank=tank, anodes=anodes, pose=pose)
    return cell, mesh_cell(cell, MeshOptions(budget=budget))


def flowing(cell: Cell, panels: Panels, density: Floats, voltage: float = 1.0) -> Field:
    """A field that carries ``density`` (part_count,) into the part [A/m²], from evenly fed anodes."""
    areas = panels.surface.areas
    total = float(density @ areas[: panels.part_count])
    current = np.zeros(len(areas))
    current[: panels.part_count] = density
    anode = panels.body >= 2
    current[anode] = -total / areas[anode].sum()
    none = np.zeros(len(areas))
    solution = BoundarySolution(none, current, voltage, total, total, (), 0, np.zeros((len(areas), 2)))
    return EvenField(cell, panels, solution)


def on_the_link(density: Floats) -> Field:
    """The small plan's cell with another current density on the part."""
    first = small_plan().fields[0]
    return flowing(first.cell, first.panels, density)


def with_bath(field: Field, **changes: object) -> Field:
    """The same flow in a bath with other values."""
    cell = replace(field.cell, bath=replace(field.cell.bath, **changes))
    return type(field)(cell, field.panels, field.solution)
