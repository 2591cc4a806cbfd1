"""How the figures of a plan move with the Wagner number: a few more solves on the kept geometry.

The shape of a current distribution hangs on W = conductivity * d(drop)/d(current density), over a length of the cell:
the Wagner number (Wagner, J. Electrochem. Soc. 98, 1951). For a linear and for a Tafel law nothing else of bath and
current enters, so that conductivity, slope and current share one coordinate, and two more solves of each pose serve
them all. For other laws W is taken at the mean current density: near enough, as tests against direct solves hold.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.advice.copies import over_copies
from geom.advice.features import feature_results
from geom.advice.figures import MEAN_OF
from geom.advice.measures import front_and_back, hottest_current_density, kind_mean, spread
from geom.arrays import Bools, Floats
from geom.bem.problem import Current
from geom.deposit import plate
from geom.doubt.inputs import END, Doubts, Draw
from geom.electrode.laws import Law, Limited
from geom.feature import Kind
from geom.field import Field, Prepared, solve_field

SOLVED = 2e-4
"""Relative tolerance of the solves that a band is read from."""

UNCHECKED = float("inf")
"""Balance of their currents: the field of the plan is held to its own, and what is used here are ratios to it."""

STEP = 0.1
"""Deviate by which the slope of ln W in each input is measured."""

FLAT = 1e-3
"""A range of ln W narrower than this moves no figure."""

HELD = 0.95
"""Share of a limiting current beyond which W is not followed."""

# figures of a response: thicknesses per coulomb, current densities and resistance per ampere
LEAST, MEAN, MOST, MASS = "least", "mean", "most", "mass"
EDGES, SIDES, STRIP, SHARE, RESISTANCE = "edges", "sides", "strip", "share", "resistance"
LEAST_OF = "least of "
"""Before the name of a feature, as `MEAN_OF`: of all parts on a rack together."""

Currents = Callable[[Draw], Floats]
"""Currents that flow in the cases of a draw [A]."""


def resistance_of(pose: int) -> str:
    """Return the name of the resistance of the liquid, times its conductivity, in a pose: from 0, the first."""
    return RESISTANCE if pose == 0 else f"{RESISTANCE} {pose}"


@dataclass(frozen=True, eq=False)
class Site:
    """What of a cell the drops of its electrodes hang on."""

    area: float  # of the part's panels [m²]
    share: float  # of the current that goes into the part
    anodes: tuple[tuple[Law, float, float], ...] = ()  # law, share of the current, area [m²]

    def wagner(self, draw: Draw, current: Floats) -> Floats:
        """Return (n,) ln of conductivity times d(drop)/d(current density) [m], at the mean under (n,) current [A]."""
        if draw.law is None:
            return np.zeros(len(draw.conductivity))
        slope = draw.law.slope(draw.law.drop(_held(draw.law, current * self.share / self.area)))
        return np.asarray(np.log(draw.conductivity / slope))

    def drops(self, draw: Draw, current: Floats) -> Floats:
        """Return (n,) drops of part and anodes at their mean current densities, added [V]."""
        total = np.zeros(len(draw.conductivity))
        if draw.law is not None:
            total += draw.law.drop(_held(draw.law, current * self.share / self.area))
        for law, share, area in self.anodes:
            total += share * law.drop(_held(law, current * share / area))
        return total


def _held(law: Law, density: Floats) -> Floats:
    return np.minimum(density, HELD * law.limiting) if isinstance(law, Limited) else density


@dataclass(frozen=True, eq=False)
class Response:
    """Figures by name against ln W: logarithms on a parabola through the points, straight beyond their ends."""

    wagner: Floats  # (k,) increasing; one where nothing moves it
    logs: Mapping[str, Floats]  # (k,) each

    def at(self, name: str, wagner: Floats) -> Floats:
        """Return (n,) the figure at (n,) ln W."""
        known, points = self.logs[name], self.wagner
        if len(known) == 1:
            return np.full(len(wagner), float(np.exp(known[0])))
        slopes = np.diff(known) / np.diff(points)
        bend = (slopes[-1] - slopes[0]) / (points[-1] - points[0])
        ends = (slopes[0] - bend * (points[1] - points[0]), slopes[-1] + bend * (points[-1] - points[-2]))
        if min(ends) * max(ends) < 0 <= slopes[0] * slopes[-1]:  # the parabola turns where its points do not
            bend, ends = 0.0, (slopes[0], slopes[-1])
            inner = np.interp(wagner, points, known)
        else:
            inside = np.clip(wagner, points[0], points[-1])
            inner = known[0] + (inside - points[0]) * (slopes[0] + bend * (inside - points[1]))
        beyond = ends[0] * np.minimum(wagner - points[0], 0) + ends[1] * np.maximum(wagner - points[-1], 0)
        return np.asarray(np.exp(inner + beyond))


def site_of(field: Field) -> Site:
    """Return what of the cell of a field its drops hang on."""
    panels, total = field.panels, field.anode_current
    areas = (float(panels.surface.areas[panels.rows(body)].sum()) for body in panels.anodes)
    anodes = tuple(
        (anode.law, current / total, area)
        for anode, current, area in zip(field.cell.anodes, field.anode_currents, areas, strict=True)
        if anode.law is not None and area > 0 and current > 0
    )
    return Site(float(field.wetted_area), field.current / field.total_current, anodes)


@dataclass(frozen=True, eq=False)
class Posed:
    """The poses of a schedule, the first first, with their fields on the panels that a response is read from."""

    fields: tuple[Field, ...]
    prepareds: tuple[Prepared, ...]
    times: tuple[float, ...]  # in each of them [s]
    significant: Bools  # (part_count,)

    @property
    def current(self) -> float:
        """That the plan sets, or expects [A]."""
        return self.fields[0].total_current


def response_of(doubts: Doubts, posed: Posed, currents: Currents | None = None) -> Response:
    """Return the figures of a schedule against ln W, by solving each pose at two more points of it.

    The points are the likeliest inputs that bring ln W to either end of its band (first-order reliability; Hasofer
    and Lind, J. Eng. Mech. 100, 1974): for a single input its low and its high. ``currents`` flow where the current
    goes with the inputs; by default it is the plan's own.

    Raises
    ------
    SolveError
        where a solve of one of the points does not converge.
    """
    site = site_of(posed.fields[0])
    flows = currents or (lambda draw: np.full(len(draw.conductivity), posed.current))
    draws = [doubts.draw(deviates[None, :]) for deviates in _ends(doubts, site, flows)]
    all_fields = [posed.fields]
    for draw in draws:
        at = float(flows(draw)[0])
        pairs = zip(posed.fields, posed.prepareds, strict=True)
        all_fields.append(tuple(_again(field, prepared, draw, at) for field, prepared in pairs))
    draws.insert(0, doubts.draw(np.zeros((1, len(doubts.inputs)))))
    wagner = np.array([float(site.wagner(draw, flows(draw))[0]) for draw in draws])
    found = [_figures(of, posed, draw) for of, draw in zip(all_fields, draws, strict=True)]
    order = np.argsort(wagner)
    names = [name for name in found[0] if all(name in one for one in found)]
    return Response(wagner[order], {name: np.log([found[k][name] for k in order]) for name in names})


def _ends(doubts: Doubts, site: Site, flows: Currents) -> list[Floats]:
    """Return the deviates of the inputs that bring ln W to its low and to its high end; none where nothing moves it."""
    if doubts.bath.law is None:
        return []
    count = len(doubts.inputs)
    ends = []
    for sign in (-1.0, 1.0):
        steps = np.zeros(count)
        for k in range(count):
            for way in (-1.0, 1.0):  # an input may move W either way
                deviates = np.zeros((2, count))
                deviates[1, k] = way * STEP
                draw = doubts.draw(deviates)
                low, high = site.wagner(draw, flows(draw)).tolist()
                if sign * (high - low) > abs(steps[k]):
                    steps[k] = way * sign * (high - low)
        length = float(np.linalg.norm(steps))
        if length / STEP * END > FLAT:
            ends.append(np.asarray(END * steps / length))
    return ends


def _again(field: Field, prepared: Prepared, draw: Draw, current: float) -> Field:
    """Return a field solved again at one draw of the inputs."""
    law = _single(draw.law)
    bath = replace(prepared.cell.bath, conductivity=float(draw.conductivity[0]), law=law)
    moved = replace(prepared, cell=replace(prepared.cell, bath=bath))
    return solve_field(moved, Current(current), start=field, tolerance=SOLVED, balance=UNCHECKED)


def _single(law: Law | None) -> Law | None:
    """Return a law whose numbers are (1,) arrays with plain numbers."""
    if law is None:
        return None
    arrays = {name: getattr(law, name) for name in law.__dataclass_fields__}
    numbers = {name: float(value[0]) for name, value in arrays.items() if isinstance(value, np.ndarray)}
    return replace(law, **numbers) if numbers else law  # type: ignore[arg-type]


def _figures(fields: Sequence[Field], posed: Posed, draw: Draw) -> dict[str, float]:
    """Return the figures of a schedule, per coulomb and per ampere; those that are not positive are left out."""
    first, significant = fields[0], posed.significant
    deposit = plate(fields, posed.times, [""] * len(fields), significant)
    per_coulomb = 1 / (first.total_current * first.cell.bath.efficiency)
    whole = spread(deposit.quarters.reshape(-1), np.repeat(deposit.true_areas / 4, 4))
    part = first.cell.part
    edges, faces = (kind_mean(first, part, kinds) for kinds in ((Kind.EDGE, Kind.END), (Kind.FACE,)))
    sides = front_and_back(first)
    found = {
        LEAST: float(deposit.local_thickness[significant].min()) * per_coulomb,
        MEAN: whole["mean"] * per_coulomb,
        MOST: whole["max"] * per_coulomb,
        MASS: deposit.mass * per_coulomb,
        STRIP: hottest_current_density(first) / first.total_current,
        SHARE: first.current / first.total_current,
        EDGES: edges / faces if edges and faces else 0.0,
        SIDES: sides[0] / sides[1] if sides else 0.0,
    }
    for pose, field in enumerate(fields):
        found[resistance_of(pose)] = _ohmic(field, draw) * float(draw.conductivity[0]) / field.total_current
    for feature in over_copies(feature_results(part, first, deposit, 0.0)):
        found[MEAN_OF + feature.name] = feature.thickness * per_coulomb
        found[LEAST_OF + feature.name] = feature.least_thickness * per_coulomb
    return {name: value for name, value in found.items() if np.isfinite(value) and value > 0}


def _ohmic(field: Field, draw: Draw) -> float:
    """Return the voltage less the drops of part and anodes at their means [V]."""
    return field.voltage - float(site_of(field).drops(draw, np.array([field.total_current]))[0])
