"""Solve the boundary problem: Newton on the electrode laws round a linear solve of the integral equation.

Each step puts the tangent of every law in place of the law, ``u = u_k + R_k (i - i_k)``, solves for two right-hand
sides (the cathode metal where it was found last, and one volt more) and combines them to the asked voltage or
current. The next point of tangency is the nearer of the two points of the law at the solved drop and at the solved
current: the rule by which circuit simulators keep a diode's exponential in bounds (Nagel, SPICE2, UCB/ERL M520,
1975; from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.bem.krylov import gmres
from geom.bem.operators import Operators
from geom.bem.problem import (
    BoundarySolution,
    Current,
    ElectrodePatch,
    Voltage,
    total_current,
)
from geom.bem.tangents import Scaled, System, Tangents, measured
from geom.errors import SolveError

STEPS = 60
IN_VAIN = 3  # steps at a current over the limiting current, for the record of the refusal
MARGIN = 1e-6  # of the limiting current: nearer than that is over it
NEAR = 0.8  # times the limiting current: from here on it is the likely cause of a failure
STILL = 12  # steps without getting nearer by a tenth
TOLERANCE = 1e-5  # to which the laws and the equation are met, unless less is asked
SLACK = 10.0  # times that tolerance the equation itself may be missed by: products are in single precision
FAR = 0.05  # times the right side: a guess that misses by more saves less work than it can cost
LOCAL = 0.1  # a single panel may miss its law by so many times more
LOOSEST = 100.0  # times its own tolerance: the most that the answer to one more volt may be off by
KNOWN = 1.0  # of the tolerance: the share of the voltage to which the drop of a panel is known
ATTEMPTS = 3  # at an equation that stays unsolved, each from where the last one stopped
# a tangent is at most so many times flatter than the chord: past a limiting current it has no figures left
FLATTEST = 1e3
ABSURD = 1e6  # a drop [V] that only a current beyond the limiting current asks for
LEAST_DROP = 0.1  # of that chord [V]: more than a Tafel slope, so that an exponential keeps its tangent
ROUGH = 1e-3  # of the solves before it: the tangents move more than that


@dataclass(frozen=True, eq=False)
class _Found:
    """What one step found."""

    potential: Floats  # (n, 2) of the field, and of one volt more on the cathode metal [V]
    current: Floats  # (k, 2) the same [A/m²]
    drop: Floats  # (k,) on the tangents [V]
    metal: float  # of the cathodes [V]


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
    limits = _limits(system)
    in_vain = isinstance(control, Current) and control.value >= (1.0 - MARGIN) * min(limits.values(), default=np.inf)
    tangents, guess = _beginning(system, control, start)
    rough = tolerance if _is_straight(tangents) else max(ROUGH, tolerance)
    history: list[float] = []
    iterations, accuracy, unsolved = 0, rough, 0
    step = 0.0 if isinstance(control, Voltage) else None  # of the cathode metal's potential, as far as it is known
    for _ in range(IN_VAIN if in_vain else STEPS):
        scaled, rhs = measured(tangents), tangents.known_side()
        guess, count = _linear_solve(scaled, rhs, guess, accuracy * _sizes(scaled.of(rhs), step))
        iterations += count
        found = _found(tangents, guess, control)
        step = found.metal - tangents.metal
        drop, current, miss = _next_point(tangents, found, tolerance)
        history.append(miss)
        if not np.isfinite(miss) or float(np.abs(drop).max()) > ABSURD or _stands_still(history):
            break
        if miss < tolerance and accuracy <= tolerance:
            if _equation_miss(scaled, rhs, guess, step) <= SLACK * tolerance:
                return _solution(system, found, tuple(history), iterations, anodes, cathodes)
            unsolved += 1
            if unsolved == ATTEMPTS:
                raise _unsolved(history)
        accuracy = tolerance if miss < 0.02 else rough
        tangents = _tangents(system, drop, current, found.metal)
        guess = tangents.unknowns(found.potential, found.current)
    raise _not_brought_together(control, limits, history)


def _unsolved(history: Sequence[float]) -> SolveError:
    return SolveError(
        "solve-not-converged",
        "the laws of the electrodes are met but the equation of the field is not: its iteration came to a standstill",
        hint="bodies very close together or panels of very unlike size are the usual cause; move them apart, or mesh finer",
        residuals=history,
    )


def _stands_still(history: Sequence[float]) -> bool:
    return len(history) > STILL and min(history[-STILL:]) > 0.9 * min(history[:-STILL])


def _not_brought_together(
    control: Voltage | Current, limits: Mapping[str, float], history: Sequence[float]
) -> SolveError:
    """Return the refusal; where a limiting current is near or passed, it names the least."""
    message = f"the electrode laws and the asked {_words(control)} could not be brought together"
    if limits and isinstance(control, Current) and control.value > NEAR * min(limits.values()):
        name = min(limits, key=lambda key: limits[key])
        message += f": the limiting current of the {name} is {limits[name]:.4g} A"
        hint = "ask for less current, or correct the limiting current density"
    else:
        message += f" in {len(history)} steps"
        hint = (
            "if the job gives polarization, check it; if it gives none, look at the part for tips, slits or gaps "
            "far narrower than a tenth of a millimetre"
        )
    return SolveError("solve-not-converged", message, hint=hint, residuals=history)


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
) -> System:
    on_cathode = np.zeros(len(operators.electrodes))
    for patch in cathodes:
        on_cathode[operators.column[patch.panels]] = 1.0
    return System(operators, conductivity, (*anodes, *cathodes), operators.areas[operators.electrodes], on_cathode)


def _limits(system: System) -> dict[str, float]:
    """Return the current that the cathodes and the anodes cannot pass at any voltage [A], where there is one."""
    limits = {}
    for name, sign, share in (("cathodes", 1.0, system.on_cathode), ("anodes", -1.0, 1.0 - system.on_cathode)):
        most = 0.0
        for patch in system.patches:
            rows = system.columns(patch)
            reached = np.inf if patch.law is None else sign * patch.law.current(np.full(len(rows), sign * ABSURD))
            most += float(np.sum(np.where(share[rows] > 0, system.areas[rows] * reached, 0.0)))
        if np.any(share) and most < np.inf:
            limits[name] = most
    return limits


def _beginning(system: System, control: Voltage | Current, start: BoundarySolution | None) -> tuple[Tangents, Floats]:
    """Return first tangents and unknowns: of ``start``, scaled to the control, or of an even current."""
    n = len(system.operators.areas)
    potential, current = np.zeros((n, 2)), np.zeros((len(system.areas), 2))
    if start is None:
        points = _on_the_laws(system, _even(system, control))
    else:
        had = start.voltage if isinstance(control, Voltage) else start.cathode_current
        potential = np.stack([start.potential, start.response[:, 0]], axis=1)
        current = np.stack([start.current_density, start.response[:, 1]], axis=1)[system.electrodes]
        potential[:, 0] *= control.value / had
        current[:, 0] *= control.value / had
        points = _on_the_laws(system, current[:, 0])
    cathode = system.areas * system.on_cathode
    level = cathode @ (potential[system.electrodes, 0] - points[0]) / cathode.sum()
    tangents = _tangents(system, *points, -control.value if isinstance(control, Voltage) else float(level))
    return tangents, tangents.unknowns(potential, current)


def _even(system: System, control: Voltage | Current) -> Floats:
    """Return (k,) an even current density [A/m²]."""
    cathode = float(system.areas @ system.on_cathode)
    anode = float(system.areas @ (1 - system.on_cathode))
    if isinstance(control, Current):
        total = control.value
    else:  # through liquid as long as the cathode is wide: only the order of size matters
        total = control.value * system.conductivity * np.sqrt(cathode) / 3.0
    return np.where(system.on_cathode > 0, total / cathode, -total / max(anode, 1e-300))


def _on_the_laws(system: System, asked: Floats) -> tuple[Floats, Floats]:
    """Return points (drop, current density) on the laws, at the current asked or the nearest halving of it."""
    drop, current = np.zeros(len(asked)), asked.copy()
    for patch in system.patches:
        rows = system.columns(patch)
        if patch.law is None:
            continue
        trial = asked[rows]
        found = patch.law.drop(trial)
        for _ in range(60):  # below the limiting current, if the law has one
            if np.all(np.isfinite(found)):
                break
            trial = np.where(np.isfinite(found), trial, trial / 2)
            found = patch.law.drop(trial)
        drop[rows] = np.where(np.isfinite(found), found, 0.0)  # a current of the sign that the law has not
        current[rows] = np.where(np.isfinite(found), trial, patch.law.current(drop[rows]))
    return drop, current


def _tangents(system: System, drop: Floats, current: Floats, metal: float) -> Tangents:
    """Return the tangents at points of the laws."""
    return Tangents(system, drop, current, _resistances(system, drop), metal)


def _resistances(system: System, drop: Floats) -> Floats:
    """Return (k,) the slope of the tangent of each electrode panel, d(drop)/d(current) [ohm m²]."""
    resistance = np.zeros(len(drop))
    for patch in system.patches:
        rows = system.columns(patch)
        if patch.law is not None:
            here = drop[rows]
            chord = np.maximum(np.abs(here), LEAST_DROP) / np.maximum(np.abs(patch.law.current(here)), 1e-12)
            resistance[rows] = 1.0 / np.maximum(patch.law.slope(here), 1.0 / (FLATTEST * chord))
    return resistance


def _is_straight(tangents: Tangents) -> bool:
    """Are all laws straight lines? Then the first tangents are the last, and worth an exact solve."""
    return np.array_equal(tangents.resistance, _resistances(tangents.system, 2.0 * tangents.drop))


def _linear_solve(scaled: Scaled, rhs: Floats, guess: Floats, goal: Floats) -> tuple[Floats, int]:
    """Return ``guess`` bettered until each scaled column misses by no more than its goal, and the iterations.

    A guess not much better than none is dropped.
    """
    residual, whole = scaled.miss(rhs, guess), scaled.of(rhs)
    useful = np.linalg.norm(residual, axis=0) < FAR * np.linalg.norm(whole, axis=0)
    guess, residual = np.where(useful, guess, 0.0), np.where(useful, residual, whole)
    step, count = gmres(scaled.product, residual, goal)
    return guess + step / scaled.weight, count


def _sizes(whole: Floats, step: float | None) -> Floats:
    """Return (2,) what a miss of each right-hand side is measured by: itself, or where more, its share in their sum.

    The field is the first column plus ``step`` times the second: what one of them misses hardly matters where the
    other is far larger. Under a voltage the step is nothing, and the second column not wanted.
    """
    own = np.linalg.norm(whole, axis=0)
    if step is None:
        return np.asarray(own)
    loose = min(own[0] / max(abs(step), 1e-300), LOOSEST * own[1])  # it must still tell volts from amperes
    return np.array([max(own[0], abs(step) * own[1]), max(own[1], loose)])


def _equation_miss(scaled: Scaled, rhs: Floats, guess: Floats, step: float) -> float:
    """Return by how much the field misses the integral equation, relative to its right-hand side.

    Worked out afresh: an iteration that gave up early would look as good as any by the laws alone.
    """
    both = np.array([1.0, step])
    whole = float(np.linalg.norm(scaled.of(rhs) @ both))
    return float(np.linalg.norm(scaled.miss(rhs, guess) @ both)) / max(whole, 1e-300)


def _found(tangents: Tangents, unknowns: Floats, control: Voltage | Current) -> _Found:
    """Return the field that meets the control on the tangents."""
    system = tangents.system
    potential, current = tangents.fields(unknowns)
    step = 0.0
    if isinstance(control, Current):
        base, each = (system.areas * system.on_cathode) @ current
        step = float((control.value - base) / each)
    metal = tangents.metal + step
    potential[:, 0] += step * potential[:, 1]
    current[:, 0] += step * current[:, 1]
    own = tangents.drop + tangents.resistance * (current[:, 0] - tangents.current)
    outside = potential[system.electrodes, 0] - metal * system.on_cathode
    return _Found(potential, current, np.where(tangents.by_potential, outside, own), metal)


def _next_point(tangents: Tangents, found: _Found, tolerance: float) -> tuple[Floats, Floats, float]:
    """Return the next points on the laws, and by how much the solved pairs miss the laws (relative).

    A drop is known to a share of the voltage only; what that makes of the current by the law is no miss of a panel.
    """
    system, areas, density = tangents.system, tangents.system.areas, found.current[:, 0]
    next_drop, next_current, by_drop = np.zeros(len(areas)), np.array(density), np.array(density)
    unsure = np.zeros(len(areas))
    for patch in system.patches:
        rows = system.columns(patch)
        if patch.law is None:
            continue
        last, at_drop = tangents.drop[rows], found.drop[rows]
        with np.errstate(over="ignore", invalid="ignore"):
            at_current = patch.law.drop(density[rows])
            use = np.isfinite(at_current) & (np.abs(at_current - last) < np.abs(at_drop - last))
            next_drop[rows] = np.where(use, at_current, at_drop)
            by_drop[rows] = patch.law.current(at_drop)
            unsure[rows] = KNOWN * tolerance * abs(found.metal) * patch.law.slope(at_drop)
            next_current[rows] = np.where(use, density[rows], by_drop[rows])
    sides = np.stack([system.on_cathode, 1.0 - system.on_cathode])
    flows = (sides * areas) @ np.abs(density)
    flow = float(flows[flows > 0].min(initial=np.inf))  # the lesser: a lost balance must not hide a miss
    mean = (flows / np.maximum(sides @ areas, 1e-300)) @ sides
    off = np.abs(next_current - density)
    effort = float(areas @ np.abs(found.drop))
    miss_drop = float(areas @ np.abs(next_drop - found.drop)) / max(effort, 1e-300)
    off_law = np.maximum(np.abs(by_drop - density) - unsure, 0.0)
    worst = LOCAL * float((off_law / np.maximum(mean, 1e-300)).max())
    return next_drop, next_current, max(float(areas @ off) / flow, miss_drop, min(worst, 1.0))


def _solution(
    system: System,
    found: _Found,
    history: tuple[float, ...],
    iterations: int,
    anodes: Sequence[ElectrodePatch],
    cathodes: Sequence[ElectrodePatch],
) -> BoundarySolution:
    """Put the unknowns back in their places."""
    operators = system.operators
    density = np.zeros((len(operators.areas), 2))
    density[system.electrodes] = found.current
    return BoundarySolution(
        potential=np.ascontiguousarray(found.potential[:, 0]),
        current_density=np.ascontiguousarray(density[:, 0]),
        voltage=-found.metal,
        cathode_current=total_current(density[:, 0], operators.areas, cathodes),
        anode_current=-total_current(density[:, 0], operators.areas, anodes) if anodes else 0.0,
        residuals=history,
        iterations=iterations,
        response=np.stack([found.potential[:, 1], density[:, 1]], axis=1),
    )
