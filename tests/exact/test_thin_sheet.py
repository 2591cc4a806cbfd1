"""Sheets far thinner than their panels are wide: where near-singular integrals go wrong first."""

import math

import numpy as np
import pytest
from helpers import analytic
from helpers.electrodes import alone
from helpers.meshes import box_panels, graded, turned_over
from numpy.testing import assert_allclose

from geom.bem.operators import assemble
from geom.surface.surface import Surface

KAPPA = 2.0


def sheet(thickness: float, n: int = 7) -> Surface:
    """A square sheet of side 1, panels crowded to its edges, one panel pair across the thickness."""
    share = graded(n, 2.0)
    return box_panels(np.zeros(3), np.array([1.0, 1.0, thickness]), (share, share, np.array([0.0, 1.0])))


@pytest.mark.parametrize("thickness", [0.1, 1e-2, 1e-3, 1e-4])
def test_row_sums_of_a_thin_sheet_obey_the_theorem_of_gauss(thickness: float) -> None:
    assert assemble(turned_over(sheet(thickness)), np.arange(0), enclosed=False, dtype=np.float64).gauss_error < 2e-4


def test_a_square_sheet_comes_down_to_the_published_square_plate_as_it_gets_thinner() -> None:
    """Hwang & Mascagni, J. Appl. Phys. 95 (2004) 3798 and Read (1997): 0.3667874 for the plate without thickness.

    A body within another has the smaller capacitance, so that a sheet is above the plate, the more the thicker.
    """
    found = [
        alone(sheet(thickness), conductivity=KAPPA).cathode_current / (4 * math.pi * KAPPA)
        for thickness in (0.03, 0.01, 0.003, 0.001)
    ]
    assert np.all(np.diff(found) < 0)
    assert found[0] > 1.02 * analytic.SQUARE_PLATE
    assert_allclose(found[-1], analytic.SQUARE_PLATE, rtol=4e-3, atol=0)
