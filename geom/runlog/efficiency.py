"""The efficiency that logged runs show, with its scatter."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from geom.runlog.run import Run

LEVEL = 0.95
"""Share of the times that the interval is meant to hold the truth."""

METER = 0.02
"""Standard error of a clamp or panel meter, as a share of the current; common practice, no source. It is the same
in every run, so runs do not even it out."""

BALANCE = 1e-5
"""Step of a balance where none is stated: 0.01 g [kg]."""


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
    low: float  # interval of the mean, at `LEVEL`
    high: float


def weighed(run: Run, number: int) -> Weighed | None:
    """Return the efficiency of a run; None where current, time or a mass was not noted.

    Faraday's law: gain over what the charge into the part deposits at an efficiency of 1.
    """
    if run.gain is None or run.charge is None or run.equivalent is None:
        return None
    full = run.charge * run.share * run.equivalent
    step = BALANCE if run.balance is None else run.balance
    # two readings, each even over a step
    return Weighed(number, run.gain / full, float(np.sqrt(2.0 / 12.0)) * step / full)


def refined(runs: Sequence[Run], bath: str) -> Refined | None:
    """Return the efficiency that the weighed runs in one bath show; None where none was weighed.

    The scatter found counts as it is, or the balance's where that is more; Student's t for few runs (Gosset 1908).
    """
    found = [w for n, run in enumerate(runs, 1) if run.bath == bath and (w := weighed(run, n)) is not None]
    if not found:
        return None
    values, errors = (np.array([getattr(w, name) for w in found]) for name in ("efficiency", "error"))
    weights = 1.0 / errors**2
    mean = float(weights @ values / weights.sum())
    by_balance = float(1.0 / np.sqrt(weights.sum()))
    count = len(found)
    scatter = float(np.sqrt(((values - mean) ** 2).sum() / (count - 1))) if count > 1 else None
    normal = float(stats.norm.ppf(0.5 + 0.5 * LEVEL))
    half = normal * by_balance
    if scatter is not None:
        by_scatter = scatter * float(np.sqrt((weights**2).sum())) / float(weights.sum())
        half = max(half, float(stats.t.ppf(0.5 + 0.5 * LEVEL, count - 1)) * by_scatter)
    half = float(np.hypot(half, normal * METER * mean))
    return Refined(tuple(found), mean, scatter, mean - half, mean + half)
