"""What cannot hang in a tank is refused, by name and in words; what people do hang is accepted."""

from collections.abc import Sequence

import numpy as np
import pytest
from helpers.cells import MM, UPRIGHT, bath
from numpy.testing import assert_allclose

from geom.cell.bodies import anode_solid
from geom.cell.build import build_cell
from geom.cell.cell import Anode, BoxTank, Cell, JarTank, Pose, RodAnode, SheetAnode, Tank
from geom.errors import CellError
from geom.findings import Severity
from geom.part.build import build_part
from geom.part.shapes import Bar
from geom.surface.solid import common_volume
from geom.surface.surface import Surface

BOX = BoxTank(200 * MM, 120 * MM, 150 * MM)
JAR = JarTank(150 * MM, 150 * MM)
BAR = Bar(60 * MM, 20 * MM, 4 * MM)  # upright: 4 mm along x, 60 mm along y, 20 mm along z


def place(x: float, y: float, z: float) -> tuple[float, float, float]:
    return x * MM, y * MM, z * MM


def sheet(x: float, y: float = 0.0, z: float = 75.0, size: Sequence[float] = (2, 80, 100)) -> SheetAnode:
    return SheetAnode(*(side * MM for side in size), place(x, y, z))


def rod(x: float, y: float = 0.0, z: float = 75.0, height: float = 100.0) -> RodAnode:
    return RodAnode(10 * MM, height * MM, place(x, y, z))


def cell(
    at: tuple[float, float, float] = (0, 0, 75), anodes: Sequence[Anode] = (sheet(-60),), tank: Tank = BOX
) -> Cell:
    """The bar, upright, its broad side along x; lengths in mm."""
    return build_cell(build_part(BAR), bath(), tank=tank, anodes=anodes, pose=Pose(UPRIGHT, place(*at)))


REFUSED = {
    "through the +x wall": (dict(at=(99, 0, 75)), "part-outside-tank", "1.00 mm through the wall"),
    "through the -y wall": (dict(at=(0, -35, 75)), "part-outside-tank", "5.00 mm through the wall"),
    "through the floor": (dict(at=(0, 0, 8)), "part-outside-tank", "2.00 mm through the floor"),
    "through the jar": (dict(at=(0, 50, 75), tank=JAR, anodes=[rod(-50)]), "part-outside-tank", "wall"),
    "corner through the jar": (dict(at=(70, 0, 75), tank=JAR, anodes=[rod(-50)]), "part-outside-tank", "wall"),
    "on the wall": (dict(at=(97.9, 0, 75)), "gap-too-narrow", "0.100 mm from the wall"),
    "on the floor": (dict(at=(0, 0, 10)), "gap-too-narrow", "0.000 mm from the floor"),
    "above the liquid": (dict(at=(0, 0, 170)), "part-above-liquid", "under the liquid surface"),
    "just dipping": (dict(at=(0, 0, 159.9)), "part-above-liquid", "under the liquid surface"),
    "top just under the surface": (dict(at=(0, 0, 139.9)), "gap-too-narrow", "within 0.2 mm of the liquid"),
    "top just over the surface": (dict(at=(0, 0, 140.1)), "gap-too-narrow", "within 0.2 mm of the liquid"),
    "cuts the anode": (dict(at=(-60, 0, 75)), "part-touches-anode", "the part touches anode 1 (sheet at -60"),
    "just touches the anode": (dict(at=(-57, 0, 75)), "part-touches-anode", "short circuit"),
    "inside the anode": (
        dict(anodes=[sheet(0, size=(40, 90, 90))]),
        "part-touches-anode",
        "the part touches anode 1",
    ),
    "touches the second": (dict(anodes=[sheet(-60), rod(5)]), "part-touches-anode", "anode 2 (rod at 5, 0, 75 mm)"),
    "close to the anode": (dict(at=(-56.9, 0, 75)), "gap-too-narrow", "only 0.100 mm from anode 1"),
    "anode beyond the wall": (dict(anodes=[sheet(-120)]), "anode-outside-tank", "stands outside the tank"),
    "anode beside the jar": (dict(tank=JAR, anodes=[rod(60, 60)]), "anode-outside-tank", "anode 1 (rod at 60"),
    "anode under the floor": (dict(anodes=[sheet(-60, z=-60)]), "anode-outside-tank", "outside the tank"),
    "anode above the liquid": (dict(anodes=[sheet(-60, z=201)]), "anode-above-liquid", "does not reach"),
    "anodes in one place": (dict(anodes=[sheet(-60), rod(-58)]), "anodes-overlap", "anode 1 and anode 2"),
    "third upon second": (
        dict(anodes=[sheet(60), sheet(-60), sheet(-60, 30)]),
        "anodes-overlap",
        "anode 2 and anode 3",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_set_up_that_cannot_be_is_refused(name: str) -> None:
    arguments, slug, words = REFUSED[name]
    with pytest.raises(CellError) as caught:
        cell(**arguments)
    assert caught.value.slug == slug
    assert words in caught.value.message
    assert caught.value.hint
    assert caught.value.exit_code == 2


ACCEPTED = {
    "0.25 mm from the wall": dict(at=(97.75, 0, 75)),
    "0.25 mm over the floor": dict(at=(0, 0, 10.25)),
    "0.25 mm under the surface": dict(at=(0, 0, 139.75)),
    "0.25 mm from the anode": dict(at=(-56.75, 0, 75)),
    "an anode that lines the wall": dict(anodes=[sheet(-99)]),
    "an anode that lines the whole wall": dict(anodes=[sheet(-99, size=(2, 120, 150))]),
    "an anode on the floor": dict(anodes=[sheet(-60, z=50)]),
    "an anode through the surface": dict(anodes=[sheet(-60, z=120)]),
    "a rod from the floor through the surface": dict(anodes=[rod(-60, z=80, height=200)]),
    "anodes that meet": dict(anodes=[sheet(-60), sheet(-58)]),
    "anodes on four sides": dict(anodes=[sheet(-60), sheet(60), rod(0, 50), rod(0, -50)]),
    "a jar": dict(tank=JAR, anodes=[rod(-50), rod(50)]),
}


@pytest.mark.parametrize("name", ACCEPTED)
def test_what_people_do_is_accepted_without_remark(name: str) -> None:
    assert cell(**ACCEPTED[name]).findings == ()


def test_a_part_through_the_surface_is_accepted_and_said() -> None:
    (finding,) = cell(at=(0, 0, 145)).findings
    assert (finding.severity, finding.code) == (Severity.NOTE, "part-through-surface")
    assert finding.message.startswith("5.0 mm of the part stand above the liquid")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (dict(anodes=[sheet(-99.5, size=(4, 80, 100))]), "1.5 mm past the wall"),
        (dict(anodes=[sheet(-60, 30)]), "10.0 mm past the wall"),
        (dict(tank=JAR, anodes=[rod(-72)]), "2.0 mm past the wall"),
        (dict(tank=JAR, anodes=[sheet(-60, size=(2, 100, 80))]), "past the wall"),
    ],
)
def test_an_anode_that_reaches_past_a_wall_is_a_warning(arguments, words: str) -> None:
    (finding,) = cell(**arguments).findings
    assert (finding.severity, finding.code) == (Severity.WARNING, "anode-through-wall")
    assert words in finding.message


def liquid(tank: BoxTank) -> tuple[np.ndarray, np.ndarray]:
    half = np.array([tank.length / 2, tank.width / 2])
    return np.array([*-half, 0.0]), np.array([*half, tank.depth])


@pytest.mark.parametrize(
    ("anode", "sides"),
    [
        (sheet(-98.8), [(0, -1)]),  # 0.2 mm from the wall is taken to touch it
        (sheet(98.8), [(0, 1)]),
        (sheet(-60, z=50.3), [(2, -1)]),
        (sheet(-60, z=99.7), [(2, 1)]),
        (sheet(-60, 19.8), [(1, 1)]),
        (rod(-60, z=75, height=149.5), [(2, -1), (2, 1)]),
    ],
)
def test_an_anode_next_to_a_wall_floor_or_surface_is_carried_through_it(anode, sides) -> None:
    """A film of liquid behind it would carry nothing and could not be meshed."""
    low, high = anode_solid(anode, BOX).bounds
    floor, top = liquid(BOX)
    for axis in range(3):
        for sign in (-1, 1):
            past = sign * ((high if sign > 0 else low)[axis] - (top if sign > 0 else floor)[axis])
            assert bool(past > 0) is ((axis, sign) in sides), (axis, sign)


def test_an_anode_away_from_every_wall_stays_as_it_is() -> None:
    low, high = anode_solid(sheet(-60), BOX).bounds
    assert_allclose(low, place(-61, -40, 25), rtol=1e-12, atol=0)
    assert_allclose(high, place(-59, 40, 125), rtol=1e-12, atol=0)


def test_a_rod_has_the_volume_of_its_polygon() -> None:
    solid: Surface = anode_solid(rod(-60), BOX)
    sides = 48
    area = 0.5 * sides * np.sin(2 * np.pi / sides) * (5 * MM) ** 2
    assert_allclose(solid.volume, area * 100 * MM, rtol=1e-2, atol=0)
    assert common_volume(solid, anode_solid(rod(-40), BOX)) < 1e-15
