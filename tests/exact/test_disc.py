"""A disc flush in an insulating plane without end, and a disc at the bottom of a recess in it.

The plane is cut off at a hemisphere of radius R about the disc that takes current as the liquid beyond it would:
where phi falls as 1 / r, -kappa dphi/dr = kappa phi / R. What is left out falls as (a / R)^5: under 0.01 % for R = 4 a,
and no more than that was seen on changing to R = 6 a.

Secondary values: problem of Newman, J. Electrochem. Soc. 113 (1966) 1235, by a series in oblate spheroids of our own;
recesses: problem of West & Newman, J. Electrochem. Soc. 138 (1991) 1620, by mode matching of our own.
"""

from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.order import observed_order
from helpers.profiles import along, strip_means
from helpers.revolved import arc, evened, from_axis, revolved
from helpers.slabs import crowded, eased
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.electrode.laws import Linear

DISC, RECESS = "disc", "recess"
REACH = 4.0  # radius of the hemisphere over that of the disc
SERIES, MODES = "spheroidal series of our own", "mode matching of our own"


def outside(n: int) -> tuple[Floats, Floats]:
    """Radii and heights of the plane round the disc, crowded to its rim."""
    radii = np.exp(np.log(REACH) * (np.arange(n + 1) / n) ** 2)
    return radii, np.zeros(n + 1)


@cache
def disc(n: int = 12) -> tuple[Kept, Floats]:
    """A disc of radius 1 in ``n`` rings, and the radii of their corners."""
    radii = eased(n, 3.0)
    lines = [(radii, 0 * radii, 1), (*outside(2 * n // 3), 0), (*arc(REACH, 2 * n // 3), 2)]
    return Kept(revolved(lines, 2 * n), anodes=((2, Linear(REACH)),)), radii * evened(2 * n)


@cache
def recess(depth: float, n: int = 12) -> tuple[Kept, Floats]:
    """The same at the bottom of a round recess."""
    radii = np.linspace(0.0, 1.0, n + 1)
    rise = crowded(-depth, 0.0, 6 + round(4 * depth), 2.0, to="both")
    lines = [(radii, 0 * radii - depth, 1), (1 + 0 * rise, rise, 0), (*outside(8), 0), (*arc(REACH, 6), 2)]
    return Kept(revolved(lines, 20), anodes=((2, Linear(REACH)),)), radii * evened(20)


def local(cell: Kept, edges: Floats, density: Floats, at: list[float]) -> Floats:
    """Local over mean current density at distances from the axis, in radii."""
    return along(density, cell.areas, cell.middles(from_axis), edges, np.array(at) * edges[-1], measure=2)


def test_primary_resistance_of_the_disc_converges_to_newman_s() -> None:
    """Newman, J. Electrochem. Soc. 113 (1966) 501: R = 1 / (4 kappa a)."""
    cells = [disc(n)[0] for n in (6, 9, 12)]
    found = [1 / cell.solved().cathode_current for cell in cells]
    order = observed_order((1 / 6, 1 / 9, 1 / 12), np.array(found) - 0.25)
    assert order > 1.7
    hold(
        DISC,
        "primary",
        "resistance",
        found[-1],
        0.25,
        rtol=2e-3,
        panels=cells[-1].panels,
        source="Newman (1966)",
        order=order,
    )


def test_primary_current_within_each_ring_of_the_disc_is_newman_s() -> None:
    """Within r flows 1 - sqrt(1 - r2 / a2) of the current: half the mean density at the centre, no end to it at the rim."""
    cell, edges = disc()
    found = cell.solved()
    mean, area = strip_means(cell.density(found), cell.areas, cell.middles(from_axis), edges)
    exact = -np.diff(np.sqrt(1 - (edges / edges[-1]) ** 2))
    assert_allclose((mean * area / found.cathode_current)[:-2], exact[:-2], rtol=0.01, atol=0)
    assert_allclose((mean * area / found.cathode_current)[-2:], exact[-2:], rtol=0.04, atol=0)
    centre = local(cell, edges, cell.density(found), [0.0])[0]
    hold(DISC, "primary", "i / mean at centre", centre, 0.5, rtol=0.01, panels=cell.panels, source="Newman (1966)")


@pytest.mark.parametrize(
    ("j", "resistance", "centre", "rim", "near"),
    [
        (0.1, 3.452984993, 0.9853002, 1.0209997, 1e-3),
        (1.0, 0.585919594, 0.8825873, 1.1932082, 5e-3),
        (10.0, 0.291147206, 0.622453, 2.2670175, 0.02),
        (100.0, 0.255576807, 0.5191082, None, 0.0),
    ],
)
def test_disc_with_a_linear_law_agrees_with_the_series(
    j: float, resistance: float, centre: float, rim: float | None, near: float
) -> None:
    """J = a / (kappa R_ct). At the rim the mean of the outermost ring, 0.06 % of the radius wide."""
    cell, edges = disc()
    found = cell.solved(Linear(1 / j))
    case = f"linear law, J {j:g}"
    hold(DISC, case, "resistance", 1 / found.cathode_current, resistance, rtol=2e-3, panels=cell.panels, source=SERIES)
    inner, outer = local(cell, edges, cell.density(found), [0.0, 1.0])
    hold(DISC, case, "i / mean at centre", inner, centre, rtol=0.01, panels=cell.panels, source=SERIES)
    if rim is not None:
        hold(DISC, case, "i / mean at rim", outer, rim, rtol=near, panels=cell.panels, source=SERIES)


def test_profile_of_the_disc_with_a_linear_law_agrees_with_the_series() -> None:
    """J = 5 at r / a 0, 0.25, 0.5, 0.75, 0.9, 0.95."""
    cell, edges = disc()
    found = local(cell, edges, cell.density(cell.solved(Linear(0.2))), [0.0, 0.25, 0.5, 0.75, 0.9, 0.95])
    assert_allclose(found, [0.69531, 0.71602, 0.78941, 0.972, 1.23661, 1.40678], rtol=8e-3, atol=0)


@pytest.mark.parametrize(
    ("delta", "volts", "shares"),
    [(1.0, 0.83717496, (0.885622, 0.928594, 1.083845)), (10.0, 8.05691599, (0.630384, 0.715466, 1.251436))],
)
def test_disc_with_a_tafel_law_agrees_with_the_series(delta: float, volts: float, shares: tuple[float, ...]) -> None:
    """delta = mean a / (kappa beta): V / beta, and i / mean at r / a 0, 0.5, 0.9."""
    cell, edges = disc()
    found, over = cell.tafel(1 / delta, 1.0)
    case = f"Tafel law, mean a / (kappa beta) {delta:g}"
    hold(DISC, case, "(V - drop at mean) / beta", over, volts, rtol=3e-3, panels=cell.panels, source=SERIES)
    got = local(cell, edges, cell.density(found), [0.0, 0.5, 0.9])
    hold(DISC, case, "i / mean at centre", got[0], shares[0], rtol=0.01, panels=cell.panels, source=SERIES)
    assert_allclose(got[1:], shares[1:], rtol=3e-3, atol=0)


@pytest.mark.parametrize(
    ("depth", "resistance", "shares"),
    [
        (0.25, 0.34022165, (0.7534, 0.85948)),
        (1.0, 0.57985424, (0.980817, 0.994255)),
        (2.0, 0.89816681, (0.999568, 0.999882)),
    ],
)
def test_recessed_disc_agrees_with_mode_matching(depth: float, resistance: float, shares: tuple[float, ...]) -> None:
    """i / mean at r / a 0 and 0.5."""
    cell, edges = recess(depth)
    found = cell.solved()
    case = f"depth {depth:g} a"
    hold(RECESS, case, "resistance", 1 / found.cathode_current, resistance, rtol=4e-3, panels=cell.panels, source=MODES)
    got = local(cell, edges, cell.density(found), [0.0, 0.5])
    for name, one, known in zip(("centre", "half way"), got, shares, strict=True):
        hold(RECESS, case, f"i / mean at {name}", one, known, rtol=5e-3, panels=cell.panels, source=MODES)


def test_a_deep_recess_adds_the_end_correction_of_its_mouth() -> None:
    """R = (L + delta) / (pi kappa a2), delta = 0.821674 a (Rayleigh, Theory of Sound: under 0.8242; King 1936: 0.8217)."""
    cell, _ = recess(2.0)
    found = np.pi / cell.solved().cathode_current - 2.0
    hold(
        RECESS, "depth 2 a", "end correction / a", found, 0.821674, rtol=4e-3, panels=cell.panels, source="King (1936)"
    )
