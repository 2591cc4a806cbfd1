"""How current density runs to an edge or a corner of the metal without polarization: exponents of the distance.

Near an outward edge the pointwise value means nothing, so the exponent is that of the current within a distance of
the edge, less one (of a square at a corner, less two). Panels are crowded to the edges by formula.
"""

from functools import cache

import numpy as np
from helpers.electrodes import alone, facing
from helpers.meshes import box_in_box, box_panels, cube, graded
from helpers.validation import hold

from geom.arrays import Bools, Floats
from geom.bem.problem import BoundarySolution
from geom.surface.surface import Surface

N, POWER = 10, 4.0
SHEET = 1e-5
TEXTBOOK = "angle of the liquid, i ~ r^(π/θ − 1)"


@cache
def cube_alone() -> tuple[Surface, BoundarySolution]:
    body = cube(N, POWER)
    return body, alone(body)


@cache
def sheet_alone() -> tuple[Surface, BoundarySolution]:
    share = graded(N, POWER)
    body = box_panels(np.zeros(3), np.array([1.0, 1.0, SHEET]), (share, share, np.array([0.0, 1.0])))
    return body, alone(body, dtype=np.float64)  # refused in single precision from 1/100,000 on, and rightly so


@cache
def room() -> tuple[Surface, BoundarySolution]:
    """A cubic anode of 0.3 amid a cubic cathode of 1, seen from inside."""
    surface = box_in_box(8, 0.3, 1.0, 1.0)
    return surface, facing(surface, anode=range(6), cathode=range(6, 12))


def from_edges(surface: Surface, side: Bools, middle: float) -> tuple[Floats, Floats]:
    """Distances of a side's panels from the nearer edge in x and in y."""
    x, y = surface.centroids[side, 0], surface.centroids[side, 1]
    return 0.5 - np.abs(x - middle), 0.5 - np.abs(y - middle)


def exponent(lines: Floats, totals: Floats, low: float, high: float) -> float:
    """Slope of ln(total) on ln(distance) over the grid lines from ``low`` to ``high``, four or more of them."""
    used = (lines >= low) & (lines <= high)
    assert np.count_nonzero(used) >= 4
    return float(np.polyfit(np.log(lines[used]), np.log(totals[used]), 1)[0])


def at_edge(surface: Surface, found: BoundarySolution, middle: float, low: float, high: float) -> float:
    """Of the upper side, on its middle strip across."""
    side = surface.tag == 5
    r, aside = from_edges(surface, side, middle)
    flow = (found.current_density * surface.areas)[side]
    lines = graded(N, POWER)[1 : N + 1]
    strip = aside > lines[N - 4]
    return exponent(lines, np.array([flow[strip & (r < line)].sum() for line in lines]), low, high) - 1.0


def at_corner(surface: Surface, found: BoundarySolution, middle: float, low: float, high: float) -> float:
    """Of the upper side, in squares at its corners."""
    side = surface.tag == 5
    r, aside = from_edges(surface, side, middle)
    flow = (found.current_density * surface.areas)[side]
    lines = graded(N, POWER)[1 : N + 1]
    return exponent(lines, np.array([flow[np.maximum(r, aside) < line].sum() for line in lines]), low, high) - 2.0


def test_current_density_rises_to_the_edge_of_a_bar_as_the_inverse_cube_root() -> None:
    """Rothwell & Cloud, Electromagnetics (CRC 2001), sec. 3.2.9: π/θ − 1 with θ = 270°."""
    found = at_edge(*cube_alone(), 0.0, 1e-3, 0.1)
    hold("corners", "edge of 90°", "exponent", found, -1 / 3, rtol=0.03, source=TEXTBOOK)


def test_current_density_rises_to_the_edge_of_a_thin_sheet_as_the_inverse_square_root() -> None:
    """The same with θ = 360°; the sheet is 1/100,000 thick, the fit from 1/1000 to 1/16 of its width."""
    found = at_edge(*sheet_alone(), 0.5, 3e-4, 0.05)
    hold("corners", "edge of a thin sheet", "exponent", found, -0.5, rtol=0.04, source=TEXTBOOK)


def test_current_density_rises_to_the_corner_of_a_cube_with_the_known_exponent() -> None:
    """0.45417371533061 − 1: the Fichera corner; Schmitz, Volk & Wendland, Numer. Methods PDE 9 (1993) 323 (from memory)."""
    found = at_corner(*cube_alone(), 0.0, 1e-3, 0.1)
    source = "Schmitz, Volk & Wendland (1993)"
    hold("corners", "corner of a cube", "exponent", found, 0.45417371533061 - 1, rtol=0.02, source=source)


def test_current_density_rises_to_the_corner_of_a_thin_sheet_with_the_known_exponent() -> None:
    """0.2966 − 1: Morrison & Lewis, SIAM J. Appl. Math. 31 (1976) 233 (from memory); digits computed by us."""
    found = at_corner(*sheet_alone(), 0.5, 1e-3, 0.1)
    source = "Morrison & Lewis (1976)"
    hold("corners", "corner of a thin sheet", "exponent", found, 0.2965845 - 1, rtol=0.04, source=source)


def strip_slope(values: Floats, r: Floats, rows: Bools, measure: Floats, low: float, high: float) -> float:
    """Slope of ln(mean) on ln(distance) over the strips of an even mesh whose middles lie within bounds."""
    width = 0.5 / 8
    middles = width * (np.arange(8) + 0.5)
    strip = np.floor(r / width).astype(int)
    means = [np.average(values[rows & (strip == k)], weights=measure[rows & (strip == k)]) for k in range(8)]
    used = (middles > low) & (middles < high)
    return float(np.polyfit(np.log(middles[used]), np.log(np.array(means)[used]), 1)[0])


def test_current_density_falls_to_an_inward_edge_in_proportion_to_the_distance() -> None:
    """π/θ − 1 = 1 with θ = 90°, from an eighth to a quarter of the width (nearer, see the next test)."""
    surface, found = room()
    side = surface.tag == 11
    r, aside = from_edges(surface, side, 0.0)
    density, areas = found.current_density[side], surface.areas[side]
    slope = strip_slope(density, r, aside > 0.25, areas, 0.1, 0.25)
    hold("corners", "inward edge of 90°", "exponent", slope, 1.0, rtol=0.06, source=TEXTBOOK)


def test_hardly_any_current_reaches_an_inward_corner_of_three_faces_and_none_runs_backwards() -> None:
    """The potential is as x y z there: i goes with the square of the distance. Panels next to the edge are low."""
    surface, found = room()
    side = surface.tag == 11
    r, aside = from_edges(surface, side, 0.0)
    density, areas = found.current_density[side], surface.areas[side]
    mean = density @ areas / areas.sum()
    assert density.min() > 0
    corner = np.maximum(r, aside) < 0.0625
    exact = 0.03125**2  # of the density at r = aside = 1, were it r * aside all the way
    ring = (np.abs(r - 0.15625) < 0.03) & (np.abs(aside - 0.15625) < 0.03)
    constant = np.average(density[ring], weights=areas[ring]) / 0.15625**2
    share = np.average(density[corner], weights=areas[corner]) / (constant * exact)
    assert 0.6 < share < 1.1
    assert np.average(density[corner], weights=areas[corner]) < 0.03 * mean
