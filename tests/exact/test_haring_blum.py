"""The Haring-Blum cell: two cathodes in one trough, five times as far from the anode the one as the other.

The field is even in both arms, so that the shares follow from the laws alone; Field's throwing power is
100 (L - M) / (L + M - 2) % with L the ratio of distances and M of deposits (McCormick & Kuhn, Trans. IMF 71 (1993) 74).
"""

from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.meshes import box_panels, graded
from helpers.validation import hold
from scipy.optimize import brentq

from geom.bem.problem import BoundarySolution
from geom.electrode.laws import Linear
from geom.surface.solid import joined

TABLE = "haring-blum"
NEAR, FAR, WIDTH, HEIGHT = 0.04, 0.20, 0.12, 0.10  # [m]
RATIO = FAR / NEAR
SHEET = 1e-3  # thickness of the anode, which parts the trough [m]
NEAR_END, FAR_END = 11, 20


@cache
def trough() -> Kept:
    """Two arms that share nothing but the anode's metal."""
    low, high = np.array([0.0, 0.0, 0.0]), np.array([NEAR, WIDTH, HEIGHT])
    side = graded(2)
    near = box_panels(low, high, (graded(6), side, side), 10)
    long_low, long_high = np.array([-SHEET - FAR, 0.0, 0.0]), np.array([-SHEET, WIDTH, HEIGHT])
    far = box_panels(long_low, long_high, (graded(12, 1.3), side, side), 20)
    return Kept(joined([near, far]), anodes=((10, None), (21, None)), cathode=(NEAR_END, FAR_END), conductivity=10.0)


def shares(found: BoundarySolution) -> tuple[float, float]:
    """Metal ratio near to far, and throwing power [%]."""
    ratio = trough().within([NEAR_END], found) / trough().within([FAR_END], found)
    return ratio, 100 * (RATIO - ratio) / (RATIO + ratio - 2)


def linear_form(w: float) -> float:
    """M = (L + W) / (1 + W)."""
    return (RATIO + w) / (1 + w)


def tafel_form(w: float) -> float:
    """Root of 2 M / ((1 + M) W) + ln M = 2 L / ((1 + M) W)."""
    return float(brentq(lambda m: 2 * m / ((1 + m) * w) + np.log(m) - 2 * RATIO / ((1 + m) * w), 1.0, RATIO))


def held(case: str, found: BoundarySolution, known: float) -> None:
    """Hold both figures to those that follow from the known ratio."""
    ratio, power = shares(found)
    hold(TABLE, case, "metal ratio", ratio, known, rtol=2e-3, panels=trough().panels, source="closed form")
    thrown = 100 * (RATIO - known) / (RATIO + known - 2)
    hold(
        TABLE,
        case,
        "throwing power, %",
        power,
        thrown,
        rtol=0.2 / thrown,
        panels=trough().panels,
        source="Field's formula",
    )


def test_without_polarization_the_deposits_are_as_the_distances() -> None:
    ratio, power = shares(trough().solved())
    hold(TABLE, "primary", "metal ratio", ratio, RATIO, rtol=2e-3, panels=trough().panels, source="Ohm's law")
    assert abs(power) < 0.2


@pytest.mark.parametrize(
    ("w", "thrown"), [(0.1, 4.7619048), (0.5, 20.0), (1.0, 100 / 3), (2.0, 50.0), (5.0, 71.428571)]
)
def test_a_linear_law_throws_as_the_closed_form_says(w: float, thrown: float) -> None:
    """W = kappa R_ct / near distance."""
    known = linear_form(w)
    assert abs(100 * (RATIO - known) / (RATIO + known - 2) / thrown - 1) < 1e-6
    cell = trough()
    held(f"linear law, W {w:g}", cell.solved(Linear(w * NEAR / cell.conductivity)), known)


@pytest.mark.parametrize(
    ("w", "known"), [(0.1, 4.575994651707), (1.0, 2.910798174026), (2.0, 2.285118752438), (5.0, 1.655162804388)]
)
def test_a_tafel_law_throws_as_the_closed_form_says(w: float, known: float) -> None:
    """W = kappa beta / (mean * near distance), the mean over both cathodes."""
    assert abs(tafel_form(w) / known - 1) < 1e-9
    held(f"Tafel law, W {w:g}", trough().tafel(w, NEAR)[0], known)
