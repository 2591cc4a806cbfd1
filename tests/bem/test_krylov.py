"""GMRES against a direct solve."""

import numpy as np
import pytest
from helpers.meshes import cube, icosphere, turned_over
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.bem.krylov import gmres
from geom.bem.operators import assemble
from geom.bem.problem import ElectrodePatch, Voltage
from geom.bem.solve import solve


def solved(matrix: Floats, rhs: Floats, tolerance: float) -> tuple[Floats, int]:
    return gmres(lambda x: matrix @ x, rhs, tolerance * np.linalg.norm(rhs, axis=0))


@pytest.mark.parametrize("seed", range(4))
def test_gmres_agrees_with_a_direct_solve(seed: int) -> None:
    rng = np.random.default_rng(seed)
    matrix = np.eye(60) + 0.5 * rng.standard_normal((60, 60)) / np.sqrt(60)
    rhs = rng.standard_normal((60, 2))
    found, count = solved(matrix, rhs, 1e-11)
    exact = np.linalg.solve(matrix, rhs)
    assert np.linalg.norm(found - exact) < 1e-9 * np.linalg.norm(exact)
    assert count <= 60


def test_gmres_is_told_how_near_is_near_enough() -> None:
    rng = np.random.default_rng(5)
    matrix = np.eye(60) + 0.5 * rng.standard_normal((60, 60)) / np.sqrt(60)
    rhs = rng.standard_normal((60, 2))
    for tolerance in (1e-2, 1e-5):
        found, _ = solved(matrix, rhs, tolerance)
        miss = np.linalg.norm(matrix @ found - rhs, axis=0) / np.linalg.norm(rhs, axis=0)
        assert np.all(miss < 1.001 * tolerance)
        assert np.all(miss > 1e-3 * tolerance)


def test_gmres_has_nothing_to_do_without_a_right_side() -> None:
    found, count = gmres(lambda x: 2 * x, np.zeros((8, 2)), np.zeros(2))
    assert count == 0
    assert not np.any(found)


def test_gmres_meets_a_column_that_is_done_beside_one_that_is_not() -> None:
    """One column zero or an eigenvector, the other full: neither spoils the other."""
    matrix = np.diag(np.arange(1.0, 9.0))
    for first in (np.zeros(8), np.eye(8)[2]):
        found, _ = solved(matrix, np.stack([first, np.ones(8)], axis=1), 1e-12)
        assert_allclose(found[:, 1], 1 / np.arange(1.0, 9.0), rtol=1e-10, atol=0)
        assert np.abs(found[:, 0] - first / 3.0).max() < 1e-12


def test_gmres_takes_as_many_steps_as_there_are_eigenvalues() -> None:
    """Saad & Schultz (1986): exact after as many steps as the minimal polynomial has degrees."""
    matrix = np.diag(np.repeat([1.0, 2.0, 5.0], 10))
    assert solved(matrix, np.ones((30, 1)), 1e-10)[1] == 3


def test_primary_current_of_the_solver_is_that_of_a_dense_solve() -> None:
    """An isolated body at 1 V: single layer times flux = row sums, by `numpy.linalg.solve` on the same matrices."""
    surface = turned_over(cube(4, 2.0))
    everything = np.arange(len(surface.faces))
    operators = assemble(surface, everything, enclosed=False, dtype=np.float64)
    patch = ElectrodePatch(everything, None)
    found = solve(operators, anodes=[], cathodes=[patch], conductivity=3.0, control=Voltage(1.0))
    potential = -np.ones(len(everything))
    double, single = operators.matrices()
    flux = np.linalg.solve(single, operators.free * potential + double @ potential)
    exact = -3.0 * flux
    assert_allclose(found.cathode_current, exact @ surface.areas, rtol=1e-4, atol=0)
    assert np.linalg.norm(found.current_density - exact) < 1e-3 * np.linalg.norm(exact)


def test_single_precision_changes_the_current_by_less_than_a_hundred_thousandth() -> None:
    surface = turned_over(icosphere(3))
    everything = np.arange(len(surface.faces))
    patch = ElectrodePatch(everything, None)
    found = [
        solve(
            assemble(surface, everything, enclosed=False, dtype=dtype),
            anodes=[],
            cathodes=[patch],
            conductivity=1.0,
            control=Voltage(1.0),
        ).cathode_current
        for dtype in (np.float32, np.float64)
    ]
    assert_allclose(found[0], found[1], rtol=1e-5, atol=0)
