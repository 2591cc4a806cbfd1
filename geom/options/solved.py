"""Each option solved, on one level of panels: time, thickest place, evenness; and the one that wins."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.advice.measures import hottest_current_density, tail_mean
from geom.advice.programme import Asked, best_times
from geom.advice.words import FeatureResult
from geom.arrays import Bools, Floats
from geom.bem.problem import Current
from geom.cell.cell import Cell
from geom.deposit import area_factors, growth_rate, local_mean, significant_panels
from geom.errors import GeomError
from geom.field import Field, Prepared, prepare, solve_field
from geom.options.variants import Variant, rebuilt, variants
from geom.panel_sizes import MeshOptions
from geom.panels import mesh_cell

PANELS = 5000
"""Panels of each option at most: one level, so that the options compare; single figures may be off by some per cent."""

LOOSE = 1e-3
"""Relative tolerance of their solves."""

BALANCE = 0.05
"""Share by which anode and cathode current of an option may differ."""

THICK = 1.25
"""An option wins by time among those whose thickest place is at most so many times that of the evenest."""

SLOWER = ((0.5, "half the current"), (0.25, "a quarter of the current"))
"""Shares of the current that are tried, in words."""

Say = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Option:
    """One way to bring the significant surface and the recesses to the target."""

    name: str
    current: float  # to set [A]; nan where it cannot be
    voltage: float  # [V]
    time: float  # until both meet the target, turning half way where that pays [s]; inf: never
    thickest: float  # mean over the thickest 1 % by then [m]
    recess_ratio: float  # mean thickness of the recesses over that of the significant surface; nan without recesses
    why: str = ""  # why it cannot be

    @property
    def is_possible(self) -> bool:
        """Was it solved, and does it get there?"""
        return not self.why and math.isfinite(self.time)


@dataclass(frozen=True, slots=True)
class Options:
    """Every option, and which wins."""

    recesses: tuple[str, ...]  # names of what falls short
    options: tuple[Option, ...]  # the plan as it is first
    best: int | None  # number of the winner among them; None: none gets there


@dataclass(frozen=True, eq=False)
class _Solved:
    """The fields of one set-up, as hung and, where it can be, turned half round."""

    pairs: tuple[tuple[Prepared, Field], ...]

    @property
    def fields(self) -> tuple[Field, ...]:
        return tuple(field for _, field in self.pairs)

    def at(self, current: float) -> "_Solved":
        """Return the same set-up at another current [A]."""
        return _Solved(
            tuple(
                (p, solve_field(p, Current(current), start=f, tolerance=LOOSE, balance=BALANCE)) for p, f in self.pairs
            )
        )


def options_of(
    cell: Cell,
    current: float,
    target: float,
    wanted: tuple[str, ...],
    features: Sequence[FeatureResult],
    say: Say,
) -> Options:
    """Return the options for a cell at the plan's current [A]; ``wanted`` names the significant surface.

    Each is at the current that heats its hottest edge as the plan's does.
    """
    short = tuple(f.name for f in features if not f.significant and f.extra_time > 0)
    recesses = tuple(f for f in cell.part.features if f.name in short)
    say("options: as planned", 0.0)
    plain = _solved(cell, current)
    hottest = hottest_current_density(plain.fields[0])
    found = [_option("longer, as planned", plain, target, wanted, short)]
    for share, words in SLOWER:
        say(f"options: {words}", 0.1)
        found.append(_option(words, plain.at(share * current), target, wanted, short))
    every = list(variants(cell, recesses))
    for number, variant in enumerate(every):
        say(f"options: {variant.name}", 0.2 + 0.8 * number / len(every))
        found.append(_of_variant(variant, current, hottest, target, wanted, short))
    return Options(short, tuple(found), winner(found))


def _of_variant(
    variant: Variant, current: float, hottest: float, target: float, wanted: tuple[str, ...], short: tuple[str, ...]
) -> Option:
    """Return a variant solved, or why it cannot be: one that fails never stops the others."""
    if variant.cell is None:
        return _impossible(variant.name, variant.why)
    try:
        first = _solved(variant.cell, current)
        reached = first.at(current * hottest / hottest_current_density(first.fields[0]))
        return _option(variant.name, reached, target, wanted, short)
    except GeomError as error:
        return _impossible(variant.name, error.message)


def _impossible(name: str, why: str) -> Option:
    return Option(name, math.nan, math.nan, math.inf, math.nan, math.nan, why)


def _solved(cell: Cell, current: float) -> _Solved:
    panels = mesh_cell(cell, MeshOptions(budget=PANELS))
    prepared = prepare(cell, panels)
    field = solve_field(prepared, Current(current), tolerance=LOOSE, balance=BALANCE)
    pairs = [(prepared, field)]
    try:
        x, y, z = cell.pose.turn
        turned = rebuilt(cell, pose=replace(cell.pose, turn=(x, y, z + math.pi)))
        like = mesh_cell(turned, MeshOptions(budget=PANELS), like=panels)
        alike = like.part_count == panels.part_count and bool(
            np.abs(like.part.areas - panels.part.areas).max() <= 1e-9 * panels.part.areas.max()
        )
        if alike:
            other = prepare(turned, like, kept=prepared)
            pairs.append((other, solve_field(other, Current(current), tolerance=LOOSE, balance=BALANCE)))
    except GeomError:
        pass  # it does not turn: one pose then
    return _Solved(tuple(pairs))


def _option(name: str, solved: _Solved, target: float, wanted: tuple[str, ...], short: tuple[str, ...]) -> Option:
    """Return what a set-up needs until significant surface and recesses meet the target."""
    fields = solved.fields
    first = fields[0]
    part, panels = first.cell.part, first.panels
    significant = significant_panels(part, panels, wanted)
    inside = np.array([f.name in short for f in part.features])[panels.feature]
    growth = np.array([growth_rate(f) for f in fields])
    local = np.array([local_mean(rate, panels) for rate in growth])
    counted = significant | inside
    found = best_times(Asked(local[:, counted], target, np.zeros((len(fields), 0)), np.zeros(0)), len(fields))
    if found is None:
        return Option(
            name, first.total_current, first.voltage, math.inf, math.nan, math.nan, "some place gets no current"
        )
    thickness = found.times @ growth
    areas = first.areas * area_factors(first)
    return Option(
        name,
        first.total_current,
        first.voltage,
        found.total,
        tail_mean(thickness, areas, -0.01),
        _mean(thickness, areas, inside) / _mean(thickness, areas, significant) if inside.any() else math.nan,
    )


def _mean(values: Floats, areas: Floats, rows: Bools) -> float:
    return float(values[rows] @ areas[rows] / areas[rows].sum())


def winner(options: Sequence[Option]) -> int | None:
    """Return the number of the quickest option whose thickest place is not much thicker than that of the evenest."""
    able = [k for k, option in enumerate(options) if option.is_possible]
    if not able:
        return None
    evenest = min(options[k].thickest for k in able)
    even = [k for k in able if options[k].thickest <= THICK * evenest]
    return min(even, key=lambda k: options[k].time)
