"""What is bare, threaded, rough or dipped is told in the report and the JSON document, with its origin."""

from dataclasses import replace
from functools import cache

import numpy as np
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.advice.words import BareResult
from geom.bem.problem import Current
from geom.cell.cell import Immersed
from geom.field import prepare
from geom.panel_sizes import MeshOptions
from geom.part.masks import Contact, Plug, StopOff, StopOffBox, StopOffFacing, StopOffNear, Thread
from geom.plan import Plan, assembled_plan
from geom.provenance import Origin
from geom.refine import Level
from geom.report.content import document
from geom.report.inputs import input_section
from geom.report.jsonfile import plan_tree
from geom.report.text import as_text

MASKS = (
    Plug("inside"),
    Plug("bore 1"),
    Contact((0.0, 0.01, 0.0), 0.003),
    StopOff(("face A", "end")),
    StopOffBox((0.0, 0.0, 0.0), (0.01, 0.02, 0.03)),
    StopOffNear((0.0, 0.0, 0.005), 0.002),
    StopOffFacing((0.0, 0.6, 0.8), 0.5235987755982988),
)


@cache
def plan() -> Plan:
    """The small plan as if places of it were masked, a bore threaded and the whole part rough."""
    small = small_plan()
    given = ("part.ends", "plug[0]", "contact[0]", *(f"stop_off[{k}]" for k in range(4)), "thread[0]", "pose.immersed")
    origins = {**small.job.origins, **{key: Origin("job", f"job.toml line {k}") for k, key in enumerate(given, 1)}}
    job = replace(
        small.job,
        masks=MASKS,
        threads=(Thread("bore 1", pitch=0.00125, diameter=0.008),),
        roughness=1.05,
        pose=Immersed((0, 0, 0), (0.02, 0.0), 0.05),
        origins=origins,
    )
    features = tuple(replace(feature, factor=1.05) for feature in small.cell.part.features)
    part = replace(small.cell.part, features=features)
    bare = (BareResult("face A, stopped off", "stop-off", 1e-4), BareResult("bore 1, plug 1", "plug", 5e-5))
    told = tuple(replace(feature, factor=1.05) for feature in small.features)
    return replace(small, job=job, cell=replace(small.cell, part=part), bare=bare, features=told)


def test_every_mask_is_an_input_with_its_line():
    rows = {row.label: (row.value, row.origin) for row in input_section(plan()).rows}
    assert rows["part: ends"] == ("plugged", "from job.toml line 1")
    assert rows["plug 1"] == ("bore 1, closed flat", "from job.toml line 2")
    assert rows["contact 1"] == ("spot of 3 mm diameter at (0, 10, 0) mm, frame of the part", "from job.toml line 3")
    assert rows["stop-off 1"] == ("face A, end", "from job.toml line 4")
    assert rows["stop-off 2"][0] == "box from (0, 0, 0) mm to (10, 20, 30) mm, frame of the part"
    assert rows["stop-off 3"][0] == "within 2 mm of (0, 0, 5) mm, frame of the part"
    assert rows["stop-off 4"][0] == "faces that look along (0, 0.6, 0.8) within 30°, frame of the part"
    assert rows["thread 1"][0] == "bore 1: 8 mm nominal, pitch 1.25 mm, 60° profile of ISO 68-1"
    assert rows["part: roughness factor"][0] == "1.05"
    assert rows["pose: lowest point under the liquid"] == ("50 mm", "from job.toml line 9")


def test_bare_features_stand_in_the_table_and_their_area_under_the_wetted_one():
    sections = {section.title: section for section in document(plan()).sections}
    table = sections["Feature by feature"].table
    assert table is not None
    assert ("face A, stopped off", "100 mm²", "-", "bare", "-", "-", "-", "-") in table.lines
    labels = [row.label for row in sections["Amounts"].rows]
    first = labels.index("wetted area")
    assert labels[first + 1 : first + 3] == ["  with threads and roughness", "  in the liquid and bare beside it"]
    assert sections["Amounts"].rows[first + 2].value.startswith("150 mm²")
    assert "carries no current" in as_text(document(plan()))


def test_a_plan_without_masks_says_nothing_of_them():
    text = as_text(document(small_plan()))
    assert "stopped off" not in text
    assert "carries no current" not in text
    assert "roughness" not in text


def test_the_document_has_every_area():
    tree = plan_tree(plan())
    assert tree["bare"] == [
        {"name": "face A, stopped off", "reason": "stop-off", "area_mm2": 100.0, "part": None},
        {"name": "bore 1, plug 1", "reason": "plug", "area_mm2": 50.0, "part": None},
    ]
    assert_allclose(tree["part"]["bare_area_mm2"], 150, rtol=1e-12, atol=0)
    assert_allclose(tree["part"]["true_wetted_area_mm2"], 1.05 * tree["part"]["wetted_area_mm2"], rtol=1e-12, atol=0)
    assert {feature["area_factor"] for feature in tree["features"]} == {1.05}


def test_a_plan_tells_of_a_contact_in_the_liquid_and_of_none_above_it():
    small = small_plan()
    first = small.fields[0]
    features = list(small.cell.part.features)
    features[0] = replace(features[0], name=f"{features[0].name}, contact", bare="contact")
    cell = replace(small.cell, part=replace(small.cell.part, features=tuple(features)))
    prepared = prepare(cell, first.panels)
    told = []
    for wet in (1.0, 0.0):
        areas = first.panels.wetted_areas * np.where(np.arange(len(features)) == 0, wet, 1.0)
        field = replace(first, panels=replace(first.panels, wetted_areas=areas))
        level = Level(MeshOptions(), prepared, small.limits, Current(first.total_current), field)
        found = assembled_plan(small.job, cell, (field,), small.deposit, small.schedule, level, small.accuracy).findings
        told.append([finding.message for finding in found if finding.code == "contact-stays-bare"])
    assert [len(messages) for messages in told] == [1, 0]
    assert f"under the contact on {small.cell.part.features[0].name} stay bare; " in told[0][0]
