"""Cells that several tests solve, meshed and prepared once for a run."""

import math
from functools import cache

import numpy as np

from geom.arrays import Floats
from geom.bem.problem import Voltage
from geom.cell.build import build_cell
from geom.cell.cell import Anode, BoxTank, Cell, Pose, SheetAnode
from geom.electrode.laws import Law
from geom.feature import Feature, Kind
from geom.field import Field, Prepared, prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.part import Part
from geom.part.shapes import Bar, Hole
from geom.surface.surface import Surface
from geom.tables import read

MM = 1e-3
UPRIGHT = (0.5 * math.pi, 0.0, 0.5 * math.pi)
"""Length of a flat part along y, width along z, thickness along x."""

COARSE = MeshOptions(budget=1500)
USUAL = MeshOptions()


def bath(conductivity: float = 8.0, law: Law | None = None) -> read.Bath:
    """Watts nickel with conductivity [S/m] and polarization of the test's own."""
    return read.bath("watts-nickel", conductivity=conductivity, law=law)


def drilled_bar() -> Part:
    """The bar of the reference cell: 100 x 20 x 3 mm with two holes of 8 mm."""
    return build_part(Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0)), Hole(8 * MM, (30 * MM, 0)))))


def sheet(x: float, *, law: Law | None = None, size: float = 100 * MM) -> SheetAnode:
    """A square sheet of 1 mm across the tank at ``x``, half way up 150 mm of liquid."""
    return SheetAnode(1 * MM, size, size, (x, 0.0, 75 * MM), law)


def reference_cell(law: Law | None, anodes: tuple[Anode, ...] = (sheet(-30.5 * MM),), kappa: float = 8.0) -> Cell:
    """Box tank 200 x 150 x 150 mm, sheet anode, the drilled bar standing on edge."""
    pose = Pose(UPRIGHT, (31.5 * MM, 0.0, 75 * MM))
    return build_cell(drilled_bar(), bath(kappa, law), tank=BoxTank(0.2, 0.15, 0.15), anodes=anodes, pose=pose)


@cache
def reference(law: Law | None, options: MeshOptions = USUAL) -> Prepared:
    """The reference cell, ready to be solved."""
    cell = reference_cell(law)
    return prepare(cell, mesh_cell(cell, options))


@cache
def reference_field(law: Law | None, options: MeshOptions = USUAL) -> Field:
    """The reference cell at 1 V."""
    return solve_field(reference(law, options), Voltage(1.0))


def percentiles(field: Field, shares: list[float]) -> Floats:
    """Local over mean current density below which a share of the part's area lies."""
    local = field.current_density / field.mean_current_density
    order = np.argsort(local)
    return np.interp(shares, np.cumsum(field.areas[order]) / field.areas.sum(), local[order])


def mesh_part(surface: Surface) -> Part:
    """A part of one feature from a closed surface, normals out of the metal."""
    plain = Surface(surface.vertices, surface.faces, np.zeros(len(surface.faces)))
    feature = Feature("skin 1", Kind.SKIN, plain.area, 0.0, 0.0)
    return Part("test body", plain, (feature,), plain.area, plain.volume, False, math.inf)
