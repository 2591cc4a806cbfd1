"""``geom area``: options, pictures, refusals with their places, folders."""

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner, Result
from helpers.drawings import sound_dxf
from numpy.testing import assert_allclose

from geom.cli.area_folder import COLUMNS, part_files
from geom.cli.main import commands
from geom.report.painter import tilted_view
from geom.report.raster import rastered, shaded
from geom.surface.solid import box

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Run in a folder of its own, where the pictures go."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(commands, ["area", *words])


def plate(missing: int = 0, name: str = "plate.stl") -> str:
    """Write a plate 40 x 20 x 4 mm without some of its faces."""
    mesh = trimesh.creation.box((40, 20, 4))
    trimesh.Trimesh(mesh.vertices, mesh.faces[missing:], process=False).export(name)
    return name


def tree_of(*words: str) -> dict:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_a_picture_is_written_beside_and_replaced_but_no_other_file(folder: Path):
    for _ in range(2):
        result = run(plate(), "--unit", "mm")
        assert result.exit_code == 0
        assert "picture in plate-area.png" in result.stderr
    picture = folder / "plate-area.png"
    assert picture.read_bytes().startswith(PNG)
    picture.write_text("mine")
    result = run(plate(), "--unit", "mm")
    assert result.exit_code == 2
    assert "picture-name-taken" in result.stderr
    assert picture.read_text() == "mine"
    assert sorted(p.name for p in folder.iterdir()) == ["plate-area.png", "plate.stl"]


def test_json_and_no_picture_leave_no_file(folder: Path):
    run(plate(), "--unit", "mm", "--json")
    run(plate(), "--unit", "mm", "--no-picture")
    assert [p.name for p in folder.iterdir()] == ["plate.stl"]


def test_a_refused_mesh_has_its_places_in_a_picture(folder: Path):
    result = run(plate(missing=4), "--unit", "mm")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "part-mesh-" in result.stderr
    assert "plate-defect.png" in result.stderr
    assert (folder / "plate-defect.png").read_bytes().startswith(PNG)


def test_repairs_are_told_with_faces_and_area_and_strict_refuses_them():
    tree = tree_of(plate(missing=1), "--unit", "mm")
    (repair,) = tree["repairs"]
    assert repair["faces"] == 1
    assert_allclose(tree["wetted_area_mm2"], 2 * (800 + 160 + 80), rtol=1e-6, atol=0)
    assert repair["code"] in [finding["code"] for finding in tree["findings"]]
    result = run(plate(missing=1), "--unit", "mm", "--strict", "--json")
    assert result.exit_code == 2
    assert json.loads(result.stdout)["error"]["slug"] == "part-mesh-strict"


@pytest.mark.parametrize(("depth", "wet"), [("1 mm", 800 + 120), ("4 mm", 2080), ("2 mm", 800 + 240)])
def test_what_is_immersed_is_cut_exactly(depth: str, wet: float):
    tree = tree_of(plate(), "--unit", "mm", "--immersed", depth)
    assert_allclose(tree["wetted_area_mm2"], wet, rtol=1e-6, atol=0)
    assert_allclose(tree["area_mm2"], 2080, rtol=1e-6, atol=0)


def test_a_sheet_is_asked_for_its_thickness():
    mesh = trimesh.Trimesh([[0, 0, 0], [40, 0, 0], [40, 20, 0], [0, 20, 0]], [[0, 1, 2], [0, 2, 3]], process=False)
    mesh.export("sheet.stl")
    result = run("sheet.stl", "--unit", "mm")
    assert "part-mesh-sheet" in result.stderr
    assert "--thickness" in result.stderr
    tree = tree_of("sheet.stl", "--unit", "mm", "--thickness", "2 mm")
    assert_allclose(tree["wetted_area_mm2"], 2 * 800 + 2 * 120, rtol=1e-6, atol=0)


def test_a_drawing_needs_the_thickness_of_its_metal():
    Path("tab.dxf").write_bytes(sound_dxf())
    assert "drawing-thickness-missing" in run("tab.dxf").stderr
    tree = tree_of("tab.dxf", "--thickness", "2 mm")
    assert tree["exact"] is True
    assert_allclose(tree["bounding_box_mm"][2], 2, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (["--thickness", "two"], "option-amount"),
        (["--thickness", "0 mm"], "option-amount"),
        (["--immersed", "0 mm"], "option-amount"),
        (["--most-size", "3 mm"], "option-amount"),
        (["--most-time", "-1 s"], "option-amount"),
        (["--csv"], "option-not-here"),
    ],
)
def test_options_that_mean_nothing_are_refused(words: list[str], slug: str):
    result = run(plate(), "--unit", "mm", *words)
    assert result.exit_code == 2
    assert slug in result.stderr


def test_limits_can_be_lowered_and_raised():
    assert "part-mesh-file" in run(plate(), "--unit", "mm", "--most-size", "0.0001 MB").stderr
    assert tree_of(plate(), "--unit", "mm", "--most-size", "2 GB", "--most-memory", "6 GB", "--most-time", "2 min")


def test_a_folder_gives_a_line_for_each_file_and_a_bad_one_stops_nothing(folder: Path):
    plate()
    (folder / "deep").mkdir()
    plate(missing=1, name="deep/gap.stl")
    (folder / "=1+1.stl").write_text("no mesh")
    (folder / "notes.txt").write_text("not looked at")
    (folder / "loop").symlink_to(folder)
    assert [p.name for p in part_files(folder)] == ["=1+1.stl", "gap.stl", "plate.stl"]
    text = run(".", "--unit", "mm")
    assert text.exit_code == 0
    assert "1 accepted, 1 repaired, 1 refused" in text.stdout
    rows = list(csv.DictReader(io.StringIO(run(".", "--unit", "mm", "--csv").stdout)))
    assert tuple(rows[0]) == COLUMNS
    assert [row["outcome"] for row in rows] == ["refused", "repaired", "accepted"]
    assert rows[0]["file"] == "'=1+1.stl"  # no formula for a spreadsheet
    files = tree_of(".", "--unit", "mm", "--jobs", "1")["files"]
    assert [file["outcome"] for file in files] == ["refused", "repaired", "accepted"]
    assert_allclose([file["area_mm2"] for file in files[1:]], 2080, rtol=1e-6, atol=0)


def test_a_folder_without_parts_is_bad_input(folder: Path):
    (folder / "empty").mkdir()
    result = run("empty")
    assert result.exit_code == 2
    assert "folder-without-parts" in result.stderr


def test_a_file_that_kills_its_process_is_told_and_the_rest_is_done(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """The worker of one file dies as a crash of a library would make it die."""
    import geom.cli.area_folder as module

    for name in ("a.stl", "b.stl", "c.stl"):
        plate(name=name)
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[1]) + ":" + str(Path(__file__).parents[2]))
    monkeypatch.setattr(module, "file_row", dying_row)
    rows = module.folder_rows(folder, module.Asked(unit="mm"), 2, lambda stage, share: None)
    assert [row["outcome"] for row in rows] == ["accepted", "died", "accepted"]


def dying_row(file: str, folder: str, asked: object) -> dict:
    """Stand in for `file_row`: one of the files ends the process."""
    import os

    from geom.cli.area_folder import _row

    if file.endswith("b.stl"):
        os._exit(9)
    return _row(Path(file).name, "accepted")


def test_a_picture_hides_what_lies_behind():
    """A cube seen from +z: all that is seen is its top and two sides, and the top takes most."""
    cube = box((-1, -1, -1), (1, 1, 1))
    raster = rastered(cube, tilted_view(np.array([0.0, 0.0, 1.0])), 60, 60)
    seen = np.bincount(raster.face[raster.face >= 0], minlength=12)
    tops = cube.normals[:, 2] > 0.9
    assert seen[cube.normals[:, 2] < -0.1].sum() == 0
    assert seen[tops].sum() > 0.5 * seen.sum()
    image = shaded(raster, cube, np.ones((12, 3)))
    assert image.shape == (60, 60, 4)
    cover = image[..., 3]
    assert set(np.unique(cover[[0, -1]])) == {0.0}
    assert cover[30, 30] == 1.0
    inside = image[cover == 1.0, :3]
    assert 0 <= inside.min() < 0.7 < inside.max() <= 1


def test_a_job_is_headed_by_its_title_and_hangs_and_a_file_has_its_z_up():
    """Words of the heading and of the pose: of a job, of a file by itself."""
    plate()
    job = run(str(Path(__file__).parents[2] / "samples" / "tab" / "job.toml"), "--no-picture").stdout
    assert job.startswith("Bent tab of the shore-power panel\n")
    assert "Part: tab.dxf, 3 mm" in job
    assert "as first hung" in job.lower()
    file = run("plate.stl", "--unit", "mm", "--no-picture").stdout
    assert file.startswith("plate.stl\n")
    assert "with z of the file up" in file.lower()
    assert "first hung" not in file.lower()


@pytest.mark.parametrize(
    ("name", "slug", "words"),
    [("x.jpg", "picture-suffix", "--picture x.png"), ("none/x.png", "picture-not-written", "no folder none")],
)
def test_a_picture_is_a_png_in_a_folder_that_is_there(folder: Path, name: str, slug: str, words: str):
    result = run(plate(), "--unit", "mm", "--picture", name)
    assert result.exit_code == 2
    assert slug in result.stderr
    assert words in result.stderr
    assert [p.name for p in folder.iterdir()] == ["plate.stl"]


def test_a_folder_tells_which_parts_trap_air(folder: Path):
    """A tube closed at one end, mouth down and mouth up."""
    from helpers.hollows import cup, upside_down

    for name, solid in (("bell", upside_down(cup())), ("cup", cup())):
        trimesh.Trimesh(1e3 * solid.vertices, solid.faces, process=False).export(f"{name}.stl")
    rows = {row["file"]: row["findings"].split() for row in tree_of(".", "--unit", "mm", "--jobs", "1")["files"]}
    assert "trapped-air" in rows["bell.stl"]
    assert "bath-carried-out" in rows["cup.stl"]
    assert "trapped-air" not in rows["cup.stl"]
