"""A thin bar with thick edges, as measured.

*ASM Handbook* vol. 5, cadmium plating, example 6, read in a web copy: a steel bar 305 x 40 x 2.4 mm (the width is garbled
in the copy), cadmium from a simple rack: 13 µm in the centre, 50 to 75 µm on edges and ends; with insulating shields of
the part's outline 13 µm give or take 5 µm.

Assumed, as nothing of it is told: a tank of 500 x 300 x 450 mm, an anode sheet of 200 x 350 mm 200 mm away on both
sides, the bar upright between them. Cadmium baths are not in the tables, so the polarization is bracketed: none at all
(pure geometry, the worst case), and a smoothing length of 2 mm, conductivity times resistance, as of a nickel bath.
Centre: mean over 1 cm²; edges and ends: means over these faces, 2.4 mm wide. Thickness is taken as current density.
The shields: four insulating strips of 3 mm round the bar, 6 mm from it, 40 mm broad across its plane.
"""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.cells import MM, bath
from helpers.peers import feature_mean
from helpers.validation import record

from geom.bem.problem import Voltage
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Pose, SheetAnode, Slab
from geom.deposit import local_mean
from geom.electrode.laws import Linear
from geom.field import Field, Prepared, prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Bar

LENGTH, WIDTH, THICKNESS = 305 * MM, 40 * MM, 2.4 * MM
MIDDLE = 225 * MM
KAPPA = 8.0
CENTRE, LEAST_EDGE, MOST_EDGE = 13.0, 50.0, 75.0  # measured, µm
EDGES, ENDS = ("long edge +y", "long edge -y"), ("end +x", "end -x")


def frame() -> tuple[Slab, ...]:
    """Four strips round the outline of the bar, which stands with its length along z and its width along y."""
    away, thick, broad = 6 * MM, 3 * MM, 40 * MM
    side, over = WIDTH / 2 + away + thick / 2, LENGTH / 2 + away + thick / 2
    tall, wide = LENGTH + 2 * away + thick, WIDTH + 2 * away + thick
    return (
        *(Slab(broad, thick, tall, (0.0, sign * side, MIDDLE)) for sign in (-1, 1)),
        *(Slab(broad, wide, thick, (0.0, 0.0, MIDDLE + sign * over)) for sign in (-1, 1)),
    )


@cache
def prepared(shielded: bool) -> Prepared:
    cell = build_cell(
        build_part(Bar(LENGTH, WIDTH, THICKNESS)),
        bath(KAPPA, None),
        tank=BoxTank(0.5, 0.3, 0.45),
        anodes=tuple(SheetAnode(2 * MM, 0.2, 0.35, (side * 0.2, 0.0, MIDDLE)) for side in (-1, 1)),
        pose=Pose((0.0, 0.5 * math.pi, 0.0), (0.0, 0.0, MIDDLE)),
        shields=frame() if shielded else (),
    )
    return prepare(cell, mesh_cell(cell, MeshOptions(budget=4000)))


@cache
def ratios(smoothing: float, shielded: bool = False) -> tuple[float, float, int]:
    """Return edges and ends over the centre, and the number of panels, at a smoothing length [m]."""
    ready = prepared(shielded)
    law = Linear(smoothing / KAPPA) if smoothing else None
    field = solve_field(replace(ready, cell=replace(ready.cell, bath=bath(KAPPA, law))), Voltage(1.0))
    centre = centre_mean(field)
    return feature_mean(field, EDGES) / centre, feature_mean(field, ENDS) / centre, len(field.panels.body)


def centre_mean(field: Field) -> float:
    """Return the mean over 1 cm² amid both broad faces, in means over the bar."""
    part = field.panels.part
    broad = np.flatnonzero(np.abs(part.normals[:, 0]) > 0.99)
    nearest = broad[np.argsort(np.linalg.norm(part.centroids[broad, 1:] - [0.0, MIDDLE], axis=1))[:4]]
    return float(local_mean(field.current_density, field.panels)[nearest].mean()) / field.mean_current_density


def test_the_measured_edges_lie_between_pure_geometry_and_a_little_polarization() -> None:
    worst, evened = ratios(0.0), ratios(2 * MM)
    assert worst[0] > LEAST_EDGE / CENTRE
    assert worst[1] > MOST_EDGE / CENTRE
    assert evened[0] < MOST_EDGE / CENTRE
    assert evened[1] < MOST_EDGE / CENTRE


@pytest.mark.parametrize(("what", "place"), [("long edges", 0), ("ends", 1)])
def test_each_computed_thickness_is_within_a_factor_of_the_measured_range(what: str, place: int) -> None:
    for smoothing, words in ((0.0, "no polarization"), (2 * MM, "smoothing length 2 mm")):
        found = ratios(smoothing)
        assert LEAST_EDGE / 1.5 < CENTRE * found[place] < MOST_EDGE * 1.5
        written(f"{what}, {words}, at 13 µm in the centre, µm", CENTRE * found[place], "50 to 75", found[2])


def test_shields_of_the_outline_even_the_bar_out_by_far() -> None:
    """Not down to the measured spread: how near and how broad the shields were is not told."""
    bare, shielded = ratios(2 * MM), ratios(2 * MM, shielded=True)
    for before, after, what in zip(bare[:2], shielded[:2], ("long edges", "ends"), strict=True):
        assert after - 1 < 0.55 * (before - 1)
        written(f"{what}, shielded, smoothing length 2 mm, µm", CENTRE * after, "8 to 18", shielded[2])
    assert CENTRE * max(shielded[:2]) < LEAST_EDGE


def written(quantity: str, computed: float, measured: str, panels: int) -> None:
    source = "ASM Handbook vol. 5, cadmium, example 6"
    record("trade", "bar 305 x 40 x 2.4 mm", quantity, computed, measured, panels=panels, source=source, bound=20.0)
