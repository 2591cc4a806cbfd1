"""The efficiency that logged runs show, with its scatter."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.bench.fit import LEVEL
from geom.bench.readings import BALANCE_STEP, METER_TO
from geom.bench.weighing import balance_errors, mean_efficiency
from geom.runlog.run import Run


@dataclass(frozen=True, slots=True)
class Weighed:
    """The efficiency of one run."""

    run: int  # its place in the log, from 1
    efficiency: float
    error: float  # standard error that the balance alone gives it


@dataclass(frozen=True, slots=True)
class Refined:
    """The efficiency over all runs of one bath that were weighed."""

    runs: tuple[Weighed, ...]
    efficiency: float  # mean, the better weighed runs counting more
    scatter: float | None  # standard deviation of a run about it; None for one run
    low: float  # interval of the mean, at `LEVEL`, as far as an efficiency can be: 1 at most
    high: float
    reach: float  # where it would end by balance, meter and scatter alone
    level: float = LEVEL


def weighed(run: Run, number: int) -> Weighed | None:
    """Return the efficiency of a run; None where current, time or a mass was not noted.

    Faraday's law: gain over what the charge into the part deposits at an efficiency of 1.
    """
    if run.gain is None or run.charge is None or run.equivalent is None:
        return None
    full = run.charge * run.share * run.equivalent
    step = BALANCE_STEP if run.balance is None else run.balance
    return Weighed(number, run.gain / full, float(balance_errors([step], np.array([full]))[0]))


def refined(runs: Sequence[Run], bath: str) -> Refined | None:
    """Return the efficiency that the weighed runs in one bath show; None where none was weighed.

    As of coupons: scatter, a guess of it, the balance, and a meter within ``METER_TO`` that is the same in all of them.
    """
    found = [w for n, run in enumerate(runs, 1) if run.bath == bath and (w := weighed(run, n)) is not None]
    if not found:
        return None
    values, errors = (np.array([getattr(w, name) for w in found]) for name in ("efficiency", "error"))
    mean = mean_efficiency(values, errors, METER_TO)
    low, high = mean.value - mean.half, mean.value + mean.half
    return Refined(tuple(found), mean.value, mean.scatter, min(max(low, 0.0), 1.0), min(high, 1.0), high)
