"""A thin panel plated on both sides amid a tank, in two dimensions: one quadrant, between two insulating planes.

Half-width a of the panel, b of the tank; an anode fills each wall at distance h; the side walls insulate.
"""

from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.order import observed_order
from helpers.profiles import along
from helpers.slabs import chained, crowded, eased, rectangle, slab
from helpers.validation import hold
from numpy.testing import assert_allclose
from scipy.special import ellipj, ellipk

from geom.arrays import Floats
from geom.bem.problem import BoundarySolution
from geom.electrode.laws import Linear

TABLE = "panel-in-tank"
MAP, EQUATION = "conformal map, closed form", "integral equation of our own"


@cache
def quadrant(a: float, b: float, h: float, n: int = 12, power: float = 2.0) -> tuple[Kept, Floats]:
    """The panel lies on y = 0 from x = 0 to a; and the edges of its strips."""
    edges = a * eased(n, power)
    us = chained(edges, crowded(a, b, 5 * n // 6, 2.0))
    vs = crowded(0.0, h, n, 1.7)
    below = np.where(us[1:] <= a, 1, 0)
    return Kept(slab(rectangle, us, vs, (0, 0, below, 2), depth(a, b, h))), edges


def depth(a: float, b: float, h: float) -> float:
    """Between the planes: wider than the widest panels, so that their likeness does not blur the equation."""
    return 2.0 * max(a, b, h)


def local(cell: Kept, edges: Floats, found: BoundarySolution, at: list[float]) -> Floats:
    """Local over mean current density at places in half-widths."""
    where = cell.middles(lambda points: points[:, 0])
    return along(cell.density(found), cell.areas, where, edges, np.array(at) * edges[-1])


def closed_form(a: float, b: float, h: float) -> float:
    """G / (kappa W) of a quadrant: K(k) / K'(k), k2 = m sn2(K a / b | m), K'(m) / K(m) = h / b."""
    low, high = 1e-12, 1 - 1e-12
    for _ in range(200):  # h / b falls as m grows
        m = 0.5 * (low + high)
        low, high = (m, high) if ellipk(1 - m) / ellipk(m) > h / b else (low, m)
    k2 = m * ellipj(ellipk(m) * a / b, m)[0] ** 2
    return float(ellipk(k2) / ellipk(1 - k2))


PRIMARY = [
    (1.0, 2.0, 1.0, 1.414213562373, (0.7360573144, 0.7904588974, 1.320791055)),
    (0.5, 0.75, 1.0, 0.7018100002599, (0.7699330858, 0.8165435407, 1.267912351)),
    (1.0, 4.0, 4.0, 0.6212053572455, (0.6538915617, 0.7451114848, 1.435913003)),
    (1.0, 1.1, 2.0, 0.5480368290694, (0.9184400937, 0.9256511548, 1.053362454)),
]


@pytest.mark.parametrize(("a", "b", "h", "conductance", "shares"), PRIMARY)
def test_primary_panel_agrees_with_the_conformal_map(
    a: float, b: float, h: float, conductance: float, shares: tuple[float, ...]
) -> None:
    """i / mean at x / a 0, 0.5, 0.9."""
    assert_allclose(closed_form(a, b, h), conductance, rtol=1e-9, atol=0)
    cell, edges = quadrant(a, b, h)
    found = cell.solved()
    case = f"a {a:g}, b {b:g}, h {h:g}, primary"
    got = found.cathode_current / depth(a, b, h)
    hold(TABLE, case, "conductance / (kappa W)", got, conductance, rtol=8e-3, panels=cell.panels, source=MAP)
    values = local(cell, edges, found, [0.0, 0.5, 0.9])
    for place, value, known in zip((0, 0.5, 0.9), values, shares, strict=True):
        hold(TABLE, case, f"i / mean at x / a {place:g}", value, known, rtol=0.01, panels=cell.panels, source=MAP)


def test_primary_conductance_of_the_panel_converges() -> None:
    known = closed_form(0.5, 0.75, 1.0)
    found = [quadrant(0.5, 0.75, 1.0, n)[0].solved().cathode_current / 2.0 for n in (6, 9, 12)]
    order = observed_order((1 / 6, 1 / 9, 1 / 12), np.array(found) - known)
    assert order > 1.6
    panels, case = quadrant(0.5, 0.75, 1.0)[0].panels, "a 0.5, b 0.75, h 1, primary"
    hold(TABLE, case, "the same, three meshes", found[-1], known, rtol=8e-3, panels=panels, source=MAP, order=order)


LINEAR = [
    (0.05, 0.77849784, (0.747575, 0.83145, 1.038667, 1.483109), 3.369138),
    (0.2, 0.69046652, (0.815299, 0.901577, 1.079196, 1.351369), 1.912774),
    (1.0, 0.44194743, (0.9253, 0.970279, 1.043506, 1.126628), 1.240989),
]


@pytest.mark.parametrize(("wagner", "conductance", "shares", "edge"), LINEAR)
def test_panel_with_a_linear_law_agrees_with_the_integral_equation(
    wagner: float, conductance: float, shares: tuple[float, ...], edge: float
) -> None:
    """Wa = kappa R_ct / a; a 1, b 2, h 2; at the edge the mean of a strip of 0.06 % of the half-width."""
    cell, edges = quadrant(1.0, 2.0, 2.0, 12, 3.0)
    found = cell.solved(Linear(wagner))
    case = f"a 1, b 2, h 2, linear law, Wa {wagner:g}"
    got = found.cathode_current / depth(1, 2, 2)
    hold(TABLE, case, "conductance / (kappa W)", got, conductance, rtol=4e-3, panels=cell.panels, source=EQUATION)
    values = local(cell, edges, found, [0.0, 0.5, 0.75, 0.9, 1.0])
    assert_allclose(values[1:4], shares[1:], rtol=5e-3, atol=0)
    hold(TABLE, case, "i / mean at centre", values[0], shares[0], rtol=0.01, panels=cell.panels, source=EQUATION)
    hold(TABLE, case, "i / mean at edge", values[4], edge, rtol=0.03, panels=cell.panels, source=EQUATION)


TAFEL = [
    (0.05, 24.55662879, (0.743528, 0.820387, 1.006679, 1.420936)),
    (0.5, 2.50448216, (0.880317, 0.941713, 1.057059, 1.218676)),
    (1.0, 1.25927951, (0.925242, 0.968025, 1.041133, 1.13034)),
]


@pytest.mark.parametrize(("wagner", "volts", "shares"), TAFEL)
def test_panel_with_a_tafel_law_agrees_with_the_integral_equation(
    wagner: float, volts: float, shares: tuple[float, ...]
) -> None:
    """Wa = kappa beta / (mean a); a 1, b 2, h 2; i / mean at x / a 0, 0.5, 0.75, 0.9."""
    cell, edges = quadrant(1.0, 2.0, 2.0, 12, 3.0)
    found, over = cell.tafel(wagner, 1.0)
    case = f"a 1, b 2, h 2, Tafel law, Wa {wagner:g}"
    hold(TABLE, case, "(V - drop at mean) / beta", over, volts, rtol=4e-3, panels=cell.panels, source=EQUATION)
    values = local(cell, edges, found, [0.0, 0.5, 0.75, 0.9])
    assert_allclose(values[1:], shares[1:], rtol=5e-3, atol=0)
    hold(TABLE, case, "i / mean at centre", values[0], shares[0], rtol=0.01, panels=cell.panels, source=EQUATION)
