"""Short ways to pose a problem on laid-out panels: one body far from everything, or two facing electrodes."""

from collections.abc import Iterable

import numpy as np

from geom.arrays import Ints
from geom.bem.operators import assemble
from geom.bem.problem import BoundaryLaw, BoundarySolution, Current, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.surface.surface import Surface
from helpers.meshes import turned_over

ONE_VOLT = Voltage(1.0)


def rows(surface: Surface, tags: Iterable[int]) -> Ints:
    """Panels with one of the tags."""
    return np.flatnonzero(np.isin(surface.tag, list(tags)))


def alone(
    body: Surface, *, conductivity: float = 1.0, law: BoundaryLaw | None = None, dtype: type = np.float32
) -> BoundarySolution:
    """A body at -1 V in liquid without end; ``body`` has its normals out of the metal."""
    everything = np.arange(len(body.faces))
    return solve(
        assemble(turned_over(body), everything, enclosed=False, dtype=dtype),
        anodes=[],
        cathodes=[ElectrodePatch(everything, law)],
        conductivity=conductivity,
        control=Voltage(1.0),
    )


def facing(
    surface: Surface,
    *,
    anode: Iterable[int],
    cathode: Iterable[int],
    conductivity: float = 1.0,
    law: BoundaryLaw | None = None,
    control: Voltage | Current = ONE_VOLT,
    dtype: type = np.float32,
) -> BoundarySolution:
    """An ideal anode and one cathode, by tags; every other panel insulates."""
    here, there = rows(surface, cathode), rows(surface, anode)
    return solve(
        assemble(surface, np.concatenate([here, there]), dtype=dtype),
        anodes=[ElectrodePatch(there, None)],
        cathodes=[ElectrodePatch(here, law)],
        conductivity=conductivity,
        control=control,
    )
