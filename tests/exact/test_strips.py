"""Strip electrodes in insulating planes, in two dimensions: facing each other across a channel, and side by side."""

import math
from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.order import observed_order
from helpers.profiles import along
from helpers.slabs import chained, crowded, eased, rectangle, slab
from helpers.validation import hold
from numpy.testing import assert_allclose
from scipy.special import ellipk

from geom.arrays import Floats
from geom.electrode.laws import Linear

TABLE = "strips"
ELECTROCHEMICAL_SYSTEMS = "Newman & Thomas-Alyea, ch. 18"


def facing_form(length: float, gap: float) -> tuple[float, float]:
    """i / mean at the centre and G / (kappa W): Newman & Thomas-Alyea, Electrochemical Systems, 3rd ed., ch. 18.

    The formula is from memory; its mean over the strip is one, and its conductance is that of another map.
    """
    e = 0.5 * math.pi * length / gap
    m = math.tanh(e) ** 2
    centre = e * math.cosh(e) / (ellipk(m) * math.sinh(e))
    return float(centre), float(ellipk(m) / ellipk(1 - m))


@cache
def channel(length: float, gap: float, n: int = 12) -> tuple[Kept, Floats]:
    """The right half of a channel: cathode strip below, anode strip above, cut off where nothing is left to flow."""
    edges = 0.5 * length * eased(n, 2.0)
    # what passes beyond falls as exp(-pi x / gap), its effect as the square of that: 0.003 %
    us = chained(edges, crowded(0.5 * length, 0.5 * length + 1.7 * gap, 5 * n // 6, 2.0))
    vs = crowded(0.0, gap, n, 1.7, to="both")
    strip = us[1:] <= 0.5 * length
    sides = (0, 0, np.where(strip, 1, 0), np.where(strip, 2, 0))
    return Kept(slab(rectangle, us, vs, sides, 2.0 * max(gap, length))), edges


def conductance(cell: Kept, gap: float, length: float) -> float:
    return 2.0 * cell.solved().cathode_current / (2.0 * max(gap, length))


@pytest.mark.parametrize(
    ("length", "gap", "centre", "known"),
    [
        (1.0, 2.0, 0.665731692871071, 0.937770388761802),
        (2.0, 1.0, 0.820777451431377, 2.44127092279102),
        (5.0, 1.0, 0.91890305949613, 5.4412712003053),
    ],
)
def test_strips_facing_across_a_channel_agree_with_the_closed_form(
    length: float, gap: float, centre: float, known: float
) -> None:
    assert_allclose(facing_form(length, gap), (centre, known), rtol=1e-10, atol=0)
    cell, edges = channel(length, gap)
    case, whose = f"facing, length {length:g}, gap {gap:g}", ELECTROCHEMICAL_SYSTEMS
    found = conductance(cell, gap, length)
    hold(TABLE, case, "conductance / (kappa W)", found, known, rtol=5e-3, panels=cell.panels, source=whose)
    where = cell.middles(lambda points: points[:, 0])
    middle = along(cell.density(cell.solved()), cell.areas, where, edges, np.array([0.0]))[0]
    hold(TABLE, case, "i / mean at centre", middle, centre, rtol=0.02, panels=cell.panels, source=whose)


def test_long_strips_add_twice_the_logarithm_of_two_over_pi_at_their_ends() -> None:
    """G / (kappa W) = L / h + 2 ln 2 / pi for L much over h, from the same formula."""
    cell, _ = channel(5.0, 1.0)
    known = 5.0 + 2 * math.log(2) / math.pi
    assert_allclose(facing_form(5.0, 1.0)[1], known, rtol=1e-9, atol=0)
    found = conductance(cell, 1.0, 5.0) - 5.0
    hold(
        TABLE,
        "facing, length 5, gap 1",
        "what the ends add",
        found,
        known - 5.0,
        rtol=0.03,
        panels=cell.panels,
        source="2 ln 2 / pi",
    )


REACH = 6.0  # radius of the outer wall over that of the strip's outer edge


@cache
def side_by_side(k: float, n: int = 12) -> Kept:
    """One of two strips on a plane, from x = k to 1, and half of the liquid over both.

    Midway between the strips stands the plane of mean potential: an anode without polarization. The liquid is cut
    off at a circle that takes current as what lies beyond would: there phi falls as cos(angle) / r, so that
    -kappa dphi/dr = kappa phi / R. R = 12 gives the same within 0.05 %.
    """
    inner = crowded(0.0, k, n // 2, 2.0, to="stop")
    strip = crowded(k, 1.0, n, 2.0, to="both")
    outer = np.exp(np.log(REACH) * (np.arange(n // 2 + 1) / (n // 2)) ** 1.5)
    us = chained(inner, strip, outer)
    below = np.where((us[1:] > k) & (us[1:] <= 1.0), 1, 0)
    turn = crowded(0.0, 0.5 * math.pi, n, 1.7)
    cell = slab(lambda r, t: (r * np.cos(t), r * np.sin(t)), us, turn, (None, 3, below, 2), 4.0)
    return Kept(cell.selected(cell.areas > 1e-12 * cell.areas.max()), anodes=((2, None), (3, Linear(REACH))))


@pytest.mark.parametrize(("k", "known"), [(0.5, 0.639630785585503), (0.25, 0.877437661348223)])
def test_strips_side_by_side_agree_with_the_closed_form(k: float, known: float) -> None:
    """G / (kappa W) = K(k') / (2 K(k)), classical."""
    assert_allclose(ellipk(1 - k * k) / (2 * ellipk(k * k)), known, rtol=1e-12, atol=0)
    cell = side_by_side(k)
    found = cell.solved().cathode_current / 4.0 / 2.0
    case = f"side by side, edges {k:g} and 1"
    hold(TABLE, case, "conductance / (kappa W)", found, known, rtol=3e-3, panels=cell.panels, source="closed form")


def test_conductance_of_strips_side_by_side_converges_at_second_order() -> None:
    known = float(ellipk(1 - 0.0625) / (2 * ellipk(0.0625)))
    found = [side_by_side(0.25, n).solved().cathode_current / 8.0 for n in (6, 9, 12)]
    order = observed_order((1 / 6, 1 / 9, 1 / 12), np.array(found) - known)
    assert order > 1.8
    panels, case, whose = side_by_side(0.25).panels, "side by side, edges 0.25 and 1", "closed form"
    hold(TABLE, case, "the same, three meshes", found[-1], known, rtol=3e-3, panels=panels, source=whose, order=order)
