"""docs/plan-json.md lists the keys of the JSON documents: every one, and no other."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from helpers.fake_plan import holding
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan

from geom.advice.supply import supplying
from geom.advice.surroundings import Surroundings
from geom.advice.words import BareResult
from geom.bench.records import Hook, Substrate
from geom.bench.strength import making
from geom.cell.cell import JarTank, RodAnode
from geom.cli.main import error_tree
from geom.doubt.bands import AMPERES, CURRENT
from geom.errors import JobError, PartError
from geom.findings import Severity
from geom.job.job import Supply
from geom.options.solved import Option, Options
from geom.part.rack import Other
from geom.part.shapes import Washer
from geom.plan import Plan
from geom.repair.change import Change
from geom.report.jsonfile import plan_tree
from geom.report.survey import survey_tree
from geom.survey import surveyed
from geom.tables.read import metal
from geom.tables.stock import wire_rule

TEXT = (Path(__file__).parents[2] / "docs" / "plan-json.md").read_text(encoding="utf-8")
BY_JOB = {"origins", "numerical_error.of"}  # records whose keys depend on the job


def documented(heading: str) -> set[str]:
    (section,) = re.findall(rf"^## {heading}\n(.*?)(?=^## |\Z)", TEXT, flags=re.MULTILINE | re.DOTALL)
    return set(re.findall(r"^\| `([^`]+)` \|", section, flags=re.MULTILINE))


def keys(tree: Any, place: str = "") -> Iterator[str]:
    """Yield the place of every leaf, as the page writes it."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            word = "{}" if place in BY_JOB else key
            yield from keys(value, f"{place}.{word}" if place else word)
    elif isinstance(tree, list | tuple):
        for value in tree:
            yield from keys(value, f"{place}[]")
    else:
        yield place


def other_cell() -> dict[str, Any]:
    """Return the tree of the plan as if its tank were a jar, its anode a rod, and a place of it stopped off."""
    plan = small_plan()
    rod = RodAnode(0.01, 0.05, (-0.05, 0.0, 0.08))
    bare = (BareResult("face, stopped off", "stop-off", 1e-4),)
    cell = replace(plan.cell, tank=JarTank(0.2, 0.15), anodes=(rod,))
    bench = replace(plan.job.bench, substrate=Substrate("high-strength steel", 1.25e9))
    job = replace(plan.job, bench=bench)
    plan = replace(plan, options=Options(("bore 1",), (Option("longer", 1.0, 1.0, 60.0, 1e-5, 0.8),), 0))
    return plan_tree(replace(plan, job=job, cell=cell, bare=bare, surroundings=full(plan.surroundings)))


def at_volts() -> Plan:
    """Return the small plan as if it had a band on the current that flows."""
    plan = small_plan()
    assert plan.bands is not None
    return replace(plan, bands=replace(plan.bands, of={**plan.bands.of, AMPERES: plan.bands.of[CURRENT]}))


def full(found: Surroundings) -> Surroundings:
    """Return it with a brick, a hook and a bath that is made up."""
    hook = (Hook("copper", 1e-3), wire_rule("copper"))
    field = small_plan().fields[0]
    supply = supplying(
        field, Supply(12.0, None, "fixed-voltage"), hook=hook, lead=None, per_kelvin=0.02, current_at=lambda v: 9.0
    )
    made = making(0.0, 5.9, 1e-3, metal("Ni"), 0.5)
    return replace(found, supplying=supply, bath_use=replace(found.bath_use, making=made))


def test_every_key_of_a_plan_is_listed_and_no_other():
    rack = rack_plan()
    others = (Other("washer", Washer(30e-3, 10e-3, 2e-3), (0.0, 0.0, 0.0), (0.0, 0.1, 0.0)),)
    of_kinds = replace(rack, job=replace(rack.job, rack=replace(rack.job.rack, others=others)))
    plans = (small_plan(), rack, of_kinds, holding(), at_volts())
    found = {*keys(other_cell())}.union(*(keys(plan_tree(plan)) for plan in plans))
    assert found - {"rack", "hanging.tilt", "supply.brick", "bath_use.make_up", "preparation", "options"} == documented(
        "geom plan"
    )  # null for a part that hangs alone, and that holds nothing


def test_every_key_of_geom_area_is_listed_and_no_other():
    change = Change(Severity.WARNING, "repair-welded", "corners were joined", 2, 1e-6, (0.0, 0.0, 0.0))
    part = replace(small_plan().cell.part, findings=small_plan().findings, changes=(change,))
    part = replace(part, features=tuple(replace(f, axis=(0, 0, 1), middle=(0, 0, 0)) for f in part.features))
    survey = replace(surveyed(part), hanging=holding().hanging)
    found = set(keys(survey_tree(survey)))
    as_in_a_plan = {key for key in found if key.startswith("hanging.")}
    assert as_in_a_plan <= documented("geom plan")
    assert found - as_in_a_plan == documented("geom area")


def test_every_key_of_an_error_is_listed():
    error = JobError("a-b", "", mistakes=[PartError("c-d", "")])
    found = {re.sub(r"\[\]\..*", "[]", key) for key in keys({"schema_version": "1", "error": error_tree(error)})}
    assert found == documented("An error")


def test_numbers_have_their_unit_in_the_key():
    """A number is a share or a ratio, a count, or has its unit at the end of its key or that of its record."""
    plain = {
        "worst_share_eaten",
        "samples",
        "target_met_share",
        "level",
        "driver_share",
        "needed",
        "conductivity_growth",
        "drift_per_kelvin",
        "gap_factor",
        "least_gauge",
        "strips_needed",
        "value",
        "efficiency",
        "copies",
        "number",
        "part",
        "area_factor",
        "feature",  # of a face: an index into features
        "numerical_error",
    }
    records = (
        ".numerics",
        ".numerical_error",
        ".coverage.wetted_shares",
        ".coverage.significant_shares",
    )  # shares and counts alone
    unit = re.compile(
        r"_(mm|mm2|mm3|um|A|A_dm2|V|min|g|Ah|deg|S_m|C|W|K|W_K|L|A_L|L_dm2|L_run|ohm|A_mm2|g_L|h)(\[\])?$"
    )

    def numbers(tree: Any, place: str = "") -> Iterator[str]:
        if isinstance(tree, dict):
            for key, value in tree.items():
                yield from numbers(value, f"{place}.{key}")
        elif isinstance(tree, list):
            for value in tree:
                yield from numbers(value, place)
        elif isinstance(tree, int | float) and not isinstance(tree, bool):
            yield place

    for place in {*numbers(plan_tree(holding())), *numbers(plan_tree(rack_plan()))}:
        if place.startswith(".numerical_error.of."):
            continue  # names of features, which hold points, are keys there
        record, last = place.rsplit(".", 1)
        is_ratio = (
            "ratio" in place
            or "edge_to_face" in place
            or "front_to_back" in place
            or last in plain
            or record in records
        )
        assert is_ratio or unit.search(last) or unit.search(record) or last == "A_dm2", place


@pytest.mark.parametrize("word", ["schema_version", "recommendation.current_A", "features[].extra_time_min"])
def test_the_page_is_read(word: str):
    assert word in documented("geom plan")
