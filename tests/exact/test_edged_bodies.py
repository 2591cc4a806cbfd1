"""Bodies with edges, rings and thin sheets far from everything: capacitance over 4 pi epsilon."""

import math

import numpy as np
import pytest
from helpers import analytic
from helpers.bodies import crowded, cylinder, icosahedron, octahedron, torus, tube
from helpers.electrodes import alone
from helpers.meshes import ellipsoid
from helpers.order import extrapolated, observed_order
from helpers.validation import hold

from geom.surface.surface import Surface

KAPPA = 2.0
OURS = "axially symmetric boundary elements of our own, extrapolated"
KITES = "boundary elements of our own, extrapolated to third order"


def capacitance(body: Surface) -> float:
    return alone(body, conductivity=KAPPA).cathode_current / (4 * math.pi * KAPPA)


def converges(
    case: str, bodies: list[Surface], sizes: list[float], exact: float, source: str, *, rtol: float, limit: float
) -> None:
    """The finest mesh is within ``rtol``, the limit drawn from the last two within ``limit``; order over 1.7."""
    found = [capacitance(body) for body in bodies]
    order = observed_order(sizes, np.array(found) - exact)
    assert order > 1.7
    count = len(bodies[-1].faces)
    hold("one-body", case, "capacitance", found[-1], exact, rtol=rtol, panels=count, source=source, order=order)
    hold("one-body", case, "capacitance, extrapolated", extrapolated(sizes, found), exact, rtol=limit, source=source)


@pytest.mark.parametrize(
    ("length", "exact", "meshes"),
    [
        (0.2, 0.729365, [(2, 2), (4, 2), (8, 4)]),
        (0.5, 0.828137, [(2, 2), (4, 2), (8, 4)]),
        (1.0, 0.963943, [(2, 2), (4, 4), (6, 6)]),
        (4.0, 1.573041, [(2, 4), (4, 8), (6, 12)]),
        (20.0, 3.812776, [(1, 4), (2, 8), (4, 16)]),
    ],
)
def test_solid_cylinders_from_flat_to_long_converge_at_second_order(
    length: float, exact: float, meshes: list[tuple[int, int]]
) -> None:
    """Known to 6e-6 by extended-precision axisymmetric boundary elements of our own; the problem is that of Smythe,
    J. Appl. Phys. 27 (1956) 917 (from memory)."""
    bodies = [cylinder(length, n, along=along) for n, along in meshes]
    sizes = [1.0 / n for n, _ in meshes]
    case = f"solid cylinder of radius 1, length {length:g}"
    converges(case, bodies, sizes, exact, OURS, rtol=6e-4, limit=3e-4)


@pytest.mark.parametrize(("ratio", "steps"), [(1.25, 2), (3.0, 3), (10.0, 8)])
def test_rings_thin_and_thick_converge_at_second_order(ratio: float, steps: int) -> None:
    """Hicks, Phil. Trans. 172 (1881) 609; Smythe, Static and Dynamic Electricity, in toroidal functions."""
    meshes = [(4, 8, 12), (6, 12, 18)][ratio < 10.0]
    bodies = [torus(ratio, 1.0, steps * n, n) for n in meshes]
    source = "closed form, toroidal functions"
    exact = analytic.torus_capacitance(ratio, 1.0)
    case = f"ring of radius {ratio:g}, section of radius 1"
    converges(case, bodies, [1.0 / n for n in meshes], exact, source, rtol=1.2e-2, limit=5e-4)


def test_closed_form_of_rings_gives_the_known_figures() -> None:
    """The same digits by axisymmetric boundary elements to 3e-8."""
    for ratio, known in ((3.0, 3.09177436762512), (10.0, 7.21689880458692), (1.25, 1.91740688090056)):
        assert abs(analytic.torus_capacitance(ratio, 1.0) / known - 1) < 1e-10


@pytest.mark.parametrize(
    ("name", "exact", "meshes"), [("octahedron", 0.50945743, (2, 4, 8)), ("icosahedron", 0.81587044, (2, 3, 5))]
)
def test_platonic_solids_converge_faster_than_second_order(name: str, exact: float, meshes: tuple[int, ...]) -> None:
    """Edge 1. Computed to 3e-7 by two codes of our own that give the cube to 1e-8; Goto, Shi & Yoshida,
    J. Comput. Phys. 100 (1992) 105 print a table (not seen)."""
    solid = {"octahedron": octahedron, "icosahedron": icosahedron}[name]()
    bodies = [crowded(*solid, n, 2.0) for n in meshes]
    converges(f"{name} of edge 1", bodies, [1.0 / n for n in meshes], exact, KITES, rtol=3e-4, limit=2e-4)


@pytest.mark.parametrize("name", ["octahedron", "icosahedron"])
def test_platonic_solids_lie_between_the_sphere_of_their_volume_and_the_one_around_them(name: str) -> None:
    """Pólya & Szegő, Isoperimetric Inequalities in Mathematical Physics: rigorous bounds of capacity."""
    corners, faces = {"octahedron": octahedron, "icosahedron": icosahedron}[name]()
    body = crowded(corners, faces, 3, 2.0)
    assert (3 * body.volume / (4 * math.pi)) ** (1 / 3) < capacitance(body) < np.linalg.norm(corners, axis=1).max()


def test_a_thin_disc_comes_down_to_two_over_pi_as_it_gets_thinner() -> None:
    """C = 2 a / pi for the disc without thickness (Smythe; Landau & Lifshitz, sec. 4)."""
    thicknesses = (0.03, 0.01, 0.001)
    bodies = [cylinder(thickness, 6, along=1, power=2.5) for thickness in thicknesses]
    found = [capacitance(body) for body in bodies]
    assert np.all(np.diff(found) < 0)
    assert found[0] > 1.02 * 2 / math.pi
    case, count = "disc 1/1000 of its radius thick", len(bodies[-1].faces)
    hold(
        "one-body",
        case,
        "capacitance",
        found[-1],
        2 / math.pi,
        rtol=2e-3,
        panels=count,
        source="closed form, no thickness",
    )


def test_a_flat_elliptic_disc_agrees_with_the_closed_form() -> None:
    """C = a / K(1 - b²/a²) for semi-axes 2, 1 and no thickness: 0.927421974572."""
    body = ellipsoid(3, (2.0, 1.0, 1e-3))
    case, source = "elliptic disc 2 : 1, 1/1000 thick", "closed form, no thickness"
    count = len(body.faces)
    hold("one-body", case, "capacitance", capacitance(body), 0.927421974572216, rtol=4e-3, panels=count, source=source)


def test_a_thin_open_tube_comes_down_to_the_tube_without_wall() -> None:
    """Both sides of a tube of radius 1 and length 2: 1.150383 to 5e-6, axisymmetric boundary elements of our own."""
    bodies = [tube(2.0, wall, 5) for wall in (0.03, 0.01, 0.001)]
    found = [capacitance(body) for body in bodies]
    assert np.all(np.diff(found) < 0)
    case = "open tube of radius 1, length 2, wall 1/1000"
    hold("one-body", case, "capacitance", found[-1], 1.150383, rtol=2e-3, panels=len(bodies[-1].faces), source=OURS)
