"""Every sample is planned and compared with its expected.toml, which says whose each number is."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import trimesh
from numpy.testing import assert_allclose

from geom.job.read import read_job
from geom.plan import make_plan
from geom.report.jsonfile import plan_tree

SAMPLES = Path(__file__).parents[2] / "samples"
NAMES = sorted(path.parent.name for path in SAMPLES.glob("*/job.toml"))
FARADAY = 96485.33212  # C/mol, CODATA 2018
MOLAR_MASS = {"nickel": 58.6934, "copper": 63.546}  # g/mol, IUPAC; both are deposited by two electrons
LARGEST_MESH = 300_000  # bytes: a sample is for reading, not for storing


@cache
def expected(name: str) -> dict[str, Any]:
    return tomllib.loads((SAMPLES / name / "expected.toml").read_text(encoding="utf-8"))


@cache
def planned(name: str) -> dict[str, Any]:
    return plan_tree(make_plan(read_job(SAMPLES / name / "job.toml")))


def looked_up(tree: Any, key: str) -> Any:
    for word in key.split("."):
        tree = tree[word]
    return tree


def test_there_are_samples_of_dimensions_bends_and_a_mesh():
    texts = [(SAMPLES / name / "job.toml").read_text(encoding="utf-8") for name in NAMES]
    for wanted in (
        'shape = "bar"',
        'shape = "offset"',
        'mesh = "',
        "[rack]",
        "[[shield]]",
        "[[thief]]",
        'drawing = "',
        "[[stop_off]]",
        "[[contact]]",
    ):
        assert any(wanted in text for text in texts), wanted


@pytest.mark.parametrize("name", NAMES)
def test_sample_has_its_readme_and_says_whose_every_number_is(name: str):
    assert (SAMPLES / name / "README.md").read_text(encoding="utf-8").startswith("# ")
    numbers = expected(name)["expect"]
    assert len(numbers) >= 4
    for number in numbers:
        assert number.keys() == {"key", "value", "rel", "whose"}
        assert number["whose"].split()[0].rstrip(":;,") in (
            "formula",
            "published",
            "regression",
            "symmetry",
            "given",
            "the",
            "trimesh",
        )
        assert 0 < number["rel"] <= 0.06
    assert any(not n["whose"].startswith("regression") for n in numbers)


@pytest.mark.parametrize("name", NAMES)
def test_sample_gives_what_is_expected(name: str):
    for number in expected(name)["expect"]:
        found = looked_up(planned(name), number["key"])
        message = f"{name}: {number['key']} ({number['whose']})"
        assert_allclose(found, number["value"], rtol=number["rel"], atol=0, err_msg=message)


@pytest.mark.parametrize("name", NAMES)
def test_sample_obeys_faraday_and_keeps_the_charge(name: str):
    tree = planned(name)
    metal = "copper" if "copper" in tree["set_up"]["bath"]["name"] else "nickel"
    charge = 3600 * (tree["deposit"]["charge_Ah"] - tree["deposit"]["thief_charge_Ah"])
    mass = charge * MOLAR_MASS[metal] / (2 * FARADAY) * expected(name)["efficiency"]
    assert_allclose(tree["deposit"]["mass_g"], mass, rtol=1e-4, atol=0)
    cathodes = tree["balance"]["cathode_A"] + sum(tree["balance"]["thieves_A"])
    assert_allclose(tree["balance"]["anode_A"], cathodes, rtol=0.005, atol=0)


@pytest.mark.parametrize("name", NAMES)
def test_sample_has_no_finding_that_stops(name: str):
    assert [f for f in planned(name)["findings"] if f["severity"] == "stop"] == []


def test_meshes_are_small():
    assert all(path.stat().st_size < LARGEST_MESH for path in SAMPLES.rglob("*.stl"))


def test_committed_clamp_is_what_its_script_writes():
    space: dict[str, Any] = {"__name__": "make_mesh"}
    exec((SAMPLES / "clamp" / "make_mesh.py").read_text(encoding="utf-8"), space)
    made = space["clamp"]()
    stored = trimesh.load(SAMPLES / "clamp" / "clamp.stl")
    # another manifold3d may cut the same solid into other triangles: compare the solid
    assert_allclose([made.area, made.volume], [stored.area, stored.volume], rtol=1e-5, atol=0)
