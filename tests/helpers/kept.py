"""A cell of anodes and one cathode whose operators are kept: many laws, one assembly."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.arrays import Floats, Ints
from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundaryLaw, BoundarySolution, Current, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.electrode.laws import Tafel
from geom.surface.surface import Surface
from helpers.electrodes import ONE_VOLT, rows

SLOPE, EXCHANGE = 0.05, 1e-3
"""Of the Tafel laws here [V, A/m²]: distributions depend on neither once conductivity is chosen to suit."""


@dataclass(frozen=True, eq=False)
class Kept:
    """``cathode`` are tags; ``anodes`` a tag and the law of each; the rest insulates."""

    surface: Surface
    anodes: tuple[tuple[int, BoundaryLaw | None], ...] = ((2, None),)
    cathode: tuple[int, ...] = (1,)
    conductivity: float = 1.0

    @cached_property
    def here(self) -> Ints:
        """Panels of the cathode."""
        return rows(self.surface, self.cathode)

    @cached_property
    def operators(self) -> Operators:
        """Assembled when first asked for."""
        tags = [*self.cathode, *(tag for tag, _ in self.anodes)]
        return assemble(self.surface, rows(self.surface, tags))

    @property
    def panels(self) -> int:
        """How many, for the record."""
        return len(self.surface.faces)

    @property
    def areas(self) -> Floats:
        """(k,) of the cathode's panels [m²]."""
        return np.asarray(self.surface.areas[self.here])

    def middles(self, coordinate: Callable[[Floats], Floats]) -> Floats:
        """(k,) half way between the lowest and the highest corner of each panel of the cathode, in a coordinate."""
        corners = coordinate(self.surface.corners[self.here].reshape(-1, 3)).reshape(-1, 3)
        return np.asarray(0.5 * (corners.min(axis=1) + corners.max(axis=1)))

    def solved(
        self,
        law: BoundaryLaw | None = None,
        control: Voltage | Current = ONE_VOLT,
        *,
        anodes: tuple[tuple[int, BoundaryLaw | None], ...] = (),
    ) -> BoundarySolution:
        """The field under a law of the cathode; ``anodes`` may put other laws in place of those of the cell."""
        return solve(
            self.operators,
            anodes=[ElectrodePatch(rows(self.surface, [tag]), own) for tag, own in anodes or self.anodes],
            cathodes=[ElectrodePatch(self.here, law)],
            conductivity=self.conductivity,
            control=control,
        )

    def density(self, found: BoundarySolution) -> Floats:
        """(k,) current density on the cathode's panels [A/m²]."""
        return np.asarray(found.current_density[self.here])

    def mean(self, found: BoundarySolution) -> float:
        """Mean current density of the cathode [A/m²]."""
        return found.cathode_current / float(self.areas.sum())

    def tafel(self, wagner: float, length: float) -> tuple[BoundarySolution, float]:
        """The field at ``conductivity * slope / (mean * length)`` = ``wagner``; and (V - drop(mean)) / slope."""
        mean = self.conductivity * SLOPE / (wagner * length)
        law = Tafel(EXCHANGE, SLOPE)
        found = self.solved(law, Current(mean * float(self.areas.sum())))
        return found, (found.voltage - float(law.drop(np.array([mean]))[0])) / SLOPE

    def within(self, tags: Iterable[int], found: BoundarySolution) -> float:
        """Current into the panels with some tags [A]."""
        some = rows(self.surface, tags)
        return float(found.current_density[some] @ self.surface.areas[some])
