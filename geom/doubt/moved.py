"""What limits on the current would be, were the inputs others: those that hang on field and bath move, rules stay.

A limit that moves is looked for anew at each draw: the current at which the hottest strip carries what it carries at
the plan's own limit, or at which the supply's voltage stands. Rules (usual current density, loading, hooks, heat,
anodes) are kept; so is the bright range, whose high end is a rule and no measurement.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.advice.bench_limits import DIFFUSION
from geom.advice.current import AT_MEAN, AT_STRIP, AT_VOLTS
from geom.advice.limit import Limit
from geom.arrays import Floats
from geom.doubt.inputs import Draw
from geom.doubt.response import SHARE, STRIP, Response, Site, resistance_of

STEPS = 12
"""Of a fixed-point, or Newton's, iteration, at most: the ratios move slowly with current, and four or five do."""

SETTLED = 1e-5
"""Relative change of the currents in a step below which they are taken."""

FAR_OFF = 10.0
"""A limit so many times the least one is left out: no draw makes it bind."""

NUDGE = 1e-3
"""Of the logarithm of the current: over it the slope of the voltage is taken."""

BOUND = 1.0
"""The logarithm of a current moves by no more in one step."""


def is_at_strip(limit: Limit) -> bool:
    """Is it the hottest strip that the limit is weighed at?"""
    return limit.name == AT_STRIP or limit.name.startswith(DIFFUSION)


@dataclass(frozen=True, eq=False)
class Moving:
    """The limits of a plan, and what moves them."""

    site: Site
    response: Response
    typical: Draw  # one case: the inputs as the plan has them

    def volts(self, draw: Draw, current: Floats, pose: int = 0) -> Floats:
        """Return (n,) voltages between anode and part [V] at (n,) currents [A]; drops are those of the first pose."""
        wagner = self.site.wagner(draw, current)
        ohmic = self.response.at(resistance_of(pose), wagner) / draw.conductivity * current
        return np.asarray(ohmic + self.site.drops(draw, current))

    def recommended(self, limits: Sequence[Limit], draw: Draw) -> Floats:
        """Return (n,) the least of the limits [A]."""
        count = len(draw.conductivity)
        least = np.full(count, np.inf)
        near = FAR_OFF * min((limit.value for limit in limits), default=np.inf)
        for limit in (one for one in limits if one.value < near):
            least = np.minimum(least, self._moved(limit, draw))
        return least

    def _moved(self, limit: Limit, draw: Draw) -> Floats:
        if is_at_strip(limit):
            goal = draw.limiting if limit.name.startswith(DIFFUSION) else 1.0
            return self._held(STRIP, draw, limit.value, goal)
        if limit.name == AT_MEAN:
            return self._held(SHARE, draw, limit.value, 1.0)
        if limit.name == AT_VOLTS:
            return self.current_at(draw, limit.value, self.volts(self.typical, np.array([limit.value])))
        return np.full(len(draw.conductivity), limit.value)

    def _held(self, name: str, draw: Draw, value: float, goal: Floats | float) -> Floats:
        """Return the currents at which a figure that goes with current is ``goal`` times what it is at ``value``."""
        own = value * self._at(name, self.typical, np.array([value]))
        current = np.full(len(draw.conductivity), value)
        for _ in range(STEPS):
            before, current = current, np.asarray(goal * own / self._at(name, draw, current))
            if float(np.abs(current / before - 1).max()) < SETTLED:
                break
        return current

    def _at(self, name: str, draw: Draw, current: Floats) -> Floats:
        return self.response.at(name, self.site.wagner(draw, current))

    def current_at(self, draw: Draw, near: float, volts: Floats) -> Floats:
        """Return the currents [A] at voltages [V], by Newton's method in the logarithm of the current from ``near`` on."""
        current = np.full(len(draw.conductivity), near)
        for _ in range(STEPS):
            here = self.volts(draw, current)
            slope = (self.volts(draw, current * (1 + NUDGE)) - here) / NUDGE
            step = np.clip((volts - here) / slope, -BOUND, BOUND)
            current = current * np.exp(step)
            if float(np.abs(step).max()) < SETTLED:
                break
        return np.asarray(current)
