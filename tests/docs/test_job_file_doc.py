"""docs/job-file.md: its examples are jobs, and it has every key and every unit."""

import re
from pathlib import Path

import pytest

from geom.feature import Kind
from geom.job.bench import HookKeys, LeadKeys, MakeUpKeys, RoomKeys
from geom.job.bodies import THIEVES, RackKeys, ShieldKeys
from geom.job.demand import ACCURACIES, LEAST_PANELS, MOST_PANELS, SolveKeys
from geom.job.files import BendKeys, DrawingKeys, MeshKeys
from geom.job.job import Demand, Job
from geom.job.masks import ContactKeys, PlugKeys, StopOffKeys, ThreadKeys
from geom.job.parts import SHAPES, HoleKeys, PartKeys
from geom.job.read import parse_job
from geom.job.schema import (
    ANODES,
    LAWS,
    TANKS,
    BathKeys,
    JobKeys,
    PoseKeys,
    RangeKeys,
    SupplyKeys,
    TargetKeys,
)
from geom.job.turns import AskedPoseKeys, FitKeys, ScheduleKeys
from geom.units import QUANTITIES

TEXT = (Path(__file__).parents[2] / "docs" / "job-file.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```toml complete\n(.*?)^```", TEXT, flags=re.MULTILINE | re.DOTALL)
SECTIONS = dict(re.findall(r"^## ([^\n]*)\n(.*?)(?=^## |\Z)", TEXT, flags=re.MULTILINE | re.DOTALL))


def in_tables(heading: str) -> set[str]:
    """Return every word in code marks of the tables under a heading."""
    rows = [line for line in SECTIONS[heading].splitlines() if line.startswith("|")]
    return set(re.findall(r"`([^`]+)`", "\n".join(rows)))


def test_the_page_has_examples():
    assert len(EXAMPLES) >= 6


@pytest.mark.parametrize("text", EXAMPLES)
def test_every_complete_example_is_a_job_without_findings(text):
    job = parse_job(text)
    assert isinstance(job, Job)
    assert job.findings == ()


def test_every_key_is_in_the_table_of_its_section():
    top, shapes, mesh = "Top level", "`[part]`: a shape with dimensions", "`[part]`: a mesh"
    wanted = [
        (top, JobKeys),
        (shapes, PartKeys),
        (shapes, HoleKeys),
        ("`[bath]`", BathKeys),
        ("`[bath]`", RangeKeys),
    ]
    wanted += [("`[pose]`", PoseKeys), ("`[supply]`", SupplyKeys), ("`[target]`", TargetKeys)]
    wanted += [(shapes, model) for model in SHAPES.values()]
    wanted += [("`[tank]`", model) for model in TANKS.values()]
    wanted += [("`[[anode]]`", model) for model in ANODES.values()]
    wanted += [("`[solve]`", SolveKeys), ("`[rack]`", RackKeys), ("`[[shield]]`", ShieldKeys)]
    wanted += [("`[[stop_off]]`", StopOffKeys), ("`[[contact]]`", ContactKeys)]
    wanted += [("`[[plug]]`", PlugKeys), ("`[[thread]]`", ThreadKeys)]
    wanted += [("`[hook]`", HookKeys), ("`[lead]`", LeadKeys), ("`[room]`", RoomKeys)]
    wanted += [("`[make_up]`", MakeUpKeys)]
    wanted += [("`[schedule]`", model) for model in (ScheduleKeys, AskedPoseKeys, FitKeys)]
    for heading, model in wanted:
        assert set(model.model_fields) <= in_tables(heading), model
    common = set(PartKeys.model_fields)
    assert set(MeshKeys.model_fields) - common <= in_tables(mesh)
    drawing = in_tables("`[part]`: a flat drawing")
    assert (set(DrawingKeys.model_fields) - common) | set(BendKeys.model_fields) <= drawing


def test_every_shape_and_law_is_in_the_tables():
    assert set(SHAPES) <= in_tables("`[part]`: a shape with dimensions")
    assert set(TANKS) <= in_tables("`[tank]`")
    assert set(ANODES) <= in_tables("`[[anode]]`")
    assert set(THIEVES) <= in_tables("`[[thief]]`")
    thief_keys = {key for model in THIEVES.values() for key in model.model_fields}
    assert thief_keys <= in_tables("`[[thief]]`")
    assert set(LAWS) <= in_tables("`[bath]`")
    keys = {key for law in LAWS.values() for key in law.model_fields}
    assert keys <= set(re.findall(r"`([^`]+)`", SECTIONS["`[bath]`"]))


def test_required_and_optional_keys_of_each_shape_are_as_the_table_says():
    rows = re.findall(r"^\| (`.*?)\|(.*?)\|(.*?)\|$", SECTIONS["`[part]`: a shape with dimensions"], flags=re.MULTILINE)
    seen = set()
    for names, required, optional in rows:
        for name in set(re.findall(r"`([^`]+)`", names)) & set(SHAPES):
            fields = SHAPES[name].model_fields
            needed = {key for key, field in fields.items() if field.is_required() and key != "shape"}
            if name not in seen and set(re.findall(r"`([^`]+)`", required)):
                assert set(re.findall(r"`([^`]+)`", required)) == needed, name
                common = {"shape", *PartKeys.model_fields}
                assert set(re.findall(r"`([^`]+)`", optional)) == set(fields) - needed - common, name
                seen.add(name)
    assert seen == set(SHAPES)


def test_every_size_of_unit_is_in_the_table():
    section = SECTIONS["Quantities and units"]
    rows = re.findall(r"^\| ([a-zA-Z ]+) \| (`.*)\|$", section, flags=re.MULTILINE)
    assert len(rows) == 10  # the eleventh, fraction, is a plain number
    for row in rows:
        quantity = row[0].casefold().replace("tafel ", "")
        units = QUANTITIES[quantity]
        listed = {units[unit] for unit in re.findall(r"`([^`]+)`", row[1]) if unit in units}
        assert listed == set(units.values()), quantity


def test_accuracies_and_budgets_are_those_of_the_program():
    section = SECTIONS["`[solve]`"]
    assert dict(re.findall(r'`"([a-z]+)"` \(([0-9]+) %\)', section)) == {
        word: f"{100 * share:g}" for word, share in ACCURACIES.items()
    }
    assert f"from {LEAST_PANELS} to {MOST_PANELS} | {Demand().panels} |" in section
    assert f'`"{Demand().seconds:.0f} s"`' in section


def test_every_kind_of_feature_is_named():
    for kind in Kind:
        assert f"`{kind.value}`" in SECTIONS["`[target]`"]
