"""Two bodies in liquid without end, alike or opposite in potential; and a hemisphere on an insulating plane."""

import math

import numpy as np
import pytest
from helpers.bodies import cylinder
from helpers.electrodes import facing
from helpers.meshes import icosphere, turned_over
from helpers.order import extrapolated, observed_order
from helpers.revolved import revolved
from helpers.validation import hold

from geom.arrays import Floats
from geom.bem.operators import assemble
from geom.bem.problem import ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.surface.solid import joined
from geom.surface.surface import Surface

UPRIGHT = np.eye(3)
SPHERES = "closed form in bispherical coordinates"


def own_and_other(one: Surface, two: Surface) -> tuple[float, float]:
    """Currents over 4 pi kappa into a body at -1 V and into its like at 0 V; infinity is at 0 V too."""
    both = joined([one, two])
    rows, n = np.arange(len(both.faces)), len(one.faces)
    found = solve(
        assemble(turned_over(both), rows, enclosed=False),
        anodes=[ElectrodePatch(rows[n:], None)],
        cathodes=[ElectrodePatch(rows[:n], None)],
        conductivity=1.0,
        control=Voltage(1.0),
    )
    return found.cathode_current / (4 * math.pi), -found.anode_current / (4 * math.pi)


def alike(own: float, other: float) -> float:
    """Capacitance of both at one potential."""
    return 2 * (own + other)


def opposite(own: float, other: float) -> float:
    """Conductance between them at +1/2 and -1/2 V, over 4 pi kappa."""
    return (own - other) / 2


def spheres(distance: float, level: int) -> tuple[Surface, Surface]:
    place = np.array([0.5 * distance, 0.0, 0.0])
    return icosphere(level).moved(UPRIGHT, -place), icosphere(level).moved(UPRIGHT, place)


def spheres_alike(distance: float) -> float:
    """2 c sum of 2 / (exp((2n+1) b) + 1), cosh b = d / 2, c = sinh b (Maxwell; Smythe)."""
    b = math.acosh(0.5 * distance)
    terms = [math.exp(-(2 * n + 1) * b) for n in range(3000)]
    return 4 * math.sinh(b) * sum(t / (1 + t) for t in terms)


def spheres_opposite(distance: float) -> float:
    """c sum of 2 / (exp((2n+1) b) - 1) / 2 of each sphere at half the voltage (Maxwell; Smythe)."""
    b = math.acosh(0.5 * distance)
    terms = [math.exp(-(2 * n + 1) * b) for n in range(3000)]
    return math.sinh(b) * sum(t / (1 - t) for t in terms)


def test_the_series_give_the_known_figures() -> None:
    for distance, same, other in (
        (2.2, 1.41506087499913, 1.07754305850662),
        (4.0, 1.60516618160703, 0.670529906539215),
        (10.0, 1.81834845226029, 0.555618042006877),
    ):
        assert abs(spheres_alike(distance) / same - 1) < 1e-12
        assert abs(spheres_opposite(distance) / other - 1) < 1e-12
    assert abs(spheres_alike(2.0001) / (2 * math.log(2)) - 1) < 1e-3  # touching spheres


@pytest.mark.parametrize("distance", [2.2, 4.0, 10.0])
def test_two_spheres_agree_with_the_series_in_bispherical_coordinates(distance: float) -> None:
    """Alike and opposite, from a gap of a fifth of the radius to eight radii."""
    found = np.array([own_and_other(*spheres(distance, level)) for level in (1, 2, 3)])
    case, sizes, count = f"two spheres of radius 1, centres {distance:g} apart", (1.0, 0.5, 0.25), 2 * 1280
    for name, combined, exact, close in (
        ("capacitance of both alike", alike, spheres_alike(distance), 4e-3),
        ("conductance / 4π of opposites", opposite, spheres_opposite(distance), 1.5e-2 if distance < 3 else 6e-3),
    ):
        values = [combined(own, other) for own, other in found]
        order = observed_order(sizes, np.array(values) - exact)
        assert order > 1.7
        hold("one-body", case, name, values[-1], exact, rtol=close, panels=count, source=SPHERES, order=order)
        limit = extrapolated(sizes, values)
        hold("one-body", case, f"{name}, extrapolated", limit, exact, rtol=1.5e-3, source=SPHERES)


def discs(gap: float, thickness: float) -> tuple[Surface, Surface]:
    """Two thin discs whose facing sides are ``gap`` apart, plus a thickness."""
    one = cylinder(thickness, 5, along=1, power=2.5)
    drop = np.array([0.0, 0.0, 0.5 * thickness])
    shift = np.array([0.0, 0.0, 0.5 * gap])
    return one.moved(UPRIGHT, -drop - shift), one.moved(UPRIGHT, -drop + shift)


def love(gap: float, n: int = 200) -> float:
    """Conductance over 4 pi kappa a of facing discs, by Love's equation (Q. J. Mech. Appl. Math. 2 (1949) 428)."""
    nodes, weights = np.polynomial.legendre.leggauss(n)

    def kernel(x: Floats, t: Floats) -> Floats:
        return gap / math.pi / (gap**2 + (x - t) ** 2)

    matrix = np.eye(n) - kernel(nodes[:, None], nodes[None]) * weights[None]
    return float(weights @ np.linalg.solve(matrix, np.ones(n))) / (2 * math.pi)


@pytest.mark.parametrize(
    ("gap", "known"), [(0.5, 0.85293515122131), (2.0, 0.441822791055516), (4.0, 0.375860062022754)]
)
def test_facing_discs_come_down_to_loves_equation_as_they_get_thinner(gap: float, known: float) -> None:
    exact = love(gap)
    assert abs(exact / known - 1) < 1e-9
    found = [opposite(*own_and_other(*discs(gap, thickness))) for thickness in (0.01, 0.001)]
    assert np.all(np.diff(found) < 0)
    count = 2 * len(discs(gap, 0.001)[0].faces)
    case, source = f"facing discs {gap:g} radii apart, 1/1000 thick", "Love's equation, no thickness"
    hold("one-body", case, "conductance / 4π", found[-1], exact, rtol=3e-3, panels=count, source=source)


def on_a_plane(n: int, inner: float, outer: float) -> Surface:
    """Electrolyte over an insulating plane (tag 2) between a hemisphere on it (tag 0) and one around it (tag 1)."""
    t = np.linspace(0.0, 0.5 * math.pi, n + 1)
    across = np.geomspace(inner, outer, n + 1)
    return revolved(
        [
            (across, np.zeros(n + 1), 2),
            (outer * np.cos(t), outer * np.sin(t), 1),
            (inner * np.sin(t), inner * np.cos(t), 0),
        ],
        4 * n,
    )


def test_a_hemisphere_on_an_insulating_plane_has_half_the_conductance_of_a_sphere() -> None:
    """G = 2 pi kappa a b / (b - a); R kappa a = 1 / 2 pi far from the other electrode. Elementary."""
    exact, meshes = 2 * math.pi * 3.0 / 2.0, (4, 8, 12)
    found = [facing(on_a_plane(n, 1.0, 3.0), anode=[1], cathode=[0]).cathode_current for n in meshes]
    order = observed_order([1 / n for n in meshes], np.array(found) - exact)
    assert order > 1.5
    case = "hemisphere on an insulating plane"
    count = len(on_a_plane(12, 1.0, 3.0).faces)
    source = "closed form"
    hold("one-body", case, "conductance", found[-1], exact, rtol=5e-3, panels=count, source=source, order=order)
