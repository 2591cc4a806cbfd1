"""Efficiency from coupons weighed before and after plating."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.bench.fit import LEVEL, fitted, student
from geom.bench.readings import Coupon
from geom.bench.weighing import RUN_TO_RUN, RUN_WORTH, balance_errors, mean_efficiency
from geom.calibrate.figure import Figure, about
from geom.chemistry import Bath, Metal
from geom.electrode.faraday import equivalent
from geom.errors import CalibrateError
from geom.findings import Finding, Severity

POINTS = 5  # of a curve
LEAST_SHARE = 0.01  # no efficiency of a curve is less
LEAST_TREND = 1.5  # largest current density over the least, from which a trend is looked for


@dataclass(frozen=True, slots=True)
class Trend:
    """How the efficiency changes with current density, by a straight line over its logarithm."""

    per_doubling: float  # of the current density
    half: float  # of its interval
    points: tuple[tuple[float, float], ...]  # (current density [A/m²], efficiency) on the line, over what was plated at

    @property
    def is_clear(self) -> bool:
        """Is it more than the coupons scatter by?"""
        return abs(self.per_doubling) > self.half


@dataclass(frozen=True, slots=True)
class Efficiency:
    """The figure, and how it came about."""

    figure: Figure
    coupons: tuple[float, ...]  # efficiency of each
    densities: tuple[float | None, ...]  # mean current density of each [A/m²]
    scatter: float | None
    trend: Trend | None
    findings: tuple[Finding, ...]


def efficiency(coupons: Sequence[Coupon], metal: Metal) -> Efficiency:
    """Return the efficiency that the coupons show: metal gained over what Faraday's law gives for the charge.

    Raises
    ------
    CalibrateError
        where a coupon gained more than the charge can give.
    """
    full = np.array([coupon.current * coupon.time * equivalent(metal) for coupon in coupons])
    values = np.array([coupon.gain for coupon in coupons]) / full
    balance = balance_errors([coupon.step for coupon in coupons], full)
    meters = max(coupon.meters_to for coupon in coupons)
    for number, (value, error) in enumerate(zip(values, balance, strict=True), start=1):
        _can_be(number, float(value), float(error), meters)
    found = mean_efficiency(values, balance, meters)
    figure = about("efficiency", found.value, found.half / found.value, LEVEL, _rests(coupons, meters), 1.0)
    densities = tuple(None if c.area is None else c.current / c.area for c in coupons)
    trend = _trend(values, densities)
    findings = tuple(_findings(values, found.value, found.is_scattered, trend))
    return Efficiency(figure, tuple(float(v) for v in values), densities, found.scatter, trend, findings)


def _can_be(number: int, value: float, error: float, meters: float) -> None:
    """Refuse a coupon that gained more than all of the charge deposits, by more than balance and meters explain."""
    if value <= 1.0 + meters + 2.0 * error:
        return
    raise CalibrateError(
        "calibrate-over-100",
        f"the coupon gained {100 * value:.0f} % of what its charge can deposit: more than all of it",
        where=f"[[coupon]] number {number}",
        hint="likely: weighed wet the second time, current or time noted too low (the current drifted up), another metal "
        "than the bath's, or mass in another unit",
    )


def _rests(coupons: Sequence[Coupon], meters: float) -> tuple[str, ...]:
    """Return what the figure rests on."""
    count = len(coupons)
    guess = f"runs that differ by about {100 * RUN_TO_RUN:.0f} % (common practice, no source)"
    scatter = guess if count == 1 else f"their scatter, and {guess} counted like {RUN_WORTH:.0f} more"
    return (
        f"{count} weighed coupon{'s' if count > 1 else ''} and Faraday's law",
        scatter,
        f"ammeter and clock good to ± {100 * meters:.2g} % together",
    )


def _trend(values: np.ndarray, densities: tuple[float | None, ...]) -> Trend | None:
    """Return how the efficiency changes with current density; None where the coupons cannot show it."""
    known = [(float(v), d) for v, d in zip(values, densities, strict=True) if d is not None]
    if len(known) < 3:
        return None
    share = np.array([v for v, _ in known])
    doublings = np.log2(np.array([d for _, d in known]))
    if float(np.ptp(doublings)) < np.log2(LEAST_TREND):
        return None
    found = fitted(np.column_stack([np.ones_like(doublings), doublings]), share)
    error = float(np.sqrt(found.squares / found.freedom * found.covariance[1, 1]))
    places = np.linspace(float(doublings.min()), float(doublings.max()), POINTS)
    line = np.clip(found.values[0] + found.values[1] * places, LEAST_SHARE, 1.0)
    points = tuple((float(2.0**place), float(share)) for place, share in zip(places, line, strict=True))
    return Trend(float(found.values[1]), student(found.freedom) * error, points)


def carried_curve(found: Efficiency, like: Bath) -> tuple[tuple[float, float], ...]:
    """Return efficiency against current density [A/m²]: that of the coupons where they clearly show one, else that of
    the bath of the tables, if it has one, brought to the coupons; empty where the efficiency is one figure.
    """
    if found.trend is not None and found.trend.is_clear:
        return found.trend.points
    if not like.efficiency_curve:
        return ()
    known = [density for density in found.densities if density is not None]
    at = np.array(known or [like.current_density.typical])
    scale = found.figure.range.typical / float(np.mean(like.efficiency_at(at)))
    return tuple((density, min(max(scale * share, LEAST_SHARE), 1.0)) for density, share in like.efficiency_curve)


def _findings(values: np.ndarray, mean: float, is_scattered: bool, trend: Trend | None) -> list[Finding]:
    """Return what makes the figure unsure."""
    found = []
    if len(values) == 1:
        text = "one coupon does not show how much runs differ: weigh three, plated at the current you work with"
        found.append(Finding(Severity.NOTE, "calibrate-one-coupon", text))
    if is_scattered and len(values) > 1:
        text = (
            f"the coupons scatter from {100 * values.min():.0f} to {100 * values.max():.0f} %, more than runs usually do: "
            "dry them alike, count the current again, look at pH and temperature"
        )
        found.append(Finding(Severity.WARNING, "calibrate-scatter", text))
    if mean > 1.0:
        text = f"the coupons gained {100 * mean:.1f} % of what their charge deposits; 100 % is taken, the meters explain the rest"
        found.append(Finding(Severity.WARNING, "calibrate-scatter", text))
    if trend is not None and trend.is_clear:
        way = "rises" if trend.per_doubling > 0 else "falls"
        evens = (
            "makes a deposit less even than planned" if trend.per_doubling > 0 else "evens a deposit more than planned"
        )
        text = (
            f"the efficiency {way} by {100 * abs(trend.per_doubling):.1f} points with each doubling of the current density "
            f"(± {100 * trend.half:.1f}); that {evens}. The table holds it as a curve, flat beyond the coupons"
        )
        found.append(Finding(Severity.NOTE, "calibrate-trend", text))
    return found
