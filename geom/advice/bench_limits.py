"""Limits on the current that the bench sets, not the part: bath loading, anodes, hooks, heat, the liquid's supply of ions.

Each is read off one field: the shares of anodes and the ratio of the hottest strip to the mean move little with current.
"""

import math
from collections.abc import Iterator

from geom.advice.bath_use import MOST_LOADING, estimated_loss
from geom.advice.limit import CLEAR, Limit
from geom.advice.measures import hottest_current_density
from geom.advice.supply import electrode_parts
from geom.bench.heat import most_power
from geom.bench.records import Bench, Room
from geom.bench.wires import section
from geom.cell.bodies import anode_title
from geom.constants import ROOM_RISE, ROOM_TEMPERATURE
from geom.field import Field
from geom.tables.cautions import is_inert
from geom.tables.stock import anode_limit, wire_rule

PRACTICE = "common practice, no source"

DIFFUSION = "limiting current of the bath"
"""How the name of the limit begins that the supply of ions to the hottest strip sets."""


def bench_limits(near: Field, bench: Bench) -> list[Limit]:
    """Return the limits that what stands round the cell sets; ``near`` is a field near the plan's."""
    found = [_loading(near), _heating(near, bench)]
    found += [limit for limit in (_hooks(near, bench), _diffusion(near, bench)) if limit is not None]
    anodes = list(_anodes(near, bench))
    if anodes:
        found.append(min(anodes, key=lambda limit: limit.value))
    return found


def _loading(near: Field) -> Limit:
    volume = near.cell.tank.volume
    return Limit(
        "bath loading",
        MOST_LOADING * volume,
        False,
        f"{MOST_LOADING / 1e3:.0f} A for each of {1e3 * volume:.3g} litres without cooling",
        source=PRACTICE,
        relax="more bath, or cooling",
    )


def _anodes(near: Field, bench: Bench) -> Iterator[Limit]:
    """Yield the current at which each anode reaches the most that its metal bears on average."""
    bath = near.cell.bath
    stated = bench.anode_materials
    for k, (anode, density) in enumerate(zip(near.cell.anodes, near.anode_densities, strict=True)):
        material = stated[k] if len(stated) == len(near.cell.anodes) else None
        if density <= 0 or (material is not None and is_inert(material)):
            continue
        most, source = anode_limit(bath.kin, bath.metal.symbol, material)
        yield Limit(
            "anode current density",
            near.total_current * most.high / density,
            False,
            f"{most.high / 100:.3g} A/dm² on average over {anode_title(k + 1, anode)}: beyond, it goes passive and gasses",
            source=source.text,
            relax="a larger anode or one more",
        )


def _hooks(near: Field, bench: Bench) -> Limit | None:
    hook = bench.hook
    if hook is None:
        return None
    rule = wire_rule(hook.metal)
    many = "" if hook.count == 1 else f"{hook.count} hooks of "
    return Limit(
        "hooks",
        rule.rack_rule * section(hook.diameter) * hook.count,
        False,
        f"{rule.rack_rule / 1e6:.2g} A/mm² in {many}{1e3 * hook.diameter:.3g} mm {rule.metal}",
        source=rule.source.text,
        relax="thicker hooks or more of them",
    )


def _diffusion(near: Field, bench: Bench) -> Limit | None:
    """Return the limit of what reaches the hottest strip; none where the job does not say whether the bath is moved."""
    known = near.cell.bath.limiting_current_density
    if bench.stirred is None or known is None:
        return None
    hottest = hottest_current_density(near)
    source = near.cell.bath.sources.get("limiting_current_density")
    who = "the bath's own" if source is None else f"{source.text} [trust {source.trust}]"
    how = "stirred" if bench.stirred else "unstirred"
    return Limit(
        f"{DIFFUSION}, {how}, at the hottest strip",
        near.total_current * CLEAR * known.typical / hottest,
        False,
        f"{100 * CLEAR:.0f} % of {known.typical / 100:.3g} A/dm²",
        source=who,
        relax="more metal in the bath, a warmer one" if bench.stirred else "stirring, and [bath] stirred = true",
    )


def _heating(near: Field, bench: Bench) -> Limit:
    """Return the current whose heat would in the end warm the bath by the rise that is put up with.

    P = I (E + R I) with the electrodes' drop E and the resistance R of the liquid; beyond the current of ``near`` the drop
    is taken to grow with the current, which it does at the most: either way on the safe side.
    """
    room = bench.room or Room(ROOM_TEMPERATURE, None, ROOM_RISE)
    loss = room.loss or estimated_loss(near.cell.tank)
    power = most_power(room.most_rise, held=near.cell.bath.temperature - room.temperature, loss=loss.typical)
    drop = sum(electrode_parts(near))
    ohms = (near.voltage - drop) / near.total_current
    if power > near.voltage * near.total_current:
        value = near.total_current * math.sqrt(power / (near.voltage * near.total_current))
    else:
        value = 2.0 * power / (drop + math.sqrt(drop**2 + 4.0 * ohms * power))
    whose = "stated" if bench.room is not None and bench.room.loss is not None else "estimated from the tank"
    return Limit(
        "heating of the bath",
        value,
        False,
        f"{power:.3g} W end {room.most_rise:.3g} K warmer at a loss of {loss.typical:.2g} W/K, {whose}",
        source="heat balance of one lump of liquid; rise put up with: " + PRACTICE,
        relax="more bath, cooling, stops between runs, or [room] most_rise",
    )
