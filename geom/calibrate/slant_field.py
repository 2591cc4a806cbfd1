"""The field of the slant-panel test cell: what its panel gets locally, with and without polarization.

Between insulating floor and liquid surface the cell is flat. Schwarz and Christoffel's map carries the trapezium
onto a rectangle, panel and anode on opposite sides of it, where the field is a sum of cosines; what is left is one
equation along the panel, solved strip by strip with Newton's method. The map of this cell: West, Matlosz & Landolt,
J. Appl. Electrochem. 22 (1992) 301; the equation with polarization: Matlosz, Creton, Clerc & Landolt,
J. Electrochem. Soc. 134 (1987) 3015 (abstracts read).

With t = sn(u) along the panel, u from -K at the sharp far corner to K at the near one, and angles a pi and (1 - a) pi
there, |dz/du| = M ((1 - t) / (1 + t))^(1/2 - a).
"""

from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.optimize import brentq
from scipy.special import ellipj, ellipk

from geom.arrays import Floats

SHORT_SIDE, LONG_SIDE, ANODE = 47.625e-3, 127.0e-3, 63.5e-3
"""Inside plan of the cell of 267 mL: 1 7/8 in, 5 in, 2 1/2 in (Hull 1939; from memory) [m]."""

VOLUME = 267e-6
"""Liquid in it [m³]."""

PANEL = float(np.hypot(LONG_SIDE - SHORT_SIDE, ANODE))
"""Length of the panel between the side walls [m]."""

DEPTH = VOLUME / (0.5 * (SHORT_SIDE + LONG_SIDE) * ANODE)
"""Of the liquid [m]."""

PANEL_AREA = PANEL * DEPTH
"""Of the panel under the liquid [m²]."""

STRIPS = 96
MODES = 3000
_POINTS = 24
_STEPS = 60
_SETTLED = 1e-11
_LONGEST_STEP = 2.0  # of the logarithm of a current density


@dataclass(frozen=True, eq=False)
class Profile:
    """Current density along the panel over its mean."""

    edges: Floats  # (n + 1,) of strips, from the end near the anode [m]
    density: Floats  # (n,) mean over each strip, over the mean of the panel
    voltage: float  # (V - drop at the mean current density) conductivity / (mean * panel length)

    def at(self, places: Floats) -> Floats:
        """Return (k,) local over mean current density at (k,) places [m] from the end near the anode."""
        number, place, total = self._smooth
        where = number(np.clip(places, self.edges[1], self.edges[-2]))
        return np.asarray(total(where, 1) / place(where, 1))

    @cached_property
    def _smooth(self) -> tuple[Any, Any, Any]:
        """Number of the strip by place; place and current up to there by number: strips are graded, over it all is smooth."""
        run = np.concatenate([[0.0], np.cumsum(self.density * np.diff(self.edges))])
        number = np.arange(len(self.edges), dtype=np.float64)
        return PchipInterpolator(self.edges, number), CubicSpline(number, self.edges), CubicSpline(number, run)


@dataclass(frozen=True, eq=False)
class _Map:
    """The rectangle with its strips along the panel, counted from the sharp far corner."""

    half: float  # K: the panel is 2 K long there
    height: float  # K'
    widths: Floats  # (n,) of the strips in the rectangle
    lengths: Floats  # (n,) of the strips on the panel, over the panel's
    response: Floats  # (n, n) mean potential of strips by unit flux into each, the mean flux left out


@cache
def _mapped() -> _Map:
    """Return the map; worked out once."""
    sharp = float(np.arctan2(ANODE, LONG_SIDE - SHORT_SIDE)) / np.pi
    power = 0.5 - sharp
    # panel and anode are as the angle has it, whatever m is; the short side fixes m
    m = float(brentq(lambda m: _short_side(m, power) / _anode(m, power) - SHORT_SIDE / ANODE, 1e-6, 0.999))
    half, height = float(ellipk(m)), float(ellipk(1.0 - m))
    edges, lengths = _panel(m, power, STRIPS)
    # means over strips of cosines that lie flat at both ends of the panel
    wave = np.arange(1, MODES + 1) * np.pi / (2.0 * half)
    widths = np.diff(edges)
    shape = np.diff(np.sin(np.outer(wave, edges)), axis=1) / wave[:, None]
    weight = np.tanh(wave * height) / (wave * half)
    response = (shape / widths).T @ (weight[:, None] * shape)
    return _Map(half, height, widths, np.asarray(lengths / lengths.sum()), np.asarray(response))


def _panel(m: float, power: float, strips: int) -> tuple[Floats, Floats]:
    """Return (n + 1,) edges of strips in 0..2K from the far corner, and (n,) lengths on the panel in units of M."""
    half = float(ellipk(m))
    edges = half * (1.0 - np.cos(np.linspace(0.0, np.pi, strips + 1)))
    widths = np.diff(edges)
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    share, weights = 0.5 * (nodes + 1.0), 0.5 * weights
    places = edges[:-1, None] + widths[:, None] * share
    lengths = _stretch(places, 2.0 * half - places, m, power) @ weights * widths
    # at both ends the stretch goes with a power of the distance: integrated in a variable in which it is even
    for end, exponent in ((0, -2.0 * power), (-1, 2.0 * power)):
        rise = 1.0 / (1.0 + exponent)
        off = widths[end] * share**rise
        far, near = (off, 2.0 * half - off) if end == 0 else (2.0 * half - off, off)
        along = widths[end] * rise * share ** (rise - 1.0)
        lengths[end] = float((_stretch(far, near, m, power) * along) @ weights)
    return np.asarray(edges), np.asarray(lengths)


def _stretch(from_far: Floats, from_near: Floats, m: float, power: float) -> Floats:
    """Return ((1 - t) / (1 + t))^power at places so far from the two ends."""
    return np.asarray((_shortfall(from_near, m) / _shortfall(from_far, m)) ** power)


def _shortfall(distance: Floats, m: float) -> Floats:
    """Return 1 - sn(K - d), without loss of figures near d = 0."""
    sn, cn, dn, _ = ellipj(distance, m)
    small = (1.0 - m) * sn**2 / ((dn + np.abs(cn)) * dn)
    return np.asarray(np.where(cn > 0.0, small, 1.0 - cn / dn))


def _short_side(m: float, power: float) -> float:
    """Return the length of the short side wall, from the panel's near end to the anode, in units of M."""
    height = float(ellipk(1.0 - m))
    nodes, weights = np.polynomial.legendre.leggauss(80)
    share, rise = 0.5 * (nodes + 1.0), 1.0 / (1.0 + 2.0 * power)
    sn, _, dn, _ = ellipj(height * share**rise, 1.0 - m)
    values = ((1.0 - m) * sn**2 / (1.0 + dn) ** 2) ** power
    return float((values * share ** (rise - 1.0)) @ weights * 0.5 * rise * height)


def _anode(m: float, power: float) -> float:
    """Return the length of the anode in units of M."""
    half = float(ellipk(m))
    nodes, weights = np.polynomial.legendre.leggauss(80)
    reach = np.sqrt(m) * ellipj(half * nodes, m)[0]
    return float((((1.0 - reach) / (1.0 + reach)) ** power) @ weights * half)


def resistance_times_depth() -> float:
    """Return resistance times conductivity times depth without polarization: a pure number."""
    found = _mapped()
    return found.height / (2.0 * found.half)


@cache
def profile(wagner: float) -> Profile:
    """Return the current density along the panel; the anode is not polarized.

    ``wagner`` is conductivity times Tafel slope per e-fold over mean current density and panel length; 0: no
    polarization.
    """
    if not (np.isfinite(wagner) and wagner >= 0.0):
        raise ValueError(f"a Wagner number is at least 0, got {wagner!r}")
    found = _mapped()
    density = found.widths / (2.0 * found.half * found.lengths)
    level = resistance_times_depth()
    if wagner > 0.0:
        density, level = _polarized(found, wagner)
    edges = PANEL * np.concatenate([[0.0], np.cumsum(found.lengths[::-1])])
    edges[-1] = PANEL
    return Profile(np.asarray(edges), np.asarray(density[::-1]), level)


def _polarized(found: _Map, wagner: float) -> tuple[Floats, float]:
    """Return (n,) local over mean current density from the far corner, and the level that all strips share.

    wagner ln j + potential(j) = level on every strip, the mean of j being 1.
    """
    count = len(found.widths)
    per_width = found.lengths / found.widths
    mean = level = resistance_times_depth()
    grown = -np.log(2.0 * found.half * per_width) / (1.0 + 10.0 * wagner)
    matrix = np.zeros((count + 1, count + 1))
    for _ in range(_STEPS):
        density = np.exp(grown)
        matrix[:count, :count] = found.response * (per_width * density) + wagner * np.eye(count)
        matrix[:count, count] = -1.0
        matrix[count, :count] = found.lengths * density
        miss = wagner * grown + found.response @ (per_width * density) + mean - level
        step = np.linalg.solve(matrix, -np.append(miss, found.lengths @ density - 1.0))
        size = float(np.abs(step[:count]).max())
        step *= min(1.0, _LONGEST_STEP / size) if size > 0.0 else 1.0
        grown, level = grown + step[:count], level + float(step[count])
        if size < _SETTLED:
            return np.asarray(np.exp(grown)), level
    raise ArithmeticError(f"the field of the slant-panel cell is not found at a Wagner number of {wagner:g}")
