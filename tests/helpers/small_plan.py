"""One small plan that the tests of the report share; made once for the whole run."""

from functools import cache

from geom.job.read import parse_job
from geom.plan import Plan, make_plan
from helpers.demands import few_panels

LINK = """
title = "Link of the shore-power panel"
[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
holes = [{ diameter = "8 mm", at = ["-18 mm", "0 mm"] }, { diameter = "6 mm", at = ["18 mm", "0 mm"] }]
[bath]
name = "watts-nickel"
[target]
thickness = "8 um"
"""


@cache
def small_plan() -> Plan:
    """Return the plan of a short link with two holes, coarsely meshed."""
    return make_plan(few_panels(parse_job(LINK), 1200))
