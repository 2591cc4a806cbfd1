"""Known potentials on any closed surface, and the boundary solver asked for their currents."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.arrays import Bools, Floats
from geom.bem.operators import Operators, assemble
from geom.bem.problem import ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.surface.surface import Surface

LEAST = 1e-6  # ohm m² at 1 m: a law so stiff that it fixes the potential


@dataclass(frozen=True, eq=False)
class Known:
    """A harmonic function and its gradient; places are (n, 3)."""

    value: Callable[[Floats], Floats]
    gradient: Callable[[Floats], Floats]


def source(at: Floats) -> Known:
    """1 / r about a point."""

    def value(x: Floats) -> Floats:
        return np.asarray(1.0 / np.linalg.norm(x - at, axis=1))

    def gradient(x: Floats) -> Floats:
        return np.asarray(-(x - at) * value(x)[:, None] ** 3)

    return Known(value, gradient)


def dipole(at: Floats, moment: Floats) -> Known:
    """m . (x - at) / r³."""

    def parts(x: Floats) -> tuple[Floats, Floats, Floats]:
        d = x - at
        r = np.linalg.norm(d, axis=1)
        return d, r, d @ moment

    def value(x: Floats) -> Floats:
        _, r, along = parts(x)
        return np.asarray(along / r**3)

    def gradient(x: Floats) -> Floats:
        d, r, along = parts(x)
        return np.asarray(moment / r[:, None] ** 3 - 3 * d * (along / r**5)[:, None])

    return Known(value, gradient)


def polynomial(middle: Floats, size: float) -> Known:
    """x y + z² - x² + 3 x² y - y³ + z / 2: solid harmonics up to the third degree about ``middle``, in ``size``."""

    def value(p: Floats) -> Floats:
        x, y, z = ((p - middle) / size).T
        return np.asarray(x * y + z * z - x * x + 3 * x * x * y - y**3 + 0.5 * z)

    def gradient(p: Floats) -> Floats:
        x, y, z = ((p - middle) / size).T
        return np.asarray(
            np.stack([y - 2 * x + 6 * x * y, x + 3 * x * x - 3 * y * y, 2 * z + 0.5 * np.ones_like(z)], axis=1) / size
        )

    return Known(value, gradient)


@dataclass(frozen=True, eq=False)
class Given:
    """Holds each panel at a potential of its own: i = (u - given) / resistance."""

    given: Floats
    resistance: float

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density."""
        return np.asarray((drop - self.given) / self.resistance)

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) its slope."""
        return np.full(len(drop), 1.0 / self.resistance)

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop."""
        return np.asarray(self.given + self.resistance * current)


@dataclass(frozen=True, eq=False)
class Asked:
    """A closed surface, normals out of the liquid, all of it electrode: asked for the current of known potentials."""

    surface: Surface
    enclosed: bool

    @cached_property
    def operators(self) -> Operators:
        """Assembled when first asked for, in double precision."""
        rows = np.arange(len(self.surface.faces))
        return assemble(self.surface, rows, enclosed=self.enclosed, dtype=np.float64)

    def flux(self, known: Known) -> Floats:
        """Current density out of the liquid that the solver finds, conductivity 1."""
        potential = known.value(self.surface.centroids)
        size = float(np.ptp(self.surface.bounds, axis=0).max())
        rows = np.arange(len(self.surface.faces))
        return solve(
            self.operators,
            anodes=[],
            cathodes=[ElectrodePatch(rows, Given(potential + 1.0, LEAST * size))],  # the metal is at -1 V
            conductivity=1.0,
            control=Voltage(1.0),
            tolerance=1e-7,
        ).current_density

    def green_miss(self, known: Known) -> float:
        """Mean by which the exact potential and current miss Green's identity, over the spread of the potential."""
        potential, areas = known.value(self.surface.centroids), self.surface.areas
        flux = exact_flux(self.surface, known)
        operators = self.operators
        left = operators.product(np.stack([potential] * 2, 1), np.stack([flux] * 2, 1))[:, 0]
        mean = areas @ potential / areas.sum()
        return float(areas @ np.abs(left) / (areas @ np.abs(potential - mean)))

    def misses(self, known: Known) -> Floats:
        """(n,) by how much each panel's current density misses the known one, over its mean size."""
        exact, areas = exact_flux(self.surface, known), self.surface.areas
        return np.asarray(np.abs(self.flux(known) - exact) / (areas @ np.abs(exact) / areas.sum()))

    def mean_miss(self, known: Known, rows: Bools | None = None) -> float:
        """Mean of `misses` by area, over some of the panels but as a share of all the area."""
        weight = self.surface.areas if rows is None else np.where(rows, self.surface.areas, 0.0)
        return float(weight @ self.misses(known) / self.surface.area)


def exact_flux(surface: Surface, known: Known) -> Floats:
    """Current density out of the liquid at the centroids, conductivity 1."""
    return np.asarray(-np.einsum("ij,ij->i", known.gradient(surface.centroids), surface.normals))
