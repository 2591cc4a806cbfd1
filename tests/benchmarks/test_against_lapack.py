"""Times as ratios to a peer in the same run; kept out of the plain run: ``pytest -m benchmark -s``."""

import time
from collections.abc import Callable

import numpy as np
import pytest
from helpers.cells import reference_cell

from geom.bem.problem import Voltage
from geom.electrode.laws import Linear
from geom.field import prepare, solve_field
from geom.panels import MeshOptions, mesh_cell


def best_of(runs: int, work: Callable[[], object]) -> float:
    """Return the least time of several runs, the first (compiling) one not counted [s]."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.benchmark
def test_the_iteration_is_quicker_than_a_direct_solve_of_as_many_unknowns() -> None:
    cell = reference_cell(Linear(1.3e-4))
    prepared = prepare(cell, mesh_cell(cell, MeshOptions(budget=4000)))
    count = len(prepared.panels.body)
    rng = np.random.default_rng(1)
    matrix = np.eye(count, dtype=np.float32) + rng.random((count, count), dtype=np.float32) / count
    rhs = np.ones((count, 2), dtype=np.float32)
    ours = best_of(3, lambda: solve_field(prepared, Voltage(1.0)))
    direct = best_of(3, lambda: np.linalg.solve(matrix, rhs))
    print(f"{count} panels: iteration {ours:.2f} s, LAPACK {direct:.2f} s, ratio {ours / direct:.2f}")
    assert ours < direct
