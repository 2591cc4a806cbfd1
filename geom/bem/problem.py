"""What is asked of the boundary solver, and what it answers. Arrays and a law; no bath, no part.

Signs: normals point out of the electrolyte (into metal and walls). Current density is counted out of
the electrolyte, ``i = -conductivity * dphi/dn``: positive on a cathode, negative on an anode. The drop
of an electrode is ``u = phi(just outside the metal) - potential of the metal``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from geom.arrays import Floats, Ints


class BoundaryLaw(Protocol):
    """Current density out of the electrolyte [A/m²] against drop [V]; strictly increasing."""

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density [A/m²] at (n,) drop [V]."""

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) d(current)/d(drop) > 0 [S/m²]."""

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop [V] at (n,) current density; NaN where the law cannot carry that current."""


@dataclass(frozen=True, eq=False)
class ElectrodePatch:
    """Panels of one electrode: all at one metal potential, under one law.

    ``law`` None is an electrode without polarization: drop zero at any current.
    """

    panels: Ints  # (k,) rows of the operators
    law: BoundaryLaw | None


@dataclass(frozen=True, slots=True)
class Voltage:
    """Control: metal potential of the anodes minus that of the cathodes [V]."""

    value: float


@dataclass(frozen=True, slots=True)
class Current:
    """Control: total current out of the electrolyte into the cathodes [A], > 0."""

    value: float


@dataclass(frozen=True, eq=False)
class BoundarySolution:
    """The field on every panel, and how it was reached."""

    potential: Floats  # (n,) potential just inside the electrolyte [V]; anode metal is at zero
    current_density: Floats  # (n,) out of the electrolyte [A/m²]; zero on insulators
    voltage: float  # anode metal minus cathode metal [V]
    cathode_current: float  # [A], > 0: summed over the cathode panels
    anode_current: float  # [A], > 0: summed over the anode panels
    residuals: tuple[float, ...]  # relative residual after each Newton step
    iterations: int  # Krylov iterations in all
    response: Floats  # (n, 2) potential [V] and current density [A/m²] of one volt more on the cathode metal


def total_current(current_density: Floats, areas: Floats, patches: Sequence[ElectrodePatch]) -> float:
    """Return the current out of the electrolyte summed over ``patches`` [A]."""
    rows = np.concatenate([patch.panels for patch in patches])
    return float(current_density[rows] @ areas[rows])
