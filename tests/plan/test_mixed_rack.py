"""Parts of different shapes in one tank: the same as copies where they are alike, as alone where far apart; charge adds up."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from helpers.demands import few_panels
from numpy.testing import assert_allclose
from trimesh.creation import revolve

from geom.errors import JobError
from geom.hanging.hanging import hanging_of
from geom.job.hung import hung_cell
from geom.job.read import parse_job, read_job
from geom.plan import Plan, make_plan
from geom.report.content import document
from geom.report.jsonfile import plan_tree
from geom.report.text import as_text

BAR = 'shape = "bar", length = "40 mm", width = "20 mm", thickness = "6 mm"'
CUP = 'shape = "channel", length = "40 mm", width = "24 mm", height = "18 mm", thickness = "2 mm", inside_radius = "2 mm"'
REST = """
[bath]
name = "watts-nickel"
[tank]
shape = "box"
length = "{length}"
width = "{width}"
depth = "80 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "{anode}"
height = "60 mm"
at = ["-40 mm", "0 mm", "40 mm"]
[pose]
turn = ["0 deg", "90 deg", "0 deg"]
at = ["15 mm", "0 mm", "42 mm"]
[target]
thickness = "5 um"
"""
OTHER = '[[rack.other]]\nname = "{name}"\nat = ["0 mm", "{y}", "0 mm"]\nturn = [{turn}]\npart = {{ {part} }}\n'
UPRIGHT = '"0 deg", "90 deg", "0 deg"'


def plan_of(rack: str, panels: int = 2500, *, length="110 mm", width="160 mm", anode="100 mm") -> Plan:
    part = "[part]\n" + BAR.replace(", ", "\n") + "\n"
    text = part + rack + REST.format(length=length, width=width, anode=anode)
    return make_plan(few_panels(parse_job(text), panels))


@cache
def mixed() -> Plan:
    """Two bars and a channel."""
    rack = '[rack]\ncopies = [1, 2, 1]\npitch = ["0 mm", "32 mm", "0 mm"]\n'
    return plan_of(rack + OTHER.format(name="tray", y="52 mm", turn='"180 deg", "0 deg", "0 deg"', part=CUP))


def test_another_part_of_the_same_shape_is_a_copy():
    """Three copies, and two with one more named apart: bodies, current and time are the same."""
    three = plan_of('[rack]\ncopies = [1, 3, 1]\npitch = ["0 mm", "32 mm", "0 mm"]\n')
    two = '[rack]\ncopies = [1, 2, 1]\npitch = ["0 mm", "32 mm", "0 mm"]\n'
    named = plan_of(two + OTHER.format(name="third", y="48 mm", turn=UPRIGHT, part=BAR))
    # -32, 0 and 32 mm; -16, 16 and 48 mm, then all in the middle of the tank
    error = three.accuracy.thinnest + named.accuracy.thinnest
    assert_allclose(named.current, three.current, rtol=max(error, 1e-3), atol=0)
    for one, other in zip(named.copies, three.copies, strict=True):
        assert_allclose(one.at, other.at, rtol=0, atol=1e-6)
        assert_allclose(one.current, other.current, rtol=max(error, 1e-3), atol=0)
    assert [copy.name for copy in named.copies] == ["", "", "third"]


def test_charge_of_all_parts_is_that_of_the_supply():
    plan = mixed()
    assert len(plan.copies) == 3
    assert_allclose(sum(copy.current for copy in plan.copies), plan.current, rtol=1e-6, atol=0)
    assert plan.minimum_local_thickness >= plan.job.target.thickness * (1 - 1e-6)


def test_parts_far_apart_get_what_each_gets_alone():
    """At one mean current density two bars 340 mm apart, each before an anode of its own, are two cells."""
    far = OTHER.format(name="far", y="340 mm", turn=UPRIGHT, part=BAR)
    pair = '[[anode]]\nshape = "sheet"\nlength = "2 mm"\nwidth = "40 mm"\nheight = "60 mm"\nat = ["-40 mm", "{y} mm", "40 mm"]\n'
    tank = REST.format(length="110 mm", width="{w}", anode="40 mm")
    one_anode = tank[tank.index("[[anode]]") : tank.index("[pose]")]
    both = tank.replace(one_anode, pair.format(y=-170) + pair.format(y=170)).format(w="680 mm")
    part = "[part]\n" + BAR.replace(", ", "\n") + "\n"
    together = make_plan(few_panels(parse_job(part + "[rack]\n" + far + both + 'current = "0.4 A"\n'), 4000))
    alone = make_plan(few_panels(parse_job(part + tank.format(w="340 mm") + 'current = "0.2 A"\n'), 2000))
    error = together.accuracy.thinnest + alone.accuracy.thinnest
    assert_allclose([copy.current for copy in together.copies], 0.2, rtol=1e-2, atol=0)
    assert_allclose(together.time, alone.time, rtol=error + 0.01, atol=0)
    assert_allclose(together.voltage, alone.voltage, rtol=0.02, atol=0)


def test_what_the_other_part_holds_is_told_by_its_name(tmp_path: Path):
    """A cup of a mesh, mouth down beside two bars: 10 mm radius inside, 20 mm deep, so 6.28 mL of air."""
    profile = [(0, 0), (12, 0), (12, 22), (10, 22), (10, 2), (0, 2)]
    revolve(np.array(profile, dtype=float), sections=96).export(tmp_path / "cup.stl")
    rack = '[rack]\ncopies = [1, 2, 1]\npitch = ["0 mm", "32 mm", "0 mm"]\n'
    other = OTHER.format(name="cup", y="52 mm", turn='"180 deg", "0 deg", "0 deg"', part='mesh = "cup.stl", unit = "mm"')
    part = "[part]\n" + BAR.replace(", ", "\n") + "\n"
    text = part + rack + other + REST.format(length="110 mm", width="160 mm", anode="100 mm")
    (tmp_path / "job.toml").write_text(text)
    cell = hung_cell(read_job(tmp_path / "job.toml"))
    assert cell.part.title.endswith("cup (cup.stl)")
    held = hanging_of(cell)
    assert any(name.startswith("cup: ") for pocket in held.trapped for name, _ in pocket.features)
    assert_allclose(held.trapped_volume, np.pi * 10e-3**2 * 20e-3, rtol=0.03, atol=0)


def test_a_missing_file_of_another_part_is_refused_at_its_line(tmp_path: Path):
    rack = '[rack]\n' + OTHER.format(name="cup", y="52 mm", turn=UPRIGHT, part='mesh = "no.stl", unit = "mm"')
    text = "[part]\n" + BAR.replace(", ", "\n") + "\n" + rack + REST.format(length="110 mm", width="160 mm", anode="100 mm")
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(JobError) as caught:
        read_job(tmp_path / "job.toml")
    assert caught.value.slug == "job-mesh-missing"
    assert "rack.other[0].part.mesh" in str(caught.value)


def test_text_and_json_name_the_other_part():
    plan = mixed()
    text = as_text(document(plan))
    assert "part 3 (tray)" in text
    assert "2 parts: 2 along y, 32 mm from centre to centre; tray at" in text
    tree = json.loads(json.dumps(plan_tree(plan), default=float))
    assert [one["name"] for one in tree["rack"]["parts"]] == [None, None, "tray"]
    assert tree["rack"]["others"] == [{"name": "tray", "at_mm": [0.0, 52.0, 0.0], "turn_deg": [180.0, 0.0, 0.0]}]
    names = {one["name"] for one in tree["features"]}
    assert any(name.startswith("tray: ") for name in names)


def test_each_feature_of_the_other_is_apart_from_that_of_the_copies():
    areas: dict[str, float] = {}
    for feature in mixed().features:
        areas[feature.name_alone] = areas.get(feature.name_alone, 0.0) + feature.area
    faces = [name for name in areas if "face A" in name or "web" in name]
    assert any(name.startswith("tray: ") for name in areas)
    assert faces
    assert_allclose(sum(areas.values()), mixed().wetted_area, rtol=0.02, atol=0)
    assert np.isfinite(list(areas.values())).all()
    assert replace(mixed().job.rack, others=()).names == ()
