"""What weighed runs show, by hand."""

import numpy as np
import pytest

from geom.bench.weighing import balance_errors, mean_efficiency


def test_the_balance_is_read_twice_each_time_off_by_anything_within_half_a_step() -> None:
    """Each is off by a step over the root of 12 (even within it); the difference of two by the root of 2 more."""
    assert balance_errors([0.01e-3], np.array([0.5e-3]))[0] == pytest.approx(0.02 / np.sqrt(6.0), rel=1e-12)


def test_one_run_is_as_sure_as_runs_usually_are() -> None:
    """3 %, worth two runs: 4.303 deviations to either side (Student's t of two degrees of freedom, published table)."""
    found = mean_efficiency(np.array([0.6]), np.array([0.0]), 0.0)
    assert found.half == pytest.approx(4.303 * 0.03 * 0.6, rel=1e-3)


def test_a_meter_that_is_off_in_all_runs_alike_is_not_evened_out() -> None:
    runs = np.full(400, 0.6)
    sure = mean_efficiency(runs, np.zeros(400), 0.0).half
    unsure = mean_efficiency(runs, np.zeros(400), 0.02).half
    assert sure < 0.003
    assert unsure > 0.95 * 0.02 * 0.6 * 0.99
