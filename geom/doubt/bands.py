"""A band on each figure that a plan recommends or promises, and which input drives it.

Two questions are kept apart. Followed as printed, how thick does it get and what will the meter show? And were the
inputs known, what would have been recommended? Both are read off the response of the field to draws of the inputs
(`geom.doubt.sampling`); the ends are quantiles.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from geom.advice.bench_limits import DIFFUSION
from geom.advice.figures import MEAN_OF
from geom.advice.limit import Limit
from geom.advice.words import FeatureResult
from geom.arrays import Floats
from geom.doubt.inputs import LEVEL, Doubts, Draw, Input, doubts_of
from geom.doubt.moved import Moving
from geom.doubt.response import (
    EDGES,
    LEAST,
    LEAST_OF,
    MASS,
    MEAN,
    MOST,
    RESISTANCE,
    SIDES,
    Posed,
    Response,
    Site,
    response_of,
    site_of,
)
from geom.doubt.sampling import deviates

UNMOVED = 1e-9
"""A band narrower than this share of its figure is none."""

FILLABLE = 0.02
"""Of the target: what gets less than this will not be filled by more time."""

VOLTAGE, CURRENT, TIME = "voltage", "recommended current", "time to the target"
THINNEST, AVERAGE, THICKEST = "thinnest significant place", "mean thickness", "thickest 1 %"
AMPERES, METAL = "current", "metal deposited"
EDGES_TO_FACES, SIDE_TO_SIDE = "edges / broad faces", "toward the anode / away from it"

PER_CHARGE = {THINNEST: LEAST, AVERAGE: MEAN, THICKEST: MOST, METAL: MASS}
"""Figures that go with charge and efficiency, by their names in a response."""

RATIOS = {EDGES_TO_FACES: EDGES, SIDE_TO_SIDE: SIDES}


@dataclass(frozen=True, slots=True)
class Band:
    """Where a figure lies in ``LEVEL`` of the cases."""

    low: float
    typical: float  # the plan's own figure
    high: float
    driver: str = ""  # the input that moves it most; "" where nothing does, or it was not asked
    share: float = 0.0  # of the variance that the inputs one by one make


@dataclass(frozen=True, slots=True)
class FeatureBands:
    """The bands of one feature, of all parts on a rack together."""

    name: str
    mean: Band | None  # thickness after the schedule [m]
    least: Band | None  # lowest local thickness on it [m]
    extra: (
        Band | None
    )  # time beyond the schedule until that meets the target [s]; None where more time will not fill it


@dataclass(frozen=True, slots=True)
class Bands:
    """The bands of a plan."""

    level: float
    of: Mapping[str, Band]
    inputs: tuple[Input, ...]
    samples: int
    features: tuple[FeatureBands, ...] = ()
    stages: tuple[Band, ...] = ()  # voltage of each stage of the schedule [V]; none under a given voltage
    met: float = 0.5  # share of the cases in which the thinnest significant place meets the target

    @property
    def more_time(self) -> float:
        """How much longer than planned meets the target in 1 - (1 - ``level``) / 2 of the cases [s]."""
        time = self.of.get(TIME)
        return 0.0 if time is None else time.high - time.typical


@dataclass(frozen=True, eq=False)
class Told:
    """The figures of a plan that get a band."""

    of: Mapping[str, float]  # by name
    features: tuple[FeatureResult, ...] = ()  # of all parts on a rack together
    target: float = 0.0  # thickness [m]
    volts: float | None = None  # that are set; None: the current is
    stages: tuple[float, ...] = ()  # voltage in each pose that time is spent in [V]
    errors: Mapping[str, float] = field(default_factory=dict)  # numerical, relative: by name of figure or feature


@dataclass(frozen=True, eq=False)
class _Case:
    """What the figures are worked out from."""

    doubts: Doubts
    site: Site
    response: Response
    current: float  # to set, or expected [A]
    volts: float | None  # set
    limits: tuple[Limit, ...]

    def flowing(self, draw: Draw) -> Floats:
        """Return (n,) currents that flow [A]."""
        if self.volts is None:
            return np.asarray(self.current * draw.reading)
        return self.moving.current_at(draw, self.current, self.volts * draw.reading)

    def figures(self, deviates: Floats) -> dict[str, Floats]:
        """Return every figure at (n, k) standard normal deviates of the inputs; thickness and time in units of their own."""
        draw = self.doubts.draw(deviates)
        true = self.flowing(draw)
        wagner = self.site.wagner(draw, true)
        found = {name: self.response.at(key, wagner) * true * draw.efficiency for name, key in self._known(PER_CHARGE)}
        found |= {name: self.response.at(key, wagner) for name, key in self._known(RATIOS)}
        found[VOLTAGE] = self.moving.volts(draw, true) if self.volts is None else self.volts * draw.reading
        found[AMPERES] = true
        if THINNEST in found:
            found[TIME] = 1.0 / found[THINNEST]
        if self.limits:
            found[CURRENT] = self.moving.recommended(self.limits, draw)
        return found

    def of_features(self, names: Sequence[str], deviates: Floats) -> dict[str, Floats]:
        """Return mean and least thickness of features at (n, k) deviates, in units of their own."""
        draw = self.doubts.draw(deviates)
        true = self.flowing(draw)
        wagner = self.site.wagner(draw, true)
        keys = [kind + name for name in names for kind in (MEAN_OF, LEAST_OF)]
        return {
            key: self.response.at(key, wagner) * true * draw.efficiency for key in keys if key in self.response.logs
        }

    def stage_volts(self, pose: int, deviates: Floats) -> Floats:
        """Return (n,) voltages in a pose [V]."""
        draw = self.doubts.draw(deviates)
        return self.moving.volts(draw, self.flowing(draw), pose)

    def _known(self, names: Mapping[str, str]) -> list[tuple[str, str]]:
        return [(name, key) for name, key in names.items() if key in self.response.logs]

    @cached_property
    def moving(self) -> Moving:
        """What moves the limits."""
        return Moving(self.site, self.response, self.doubts.draw(np.zeros((1, len(self.doubts.inputs)))))


def bands(posed: Posed, told: Told, limits: tuple[Limit, ...] = ()) -> Bands:
    """Return the bands of a plan.

    ``posed`` may lie on coarser panels than the plan's own: what is read off it are ratios.

    Raises
    ------
    SolveError
        where the field cannot be solved at the ends of the inputs' ranges.
    """
    first = posed.fields[0]
    with_limiting = any(limit.name.startswith(DIFFUSION) for limit in limits)
    doubts = doubts_of(first.cell.bath, at_voltage=told.volts is not None, with_limiting=with_limiting)
    case = _case(doubts, posed, told, limits)
    count = len(doubts.inputs)
    typical, many = np.zeros((1, count)), deviates(count)
    centre, sampled = case.figures(typical), case.figures(many)
    alone = _alone(case.figures, many)
    of = {}
    for name, value in told.of.items():
        if name not in centre:
            continue
        scale = value / float(centre[name][0])
        error = told.errors.get(name, 0.0)
        of[name] = _driven(_band(scale * sampled[name], value, error), doubts.inputs, scale**2 * alone[name])
    stages = tuple(_stages(case, posed, told, typical, many))
    met = 1.0
    if THINNEST in of:
        # the plan's own thinnest place is where the target just is: cases at rest with it count
        ratio = sampled[THINNEST] / float(centre[THINNEST][0]) * of[THINNEST].typical
        met = float((ratio >= told.target * (1 - 1e-9)).mean())
    features = _features(case, told, typical, many)
    return Bands(LEVEL, of, doubts.inputs, len(many), features, stages, met)


def _case(doubts: Doubts, posed: Posed, told: Told, limits: tuple[Limit, ...]) -> _Case:
    """Return the case; where volts are set, what flows at the ends of the response is found with the plan's resistance."""
    site = site_of(posed.fields[0])
    if told.volts is None:
        return _Case(doubts, site, response_of(doubts, posed), posed.current, None, limits)
    first = posed.fields[0]
    drops = float(site.drops(doubts.draw(np.zeros((1, len(doubts.inputs)))), np.array([posed.current]))[0])
    resistance = (first.voltage - drops) / posed.current * first.cell.bath.conductivity
    near = Response(np.zeros(1), {RESISTANCE: np.log([resistance])})
    rough = _Case(doubts, site, near, posed.current, told.volts, limits)
    return _Case(doubts, site, response_of(doubts, posed, rough.flowing), posed.current, told.volts, limits)


def _stages(case: _Case, posed: Posed, told: Told, typical: Floats, many: Floats) -> Iterator[Band]:
    """Yield the band of the voltage of each stage; none under a given voltage."""
    poses = [pose for pose, time in enumerate(posed.times) if time > 0]
    if told.volts is not None or len(poses) != len(told.stages):
        return
    for pose, value in zip(poses, told.stages, strict=True):
        centre = float(case.stage_volts(pose, typical)[0])
        yield _band(value / centre * case.stage_volts(pose, many), value, told.errors.get(VOLTAGE, 0.0))


def _features(case: _Case, told: Told, typical: Floats, many: Floats) -> tuple[FeatureBands, ...]:
    names = [feature.name for feature in told.features]
    centre, sampled = case.of_features(names, typical), case.of_features(names, many)
    found = []
    for feature in told.features:
        error = told.errors.get(feature.name, 0.0)

        def scaled(kind: str, value: float, name: str = feature.name) -> Floats | None:
            key = kind + name
            return None if key not in centre else np.asarray(value / float(centre[key][0]) * sampled[key])

        mean, least = scaled(MEAN_OF, feature.thickness), scaled(LEAST_OF, feature.least_thickness)
        found.append(
            FeatureBands(
                feature.name,
                None if mean is None else _band(mean, feature.thickness, error),
                None if least is None else _band(least, feature.least_thickness, error),
                None if least is None else _extra(least, feature, told, error),
            )
        )
    return tuple(found)


def _extra(least: Floats, feature: FeatureResult, told: Told, error: float) -> Band | None:
    """Return the band of the time beyond the schedule, as `geom.advice.features.extra_time` has it in each case."""
    planned = told.of.get(TIME)
    if planned is None or feature.least_thickness < FILLABLE * told.target or not np.isfinite(feature.extra_time):
        return None
    whole = _band(planned * told.target / least, planned * told.target / feature.least_thickness, error)
    low, high = (max(0.0, end - planned) for end in (whole.low, whole.high))
    return Band(min(low, feature.extra_time), feature.extra_time, max(high, feature.extra_time))


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


def _band(values: Floats, typical: float, error: float) -> Band:
    """Return the band of one figure, its numerical error added in quadrature."""
    tail = (1.0 - LEVEL) / 2.0
    low, high = (float(v) for v in np.quantile(values, (tail, 1.0 - tail)))
    numerical = error * typical if np.isfinite(error) else 0.0
    low = typical - float(np.hypot(max(typical - low, 0.0), numerical))
    high = typical + float(np.hypot(max(high - typical, 0.0), numerical))
    if high - low <= UNMOVED * typical:
        return Band(typical, typical, typical)
    return Band(max(low, 0.0), typical, high)


def _driven(band: Band, inputs: tuple[Input, ...], alone: Floats) -> Band:
    """Return the band with the input that drives it, by the variance that each makes alone."""
    total = float(alone.sum())
    if band.low == band.high or not total > UNMOVED**2 * band.typical**2:
        return band
    k = int(alone.argmax())
    return Band(band.low, band.typical, band.high, inputs[k].name, float(alone[k]) / total)
