"""Supply, wires, bath and anodes of a plan: the field and the schedule against what stands round the cell."""

from dataclasses import dataclass

from geom.advice.anodes import AnodeUse, anode_use_findings, anode_uses, placing_advice
from geom.advice.bath_use import BathUse, bath_use, bath_use_findings
from geom.advice.current import UNCHECKED, WEIGHING
from geom.advice.supply import Supplying, supply_findings, supplying
from geom.bem.problem import Voltage
from geom.bench.records import Room
from geom.constants import ROOM_RISE, ROOM_TEMPERATURE
from geom.deposit import Deposit
from geom.errors import SolveError
from geom.field import Field, Prepared, solve_field
from geom.findings import Finding
from geom.job.job import Job
from geom.tables.cautions import is_inert
from geom.tables.stock import wire_rule


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What the plan asks of supply, wires, bath and anodes."""

    supplying: Supplying
    bath_use: BathUse
    anode_uses: tuple[AnodeUse, ...]
    placing: tuple[str, ...]
    findings: tuple[Finding, ...]


def surroundings(
    job: Job, fields: tuple[Field, ...], times: tuple[float, ...], deposit: Deposit, prepared: Prepared
) -> Surroundings:
    """Return what the plan asks of supply, wires, bath and anodes; ``times`` [s] are those of the fields."""
    first, bench = fields[0], job.bench
    bath_of_job = first.cell.bath
    per_kelvin = bath_of_job.growth_per_kelvin
    hook, lead = (None if wire is None else (wire, wire_rule(wire.metal)) for wire in (bench.hook, bench.lead))
    supply = supplying(
        first,
        job.supply,
        hook=hook,  # type: ignore[arg-type]  # the generator loses which is which
        lead=lead,  # type: ignore[arg-type]
        per_kelvin=per_kelvin,
        current_at=lambda voltage: _current_at(prepared, first, voltage),
    )
    dissolves = _dissolving(job, first)
    out = sum(first.anode_currents)
    share = sum(c for c, d in zip(first.anode_currents, dissolves, strict=True) if d) / out if out > 0 else 1.0
    room = bench.room or Room(ROOM_TEMPERATURE, None, ROOM_RISE)
    bath = bath_use(
        first,
        deposit,
        volume=first.cell.tank.volume,
        room=room,
        room_is_given=bench.room is not None and bench.room.loss is not None,
        per_kelvin=per_kelvin,
        make_up=bench.make_up,
        dissolving=share,
    )
    uses = anode_uses(fields, times, dissolves)
    findings = (
        *supply_findings(supply),
        *bath_use_findings(bath, room.most_rise),
        *anode_use_findings(uses, deposit.time),
    )
    return Surroundings(supply, bath, uses, placing_advice(first), findings)


def _current_at(prepared: Prepared, first: Field, voltage: float) -> float | None:
    """Return the current at a voltage of the cell [A]; None where it is not found, as far past a limiting current."""
    try:
        field = solve_field(prepared, Voltage(voltage), start=first, tolerance=WEIGHING, balance=UNCHECKED)
    except SolveError:
        return None
    return field.total_current


def _dissolving(job: Job, first: Field) -> tuple[bool, ...]:
    """Return which anodes dissolve: those not stated, and those that are not inert."""
    stated = job.bench.anode_materials
    count = len(first.cell.anodes)
    materials = stated if len(stated) == count else (None,) * count
    return tuple(material is None or not is_inert(material) for material in materials)
