"""The straight lines that stand for the electrode laws in one step, and the linear problem that they pose.

The unknown of a panel is its potential on insulators and where the electrode resists more than the liquid, its
current density on the other electrode panels. So neither is ever the small difference of two large numbers: in
current alone the potentials of the liquid, and with them the balance of the currents, drown in rounding from Wagner
numbers of a thousand on.
"""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.bem.blocks import applied, inverted
from geom.bem.operators import Operators
from geom.bem.problem import ElectrodePatch


@dataclass(frozen=True, eq=False)
class System:
    """One geometry with its electrodes and conductivity: everything but the tangents."""

    operators: Operators
    conductivity: float
    patches: tuple[ElectrodePatch, ...]
    areas: Floats  # (k,) of the electrode panels [m²]
    on_cathode: Floats  # (k,) 1 on cathode columns, 0 on anode columns

    @property
    def electrodes(self) -> Ints:
        """(k,) panels that carry current."""
        return self.operators.electrodes

    @property
    def size(self) -> float:
        """Root of the cathodes' area: so much liquid an electrode's resistance is weighed against [m]."""
        return float(np.sqrt(self.areas @ self.on_cathode))

    def columns(self, patch: ElectrodePatch) -> Ints:
        """Return the electrode columns of a patch."""
        return self.operators.column[patch.panels]

    def equation(self, potential: Floats, current: Floats) -> Floats:
        """Return the integral equation's left side at potentials (n, 2) and current densities (k, 2).

        A constant potential is an exact solution of an enclosed cell: the level is taken out, so that what single
        precision rounds is the differences.
        """
        operators = self.operators
        level = operators.areas @ potential / operators.areas.sum()
        result = operators.product(potential - level, current / self.conductivity)
        return result if operators.enclosed else result + level


@dataclass(frozen=True, eq=False)
class Tangents:
    """``u = drop + resistance * (i - current)`` on each electrode panel, with the cathode metal near ``metal``.

    Of the two columns of everything, the first is the field with the cathode metal at ``metal``, the second that of
    one volt more.
    """

    system: System
    drop: Floats  # (k,) [V]
    current: Floats  # (k,) [A/m²]
    resistance: Floats  # (k,) [ohm m²]
    metal: float  # [V]

    @property
    def by_potential(self) -> "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]":
        """(k,) where the unknown of an electrode panel is its potential."""
        return np.asarray(self.resistance * self.system.conductivity > self.system.size)

    @property
    def base(self) -> Floats:
        """(k, 2) potential of the electrode panels without current [V]."""
        on_cathode = self.system.on_cathode
        first = self.drop - self.resistance * self.current + self.metal * on_cathode
        return np.stack([first, on_cathode], axis=1)

    def unknowns(self, potential: Floats, current: Floats) -> Floats:
        """Return (n, 2) unknowns from potentials (n, 2) of all panels and current densities (k, 2)."""
        result = potential.copy()
        electrodes = self.system.electrodes
        result[electrodes] = np.where(self.by_potential[:, None], potential[electrodes], current)
        return result

    def fields(self, unknowns: Floats) -> tuple[Floats, Floats]:
        """Return potentials (n, 2) and current densities (k, 2) from unknowns."""
        return self._fields(unknowns, self.base)

    def _fields(self, unknowns: Floats, base: Floats) -> tuple[Floats, Floats]:
        electrodes, chosen, resistance = self.system.electrodes, self.by_potential[:, None], self.resistance[:, None]
        own = unknowns[electrodes]
        potential = unknowns.copy()
        potential[electrodes] = np.where(chosen, own, base + resistance * own)
        return potential, np.where(chosen, (own - base) / np.where(chosen, resistance, 1.0), own)

    def product(self, unknowns: Floats) -> Floats:
        """Return the matrix of the tangent problem times the unknowns."""
        return self.system.equation(*self._fields(unknowns, np.zeros((len(self.drop), 2))))

    def known_side(self) -> Floats:
        """Return the (n, 2) right-hand sides."""
        return -self.system.equation(*self.fields(np.zeros((len(self.system.operators.areas), 2))))

    def near_inverses(self) -> Floats:
        """Return the inverses of the matrix on each block of near neighbours."""
        operators, chosen = self.system.operators, self.by_potential
        rows = operators.blocks.rows
        near = operators.near_double.copy()
        place = np.arange(rows.shape[1])
        near[:, place, place] += operators.free[rows]
        # what one of each unknown does to the potential and to the current density; the last is an insulator's
        volts = np.append(np.where(chosen, 1.0, self.resistance), 1.0)
        flow = np.append(np.where(chosen, 1.0 / np.where(chosen, self.resistance, 1.0), 1.0), 0.0)
        column = operators.column[rows]
        double, single = near * volts[column][:, None, :], operators.near_single * flow[column][:, None, :]
        return inverted(operators.blocks, double + single / self.system.conductivity)


@dataclass(frozen=True, eq=False)
class Scaled:
    """The tangent problem in the measure that its solution is wanted in.

    Rows are multiplied by the block inverses, which makes a miss of the equation about as large as the error of the
    unknowns; unknowns are counted in volt and in a typical current density, each with the root of its panel's area.
    Without this a relative miss of 1e-5 may stand for an error of 1e-3 in the current.
    """

    tangents: Tangents
    inverses: Floats
    weight: Floats  # (n, 1)

    def miss(self, rhs: Floats, unknowns: Floats) -> Floats:
        """Return (n, 2) the scaled difference of the right-hand sides and the equation at ``unknowns``."""
        return self.of(rhs - self.tangents.product(unknowns))

    def of(self, rhs: Floats) -> Floats:
        """Return a right-hand side (n, 2) in the measure."""
        return self.weight * applied(self.tangents.system.operators.blocks, self.inverses, rhs)

    def product(self, scaled: Floats) -> Floats:
        """Return the scaled matrix times scaled unknowns."""
        return self.of(self.tangents.product(scaled / self.weight))


def measured(tangents: Tangents) -> Scaled:
    """Return the measure; the typical current density is what one volt drives through near neighbours alone."""
    operators, inverses = tangents.system.operators, tangents.near_inverses()
    areas = operators.areas
    weight = np.sqrt(areas / areas.sum())
    flowing = operators.electrodes[~tangents.by_potential]
    if len(flowing):
        volt = np.zeros((len(areas), 1))
        volt[flowing] = 1.0
        rough = applied(operators.blocks, inverses, volt)[flowing, 0]
        typical = float(np.sqrt(areas[flowing] @ rough**2 / areas[flowing].sum()))
        weight[flowing] /= typical if typical > 0 else 1.0
    return Scaled(tangents, inverses, weight[:, None])
