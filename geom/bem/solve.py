"""Solve the boundary problem: Newton on the electrode laws round a linear solve of the integral equation.

Unknowns are the potential on insulators and the current density on electrodes. Each step puts the tangent
of every law in place of the law, ``u = u_k + R_k (i - i_k)``, solves for two right-hand sides (the tangents'
offsets, and one volt on the cathode metal) and combines them to the asked voltage or current. The next point
of tangency is the nearer of the two points of the law at the solved drop and at the solved current: the rule
by which circuit simulators keep a diode's exponential in bounds (Nagel, SPICE2, UCB/ERL M520, 1975; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.bem.blocks import applied, inverted
from geom.bem.krylov import gmres
from geom.bem.operators import Operators
from geom.bem.problem import (
    BoundarySolution,
    Current,
    ElectrodePatch,
    Voltage,
    total_current,
)
from geom.errors import SolveError

STEPS = 60
TOLERANCE = 1e-5  # to which the laws and the equation are met, unless less is asked
SLACK = 10.0  # times that tolerance the equation itself may be missed by: products are in single precision
FAR = 0.05  # times the right side: a guess that misses by more saves less work than it can cost
ATTEMPTS = 3  # at an equation that stays unsolved, each from where the last one stopped
# a tangent is at most so many times flatter than the chord: past a limiting current it has no figures left
FLATTEST = 30.0
ABSURD = 1e6  # a drop [V] that only a current beyond the limiting current asks for
LEAST_DROP = 0.1  # of that chord [V]: more than a Tafel slope, so that an exponential keeps its tangent
ROUGH = 1e-3  # of the solves before it: the tangents move more than that


@dataclass(frozen=True, eq=False)
class _System:
    """One geometry with its electrodes and conductivity: everything but the tangents.

    Unknowns (n, 2): potential [V] on insulators, current density [A/m²] on electrodes.
    """

    operators: Operators
    conductivity: float
    patches: tuple[ElectrodePatch, ...]
    on_cathode: Floats  # (k,) 1 on cathode columns, 0 on anode columns
    column: Ints  # (n,) electrode column of each panel, -1 on insulators

    def product(self, resistance: Floats, unknowns: Floats) -> Floats:
        """Return the matrix of the tangent problem times the unknowns."""
        electrodes = self.operators.electrodes
        current = unknowns[electrodes]
        potential = unknowns.copy()
        potential[electrodes] = resistance[:, None] * current
        return self.operators.product(potential, current / self.conductivity)

    def near_inverses(self, resistance: Floats) -> Floats:
        """Return the inverses of the matrix of the tangent problem on each block of near neighbours."""
        blocks, operators = self.operators.blocks, self.operators
        rows = blocks.rows
        near = operators.near_double.copy()
        place = np.arange(rows.shape[1])
        near[:, place, place] += operators.free[rows]
        columns = self.column[rows]
        charged = columns >= 0
        factor = np.where(charged, resistance[np.maximum(columns, 0)], 1.0)
        flux = np.where(charged, 1.0 / self.conductivity, 0.0)
        return inverted(blocks, near * factor[:, None, :] + operators.near_single * flux[:, None, :])


def solve(
    operators: Operators,
    *,
    anodes: Sequence[ElectrodePatch],
    cathodes: Sequence[ElectrodePatch],
    conductivity: float,
    control: Voltage | Current,
    start: BoundarySolution | None = None,
    tolerance: float = TOLERANCE,
) -> BoundarySolution:
    """Return the field with all anode metal at zero and all cathode metal at minus the voltage.

    ``start`` is a solution of the same geometry at another control or law, to begin from. ``tolerance`` is
    relative: of the current over all panels, and of the integral equation.

    Laws are passed as seen from the electrolyte: current out of it, rising with the drop; an anode's law is
    mirrored by the caller.

    Raises
    ------
    SolveError
        where the laws and the control cannot be met together, or the integral equation stays unsolved.
    ValueError
        where the patches are not the electrode panels of ``operators``, each once, or a quantity is not positive.
    """
    _check(operators, anodes, cathodes, conductivity, control)
    system = _system(operators, anodes, cathodes, conductivity)
    areas = operators.areas[operators.electrodes]
    drop, current = _first_point(system, areas, control, start)
    guess = np.zeros((len(operators.areas), 2)) if start is None else np.array(start.columns)
    history: list[float] = []
    metal = 0.0 if start is None else -start.voltage
    inverses: Floats | None = None
    rough = tolerance if _is_straight(system, drop) else max(ROUGH, tolerance)
    iterations, accuracy = 0, rough
    unsolved = 0
    for _ in range(STEPS):
        resistance = _resistances(system, drop)
        offset = drop - resistance * current
        if inverses is None:  # of the first tangents: close enough to precondition with to the end
            inverses = system.near_inverses(resistance)
        rhs = _known_side(system, offset)
        scaled = _scaled(system, resistance, inverses, rhs)
        size = _sizes(scaled.of(rhs), metal)
        guess, count = _linear_solve(scaled, rhs, guess, accuracy * size)
        iterations += count
        columns = guess[operators.electrodes]
        metal = _metal_potential(columns, areas * system.on_cathode, control)
        solved_current = columns @ np.array([1.0, metal])
        solved_drop = offset + resistance * solved_current
        drop, current, miss = _next_point(system, drop, solved_drop, solved_current, areas)
        history.append(miss)
        if not np.isfinite(miss) or float(np.abs(drop).max()) > ABSURD:
            break
        if miss < tolerance and accuracy <= tolerance:
            if _equation_miss(scaled, rhs, guess, size) <= SLACK * tolerance:
                return _solution(
                    system, guess, metal, solved_current, solved_drop, tuple(history), iterations, anodes, cathodes
                )
            unsolved += 1
            if unsolved == ATTEMPTS:
                raise _unsolved(history)
        accuracy = tolerance if miss < 0.02 else max(rough, tolerance)
    raise SolveError(
        "solve-not-converged",
        f"the electrode laws and the asked {_words(control)} could not be brought together in {len(history)} steps",
        hint="a current over the limiting current of an electrode has no solution; otherwise check the polarization",
        residuals=history,
    )


def _unsolved(history: Sequence[float]) -> SolveError:
    return SolveError(
        "solve-not-converged",
        "the laws of the electrodes are met but the equation of the field is not: its iteration came to a standstill",
        hint="bodies very close together or panels of very unlike size are the usual cause; move them apart, or mesh finer",
        residuals=history,
    )


def _check(
    operators: Operators,
    anodes: Sequence[ElectrodePatch],
    cathodes: Sequence[ElectrodePatch],
    conductivity: float,
    control: Voltage | Current,
) -> None:
    """Refuse what would otherwise give a number, and a wrong one: a panel left out would pass for an anode at zero."""
    if not cathodes:
        raise ValueError("at least one cathode is needed")
    if not (0.0 < conductivity < np.inf and 0.0 < control.value < np.inf):
        raise ValueError(f"conductivity {conductivity} and {control} must be positive and finite")
    panels = np.concatenate([patch.panels for patch in (*anodes, *cathodes)])
    if not np.array_equal(np.sort(panels), np.sort(operators.electrodes)):
        raise ValueError("the patches must be the electrode panels of the operators, each of them once")


def _words(control: Voltage | Current) -> str:
    return f"{control.value:.4g} V" if isinstance(control, Voltage) else f"{control.value:.4g} A"


def _system(
    operators: Operators, anodes: Sequence[ElectrodePatch], cathodes: Sequence[ElectrodePatch], conductivity: float
) -> _System:
    column = operators.column
    on_cathode = np.zeros(len(operators.electrodes))
    for patch in cathodes:
        on_cathode[column[patch.panels]] = 1.0
    return _System(operators, conductivity, (*anodes, *cathodes), on_cathode, column)


def _first_point(
    system: _System, areas: Floats, control: Voltage | Current, start: BoundarySolution | None
) -> tuple[Floats, Floats]:
    """Return drop and current density to start from: those of ``start``, scaled, or else an even current."""
    if start is not None:
        asked, had = (
            (control.value, start.voltage) if isinstance(control, Voltage) else (control.value, start.cathode_current)
        )
        return _on_the_laws(system, start.current_density[system.operators.electrodes] * (asked / had))
    cathode = float(areas @ system.on_cathode)
    anode = float(areas @ (1 - system.on_cathode))
    if isinstance(control, Current):
        total = control.value
    else:  # an even current through liquid as long as the cathode is wide: only the order of size matters
        total = control.value * system.conductivity * np.sqrt(cathode) / 3.0
    return _on_the_laws(system, np.where(system.on_cathode > 0, total / cathode, -total / max(anode, 1e-300)))


def _on_the_laws(system: _System, current: Floats) -> tuple[Floats, Floats]:
    """Return points (drop, current density) on the laws, at the current asked or the nearest halving of it."""
    drop = np.zeros(len(current))
    for patch in system.patches:
        rows = system.column[patch.panels]
        if patch.law is None:
            continue
        trial = current[rows]
        for _ in range(60):  # below the limiting current, if the law has one
            found = patch.law.drop(trial)
            if np.all(np.isfinite(found)):
                break
            trial = trial / 2
        current[rows], drop[rows] = trial, found
    return drop, current


def _resistances(system: _System, drop: Floats) -> Floats:
    """Return (k,) the slope of the tangent of each electrode panel, d(drop)/d(current) [ohm m²]."""
    resistance = np.zeros(len(drop))
    for patch in system.patches:
        rows = system.column[patch.panels]
        if patch.law is not None:
            here = drop[rows]
            chord = np.maximum(np.abs(here), LEAST_DROP) / np.maximum(np.abs(patch.law.current(here)), 1e-12)
            resistance[rows] = 1.0 / np.maximum(patch.law.slope(here), 1.0 / (FLATTEST * chord))
    return resistance


def _is_straight(system: _System, drop: Floats) -> bool:
    """Are all laws straight lines? Then the first tangents are the last, and worth an exact solve."""
    return np.array_equal(_resistances(system, drop), _resistances(system, 2.0 * drop))


def _known_side(system: _System, offset: Floats) -> Floats:
    """Return (n, 2) right-hand sides: of the tangents' offsets, and of one volt on the cathode metal."""
    known = np.zeros((len(system.operators.areas), 2))
    known[system.operators.electrodes, 0] = offset
    known[system.operators.electrodes, 1] = system.on_cathode
    return -system.operators.double_layer(known)


@dataclass(frozen=True, eq=False)
class _Scaled:
    """The tangent problem in the measure that its solution is wanted in.

    Rows are multiplied by the block inverses, which makes a miss of the equation about as large as the error of the
    unknowns; unknowns are counted in volt and in a typical current density, each with the root of its panel's area.
    Without this a relative miss of 1e-5 may stand for an error of 1e-3 in the current.
    """

    system: _System
    resistance: Floats
    inverses: Floats
    weight: Floats  # (n, 1)

    def miss(self, rhs: Floats, unknowns: Floats) -> Floats:
        """Return (n, 2) the scaled difference of the right-hand sides and the equation at ``unknowns``."""
        return self.of(rhs - self.system.product(self.resistance, unknowns))

    def of(self, rhs: Floats) -> Floats:
        """Return a right-hand side (n, 2) in the measure."""
        return self.weight * applied(self.system.operators.blocks, self.inverses, rhs)

    def product(self, scaled: Floats) -> Floats:
        """Return the scaled matrix times scaled unknowns."""
        return self.of(self.system.product(self.resistance, scaled / self.weight))


def _scaled(system: _System, resistance: Floats, inverses: Floats, rhs: Floats) -> _Scaled:
    """Return the measure; the typical current density is what one volt drives through near neighbours alone."""
    operators = system.operators
    rough = applied(operators.blocks, inverses, rhs)[operators.electrodes, 1]
    areas = operators.areas[operators.electrodes]
    typical = float(np.sqrt(areas @ rough**2 / max(areas.sum(), 1e-300))) if len(areas) else 1.0
    weight = np.sqrt(operators.areas / operators.areas.sum())
    weight[operators.electrodes] /= typical if typical > 0 else 1.0
    return _Scaled(system, resistance, inverses, weight[:, None])


def _linear_solve(scaled: _Scaled, rhs: Floats, guess: Floats, goal: Floats) -> tuple[Floats, int]:
    """Return ``guess`` bettered until each scaled column misses by no more than its goal, and the iterations.

    A guess not much better than none is dropped.
    """
    residual, whole = scaled.miss(rhs, guess), scaled.of(rhs)
    useful = np.linalg.norm(residual, axis=0) < FAR * np.linalg.norm(whole, axis=0)
    guess, residual = np.where(useful, guess, 0.0), np.where(useful, residual, whole)
    step, count = gmres(scaled.product, residual, goal)
    return guess + step / scaled.weight, count


def _sizes(whole: Floats, metal: float) -> Floats:
    """Return (2,) what a miss of each right-hand side is measured by: itself, or where more, its share in their sum.

    The field is the first column plus ``metal`` times the second: what one of them misses hardly matters where the
    other is far larger, and the offsets' side nearly vanishes with laws that are nearly straight.
    """
    own = np.linalg.norm(whole, axis=0)
    if metal == 0.0:
        return np.asarray(own)
    return np.array([max(own[0], abs(metal) * own[1]), max(own[1], own[0] / abs(metal))])


def _equation_miss(scaled: _Scaled, rhs: Floats, guess: Floats, size: Floats) -> float:
    """Return by how much the unknowns miss the integral equation, relative to its right-hand sides.

    Worked out afresh: an iteration that gave up early would look as good as any by the laws alone.
    """
    left = np.linalg.norm(scaled.miss(rhs, guess), axis=0)
    return float(np.max(left / np.maximum(size, 1e-300)))


def _metal_potential(current: Floats, weight: Floats, control: Voltage | Current) -> float:
    """Return the potential of the cathode metal that meets the control [V]."""
    if isinstance(control, Voltage):
        return -control.value
    base, each = weight @ current
    return float((control.value - base) / each)


def _next_point(
    system: _System, drop: Floats, solved_drop: Floats, solved_current: Floats, areas: Floats
) -> tuple[Floats, Floats, float]:
    """Return the next points on the laws, and by how much the solved pairs miss the laws (relative)."""
    next_drop, next_current = np.zeros(len(drop)), np.array(solved_current)
    for patch in system.patches:
        rows = system.column[patch.panels]
        if patch.law is None:
            continue
        with np.errstate(over="ignore", invalid="ignore"):
            at_current = patch.law.drop(solved_current[rows])
            at_drop = solved_drop[rows]
            use = np.isfinite(at_current) & (np.abs(at_current - drop[rows]) < np.abs(at_drop - drop[rows]))
            next_drop[rows] = np.where(use, at_current, at_drop)
            next_current[rows] = np.where(use, solved_current[rows], patch.law.current(next_drop[rows]))
    flows = [float((areas * side) @ np.abs(solved_current)) for side in (system.on_cathode, 1.0 - system.on_cathode)]
    flow = min(flow for flow in flows if flow > 0)  # the lesser: a lost balance must not hide a miss
    effort = float(areas @ np.abs(solved_drop))
    miss_current = float(areas @ np.abs(next_current - solved_current)) / max(flow, 1e-300)
    miss_drop = float(areas @ np.abs(next_drop - solved_drop)) / max(effort, 1e-300)
    return next_drop, next_current, max(miss_current, miss_drop)


def _solution(
    system: _System,
    guess: Floats,
    metal: float,
    current: Floats,
    drop: Floats,
    history: tuple[float, ...],
    iterations: int,
    anodes: Sequence[ElectrodePatch],
    cathodes: Sequence[ElectrodePatch],
) -> BoundarySolution:
    """Put the unknowns back in their places."""
    operators = system.operators
    potential = guess @ np.array([1.0, metal])
    potential[operators.electrodes] = system.on_cathode * metal + drop
    density = np.zeros(len(potential))
    density[operators.electrodes] = current
    return BoundarySolution(
        potential=potential,
        current_density=density,
        voltage=-metal,
        cathode_current=total_current(density, operators.areas, cathodes),
        anode_current=-total_current(density, operators.areas, anodes) if anodes else 0.0,
        residuals=history,
        iterations=iterations,
        columns=guess,
    )
