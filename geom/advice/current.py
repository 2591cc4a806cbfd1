"""How much current: the least of the limits that were weighed."""

from dataclasses import dataclass, replace

from geom.advice.measures import hottest_current_density, strip_width
from geom.bem.problem import Current, Voltage
from geom.electrode.faraday import deposition_rate
from geom.field import Field, Prepared, solve_field
from geom.job.job import Supply

WEIGHING = 3e-4
"""Relative tolerance of the solves that limits are read from; the field of the plan is solved again, closely."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on the current: the current it allows, and whether it is the one that binds."""

    name: str
    value: float  # current it allows [A]
    binds: bool
    basis: str


def weighed_limits(prepared: Prepared, supply: Supply) -> tuple[tuple[Limit, ...], Field]:
    """Return each limit on the current, the least marked as binding, and a field near the one to come."""
    bath, area = prepared.cell.bath, float(prepared.panels.part.area)
    bright = bath.current_density
    at_mean = bright.typical * area
    at_strip, field = current_at_strip(prepared, bright.high, at_mean)
    width = 1e3 * strip_width(prepared.panels)
    limits = [
        Limit(
            "usual current density of the bath, at the mean",
            at_mean,
            False,
            f"{bright.typical / 100:.3g} A/dm² over the wetted area",
        ),
        Limit(
            "bright range of the bath, at the hottest strip",
            at_strip,
            False,
            f"{bright.high / 100:.3g} A/dm² on a strip {width:.1f} mm wide along the edge",
        ),
    ]
    if supply.max_current is not None:
        limits.append(Limit("supply current", supply.max_current, False, "the most the supply gives"))
    if supply.max_voltage is not None:
        at_volts = solve_field(prepared, Voltage(supply.max_voltage), start=field, tolerance=WEIGHING).current
        limits.append(Limit("supply voltage", at_volts, False, f"what flows at {supply.max_voltage:.3g} V"))
    least = min(limit.value for limit in limits)
    return tuple(replace(limit, binds=limit.value == least) for limit in limits), field


def current_at_strip(prepared: Prepared, wanted: float, start: float) -> tuple[float, Field]:
    """Return the current at which the hottest strip carries ``wanted`` [A/m²], and a field near it.

    A fixed-point iteration: the ratio of strip to mean changes slowly with current, so a few solves suffice.
    """
    current = start
    field = None
    for _ in range(6):
        field = solve_field(prepared, Current(current), start=field, tolerance=WEIGHING)
        new = current * wanted / hottest_current_density(field)
        if abs(new - current) < 5e-3 * new:
            break
        current = new
    assert field is not None
    return new, field


def mean_rate(field: Field) -> float:
    """Return the growth of the mean thickness over the wetted part [m/s]."""
    bath = field.cell.bath
    return float(deposition_rate(field.mean_current_density, bath.metal, bath.efficiency))
