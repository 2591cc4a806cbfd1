"""What geom does in the benchmarks: each function is run by `helpers.timing.apart` in a process of its own."""

import math
import time
from dataclasses import replace
from typing import Any

import numpy as np
from helpers.cells import MM, UPRIGHT, bath, reference_cell, sheet
from helpers.timing import timed

from geom.advice.measures import ratio_percentiles
from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, Pose, SheetAnode
from geom.electrode.laws import ButlerVolmer, Linear
from geom.field import Field, Prepared, prepare, solve_field
from geom.job.job import Job
from geom.job.read import parse_job
from geom.kept import make_kept, what_if
from geom.panels import Panels, mesh_cell
from geom.part.build import build_part
from geom.part.rack import Rack
from geom.part.shapes import Bar, Hole
from geom.plan import make_plan

KNOWN = (0.4910, 0.5476, 0.8750, 1.5904, 2.2644)
"""p1 p10 p50 p90 p99 of local over mean current density in the reference cell: tetrahedra, two refinements that agree to 0.1 %."""
RESISTANCE = 1.3e-4  # of the part's polarization in it [ohm m²]
KAPPA = 8.0
LOOSE = 0.05  # share by which anode and cathode current may differ: large panels are wanted here too
WALLS = 1.3  # by how much more than the part's the other panels are enlarged


def worst(found: Any) -> float:
    """Return the largest relative error of the five percentiles."""
    return float(np.abs(np.asarray(found) / KNOWN - 1).max())


def error_of(field: Field) -> float:
    """Return the same of a field, read as the program reads it."""
    return worst(list(ratio_percentiles(field).values()))


def solved(cell: Cell, scale: float) -> Field:
    """Mesh, assemble and solve at 1 V."""
    return solve_field(prepare(cell, mesh_cell(cell, scales=(scale, WALLS * scale))), Voltage(1.0), balance=LOOSE)


def reference(scale: float, runs: int = 3) -> dict[str, Any]:
    """Mesh, assemble and solve the reference cell."""
    cell = reference_cell(Linear(RESISTANCE))
    cpu, wall, field = timed(lambda: solved(cell, scale), runs)
    return {"cpu": cpu, "wall": wall, "panels": len(field.panels.body), "error": error_of(field)}


def errors(scales: list[float]) -> dict[str, Any]:
    """Return the errors of the reference cell at several scales: which of them can be trusted."""
    cell = reference_cell(Linear(RESISTANCE))
    fields = [solved(cell, scale) for scale in scales]
    return {
        "cpu": 0.0,
        "wall": 0.0,
        "panels": [len(field.panels.body) for field in fields],
        "errors": [error_of(field) for field in fields],
    }


def again(scale: float, law: str, runs: int = 5) -> dict[str, Any]:
    """Solve a kept geometry at another current: near the last one, or another law, or from nothing."""
    laws = {"linear": Linear(RESISTANCE), "Butler-Volmer": ButlerVolmer(5.0, 0.06, 0.06)}
    cell = reference_cell(laws[law])
    prepared = prepare(cell, mesh_cell(cell, scales=(scale, WALLS * scale)))
    first = solve_field(prepared, Current(1.0))
    told: dict[str, Any] = {"panels": len(prepared.panels.body)}
    told["cold_cpu"], told["cold_wall"], cold = timed(lambda: solve_field(prepared, Current(1.2)), runs)
    told["cpu"], told["wall"], near = timed(lambda: solve_field(prepared, Current(1.2), start=first), runs)
    told["steps"], told["cold_steps"] = len(near.residuals), len(cold.residuals)
    return told


def _hung(turn: float) -> Cell:
    """The drilled bar turned about the vertical, before one sheet."""
    part = build_part(Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0)), Hole(8 * MM, (30 * MM, 0)))))
    pose = Pose((0.0, 0.5 * math.pi, turn), (31.5 * MM, 0.0, 75 * MM))
    return build_cell(
        part, bath(KAPPA, Linear(RESISTANCE)), tank=BoxTank(0.2, 0.15, 0.15), anodes=(sheet(-30.5 * MM),), pose=pose
    )


def poses(scale: float, count: int = 24, runs: int = 2) -> dict[str, Any]:
    """Solve one pose, and as many as asked, each from what the first one keeps."""
    cells = [_hung(2 * math.pi * k / count) for k in range(count)]
    spent = {"mesh": 0.0, "prepare": 0.0, "solve": 0.0}

    def pose(cell: Cell, first: tuple[Prepared, Field] | None) -> tuple[Prepared, Field]:
        marks = [time.process_time()]
        like: Panels | None = None if first is None else first[0].panels
        scales = (scale, WALLS * scale)
        panels = mesh_cell(cell, scales=scales) if like is None else mesh_cell(cell, like=like)
        marks.append(time.process_time())
        prepared = prepare(cell, panels, kept=None if first is None else first[0])
        marks.append(time.process_time())
        near = first[1] if first is not None and len(panels.body) == len(first[0].panels.body) else None
        field = solve_field(prepared, Voltage(1.0), start=near)
        marks.append(time.process_time())
        for name, took in zip(spent, np.diff(marks), strict=True):
            spent[name] += took
        return prepared, field

    def every() -> list[Field]:
        for name in spent:
            spent[name] = 0.0
        first = pose(cells[0], None)
        return [first[1], *(pose(cell, first)[1] for cell in cells[1:])]

    one_cpu, one_wall, one = timed(lambda: pose(cells[0], None), runs)
    cpu, wall, _ = timed(every, runs, warm=False)
    panels = len(one[0].panels.body)
    return {"cpu": cpu, "wall": wall, "one_cpu": one_cpu, "one_wall": one_wall, "panels": panels, "spent": spent}


def rack_cell() -> Cell:
    """Twelve drilled links, four beside one another in three rows, between two sheets."""
    part = build_part(Bar(60 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-20 * MM, 0)), Hole(8 * MM, (20 * MM, 0)))))
    anodes = tuple(SheetAnode(2 * MM, 200 * MM, 250 * MM, (x, 0.0, 150 * MM), None) for x in (-100 * MM, 100 * MM))
    return build_cell(
        part,
        bath(KAPPA, Linear(RESISTANCE)),
        tank=BoxTank(0.3, 0.3, 0.3),
        anodes=anodes,
        pose=Pose(UPRIGHT, (0.0, 0.0, 150 * MM)),
        rack=Rack((1, 3, 4), (0.0, 80 * MM, 60 * MM)),
    )


def rack(scale: float, runs: int = 1) -> dict[str, Any]:
    """Mesh, assemble and solve a rack of twelve; stages apart."""
    cell = rack_cell()
    solved(cell, 3.0)  # compiles

    def work() -> tuple[Field, dict[str, float]]:
        marks = [time.process_time()]
        panels = mesh_cell(cell, scales=(scale, WALLS * scale))
        marks.append(time.process_time())
        prepared = prepare(cell, panels)
        marks.append(time.process_time())
        field = solve_field(prepared, Voltage(1.0), balance=LOOSE)
        marks.append(time.process_time())
        return field, dict(zip(("mesh", "prepare", "solve"), np.diff(marks).tolist(), strict=True))

    cpu, wall, (field, stages) = timed(work, runs, warm=False)
    panels = len(field.panels.body)
    return {"cpu": cpu, "wall": wall, "panels": panels, "imbalance": field.imbalance, "stages": stages}


CHANGES = {
    "target": 'thickness = "12 um"',
    "current": 'thickness = "8 um"\ncurrent = "0.8 A"',
    "bath": 'thickness = "8 um"',
    "half turn": 'thickness = "8 um"',
}
LINK = """
title = "Link of the shore-power panel"
[part]
shape = "bar"
length = "90 mm"
width = "20 mm"
thickness = "3 mm"
holes = [{{ diameter = "8.4 mm", at = ["-33 mm", "0 mm"] }}, {{ diameter = "8.4 mm", at = ["33 mm", "0 mm"] }}]
[bath]
name = "{bath}"
[tank]
shape = "box"
length = "200 mm"
width = "120 mm"
depth = "160 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "80 mm"
height = "120 mm"
at = ["-80 mm", "0 mm", "80 mm"]
[pose]
turn = ["0 deg", "90 deg", "{turn}"]
at = ["0 mm", "0 mm", "80 mm"]
[target]
{target}
"""


def what_if_job(change: str, panels: int) -> Job:
    """The link with two holes before one sheet, on about so many panels, with one thing changed."""
    bath = "acid-copper" if change == "bath" else "watts-nickel"
    turn = "180 deg" if change == "half turn" else "0 deg"
    target = CHANGES.get(change, 'thickness = "8 um"')
    job = parse_job(LINK.format(bath=bath, turn=turn, target=target))
    return replace(job, demand=replace(job.demand, panels=panels))


def what_ifs(panels: int, runs: int = 3) -> dict[str, Any]:
    """A whole plan, and what each change to it takes on its kept panels."""
    cpu, wall, kept = timed(lambda: make_kept(what_if_job("", panels)), 1)
    size = len(kept.plan.fields[0].panels.body)
    each = {}
    for change in CHANGES:
        job = what_if_job(change, panels)
        whole_cpu, whole_wall, _ = timed(lambda job=job: make_plan(job), 1, warm=False)
        own_cpu, own_wall, _ = timed(lambda job=job: what_if(kept, job), runs)
        each[change] = {"cpu": own_cpu, "wall": own_wall, "whole_cpu": whole_cpu, "whole_wall": whole_wall}
    return {"cpu": cpu, "wall": wall, "panels": size, "each": each, "megabytes": kept.size / 1e6}
