"""Lines through readings and intervals about them: numbers only.

Errors of readings that are known by their limits are taken as even between them, and put together with the scatter
of the readings by draws (JCGM 100:2008, 4.3.7, and JCGM 101:2008; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import special

from geom.arrays import Floats

LEVEL = 0.95
"""Share of the times that an interval is meant to hold the truth."""

EVEN = 1.0 / float(np.sqrt(3.0))
"""Standard deviation of an error that lies anywhere within ±1 with like chance."""

REFUTED = 0.999
"""How sure it must be that readings scatter more than was known beforehand for that to count no more."""

DOUBTED = 5.0
"""How many readings' worth it is where they scatter more than it explains, but not so surely."""

DRAWS = 20_000
CURVED = 0.99  # how sure a bend of the readings must be before it is told


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of one reading, and how many readings' worth of knowledge it rests on."""

    deviation: float
    freedom: float  # infinite where it is known beforehand
    is_found: bool  # the readings scatter more than was known beforehand


def spread(squares: float, freedom: int, known: float | None = None, known_freedom: float = np.inf) -> Spread:
    """Return the spread of readings that leave a sum of ``squares`` with so many degrees of ``freedom``.

    ``known`` is a deviation known beforehand, worth ``known_freedom`` readings. Where the readings scatter more than it
    explains (chi-square at `LEVEL`) it is worth `DOUBTED` at most; where they scatter beyond all doubt, nothing.
    """
    if known is None:
        if freedom < 1:
            raise ValueError("readings that leave no freedom do not show their own spread")
        return Spread(float(np.sqrt(squares / freedom)), float(freedom), True)
    over = squares / known**2 if known > 0.0 else np.inf
    if freedom > 0 and over > _chi_square(REFUTED, freedom):
        return Spread(float(np.sqrt(squares / freedom)), float(freedom), True)
    is_found = freedom > 0 and over > _chi_square(LEVEL, freedom)
    worth = min(known_freedom, DOUBTED) if is_found else known_freedom
    if np.isinf(worth):
        return Spread(known, np.inf, False)
    both = worth + freedom
    return Spread(float(np.sqrt((worth * known**2 + squares) / both)), both, is_found)


def student(freedom: float) -> float:
    """Return by how many deviations an interval at `LEVEL` reaches to each side (Student's t; Gosset 1908)."""
    return student_at(freedom, LEVEL)


def student_at(freedom: float, level: float) -> float:
    """Return by how many deviations an interval at ``level`` reaches to each side; a normal one for infinite freedom."""
    half = 0.5 + 0.5 * level
    return float(special.ndtri(half) if np.isinf(freedom) else special.stdtrit(freedom, half))


def _chi_square(level: float, freedom: int) -> float:
    """Return what a sum of squares of so much freedom stays under with that probability."""
    return float(2.0 * special.gammaincinv(0.5 * freedom, level))


def half_width(deviation: float, freedom: float, limits: Sequence[float]) -> float:
    """Return half the interval of a sum of one error of Student's kind and errors that are even within ``limits``."""
    some = [limit for limit in limits if limit > 0.0]
    if not some:
        return student(freedom) * deviation
    whole = deviation * drawn(0, freedom)
    for number, limit in enumerate(some, start=1):
        whole = whole + limit * drawn(number, None)
    return float(np.quantile(np.abs(whole), LEVEL))


@cache
def drawn(number: int, freedom: float | None) -> Floats:
    """Return draws of one error: Student's with so much freedom, or even within ±1 for None; of unlike numbers, apart."""
    share = np.random.default_rng(number).permutation((np.arange(DRAWS) + 0.5) / DRAWS)
    if freedom is None:
        return np.asarray(2.0 * share - 1.0)
    return np.asarray(special.ndtri(share) if np.isinf(freedom) else special.stdtrit(freedom, share))


@dataclass(frozen=True, eq=False)
class Fitted:
    """Least squares of columns: ``values`` @ columns."""

    values: Floats  # (k,)
    covariance: Floats  # (k, k), for readings of unit deviation
    squares: float  # sum of squares left
    freedom: int


def fitted(columns: Floats, readings: Floats) -> Fitted:
    """Return the least squares fit of (n,) readings by (n, k) columns; singular columns are the caller's to avoid."""
    scale = np.sqrt((columns**2).mean(axis=0))
    own = columns / scale
    inverse = np.linalg.inv(own.T @ own)
    values = inverse @ (own.T @ readings)
    left = readings - own @ values
    return Fitted(
        np.asarray(values / scale),
        inverse / np.outer(scale, scale),
        float(left @ left),
        len(readings) - columns.shape[1],
    )


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line through readings."""

    intercept: float
    slope: float
    per_reading: float  # standard error of the slope for readings of unit deviation
    squares: float
    freedom: int
    bend: float  # how far the middle lies over the line through the ends [unit of y]; 0 unless it is clear


def straight_line(x: Floats, y: Floats) -> Line:
    """Return the line through (n,) readings, n >= 2, of y at x."""
    found = fitted(np.column_stack([np.ones_like(x), x]), y)
    per_reading = float(np.sqrt(found.covariance[1, 1]))
    return Line(float(found.values[0]), float(found.values[1]), per_reading, found.squares, found.freedom, _bend(x, y))


def _bend(x: Floats, y: Floats) -> float:
    """Return by how much the readings lie over their chord in its middle, where a logarithm more is clearly a better fit."""
    if len(x) < 5 or float(x.min()) <= 0.0:
        return 0.0
    found = fitted(np.column_stack([np.ones_like(x), x, np.log(x)]), y)
    error = np.sqrt(found.squares / found.freedom * found.covariance[2, 2])
    curve, low, high = float(found.values[2]), float(x.min()), float(x.max())
    is_clear = abs(curve) > student_at(found.freedom, CURVED) * error + 1e-9 * float(np.ptp(y))
    return curve * float(np.log(0.5 * (low + high) / np.sqrt(low * high))) if is_clear else 0.0


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean of readings of unlike worth."""

    value: float
    half: float  # of its interval
    scatter: float | None  # standard deviation of one about it; None for one reading
    is_scattered: bool  # clearly more than was known beforehand


def weighted_mean(values: Floats, own: Floats, run: float, run_freedom: float, limits: Sequence[float] = ()) -> Mean:
    """Return the mean of (n,) values.

    Each has an error of its own, deviation ``own``, and varies from one to the next by about ``run``, a guess worth
    ``run_freedom`` readings. ``limits`` are those of errors common to all.
    """
    known = np.hypot(own, run)
    weights = 1.0 / known**2
    mean = float(weights @ values / weights.sum())
    squares, freedom = float((weights * (values - mean) ** 2).sum()), len(values) - 1
    one = spread(squares, freedom, 1.0, run_freedom)
    half = half_width(one.deviation / float(np.sqrt(weights.sum())), one.freedom, limits)
    scatter = float(np.std(values, ddof=1)) if freedom else None
    return Mean(mean, half, scatter, one.is_found)
