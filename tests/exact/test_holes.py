"""Slots and round holes with plated walls: how fast the current dies away inwards, and the slender hole's own law.

A driven mouth and an end that insulates: half of a through one. Decay constants: separation of variables, elementary;
the slender hole: one dimension, the group L2 / d of Kessler & Alkire, J. Electrochem. Soc. 123 (1976) 990, and Lanzi &
Landau, J. Electrochem. Soc. 135 (1988) 1922 (both from memory).
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.profiles import along, strip_means
from helpers.revolved import revolved
from helpers.slabs import crowded, rectangle, slab
from helpers.validation import hold
from numpy.testing import assert_allclose
from scipy.optimize import brentq, minimize_scalar
from scipy.special import j0, j1, jn_zeros

from geom.arrays import Floats
from geom.bem.problem import BoundaryLaw, BoundarySolution
from geom.electrode.laws import Linear

DECAY, SLENDER = "decay-in-holes", "slender-hole"
SEPARATION = "separation of variables"
DEEP = 3.0  # in half-widths or radii
MOUTH_CELLS, MOUTH = 6, 10  # the mouth's strips or rings, each with its own tag from ``MOUTH``
FEED = 0.5  # of the mouth's law [ohm m2]


@dataclass(frozen=True)
class Held:
    """A mouth held at a potential through a resistance."""

    potential: float
    resistance: float

    def current(self, drop: Floats) -> Floats:
        """Out of the electrolyte."""
        return np.asarray((drop - self.potential) / self.resistance)

    def slope(self, drop: Floats) -> Floats:
        """Everywhere the same."""
        return np.full_like(drop, 1.0 / self.resistance)

    def drop(self, current: Floats) -> Floats:
        """Its inverse."""
        return np.asarray(self.potential + self.resistance * current)


@cache
def slot() -> tuple[Kept, Floats, Floats]:
    """Half of a slot of half-width 1; edges of the wall's strips from the mouth at x = 0, and of the mouth's."""
    edges = crowded(0.0, DEEP, 24, 1.4)
    across = crowded(0.0, 1.0, MOUTH_CELLS, 1.4, to="stop")
    mouth = MOUTH + np.arange(MOUTH_CELLS)
    cell = slab(rectangle, edges, across, (mouth, 0, 0, 1), 3.0)
    return Kept(cell, anodes=tuple((int(tag), None) for tag in mouth)), edges, across


@cache
def hole() -> tuple[Kept, Floats, Floats]:
    """A round hole of radius 1; edges of the wall's rings from the mouth at z = 0 downwards, and of the mouth's."""
    edges = crowded(0.0, DEEP, 22, 1.4)
    radii = crowded(0.0, 1.0, MOUTH_CELLS, 1.2, to="stop")
    rings = [(radii[k : k + 2][::-1], np.zeros(2), MOUTH + k) for k in range(MOUTH_CELLS)]
    lines = [(radii, 0 * radii - DEEP, 0), (1 + 0 * edges, -edges[::-1], 1), *rings]
    return (Kept(revolved(lines, 20), anodes=tuple((MOUTH + k, None) for k in range(MOUTH_CELLS))), edges, radii)


def inwards(cell: Kept, *, flat: bool) -> Floats:
    """(k,) distance from the mouth of the wall's panels: along x in the slot, down in the hole."""
    return cell.middles(lambda points: points[:, 0] if flat else -points[:, 2])


def fallen(rate: float, law: BoundaryLaw | None, *, flat: bool) -> tuple[float, Floats]:
    """Rate at which the wall's current density falls, and its strip means over those of the mode of ``rate``.

    The mouth is held at the shape of the first mode, cos(rate y) or J0(rate r), one over the wall's metal in the
    middle, so that no other mode is there to die away; the end insulates: i falls as cosh(rate (D - x)).
    """
    cell, edges, mouth = slot() if flat else hole()
    inside = np.diff(np.sin(rate * mouth) / rate if flat else mouth * j1(rate * mouth) / rate)
    shape = inside / np.diff(mouth if flat else 0.5 * mouth**2)
    strength = 1.0 + FEED * rate * math.tanh(rate * DEEP)  # what the feed's resistance takes
    laws = tuple(
        (tag, Held(float(one) * strength - 1.0, FEED)) for (tag, _), one in zip(cell.anodes, shape, strict=True)
    )
    found = cell.solved(law, anodes=laws)
    mean, _ = strip_means(cell.density(found), cell.areas, inwards(cell, flat=flat), edges)
    wall = math.sin(rate) if flat else float(j1(rate))
    known = -wall * np.diff(np.sinh(rate * (DEEP - edges))) / np.diff(edges) / math.cosh(rate * DEEP)

    def miss(trial: float) -> float:
        guess = -np.diff(np.sinh(trial * (DEEP - edges))) / np.diff(edges)
        return float(np.var((np.log(mean) - np.log(guess))[some]))

    some = (edges[:-1] > 0.3) & (edges[1:] < 2.2)
    fit = minimize_scalar(miss, bounds=(0.5 * rate, 2.0 * rate), method="bounded", options={"xatol": 1e-9})
    return float(fit.x), np.asarray(mean / known)[some]


def slot_rate(biot: float) -> float:
    """lam tan lam = Bi."""
    return float(brentq(lambda x: x * math.tan(x) - biot, 1e-9, 0.5 * math.pi - 1e-9))


def hole_rate(biot: float) -> float:
    """lam J1(lam) = Bi J0(lam)."""
    return float(brentq(lambda x: x * j1(x) - biot * j0(x), 1e-9, 2.4048))


def test_primary_current_in_a_slot_falls_by_pi_over_its_width() -> None:
    rate, shares = fallen(0.5 * math.pi, None, flat=True)
    assert_allclose(shares, 1.0, rtol=0.02, atol=0)
    panels = slot()[0].panels
    hold(DECAY, "slot, primary", "rate * width", 2 * rate, math.pi, rtol=5e-3, panels=panels, source=SEPARATION)


def test_primary_current_in_a_round_hole_falls_by_the_first_zero_of_bessel_over_its_radius() -> None:
    """exp(-2.404826 x / a)."""
    known = float(jn_zeros(0, 1)[0])
    rate, shares = fallen(known, None, flat=False)
    assert_allclose(shares, 1.0, rtol=0.08, atol=0)
    panels = hole()[0].panels
    hold(DECAY, "round hole, primary", "rate * radius", rate, known, rtol=0.015, panels=panels, source=SEPARATION)


@pytest.mark.parametrize(("biot", "known"), [(0.1, 0.3110528482), (1.0, 0.86033358902), (10.0, 1.42887001121)])
def test_polarized_current_in_a_slot_falls_at_the_rate_of_its_first_mode(biot: float, known: float) -> None:
    """Bi = h / (kappa R_ct), h the half-width."""
    assert_allclose(slot_rate(biot), known, rtol=1e-9, atol=0)
    rate, shares = fallen(known, Linear(1 / biot), flat=True)
    assert_allclose(shares, 1.0, rtol=0.02, atol=0)
    case, panels = f"slot, Bi {biot:g}", slot()[0].panels
    hold(DECAY, case, "rate * half-width", rate, known, rtol=5e-3, panels=panels, source=SEPARATION)


@pytest.mark.parametrize(("biot", "known"), [(0.1, 0.44168178287), (1.0, 1.25578371179), (10.0, 2.17949659666)])
def test_polarized_current_in_a_round_hole_falls_at_the_rate_of_its_first_mode(biot: float, known: float) -> None:
    """Bi = a / (kappa R_ct)."""
    assert_allclose(hole_rate(biot), known, rtol=1e-9, atol=0)
    rate, shares = fallen(known, Linear(1 / biot), flat=False)
    assert_allclose(shares, 1.0, rtol=0.08, atol=0)
    case, panels = f"round hole, Bi {biot:g}", hole()[0].panels
    hold(DECAY, case, "rate * radius", rate, known, rtol=0.015, panels=panels, source=SEPARATION)


HALF_LENGTH, DIAMETER = 8.0, 2.0  # of a through hole eight diameters long


@cache
def slender() -> tuple[Kept, Floats]:
    """Half of it, its mouth of even potential at z = 0; the wall's rings count from its middle."""
    edges = crowded(0.0, HALF_LENGTH, 24, 1.6, to="stop")
    radii = np.linspace(0.0, 1.0, 6)
    lid = crowded(0.0, 1.0, 6, 1.6, to="stop")[::-1]
    lines = [(radii, 0 * radii - HALF_LENGTH, 0), (1 + 0 * edges, edges - HALF_LENGTH, 1), (lid, 0 * lid, 2)]
    return Kept(revolved(lines, 20)), edges


def ends(found: BoundarySolution) -> tuple[float, float]:
    """i at the centre over i at the mouth, and over the mean."""
    cell, edges = slender()
    where = cell.middles(lambda points: points[:, 2] + HALF_LENGTH)
    centre, mouth = along(cell.density(found), cell.areas, where, edges, np.array([0.0, HALF_LENGTH]))
    return float(centre / mouth), float(centre)


@pytest.mark.parametrize(("nu", "known"), [(0.5, 0.886818883970074), (1.0, 0.648054273663885), (2.0, 0.26580222883408)])
def test_slender_hole_with_a_linear_law_follows_its_one_dimensional_law(nu: float, known: float) -> None:
    """i centre / i mouth = 1 / cosh(nu), nu = (L / 2) sqrt(4 / (d kappa R_ct)); L = 8 d.

    The field in full has 1 / cosh(lam L / 2) but for the mouth: 0.006 %, 0.07 % and 0.75 % more than one dimension.
    """
    resistance = 4 / DIAMETER * (HALF_LENGTH / nu) ** 2
    assert_allclose(1 / math.cosh(nu), known, rtol=1e-12, atol=0)
    full = 1 / math.cosh(HALF_LENGTH * hole_rate(1 / resistance))
    assert_allclose(full, known, rtol=8e-3, atol=0)
    cell = slender()[0]
    found = ends(cell.solved(Linear(resistance)))[0]
    case = f"linear law, nu {nu:g}"
    hold(SLENDER, case, "i centre / i mouth", found, full, rtol=5e-3, panels=cell.panels, source="first mode")
    hold(
        SLENDER,
        case,
        "i centre / i mouth, slender",
        found,
        known,
        rtol=0.01,
        panels=cell.panels,
        source="one dimension",
    )


def tafel_form(x: float) -> tuple[float, float]:
    """i centre over mouth cos2(theta), over mean theta / tan(theta), 2 theta tan(theta) = X."""
    theta = float(brentq(lambda t: 2 * t * math.tan(t) - x, 1e-9, 0.5 * math.pi - 1e-9))
    return math.cos(theta) ** 2, theta / math.tan(theta)


@pytest.mark.parametrize(
    ("x", "to_mouth", "to_mean"),
    [
        (0.5, 0.786682625962612, 0.921962673589739),
        (1.0, 0.630594595291773, 0.853526487775461),
        (5.0, 0.172698487554556, 0.521872875114393),
    ],
)
def test_slender_hole_with_a_tafel_law_follows_its_one_dimensional_law(
    x: float, to_mouth: float, to_mean: float
) -> None:
    """X = mean L2 / (d kappa beta), L = 8 d; one dimension leaves out mean d / (8 kappa beta) = X / 512 across the hole."""
    assert_allclose(tafel_form(x), (to_mouth, to_mean), rtol=1e-12, atol=0)
    cell = slender()[0]
    mouth, mean = ends(cell.tafel((2 * HALF_LENGTH) ** 2 / (DIAMETER * x), 1.0)[0])
    case = f"Tafel law, X {x:g}"
    hold(SLENDER, case, "i centre / i mouth", mouth, to_mouth, rtol=0.012, panels=cell.panels, source="one dimension")
    hold(SLENDER, case, "i centre / mean", mean, to_mean, rtol=6e-3, panels=cell.panels, source="one dimension")
