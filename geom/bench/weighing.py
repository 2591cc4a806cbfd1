"""Efficiency from what the balance found: of coupons and of logged runs alike."""

from collections.abc import Sequence

import numpy as np

from geom.arrays import Floats
from geom.bench.fit import Mean, weighted_mean

RUN_TO_RUN = 0.03
"""How much the efficiency of one run differs from the next, a standard deviation as a share, before the runs show it
themselves; common practice, no source."""

RUN_WORTH = 2.0
"""How many runs that guess is worth."""

BALANCE_ERROR = float(np.sqrt(2.0 / 12.0))
"""Standard deviation of the difference of two readings, each even over one step of the balance."""


def balance_errors(steps: Sequence[float], full: Floats) -> Floats:
    """Return (n,) standard deviations that the balance alone gives efficiencies; ``full`` is the metal at 100 % [kg]."""
    return np.asarray(BALANCE_ERROR * np.asarray(steps) / full)


def mean_efficiency(values: Floats, balance: Floats, meters_to: float) -> Mean:
    """Return the mean of (n,) efficiencies of weighed runs.

    ``balance`` are their own standard deviations; ``meters_to`` is how far ammeter and clock may be off together, as a
    share: the same in every run, so that runs do not even it out.
    """
    middle = float(values.mean())
    return weighted_mean(values, balance, RUN_TO_RUN * middle, RUN_WORTH, [meters_to * middle])
