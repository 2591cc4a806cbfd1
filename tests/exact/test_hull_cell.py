"""The 267 mL Hull cell: between insulating bottom and liquid surface it is a problem in two dimensions.

Inside plan of the trade standard (Hull 1939; dimensions from memory, they give 267 mL at 48.16 mm): short side
1 7/8 in, long side 5 in, anode 2 1/2 in; the cathode is what closes the trapezium. Current densities and resistance:
problem of Matlosz, Creton, Clerc & Landolt, J. Electrochem. Soc. 134 (1987) 3015, by an integral equation of our own;
primary: Schwarz & Christoffel's map, as West, Matlosz & Landolt, J. Appl. Electrochem. 22 (1992) 301.
"""

from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.profiles import along
from helpers.slabs import crowded, slab
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.bem.problem import BoundarySolution
from geom.electrode.laws import Linear

TABLE = "hull-cell"
SHORT, LONG, ANODE, DEPTH = 47.625e-3, 127.0e-3, 63.5e-3, 48.157e-3  # [m]
CATHODE = float(np.hypot(LONG - SHORT, ANODE))
PLACES = [0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9]  # from the end near the anode, as a share of the cathode
EQUATION = "integral equation of our own"


@cache
def hull(depth: float = 3.0 * DEPTH) -> tuple[Kept, Floats]:
    """Anode at x = 0, long side at y = 0; and the edges of the cathode's strips as shares of y from the far end.

    Crowded to the short side, which the cathode meets at 141 degrees, to the cathode and to the sharp far corner.
    """
    edges = 1.0 - (1.0 - (np.arange(19) / 18) ** 1.5) ** 2.5
    across = crowded(0.0, 1.0, 16, 1.5, to="stop")

    def place(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        return u * (LONG + (SHORT - LONG) * v), ANODE * v

    return Kept(slab(place, across, edges, (2, 1, 0, 0), depth), conductivity=10.0), edges


def local(found: BoundarySolution, at: list[float]) -> Floats:
    """Local over mean current density at shares of the cathode from the near end."""
    cell, edges = hull()
    where = cell.middles(lambda points: points[:, 1] / ANODE)
    return along(cell.density(found), cell.areas, where, edges, 1.0 - np.array(at))


def resistance(found: BoundarySolution) -> float:
    """R kappa depth."""
    return found.voltage / found.cathode_current * hull()[0].conductivity * 3.0 * DEPTH


def test_the_cell_holds_267_ml() -> None:
    assert_allclose(0.5 * (SHORT + LONG) * ANODE * DEPTH, 267e-6, rtol=1e-4, atol=0)
    assert_allclose(hull()[0].surface.volume, 3 * 267e-6, rtol=1e-4, atol=0)


def test_primary_resistance_of_the_hull_cell_agrees_with_the_conformal_map() -> None:
    cell, _ = hull()
    found = resistance(cell.solved())
    hold(
        TABLE,
        "primary",
        "R kappa depth",
        found,
        1.05631722684665,
        rtol=4e-3,
        panels=cell.panels,
        source="conformal map",
    )


def test_primary_current_along_the_hull_cell_agrees_with_the_conformal_map_and_the_published_table() -> None:
    """At 0.26, 0.52, 1.02, 3.05, 3.45 and 3.63 in from the near end.

    Map, to its digits: 2.554, 1.899, 1.324, 0.263, 0.127, 0.075. McCormick & Kuhn, Trans. IMF 71 (1993) 74, table 1,
    from the analogue of Rousselot: 2.5, 1.8, 1.3, 0.26, 0.15, 0.1.
    """
    cell, _ = hull()
    inches = np.array([0.26, 0.52, 1.02, 3.05, 3.45, 3.63])
    found = local(cell.solved(), list(inches * 25.4e-3 / CATHODE))
    map_, analogue = [2.554, 1.899, 1.324, 0.263, 0.127, 0.075], [2.5, 1.8, 1.3, 0.26, 0.15, 0.1]
    assert_allclose(found[:4], map_[:4], rtol=5e-3, atol=0)
    assert_allclose(found[4:], map_[4:], rtol=0.03, atol=0)
    assert np.abs(found - analogue).max() < 0.11
    for inch, one, known in zip(inches[:4], found, analogue, strict=False):
        quantity = f"i / mean at {inch:g} in"
        hold(TABLE, "primary", quantity, one, known, rtol=0.06, panels=cell.panels, source="McCormick & Kuhn (1993)")


LINEAR = [
    (0.05, 1.149407, (3.59007, 2.70458, 2.17227, 1.41913, 0.79203, 0.3557, 0.14695), 4.08296),
    (0.1, 1.228542, (2.951, 2.44017, 2.06309, 1.43099, 0.84137, 0.41642, 0.20573), 3.17832),
    (0.5, 1.736669, (1.78662, 1.67791, 1.56697, 1.3033, 0.9604, 0.66731, 0.50523), 1.82117),
    (2.0, 3.321784, (1.26518, 1.23919, 1.20887, 1.12464, 0.99511, 0.87207, 0.80011), 1.27227),
]


@pytest.mark.parametrize(("wagner", "known", "shares", "near"), LINEAR)
def test_hull_cell_with_a_linear_law_agrees_with_the_integral_equation(
    wagner: float, known: float, shares: tuple[float, ...], near: float
) -> None:
    """Wa = kappa R_ct / cathode length."""
    cell, _ = hull()
    found = cell.solved(Linear(wagner * CATHODE / cell.conductivity))
    case = f"linear law, Wa {wagner:g}"
    hold(TABLE, case, "R kappa depth", resistance(found), known, rtol=4e-3, panels=cell.panels, source=EQUATION)
    compare(case, found, shares, near)


TAFEL = [
    (0.05, 21.5731, (4.47952, 2.75095, 2.10814, 1.34023, 0.73448, 0.35139, 0.20591), None),
    (0.2, 5.659306, (2.90542, 2.29523, 1.91151, 1.32662, 0.82134, 0.50678, 0.37617), 3.2382),
    (1.0, 1.252832, (1.54539, 1.46596, 1.38438, 1.1933, 0.9592, 0.77975, 0.69026), 1.56996),
]


@pytest.mark.parametrize(("wagner", "volts", "shares", "near"), TAFEL)
def test_hull_cell_with_a_tafel_law_agrees_with_the_integral_equation(
    wagner: float, volts: float, shares: tuple[float, ...], near: float | None
) -> None:
    """Wa = kappa beta / (mean * cathode length)."""
    cell, _ = hull()
    found, over = cell.tafel(wagner, CATHODE)
    case = f"Tafel law, Wa {wagner:g}"
    hold(TABLE, case, "(V - drop at mean) / beta", over, volts, rtol=4e-3, panels=cell.panels, source=EQUATION)
    compare(case, found, shares, near)


def compare(case: str, found: BoundarySolution, shares: tuple[float, ...], near: float | None) -> None:
    """Hold current densities to those of the integral equation; the near end is the mean of 0.07 % of the length."""
    cell, _ = hull()
    values = local(found, PLACES)
    assert_allclose(values, shares, rtol=0.012, atol=0)
    for place, value, known in zip(PLACES[1:6:2], values[1:6:2], shares[1:6:2], strict=True):
        hold(TABLE, case, f"i / mean at x / L {place:g}", value, known, rtol=3e-3, panels=cell.panels, source=EQUATION)
    if near is not None:
        end = local(found, [0.0])[0]
        hold(TABLE, case, "i / mean at near end", end, near, rtol=0.015, panels=cell.panels, source=EQUATION)


def test_the_depth_of_the_cell_does_not_matter() -> None:
    """A third of the depth: nothing changes but the error of the panels, now three times nearer to their likes."""
    law = Linear(0.1 * CATHODE / 10.0)
    shallow, deep = hull(DEPTH)[0].solved(law), hull()[0].solved(law)
    assert_allclose(3 * shallow.cathode_current, deep.cathode_current, rtol=6e-3, atol=0)
