"""How much current: the least of the limits that were weighed."""

from collections.abc import Mapping
from dataclasses import replace

from geom.advice.bench_limits import DIFFUSION, PRACTICE, bench_limits
from geom.advice.limit import CLEAR, Limit
from geom.advice.measures import hottest_current_density, strip_width
from geom.bem.problem import Current, Voltage
from geom.bench.records import Bench
from geom.electrode.laws import Law, Limited
from geom.field import Field, Prepared, solve_field
from geom.job.job import Supply
from geom.panels import FIRST_ANODE, PART

WEIGHING = 2e-4
"""Relative tolerance of the solves that limits are read from; the field of the plan is solved again, closely."""


UNCHECKED = float("inf")
"""Balance of anode and cathode current while limits are weighed: the field of the plan is held to its own."""

NEAR = 0.9
"""Share of the limiting current beyond which no limit is looked for."""


AT_MEAN = "usual current density of the bath, at the mean"
AT_STRIP = "bright range of the bath, at the hottest strip"
AT_VOLTS = "supply voltage"

FAR_OFF = 1.2
"""A supply voltage that lets so many times the least other limit flow is not weighed again on finer panels."""


ALONE = Bench()
"""Surroundings of which nothing is stated."""


def weighed_limits(
    prepared: Prepared,
    supply: Supply,
    before: tuple[Limit, ...] = (),
    bench: Bench = ALONE,
    near: Field | None = None,
) -> tuple[tuple[Limit, ...], Field]:
    """Return each limit on the current, the least marked as binding, and a field near the one to come.

    ``before`` are the limits of the same cell on other panels: where to look first. ``near`` is a field on these
    panels, or as many, to begin solves from.
    """
    known = {limit.name: limit.value for limit in before}
    bath, area = prepared.cell.bath, float(prepared.panels.part.area)
    bright, most = bath.current_density, limiting_current(prepared)
    at_mean = current_with_thieves(prepared, bright.typical * area, known.get(AT_MEAN), near)
    clear = CLEAR * most
    begin = known.get(AT_STRIP, min(at_mean, clear))
    at_strip, field = current_at_strip(prepared, bright.high, begin, most, near)
    width = 1e3 * strip_width(prepared.panels)
    thieves = ", and what the thieves take" if prepared.panels.thieves else ""
    source = bath.sources.get("current_density")
    who = "stated in the job" if source is None else source.text
    limits = [
        Limit(
            AT_MEAN,
            at_mean,
            False,
            f"{bright.typical / 100:.3g} A/dm² over the wetted area{thieves}",
            source=who,
            relax="[bath] current_density, where the bath is known to bear more",
        )
    ]
    if at_strip is not None:
        why = f"{bright.high / 100:.3g} A/dm² on a strip {width:.1f} mm wide along the edge{thieves}"
        relax = "rounder edges, a thief or shield beside the hottest edge, the anode further off"
        limits.append(Limit(AT_STRIP, at_strip, False, why, source=who, relax=relax))
    if clear < float("inf"):
        why = f"{100 * CLEAR:.0f} % of the {most:.3g} A that the limiting current densities stated allow"
        relax = "stirring, more metal in the bath, a warmer one"
        limits.append(Limit("limiting current of part and anodes", clear, False, why, PRACTICE, relax))
    limits += bench_limits(field, bench)
    limits, field = diffusion_solved(prepared, limits, field, most, known)
    if supply.max_current is not None:
        limits.append(
            Limit("supply current", supply.max_current, False, "the most the supply gives", "the job", "another supply")
        )
    if supply.max_voltage is not None:
        others = min(limit.value for limit in limits)
        at_volts = known.get(AT_VOLTS, 0.0)
        if at_volts < FAR_OFF * others:  # otherwise larger panels have told already that it is far from binding
            at_volts = solve_field(
                prepared, Voltage(supply.max_voltage), start=field, tolerance=WEIGHING, balance=UNCHECKED
            ).total_current
        limits.append(
            Limit(
                AT_VOLTS,
                at_volts,
                False,
                f"what flows at {supply.max_voltage:.3g} V",
                "the job",
                "more volts, a narrower gap",
            )
        )
    least = min(limits, key=lambda limit: limit.value)
    return tuple(replace(limit, binds=limit is least) for limit in limits), field


def diffusion_solved(
    prepared: Prepared, limits: list[Limit], near: Field, most: float, known: Mapping[str, float]
) -> tuple[list[Limit], Field]:
    """Return the limits with that of the supply of ions solved for where it is the least, and a field near the least.

    Taken in proportion from a field at more current it is too low by up to a third: less current is evener.
    ``known`` are values found on other panels, ``most`` is the limiting current of the cell [A].
    """
    least = min(limits, key=lambda limit: limit.value)
    reach = prepared.cell.bath.limiting_current_density
    if reach is None or not least.name.startswith(DIFFUSION):
        return limits, near
    begin = known.get(least.name, least.value)
    found, field = current_at_strip(prepared, CLEAR * reach.typical, begin, most, near)
    others = [limit for limit in limits if limit is not least]
    return ([*others, replace(least, value=found)] if found is not None else others), field


def limiting_current(prepared: Prepared) -> float:
    """Return the most that the limiting currents of the laws let through part and anodes [A]; inf without any."""
    cell, panels = prepared.cell, prepared.panels

    def carried(law: Law | None, body: int) -> float:
        area = float(panels.surface.areas[panels.rows(body)].sum())
        return law.limiting * area if isinstance(law, Limited) else float("inf") if area > 0 else 0.0

    anodes = sum(carried(anode.law, FIRST_ANODE + k) for k, anode in enumerate(cell.anodes))
    return min(sum(carried(cell.bath.law, body) for body in (PART, *panels.thieves)), anodes)


def current_with_thieves(
    prepared: Prepared, wanted: float, begin: float | None = None, near: Field | None = None
) -> float:
    """Return the current to set for the part to get ``wanted`` [A]; the same without thieves.

    A fixed-point iteration, from ``begin`` [A]: the share of the thieves changes slowly with current.
    ``near`` is a field to begin solves from.
    """
    if not prepared.panels.thieves:
        return wanted
    current = wanted if begin is None else begin
    field = near
    for _ in range(6):
        field = solve_field(prepared, Current(current), start=field, tolerance=WEIGHING, balance=UNCHECKED)
        new = wanted * field.total_current / field.current
        if abs(new - current) < 2e-3 * new:
            break
        current = new
    return new


def current_at_strip(
    prepared: Prepared, wanted: float, start: float, most: float, near: Field | None = None
) -> tuple[float | None, Field]:
    """Return the current at which the hottest strip carries ``wanted`` [A/m²], and a field near it.

    ``near`` is a field to begin solves from.

    None where the strip does not get so far below ``most``, the limiting current of the cell [A].

    A fixed-point iteration: the ratio of strip to mean changes slowly with current, so a few solves suffice;
    near a limiting current the strip hardly gains on the mean, and it takes more of them.
    """
    current = start
    field = solve_field(prepared, Current(current), start=near, tolerance=WEIGHING, balance=UNCHECKED)
    for _ in range(20):
        new = current * wanted / hottest_current_density(field)
        if abs(new - current) < 5e-3 * new:
            return new, field
        if new > NEAR * most:
            return None, field
        current = new
        field = solve_field(prepared, Current(current), start=field, tolerance=WEIGHING, balance=UNCHECKED)
    return new, field
