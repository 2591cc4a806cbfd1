"""A sphere amid a cubic tank of half-side 1: A, all six walls anodes; B, the two walls across x, as at the bench.

Known figures: solid harmonics, which meet the sphere's law exactly and the walls' conditions within 1e-8; the maximum
principle bounds what is left. Laid-out panels here; the program's own meshes of case B are in tests/field.
"""

import math
from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.meshes import box_panels, graded, icosphere, turned_over
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.bem.problem import BoundarySolution
from geom.electrode.laws import Linear
from geom.surface.solid import joined
from geom.surface.surface import Surface

TABLE = "sphere-in-tank"
HARMONICS = "solid harmonics of our own"
DIRECTIONS = {"+x": (1, 0, 0), "+y": (0, 1, 0), "(0, 1, 1)": (0, 1, 1), "(1, 1, 1)": (1, 1, 1)}
CAP = 0.45  # half-angle of the cap from which a pole's value is drawn [rad]


@cache
def tank(radius: float, *, all_walls: bool) -> Kept:
    """Sphere with tag 1, walls with tags 10 to 15."""
    ball = icosphere(3, radius, 1)
    stretch = (4 / 3 * math.pi * radius**3 / ball.volume) ** (1 / 3)
    ball = Surface(ball.vertices * stretch, ball.faces, ball.tag)
    share = graded(5, 1.2)
    walls = box_panels(-np.ones(3), np.ones(3), (share, share, share), 10)
    anodes = tuple((tag, None) for tag in (range(10, 16) if all_walls else (10, 11)))
    return Kept(joined([turned_over(ball), walls]), anodes=anodes)


def towards(cell: Kept, found: BoundarySolution, direction: tuple[int, int, int]) -> float:
    """i / mean in a direction: the middle of a parabola through the caps there and opposite."""
    out = cell.surface.centroids[cell.here]
    cosine = np.abs(out @ np.asarray(direction)) / np.linalg.norm(out, axis=1) / np.linalg.norm(direction)
    near = cosine > math.cos(CAP)
    away: Floats = 1.0 - cosine[near]
    weights = np.sqrt(cell.areas[near])
    fit = np.polynomial.polynomial.polyfit(away, cell.density(found)[near], 2, w=weights)
    return float(fit[0]) / cell.mean(found)


def held(case: str, cell: Kept, found: BoundarySolution, shares: tuple[float, ...], rtol: float) -> None:
    """Hold i / mean in four directions."""
    for (name, direction), known in zip(DIRECTIONS.items(), shares, strict=True):
        value = towards(cell, found, direction)
        hold(TABLE, case, f"i / mean towards {name}", value, known, rtol=rtol, panels=cell.panels, source=HARMONICS)


@pytest.mark.parametrize(
    ("radius", "wagner", "conductance", "shares", "rtol"),
    [
        (0.25, 0.0, 4.019672377, (1.0009894, 1.0009894, 0.99974452, 0.99935575), 8e-3),
        (0.75, 0.1, 19.731376468, (1.15571599, 1.15571599, 0.9542934, 0.91689259), 0.02),
    ],
)
def test_sphere_among_six_anode_walls_agrees_with_solid_harmonics(
    radius: float, wagner: float, conductance: float, shares: tuple[float, ...], rtol: float
) -> None:
    """Wa = kappa R_ct / H."""
    cell = tank(radius, all_walls=True)
    found = cell.solved(Linear(wagner) if wagner else None)
    case = f"A, radius {radius:g} H, Wa {wagner:g}"
    got = found.cathode_current
    hold(TABLE, case, "conductance / (kappa H)", got, conductance, rtol=3e-3, panels=cell.panels, source=HARMONICS)
    held(case, cell, found, shares, rtol)


@pytest.mark.parametrize(
    ("radius", "wagner", "conductance", "shares", "rtol"),
    [
        (0.25, 0.0, 3.478629252, (1.04712276, 0.97578652, 0.97675903, 1.00028541), 8e-3),
        (0.75, 0.5, 6.811289997, (1.42157682, 0.74677485, 0.80869996, 1.01632149), 0.02),
    ],
)
def test_sphere_between_two_anode_walls_agrees_with_solid_harmonics(
    radius: float, wagner: float, conductance: float, shares: tuple[float, ...], rtol: float
) -> None:
    """Wa = kappa R_ct / H."""
    cell = tank(radius, all_walls=False)
    found = cell.solved(Linear(wagner) if wagner else None)
    case = f"B, radius {radius:g} H, Wa {wagner:g}"
    got = found.cathode_current
    hold(TABLE, case, "conductance / (kappa H)", got, conductance, rtol=3e-3, panels=cell.panels, source=HARMONICS)
    held(case, cell, found, shares, rtol)


@pytest.mark.parametrize(
    ("radius", "strength", "volts", "shares", "rtol"),
    [
        (0.5, 1.0, 0.404134664, (1.05470844, 0.9712691, 0.97414309, 1.00058422), 0.01),
        (0.5, 16.0, 6.418447929, (1.28201036, 0.8535755, 0.87188077, 1.00235426), 0.01),
        (0.75, 1.0, 0.541738222, (1.27233445, 0.85121833, 0.88387769, 1.00481066), 0.02),
        (0.75, 16.0, 7.895261083, (2.151679, 0.464222, 0.58265166, 0.99523086), 0.05),
    ],
)
def test_tafel_sphere_between_two_anode_walls_agrees_with_solid_harmonics(
    radius: float, strength: float, volts: float, shares: tuple[float, ...], rtol: float
) -> None:
    """Strength mean H / (kappa beta): (V - drop at mean) / beta."""
    cell = tank(radius, all_walls=False)
    found, over = cell.tafel(1 / strength, 1.0)
    case = f"B, radius {radius:g} H, Tafel law, mean H / (kappa beta) {strength:g}"
    hold(TABLE, case, "(V - drop at mean) / beta", over, volts, rtol=3e-3, panels=cell.panels, source=HARMONICS)
    held(case, cell, found, shares, rtol)


def test_the_tank_takes_from_a_small_sphere_s_resistance_what_its_lattice_of_images_says() -> None:
    """1 / a - 4 pi kappa / G tends to half of the Madelung constant of rock salt, 0.87378230 / H, as a shrinks."""
    cell = tank(0.25, all_walls=True)
    found = 1 / 0.25 - 4 * math.pi / cell.solved().cathode_current
    assert_allclose(found, 0.8737824, rtol=0.02, atol=0)
