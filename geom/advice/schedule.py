"""How long, and whether to turn the part: shares of time for two poses that lift the thinnest place most."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats
from geom.deposit import growth_rate, local_mean
from geom.field import Field

WORTH_TURNING = 0.93  # a turn must cut the time to this share or less to be worth the handling


@dataclass(frozen=True, slots=True)
class Schedule:
    """Times in each pose [s] until the lowest local thickness on the significant surface meets the target."""

    first: float
    second: float  # 0 when the part is not turned
    one_pose: float  # time without turning [s]
    turned: float | None  # time with the best turn [s]; None when the other pose cannot be had

    @property
    def time(self) -> float:
        """Whole time [s]."""
        return self.first + self.second


def time_to_thinnest(rate: Floats, significant: Bools, target: float) -> float:
    """Return the time until the slowest significant place reaches ``target`` [s]; inf where it never does."""
    slowest = float(rate[significant].min())
    return target / slowest if slowest > 0 else float("inf")


def best_schedule(first: Field, second: Field | None, significant: Bools, target: float) -> Schedule:
    """Return the shorter of one pose and two: shares in steps of 1 %, half and half where that is as good."""
    rate = local_mean(growth_rate(first), first.panels)
    alone = time_to_thinnest(rate, significant, target)
    if second is None:
        return Schedule(alone, 0.0, alone, None)
    other = local_mean(growth_rate(second), second.panels)
    shares = np.linspace(0.0, 1.0, 101)
    times = np.array([time_to_thinnest(s * rate + (1 - s) * other, significant, target) for s in shares])
    best = int(times.argmin())
    good = 1.02 * float(times[best])
    for whole in (100, 0, 50):  # one pose alone, or halves, where a finer share gains next to nothing
        if times[whole] <= good:
            best = whole
    turned = float(times[best])
    if not (np.isfinite(turned) and turned <= WORTH_TURNING * alone):
        return Schedule(alone, 0.0, alone, turned)
    return Schedule(float(shares[best]) * turned, float(1 - shares[best]) * turned, alone, turned)
