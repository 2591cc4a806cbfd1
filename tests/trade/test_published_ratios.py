"""Average over minimum nickel thickness on shapes that a standard judges by that ratio.

ASTM B507, *Standard Practice for Design of Articles to Be Electroplated on Racks*, section 6, read in a web copy: two
plane surfaces meeting at an inside angle of 60, 90 and 120 degrees 3.3, 2.7 and 1.9; a recess with sharp corners 9.2,
with rounded ones 5.6; a deep concave part 6.6, a convex one 2.0. Neither sizes, bath, current nor the meaning of
"minimum" could be read, so all of these are assumed here, alike for every shape, and once for all:

- Hollows as deep as they are wide, legs of a V as long: ``size``, once 10 and once 30 mm. Sharp where two planes meet;
  the rounded recess has a quarter of its width for a radius at its four corners. Sheet of 2 mm. Profiles 60 mm long.
- Watts nickel of the tables at 4 A/dm²; one anode as large as the end of the tank, 160 mm from the part, which it faces.
- Average over the face that looks at the anode; minimum: the least local thickness on it, a mean over 1 cm² (ISO 2064).

Current near an inside corner depends on the size of the shape in smoothing lengths (1 mm here), so a ratio without a
size cannot be met but only placed. What must hold: the order within each row of shapes, at both sizes.
"""

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
import shapely
from helpers.cells import MM
from helpers.validation import record
from numpy.testing import assert_allclose

from geom.bem.problem import Current
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Pose, SheetAnode
from geom.deposit import growth_rate, local_mean
from geom.field import Field, prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Outline
from geom.tables import read

Drawing = tuple[np.ndarray, np.ndarray]  # front of the profile, and its back in the same direction; anode at -x [mm]
SHEET = 2.0  # mm
SIZES = (10, 30)  # mm
TANK = BoxTank(0.26, 0.16, 0.12)
OPTIONS = MeshOptions(budget=2500)


def arc(centre: tuple[float, float], radius: float, start: float, stop: float, steps: int) -> np.ndarray:
    """Return points on an arc, angles in degrees."""
    angle = np.radians(np.linspace(start, stop, steps + 1))
    return np.asarray(centre) + radius * np.round(np.stack([np.cos(angle), np.sin(angle)], axis=1), 12)


def both_sides(lower: np.ndarray) -> np.ndarray:
    """Return a line from the lower side and its image above."""
    image = (lower * [1, -1])[::-1]
    return np.concatenate([lower, image[1:] if lower[-1, 1] == 0 else image])


def vee(size: float, angle: float) -> Drawing:
    """Two planes of sheet that meet at a sharp inside ``angle`` [deg], open to the anode."""
    half = math.radians(angle / 2)
    tip = size * np.array([-math.cos(half), -math.sin(half)])
    outward = SHEET * np.array([math.sin(half), -math.cos(half)])
    inside = both_sides(np.array([tip, [0.0, 0.0]]))
    return inside, both_sides(np.array([tip + outward, [SHEET / math.sin(half), 0.0]]))


def recess(size: float, radius: float) -> Drawing:
    """A recess as deep as wide in a block, with lands of two thirds of its width at both sides."""
    lip, half, floor = 7 / 6 * size, size / 2, 4 / 3 * size
    if radius:
        mouth, foot = (
            arc((radius, -half - radius), radius, 180, 90, 6),
            arc((size - radius, -half + radius), radius, -90, 0, 6),
        )
        front = both_sides(np.concatenate([[[0.0, -lip]], mouth, foot]))
    else:
        front = both_sides(np.array([[0.0, -lip], [0.0, -half], [size, -half]]))
    return front, np.array([[floor, -lip], [floor, lip]])


def trough(size: float) -> Drawing:
    """Sheet bent to a U as deep as wide inside, with a half-round bottom, its hollow to the anode."""
    half = size / 2
    hollow = both_sides(np.concatenate([[[0.0, -half]], arc((half, 0.0), half, -90, 0, 10)]))
    outside = both_sides(np.concatenate([[[0.0, -half - SHEET]], arc((half, 0.0), half + SHEET, -90, 0, 10)]))
    return hollow, outside


def dome(size: float) -> Drawing:
    """The trough turned round: its outside to the anode."""
    hollow, outside = trough(size)
    return outside * [-1, 1], hollow * [-1, 1]


SHAPES: dict[str, tuple[Callable[[float], Drawing], float]] = {
    "V of 60 degrees": (lambda size: vee(size, 60), 3.3),
    "V of 90 degrees": (lambda size: vee(size, 90), 2.7),
    "V of 120 degrees": (lambda size: vee(size, 120), 1.9),
    "recess, sharp": (lambda size: recess(size, 0), 9.2),
    "recess, rounded": (lambda size: recess(size, size / 4), 5.6),
    "concave": (trough, 6.6),
    "convex": (dome, 2.0),
}


@cache
def solved(name: str, size: int) -> tuple[Field, np.ndarray]:
    """Return the field of a profile, and which panels are on its front."""
    front, back = SHAPES[name][0](size)
    outline = np.concatenate([front, back[::-1]]) * MM
    part = build_part(Outline(tuple((float(x), float(y)) for x, y in outline), 60 * MM))
    middle = 0.5 * (outline.min(axis=0) + outline.max(axis=0))
    wide = SheetAnode(2 * MM, TANK.width, TANK.depth, (-0.129, 0.0, TANK.depth / 2))
    pose = Pose((0.0, 0.0, 0.0), (32 * MM + 0.5 * float(np.ptp(outline[:, 0])), 0.0, TANK.depth / 2))
    cell = build_cell(part, read.bath("watts-nickel"), tank=TANK, anodes=(wide,), pose=pose)
    field = solve_field(prepare(cell, mesh_cell(cell, OPTIONS)), Current(400.0 * part.area), balance=0.02)
    mesh = field.panels.part
    drawn = shapely.points(mesh.centroids[:, :2] - pose.at[:2] + middle)
    rims = shapely.MultiLineString([[front[0] * MM, back[0] * MM], [front[-1] * MM, back[-1] * MM]])
    lines = (shapely.LineString(front * MM), shapely.LineString(back * MM), rims)
    nearest = np.argmin([shapely.distance(line, drawn) for line in lines], axis=0)
    return field, (nearest == 0) & (np.abs(mesh.normals[:, 2]) < 0.5)


@cache
def ratio(name: str, size: int) -> tuple[float, int]:
    """Return average over minimum thickness on the front, and the number of panels."""
    field, front = solved(name, size)
    thickness = growth_rate(field)
    local = local_mean(thickness, field.panels)
    average = float(np.average(thickness[front], weights=field.areas[front]))
    return average / float(local[front].min()), len(field.panels.body)


@pytest.mark.parametrize(
    "name", ["V of 60 degrees", "V of 90 degrees", "V of 120 degrees", "recess, sharp", "recess, rounded"]
)
def test_the_published_ratio_of_a_corner_or_recess_lies_between_the_two_sizes(name: str) -> None:
    """So few panels give the ratios to within a tenth: against four times as many, 9 % in the 60 degree V of 30 mm."""
    published = SHAPES[name][1]
    small, large = (ratio(name, size)[0] for size in SIZES)
    assert 0.95 * small < published < large
    for size in SIZES:
        written(name, size)


@pytest.mark.parametrize(("name", "factor"), [("concave", 1.8), ("convex", 1.3)])
def test_a_curved_part_comes_out_more_even_than_published_within_a_factor(name: str, factor: float) -> None:
    """A miss: the concave part of the standard is called deep, and this one is only as deep as it is wide."""
    published = SHAPES[name][1]
    assert published / factor < ratio(name, 30)[0] < published
    written(name, 30)


@pytest.mark.parametrize("size", SIZES)
def test_the_sharper_the_corner_the_worse(size: int) -> None:
    sharp, square, blunt = (ratio(f"V of {angle} degrees", size)[0] for angle in (60, 90, 120))
    assert sharp > 1.2 * square > 1.4 * blunt
    assert blunt > 1.5


def test_rounding_the_corners_of_a_recess_mends_it_and_turning_a_hollow_round_still_more() -> None:
    assert ratio("recess, sharp", 30)[0] > 1.3 * ratio("recess, rounded", 30)[0]
    assert ratio("concave", 30)[0] > 2 * ratio("convex", 30)[0]


@pytest.mark.parametrize("name", SHAPES)
def test_the_chosen_panels_are_all_of_the_drawn_face(name: str) -> None:
    front, _ = SHAPES[name][0](30)
    field, chosen = solved(name, 30)
    assert_allclose(field.areas[chosen].sum(), shapely.LineString(front).length * MM * 60 * MM, rtol=0.01, atol=0)


def written(name: str, size: int) -> None:
    computed, panels = ratio(name, size)
    quantity = f"average / minimum, {size} mm"
    # a ratio of shapes whose size is not known: the row is there to be read, a tenth of the published figure is no news
    record("trade", name, quantity, computed, SHAPES[name][1], panels=panels, source="ASTM B507, section 6", bound=2.0)
