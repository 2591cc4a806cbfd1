"""One plan of a rack with a shield, a thief and inner wires, that several tests share; made once for a run."""

from functools import cache

from geom.job.read import parse_job
from geom.plan import Plan, make_plan
from helpers.demands import few_panels

ROW = """
title = "Three links with all that can stand in a tank"
[part]
shape = "bar"
length = "40 mm"
width = "20 mm"
thickness = "6 mm"
holes = [{ diameter = "10 mm", at = ["0 mm", "0 mm"] }]
[rack]
copies = [1, 3, 1]
pitch = ["0 mm", "30 mm", "0 mm"]
[bath]
name = "watts-nickel"
[tank]
shape = "box"
length = "110 mm"
width = "160 mm"
depth = "80 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "60 mm"
height = "60 mm"
at = ["-40 mm", "0 mm", "40 mm"]
[[anode]]
shape = "wire"
diameter = "3 mm"
through = "bore 1"
beyond = "6 mm"
[[shield]]
length = "2 mm"
width = "100 mm"
height = "12 mm"
at = ["2 mm", "0 mm", "14 mm"]
turn = ["0 deg", "20 deg", "0 deg"]
[[thief]]
shape = "wire"
diameter = "4 mm"
start = ["15 mm", "52 mm", "15 mm"]
end = ["15 mm", "52 mm", "100 mm"]
[[thief]]
shape = "strip"
length = "4 mm"
width = "4 mm"
height = "60 mm"
at = ["15 mm", "-52 mm", "45 mm"]
[pose]
turn = ["0 deg", "90 deg", "0 deg"]
at = ["15 mm", "0 mm", "42 mm"]
[supply]
max_current = "5 A"
max_voltage = "12 V"
[target]
thickness = "8 um"
significant = ["face A (+z)", "face B (-z), part 2"]
"""


@cache
def rack_plan() -> Plan:
    """Return the plan of three short links, coarsely meshed."""
    return make_plan(few_panels(parse_job(ROW), 1500))
