"""``geom area`` and ``geom baths``."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from helpers.small_plan import LINK
from numpy.testing import assert_allclose

from geom.cli.main import commands
from geom.tables.read import bath_names, bath_table, refused_baths
from geom.tables.specs import standards

CORNERS = np.array([(x, y, z) for x in (0.0, 1.0) for y in (0.0, 2.0) for z in (0.0, 3.0)])
QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures go into the folder that the command runs in."""
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def box(tmp_path: Path) -> str:
    """Return the path of a mesh of a box 1 x 2 x 3 units, outside outwards."""
    lines = [f"v {x} {y} {z}" for x, y, z in CORNERS]
    lines += [f"f {a + 1} {b + 1} {c + 1} {d + 1}" for a, b, c, d in QUADS]
    path = tmp_path / "box.obj"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def link(tmp_path: Path) -> str:
    """Return the path of a job with a bar 60 x 20 x 3 mm with bores of 8 and 6 mm."""
    path = tmp_path / "link.toml"
    path.write_text(LINK, encoding="utf-8")
    return str(path)


def run(*words: str) -> Result:
    return CliRunner().invoke(commands, list(words))


@pytest.mark.parametrize(("unit", "millimetres"), [("mm", 1.0), ("in", 25.4), ("m", 1000.0), ("mil", 0.0254)])
def test_area_and_volume_of_a_mesh_are_in_the_unit_stated(box: str, unit: str, millimetres: float):
    result = run("area", box, "--unit", unit, "--json")
    assert result.exit_code == 0
    tree = json.loads(result.stdout)
    assert_allclose(tree["wetted_area_mm2"], 22 * millimetres**2, rtol=1e-9, atol=0)
    assert_allclose(tree["volume_mm3"], 6 * millimetres**3, rtol=1e-9, atol=0)
    assert_allclose(tree["bounding_box_mm"], millimetres * np.array([1, 2, 3]), rtol=1e-9, atol=0)
    assert_allclose(tree["bounding_box_in"], millimetres / 25.4 * np.array([1, 2, 3]), rtol=1e-9, atol=0)
    assert_allclose(sum(f["area_mm2"] for f in tree["features"]), tree["wetted_area_mm2"], rtol=1e-9, atol=0)
    assert tree["exact"] is False
    assert isinstance(tree["findings"], list)


def test_a_mesh_without_unit_is_refused_and_its_sizes_are_offered(box: str):
    result = run("area", box)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "mesh-unit-missing" in result.stderr
    assert "1 mm x 2 mm x 3 mm with --unit mm" in result.stderr
    assert "25.4 mm x 50.8 mm x 76.2 mm with --unit in" in result.stderr
    assert "1000 mm x 2000 mm x 3000 mm with --unit m" in result.stderr


@pytest.mark.parametrize("unit", ["kg", "parsec", "1 mm", ""])
def test_a_unit_that_is_no_length_is_refused(box: str, unit: str):
    result = run("area", box, "--unit", unit)
    assert result.exit_code == 2
    assert "mesh-unit-" in result.stderr


def test_area_of_a_job_is_by_formula(link: str):
    tree = json.loads(run("area", link, "--json").stdout)
    holes = np.pi * np.array([8.0, 6.0])
    area = 2 * (60 * 20 + 60 * 3 + 20 * 3) - 2 * (np.pi * (4**2 + 3**2)) + 3 * holes.sum()
    assert_allclose(tree["wetted_area_mm2"], area, rtol=1e-9, atol=0)
    assert_allclose(tree["volume_mm3"], 3 * (1200 - np.pi * 25), rtol=1e-9, atol=0)
    bores = [f for f in tree["features"] if f["kind"] == "bore"]
    assert_allclose([f["area_mm2"] for f in bores], 3 * holes, rtol=1e-9, atol=0)
    assert_allclose([f["width_mm"] for f in bores], [8, 6], rtol=1e-9, atol=0)
    assert tree["exact"] is True


def test_the_text_has_millimetres_and_inches_and_every_feature(link: str):
    result = run("area", link)
    assert result.exit_code == 0
    tree = json.loads(run("area", link, "--json").stdout)
    assert "60 mm x 20 mm x 3 mm" in result.stdout
    assert "2.362 in x 0.7874 in x 0.1181 in" in result.stdout
    for feature in tree["features"]:
        assert feature["name"] in result.stdout


def test_a_job_needs_no_unit(link: str):
    result = run("area", link, "--unit", "mm")
    assert result.exit_code == 2
    assert "unit-not-wanted" in result.stderr


def test_a_mesh_that_is_not_there_is_said_so_before_its_unit_is_asked_for(tmp_path: Path):
    result = run("area", str(tmp_path / "none.stl"), "--json")
    assert result.exit_code == 2
    assert json.loads(result.stdout)["error"]["slug"] == "part-mesh-file"


def test_every_bath_and_every_refusal_is_listed():
    result = run("baths")
    assert result.exit_code == 0
    flat = " ".join(result.stdout.split())
    for name in bath_names():
        assert f"{name}:" in flat
    for name, reason in refused_baths().items():
        assert f"{name}: {reason}" in flat
    tree = json.loads(run("baths", "--json").stdout)
    assert tuple(bath["name"] for bath in tree["baths"]) == bath_names()
    assert tree["refused"] == dict(refused_baths())


@pytest.mark.parametrize("name", bath_names())
def test_every_value_of_a_bath_has_its_source_and_trust(name: str):
    entries = bath_table(name).entries
    result = run("baths", name)
    flat = " ".join(result.stdout.split())
    assert all(len(line) <= 100 for line in result.stdout.splitlines())
    tree = json.loads(run("baths", name, "--json").stdout)
    for entry, shown in zip(entries, tree["entries"], strict=True):
        source = f"from {entry.source.text} [{entry.source.basis}, trust {entry.source.trust}]"
        assert " ".join(source.split()) in flat
        assert shown["key"] == entry.key
        assert shown["source"] == entry.source.text
        assert shown["trust"] == str(entry.source.trust)
        if entry.typical is not None:
            assert_allclose(shown["typical"], entry.typical, rtol=1e-9, atol=0)


OWN = """
[club-nickel]
like = "watts-nickel"
title = "Tank 2 of the sailing club"
[club-nickel.values]
efficiency_curve = [["1 A/dm2", "80 %"], ["4 A/dm2", "95 %"]]
conductivity = { low = 7.4, typical = 7.6, high = 7.8, unit = "S/m", at = "48 C", trust = "good" }
"""


def test_own_baths_are_listed_and_shown_with_their_source(tmp_path: Path):
    file = tmp_path / "shop.toml"
    file.write_text(OWN, encoding="utf-8")
    listed = json.loads(run("baths", "--tables", str(file), "--json").stdout)
    assert [one["name"] for one in listed["baths"]] == [*bath_names(), "club-nickel"]
    assert "club-nickel:" in run("baths", "--tables", str(file)).stdout
    tree = json.loads(run("baths", "club-nickel", "--tables", str(file), "--json").stdout)
    by_key = {entry["key"]: entry for entry in tree["entries"]}
    assert by_key["efficiency_curve"]["points"] == [[1.0, 0.8], [4.0, 0.95]]
    assert by_key["conductivity"]["source"] == "user's table shop.toml"
    assert (by_key["conductivity"]["basis"], by_key["conductivity"]["trust"]) == ("user", "good")
    assert by_key["composition.boric_acid"]["basis"] == "memory"
    assert run("baths", "club-nickel").exit_code == 2


def test_a_table_with_a_mistake_is_bad_input(tmp_path: Path):
    file = tmp_path / "shop.toml"
    file.write_text(OWN.replace("7.6", '"quux"'), encoding="utf-8")
    result = run("baths", "--tables", str(file), "--json")
    assert result.exit_code == 2
    error = json.loads(result.stdout)["error"]
    assert error["slug"] == "job-number"
    assert error["where"].startswith("shop.toml, line 7, club-nickel.values.conductivity.typical")


@pytest.mark.parametrize(("name", "slug"), [("watts-nickle", "bath-unknown"), ("silver-cyanide", "bath-refused")])
def test_a_bath_that_is_unknown_or_refused_is_bad_input(name: str, slug: str):
    result = run("baths", name, "--json")
    assert result.exit_code == 2
    assert json.loads(result.stdout)["error"]["slug"] == slug
    assert result.stderr.startswith(f"error: {slug}")


def test_every_specification_is_listed_with_its_source_and_trust():
    result = run("specs")
    assert result.exit_code == 0
    assert all(len(line) <= 100 for line in result.stdout.splitlines())
    flat = " ".join(result.stdout.split())
    tree = json.loads(run("specs", "--json").stdout)
    assert [entry["standard"] for entry in tree["standards"]] == [standard.standard for standard in standards()]
    for standard, shown in zip(standards(), tree["standards"], strict=True):
        assert f"{standard.standard} ({standard.metal})" in flat
        for one, line in zip(standard.classes, shown["classes"], strict=True):
            assert f"From {one.source.text} [{one.source.basis}, trust {one.source.trust}]" in flat
            assert line["specification"] == one.words
            assert_allclose(1e-6 * line["thickness_um"], one.thickness, rtol=1e-9, atol=0)
            assert (line["source"], line["trust"]) == (one.source.text, str(one.source.trust))


def test_specifications_of_one_metal_or_one_standard_are_listed_alone():
    assert [s["metal"] for s in json.loads(run("specs", "--metal", "tin", "--json").stdout)["standards"]] == ["Sn"] * 3
    (only,) = json.loads(run("specs", "B689 class 25", "--json").stdout)["standards"]
    assert [one["thickness_um"] for one in only["classes"]] == [25.0]


@pytest.mark.parametrize(
    ("arguments", "slug"),
    [(("B698",), "spec-unknown"), (("B689 class 6",), "spec-class-unknown"), (("--metal", "Zz"), "spec-unknown")],
)
def test_a_specification_that_is_unknown_is_bad_input(arguments: tuple[str, ...], slug: str):
    result = run("specs", *arguments, "--json")
    assert result.exit_code == 2
    assert json.loads(result.stdout)["error"]["slug"] == slug
