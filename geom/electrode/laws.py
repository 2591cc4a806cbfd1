"""Electrode laws: current density against drop, slope and inverse.

``drop`` is u = phi(solution) - phi(metal) [V] counted from rest, so u > 0 on a cathode that plates.
Current density [A/m²] is counted out of the electrolyte: positive on a cathode. Every law increases
strictly with u and satisfies the protocol of the boundary solver, which does not know this module.

Equations: Newman & Thomas-Alyea, *Electrochemical Systems*, 3rd ed., ch. 8 (kinetics) and 18
(distribution), from memory. Slopes are per e-fold; tables print them per decade
(`tafel_slope_per_e_fold`).
"""

import math
from dataclasses import dataclass, fields

import numpy as np

from geom.arrays import Floats

_TURN = 200.0
"""Exponent beyond which `growth` leaves exp: far above any current, far below overflow when squared."""

_PEAK = math.exp(_TURN)

SETTLED = 1e-13
_NEWTON_STEPS = 60
"""Bisection alone would need as many; Newton takes under ten."""


def tafel_slope_per_e_fold(per_decade: float) -> float:
    """Return the Tafel slope per e-fold [V] of one given per decade [V]."""
    return per_decade / math.log(10.0)


def growth(exponent: Floats) -> Floats:
    """Return f(x): exp for |x| <= 200; beyond that f keeps growing, tamely.

    Past the turn f goes on along its tangent, and f(-x) = 1/f(x) holds everywhere, so f stays positive,
    increasing and continuous in slope, and nothing overflows in a trial step of a Newton iteration.
    """
    inner = np.clip(exponent, -_TURN, _TURN)
    tail = 1.0 + np.abs(exponent - inner)
    return np.asarray(np.exp(inner) * np.where(exponent < 0.0, 1.0 / tail, tail))


def growth_less_one(exponent: Floats) -> Floats:
    """Return f(x) - 1 of `growth`, without loss of figures near x = 0."""
    near = np.expm1(np.clip(exponent, -1.0, 1.0))
    return np.asarray(np.where(np.abs(exponent) < 1.0, near, growth(exponent) - 1.0))


def growth_slope(exponent: Floats) -> Floats:
    """Return f'(x) > 0 of `growth`."""
    inner = np.clip(exponent, -_TURN, _TURN)
    tail = 1.0 + np.abs(exponent - inner)
    return np.asarray(np.exp(inner) * np.where(exponent < 0.0, tail**-2.0, 1.0))


def growth_inverse(value: Floats) -> Floats:
    """Return x where f(x) = ``value``; NaN where ``value`` is not positive."""
    known = value > 0.0
    safe = np.where(known, value, 1.0)
    large = np.maximum(safe, 1.0 / safe)  # f(-x) = 1/f(x): only the growing half is needed
    size = np.where(large > _PEAK, _TURN + (large / _PEAK - 1.0), np.log(np.minimum(large, _PEAK)))
    return np.asarray(np.where(known, np.where(safe < 1.0, -size, size), np.nan))


def _need_positive(law: object) -> None:
    """Raise ValueError unless every number of ``law`` is positive and finite."""
    for field in fields(law):  # type: ignore[arg-type]
        value = getattr(law, field.name)
        if isinstance(value, (int, float)) and not (math.isfinite(value) and value > 0.0):
            name = type(law).__name__
            raise ValueError(f"{name}.{field.name} must be positive and finite, got {value!r}")


@dataclass(frozen=True, slots=True)
class Linear:
    """Polarization resistance: i = u / resistance."""

    resistance: float  # [ohm m²]

    def __post_init__(self) -> None:
        _need_positive(self)

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density [A/m²] at (n,) drop [V]."""
        return np.asarray(drop / self.resistance)

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) d(current)/d(drop) [S/m²]."""
        return np.full_like(drop, 1.0 / self.resistance, dtype=np.float64)

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop [V] at (n,) current density [A/m²]."""
        return np.asarray(current * self.resistance)


@dataclass(frozen=True, slots=True)
class Tafel:
    """Cathodic branch alone: i = exchange * exp(u / cathodic_slope); never zero, never anodic."""

    exchange: float  # exchange current density [A/m²]
    cathodic_slope: float  # per e-fold [V]

    def __post_init__(self) -> None:
        _need_positive(self)

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density [A/m²] at (n,) drop [V]."""
        return self.exchange * growth(np.asarray(drop / self.cathodic_slope))

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) d(current)/d(drop) [S/m²]."""
        return self.exchange / self.cathodic_slope * growth_slope(np.asarray(drop / self.cathodic_slope))

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop [V] at (n,) current density; NaN where it is not positive."""
        return self.cathodic_slope * growth_inverse(np.asarray(current / self.exchange))


@dataclass(frozen=True, slots=True)
class ButlerVolmer:
    """Both branches: i = exchange * (exp(u / cathodic_slope) - exp(-u / anodic_slope))."""

    exchange: float  # exchange current density [A/m²]
    cathodic_slope: float  # per e-fold [V]
    anodic_slope: float  # per e-fold [V]

    def __post_init__(self) -> None:
        _need_positive(self)

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density [A/m²] at (n,) drop [V]."""
        forward = growth_less_one(np.asarray(drop / self.cathodic_slope))
        return self.exchange * (forward - growth_less_one(np.asarray(-drop / self.anodic_slope)))

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) d(current)/d(drop) [S/m²]."""
        forward = growth_slope(np.asarray(drop / self.cathodic_slope)) / self.cathodic_slope
        backward = growth_slope(np.asarray(-drop / self.anodic_slope)) / self.anodic_slope
        return self.exchange * (forward + backward)

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop [V] at (n,) current density [A/m²]."""
        ratio = np.abs(current) / self.exchange
        ahead = current >= 0.0
        # an anodic current is a cathodic one with the slopes exchanged and the sign turned
        own = np.where(ahead, self.cathodic_slope, self.anodic_slope)
        other = np.where(ahead, self.anodic_slope, self.cathodic_slope)
        return np.asarray(np.where(ahead, 1.0, -1.0) * _drop_of_ratio(ratio, own, other))


def _drop_of_ratio(ratio: Floats, own: Floats, other: Floats) -> Floats:
    """Return u >= 0 with f(u/own) - f(-u/other) = ``ratio`` >= 0, by Newton kept inside a bracket.

    f(-u/other) lies in (0, 1], which brackets f(u/own) between ratio and 1 + ratio. The equation is
    solved for arcsinh of both sides, nearly straight in u (and exactly so for equal slopes).
    """
    floor = np.maximum(ratio, 1e-300)
    low = np.maximum(own * growth_inverse(floor), 0.0)
    high = own * np.where(ratio < 1.0, np.log1p(ratio), growth_inverse(1.0 + ratio))
    goal = np.arcsinh(0.5 * ratio)
    drop = np.clip(own * goal, low, high)
    for _ in range(_NEWTON_STEPS):
        value = growth_less_one(drop / own) - growth_less_one(-drop / other)
        rate = growth_slope(drop / own) / own + growth_slope(-drop / other) / other
        miss = np.arcsinh(0.5 * value) - goal
        low = np.where(miss < 0.0, drop, low)
        high = np.where(miss > 0.0, drop, high)
        trial = drop - miss * 2.0 * np.hypot(1.0, 0.5 * value) / rate
        trial = np.where((trial < low) | (trial > high), 0.5 * (low + high), trial)
        done = np.abs(trial - drop) <= SETTLED * np.abs(trial)  # the next step of Newton's would be its square
        drop = trial
        if np.all(done | np.isnan(drop)):
            break
    return np.asarray(drop)


@dataclass(frozen=True, slots=True)
class Limited:
    """A law held below a limiting current: 1/i = 1/i_kinetic + 1/limiting where i_kinetic > 0.

    Where the kinetic current is anodic it passes unchanged; value and slope are continuous at zero.
    """

    law: "Law"
    limiting: float  # limiting current density [A/m²]

    def __post_init__(self) -> None:
        _need_positive(self)

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density [A/m²], below ``limiting``, at (n,) drop [V]."""
        kinetic = self.law.current(drop)
        return np.asarray(kinetic * self._share(kinetic))

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) d(current)/d(drop) [S/m²]."""
        share = self._share(self.law.current(drop))
        return np.asarray(self.law.slope(drop) * share * share)

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop [V] at (n,) current density; NaN from ``limiting`` upwards."""
        can = current < self.limiting
        room = np.where(can, self.limiting - np.maximum(current, 0.0), self.limiting)
        kinetic = np.where(current > 0.0, current * (self.limiting / room), current)
        return np.asarray(np.where(can, self.law.drop(kinetic), np.nan))

    def _share(self, kinetic: Floats) -> Floats:
        """Return limiting / (limiting + kinetic), or 1 where ``kinetic`` is anodic."""
        return np.asarray(self.limiting / (self.limiting + np.maximum(kinetic, 0.0)))


@dataclass(frozen=True, slots=True)
class Mirrored:
    """The law of an anode, from the same law written for a cathode: i(u) = -law(-u)."""

    law: "Law"

    def current(self, drop: Floats) -> Floats:
        """Return (n,) current density [A/m²], negative on a dissolving anode, at (n,) drop [V]."""
        return np.asarray(-self.law.current(-drop))

    def slope(self, drop: Floats) -> Floats:
        """Return (n,) d(current)/d(drop) [S/m²]."""
        return self.law.slope(-drop)

    def drop(self, current: Floats) -> Floats:
        """Return (n,) drop [V] at (n,) current density; NaN where the mirrored law cannot carry it."""
        return np.asarray(-self.law.drop(-current))


Law = Linear | Tafel | ButlerVolmer | Limited | Mirrored
"""Any electrode law."""
