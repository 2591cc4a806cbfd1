"""A band on each figure that a plan recommends or promises, and which input drives it.

Two questions are kept apart. Followed as printed, how thick does it get and what will the meter show? And were the
inputs known, what would have been recommended? Both are read off the response of the field to a scrambled Sobol
sequence of the inputs (Owen 1998); the ends are quantiles.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.stats import norm, qmc

from geom.advice.accuracy import Accuracy
from geom.advice.bench_limits import DIFFUSION
from geom.advice.current import AT_VOLTS
from geom.advice.limit import Limit
from geom.arrays import Bools, Floats
from geom.bem.problem import Current
from geom.doubt.inputs import LEVEL, Doubts, Input, doubts_of
from geom.doubt.moved import Moving, is_at_strip
from geom.doubt.response import LEAST, MEAN, MOST, SOLVED, UNCHECKED, Response, Site, response_of, site_of
from geom.field import Field, Prepared, solve_field

POWER = 10
"""Two to this power draws are taken."""

SEED = 20261126
"""Of the scrambling: the same job gives the same bands."""

UNMOVED = 1e-9
"""A band narrower than this share of its figure is none."""

VOLTAGE, CURRENT, TIME = "voltage", "recommended current", "time to the target"
THINNEST, AVERAGE, THICKEST = "thinnest significant place", "mean thickness", "thickest 1 %"


@dataclass(frozen=True, slots=True)
class Band:
    """Where a figure lies in ``LEVEL`` of the cases."""

    low: float
    typical: float  # the plan's own figure
    high: float
    driver: str  # the input that moves it most; "" where nothing does
    share: float  # of the variance that the inputs one by one make


@dataclass(frozen=True, slots=True)
class Bands:
    """The bands of a plan."""

    level: float
    of: Mapping[str, Band]
    inputs: tuple[Input, ...]
    samples: int


@dataclass(frozen=True, eq=False)
class _Case:
    """What the figures are worked out from."""

    doubts: Doubts
    site: Site
    response: Response
    current: float  # to set [A]
    limits: tuple[Limit, ...]

    def figures(self, deviates: Floats) -> dict[str, Floats]:
        """Return every figure at (n, k) standard normal deviates of the inputs; thickness and time in units of their own."""
        draw = self.doubts.draw(deviates)
        true = self.current * draw.reading
        wagner = self.site.wagner(draw, true)
        metal = true * draw.efficiency
        found = {
            THINNEST: self.response.at(LEAST, wagner) * metal,
            AVERAGE: self.response.at(MEAN, wagner) * metal,
            THICKEST: self.response.at(MOST, wagner) * metal,
            VOLTAGE: self.moving.volts(draw, true),
        }
        found[TIME] = 1.0 / found[THINNEST]
        if self.limits:
            found[CURRENT] = self.moving.recommended(self.limits, draw)
        return found

    @cached_property
    def moving(self) -> Moving:
        """What moves the limits."""
        return Moving(self.site, self.response, self.doubts.draw(np.zeros((1, len(self.doubts.inputs)))))


def bands(
    first: Field,
    prepared: Prepared,
    significant: Bools,
    plan: Mapping[str, float],
    limits: tuple[Limit, ...],
    accuracy: Accuracy,
) -> Bands:
    """Return the bands of a plan under a current, ``plan`` its own figures by name.

    ``prepared`` is the cell of ``first`` on its own panels or on coarser ones: what is read off it are ratios.
    ``significant`` is (part_count,) of its panels. How a figure moves is that of the first pose, also where the part is turned.

    Raises
    ------
    SolveError
        where the field cannot be solved at the ends of the inputs' ranges.
    """
    doubts = doubts_of(first.cell.bath, with_limiting=any(limit.name.startswith(DIFFUSION) for limit in limits))
    near = first
    if prepared.panels is not first.panels:
        near = solve_field(prepared, Current(first.total_current), tolerance=SOLVED, balance=UNCHECKED)
    response = response_of(doubts, (near,), (prepared,), (1.0,), significant)
    case = _Case(doubts, site_of(near), response, near.total_current, limits)
    count = len(doubts.inputs)
    centre = {name: float(value[0]) for name, value in case.figures(np.zeros((1, count))).items()}
    if count == 0:
        of = {name: Band(value, value, value, "", 0.0) for name, value in plan.items()}
        return Bands(LEVEL, of, (), 0)
    even = qmc.Sobol(count, scramble=True, rng=SEED).random_base2(POWER)
    deviates = norm.ppf(np.clip(even, 1e-9, 1 - 1e-9))
    sampled = case.figures(deviates)
    alone = _alone(case.figures, deviates)
    errors = _errors(limits, accuracy, has_thieves=bool(first.panels.thieves))
    of = {}
    for name, value in plan.items():
        scale = value / centre[name]
        of[name] = _band(scale * sampled[name], value, errors[name], doubts.inputs, scale**2 * alone[name])
    return Bands(LEVEL, of, doubts.inputs, len(deviates))


def _errors(limits: tuple[Limit, ...], accuracy: Accuracy, *, has_thieves: bool) -> dict[str, float]:
    """Return the numerical error of each figure; what current, time and area alone make has none."""
    bound = min(limits, key=lambda limit: limit.value, default=None)
    of_current = 0.0
    if bound is not None and is_at_strip(bound):
        of_current = accuracy.hottest
    elif bound is not None and bound.name == AT_VOLTS:
        of_current = accuracy.voltage
    return {
        VOLTAGE: accuracy.voltage,
        THINNEST: accuracy.thinnest,
        TIME: accuracy.thinnest,
        CURRENT: of_current,
        AVERAGE: accuracy.features if has_thieves else 0.0,
        THICKEST: accuracy.errors["p99"],
    }


def _alone(figures: Callable[[Floats], dict[str, Floats]], deviates: Floats) -> dict[str, Floats]:
    """Return for each figure the variance that each input makes alone, the others held at typical."""
    count = deviates.shape[1]
    found: dict[str, list[float]] = {}
    for k in range(count):
        single = np.zeros_like(deviates)
        single[:, k] = deviates[:, k]
        for name, values in figures(single).items():
            found.setdefault(name, []).append(float(np.var(values)))
    return {name: np.array(values) for name, values in found.items()}


def _band(values: Floats, typical: float, error: float, inputs: tuple[Input, ...], alone: Floats) -> Band:
    """Return the band of one figure, its numerical error added in quadrature."""
    tail = (1.0 - LEVEL) / 2.0
    low, high = (float(v) for v in np.quantile(values, (tail, 1.0 - tail)))
    numerical = error * typical if np.isfinite(error) else 0.0
    low = typical - float(np.hypot(max(typical - low, 0.0), numerical))
    high = typical + float(np.hypot(max(high - typical, 0.0), numerical))
    total = float(alone.sum())
    if high - low <= UNMOVED * typical:
        return Band(typical, typical, typical, "", 0.0)
    if not total > UNMOVED**2 * typical**2:
        return Band(max(low, 0.0), typical, high, "", 0.0)
    k = int(alone.argmax())
    return Band(max(low, 0.0), typical, high, inputs[k].name, float(alone[k]) / total)
