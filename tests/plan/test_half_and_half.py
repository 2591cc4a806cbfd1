"""On parts and poses drawn by lot, each solved, the schedule is never worse than half the time as hung and half turned."""

from contextlib import suppress

import numpy as np
import pytest
from helpers.demands import few_panels

from geom.advice.schedule import WORTH_TURNING
from geom.deposit import plate
from geom.errors import CellError, PartError, SolveError
from geom.job.job import Job
from geom.job.read import parse_job
from geom.plan import Plan, make_plan

PANELS = 700
DRAWS = 50


def size(low: float, high: float, lot: np.random.Generator) -> str:
    return f'"{lot.uniform(low, high):.1f} mm"'


def part(lot: np.random.Generator) -> str:
    """The table of a part drawn by lot."""
    holes = f"holes = [{{ diameter = {size(4, 9, lot)}, at = [{size(-8, 8, lot)}, {size(-2, 2, lot)}] }}]"
    sheet = f"thickness = {size(1.5, 4, lot)}"
    long, wide = f"length = {size(30, 70, lot)}", f"width = {size(16, 30, lot)}"
    bent = f"{long}\n{wide}\n{sheet}\ninside_radius = {size(1, 4, lot)}"
    shapes = (
        f'shape = "bar"\n{long}\n{wide}\n{sheet}\n{holes}',
        f'shape = "angle"\n{bent}\nheight = {size(15, 40, lot)}\nbend = "{lot.uniform(40, 120):.0f} deg"',
        f'shape = "channel"\n{bent}\nheight = {size(12, 25, lot)}',
        f'shape = "offset"\n{bent}\noffset = {size(10, 14, lot)}\nbend = "{lot.uniform(40, 80):.0f} deg"',
        f'shape = "washer"\ndiameter = {size(25, 45, lot)}\nbore = {size(6, 14, lot)}\n{sheet}',
        f'shape = "tube"\n{long}\ndiameter = {size(12, 25, lot)}\nwall = {size(1, 3, lot)}',
        f'shape = "rod"\n{long}\ndiameter = {size(6, 20, lot)}',
    )
    return "[part]\n" + shapes[lot.integers(len(shapes))]


def drawn(lot: np.random.Generator) -> Job:
    """A part in a pose and a tank, all by lot."""
    turn = ", ".join(f'"{angle:.0f} deg"' for angle in lot.choice([0, 90, 180, 270, 30, -50], 3))
    kind = lot.choice(["watts-nickel", "sulfamate-nickel"])
    text = f"""
{part(lot)}
[bath]
name = "{kind}"
[tank]
shape = "box"
length = "170 mm"
width = "140 mm"
depth = "200 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = {size(40, 100, lot)}
height = "110 mm"
at = ["{lot.uniform(-80, -60):.0f} mm", "{lot.uniform(-25, 25):.0f} mm", "110 mm"]
[pose]
turn = [{turn}]
at = ["{lot.uniform(-15, 25):.0f} mm", "{lot.uniform(-15, 15):.0f} mm", "100 mm"]
[target]
thickness = "10 um"
significant = {lot.choice(['"all"', '["face"]'])}
"""
    return few_panels(parse_job(text), PANELS)


def planned(seed: int) -> Plan:
    """The plan of the first job of the lot that can be set up."""
    lot = np.random.default_rng(seed)
    for _ in range(9):
        job = drawn(lot)
        # it does not fit into its tank, its holes do not fit into it, or so few panels are too rough for it
        with suppress(CellError, PartError, SolveError):
            return make_plan(job)
    return make_plan(drawn(lot))


def after(plan: Plan, *times: float) -> float:
    """The thinnest significant place after so long in the first poses [m]."""
    done = plate(plan.fields[: len(times)], times, ("",) * len(times), plan.deposit.significant)
    return float(done.local_thickness[done.significant].min())


@pytest.mark.parametrize("seed", range(DRAWS))
def test_the_schedule_is_never_worse_than_half_and_half(seed: int) -> None:
    plan = planned(seed)
    target, time = plan.job.target.thickness, plan.time
    assert plan.minimum_local_thickness == pytest.approx(target, rel=1e-6)
    if len(plan.fields) < 2:
        pytest.fail("drawn so that it can be turned in its tank")
    # a turn is left out where it saves less than its handling is worth: then it is told how long one pose takes
    given = 1.0 / WORTH_TURNING if plan.schedule.turns == 0 else 1.0
    assert after(plan, time / given / 2, time / given / 2) <= target * (1 + 1e-6)
    assert after(plan, time) <= target * (1 + 1e-6)
