"""``geom plan`` of options instead of a job file: what it writes plans alike; every mistake is told under its option."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from helpers.demands import few_panels

import geom.plan
import geom.report.files
from geom.cli.answer_options import ALIKE, SHAPES_OF_JOBS
from geom.cli.main import commands
from geom.job.parts import SHAPES
from geom.job.read import read_job
from geom.report.folder import RESULTS

MAKE_PLAN = geom.plan.make_plan
BOX = "solid box\n" + "".join(
    f"facet normal 0 0 0\nouter loop\n{''.join(f'vertex {corner}{chr(10)}' for corner in corners)}endloop\nendfacet\n"
    for corners in [
        ("0 0 0", "0 2 0", "3 2 0"), ("0 0 0", "3 2 0", "3 0 0"),
        ("0 0 1", "3 0 1", "3 2 1"), ("0 0 1", "3 2 1", "0 2 1"),
        ("0 0 0", "3 0 0", "3 0 1"), ("0 0 0", "3 0 1", "0 0 1"),
        ("0 2 0", "0 2 1", "3 2 1"), ("0 2 0", "3 2 1", "3 2 0"),
        ("0 0 0", "0 0 1", "0 2 1"), ("0 0 0", "0 2 1", "0 2 0"),
        ("3 0 0", "3 2 0", "3 2 1"), ("3 0 0", "3 2 1", "3 0 1"),
    ]
) + "endsolid box\n"  # fmt: skip


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in an empty folder with a box of 3 x 2 x 1; panels are few, and drawing takes no time."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "box.stl").write_text(BOX, encoding="ascii")
    monkeypatch.setattr(geom.plan, "make_plan", lambda job, **options: MAKE_PLAN(few_panels(job, 1200), **options))
    monkeypatch.setattr(geom.report.files, "result_files", lambda plan, text: dict.fromkeys(RESULTS, b""))
    return tmp_path


def geom_plan(*words: str) -> Result:
    return CliRunner().invoke(commands, ["plan", *words])


def without_origins(document: dict[str, Any]) -> dict[str, Any]:
    """Return a plan without what says where its inputs came from, by its JSON text: stated or assumed."""
    return {key: value for key, value in document.items() if key != "origins"}


@pytest.mark.parametrize(
    ("words", "name", "area_mm2"),
    [
        (
            ("--bar", "40 x 20 x 10 mm", "--hole", "8 mm at -10,0"),
            "bar-40x20x10-mm.toml",
            2 * (40 * 20 + 20 * 10 + 10 * 40) + 3.141593 * 8 * (10 - 4),
        ),
        (("box.stl", "--unit", "cm", "--target", "12 um"), "box.toml", 2200.0),
    ],
    ids=["bar", "mesh"],
)
def test_a_part_and_no_job_is_planned_and_its_job_file_planned_again_answers_the_same(words, name, area_mm2):
    first = geom_plan(*words, "--json")
    assert first.exit_code == 0, first.output
    one = json.loads(first.stdout)
    assert one["part"]["wetted_area_mm2"] == pytest.approx(area_mm2, rel=2e-3)
    assert f"job file {name}: change it, then  geom plan {name}" in first.stderr
    assumed = first.stderr.split("assumed, for nothing was said of it:\n")[1]
    heads = [line.split(":")[0].strip() for line in assumed.splitlines() if line.startswith("  ")]
    stated = {"target"} & {word.lstrip("-") for word in words}
    assert set(heads) == {"bath", "tank", "anode", "anodes", "distance", "pose", "target", "supply"} - stated
    again = geom_plan(name, "--json", "--force")
    assert again.exit_code == 0
    two = json.loads(again.stdout)
    assert without_origins(two) == without_origins(one)
    assert one["recommendation"]["current_A"] > 0


def test_where_a_value_came_from_says_assumed_for_what_nobody_said_and_the_line_for_what_was(folder: Path):
    found = json.loads(geom_plan("--rod", "8 x 20 mm", "--bath", "acid-copper", "--json").stdout)
    origins = found["origins"]
    assert origins["target.thickness"]["kind"] == "assumed"
    assert origins["pose.at"]["kind"] == "assumed"
    name, line = re.fullmatch(r"(.*) line (\d+)", origins["bath.name"]["detail"]).groups()
    assert (folder / name).read_text(encoding="utf-8").splitlines()[int(line) - 1].startswith('name = "acid-copper"')


def test_options_are_written_where_a_job_says_them(folder: Path):
    words = ["--tank", "round 180 x 160 mm", "--anode", "rod 10 x 110 mm", "--volts", "12 V", "--amps", "0.5 A"]
    words += ["--pose", "level-end-to-the-anode", "--stirred", "yes", "--title", "A pin, for the gate"]
    assert geom_plan("--rod", "8 x 40 mm", *words, "-q").exit_code == 0
    job = read_job(folder / "a-pin-for-the-gate.toml")
    assert job.tank.diameter == pytest.approx(0.18, rel=1e-12)
    assert (job.supply.max_voltage, job.supply.max_current) == (12.0, 0.5)
    assert job.bench.stirred is True


def test_quiet_says_nothing_and_json_alone_is_on_stdout(folder: Path):
    bar = ("--bar", "30 x 20 x 10 mm")
    silent = geom_plan(*bar, "--quiet")
    assert (silent.exit_code, silent.output) == (0, "")
    assert (folder / "bar-30x20x10-mm.toml").is_file()
    both = geom_plan(*bar, "--quiet", "--json", "--force")
    assert both.stderr == ""
    assert json.loads(both.stdout)["title"] == "Bar 30 x 20 x 10 mm"


def test_no_files_means_no_job_file_either(folder: Path):
    result = geom_plan("--rod", "8 x 20 mm", "--no-files")
    assert "no job file was written" in result.stderr
    assert [path.name for path in folder.iterdir()] == ["box.stl"]


def test_a_job_file_that_says_something_else_is_kept_and_stops_the_run_before_the_work(folder: Path, monkeypatch):
    (folder / "bar-30x20x10-mm.toml").write_text("mine", encoding="utf-8")
    monkeypatch.setattr(geom.plan, "make_plan", lambda job, **options: pytest.fail("it was planned"))
    result = geom_plan("--bar", "30 x 20 x 10 mm")
    assert result.exit_code == 2
    assert result.stderr.startswith("error: job-file-there")
    assert "--force" in result.stderr
    assert (folder / "bar-30x20x10-mm.toml").read_text(encoding="utf-8") == "mine"


BAR = ("--bar", "100 x 20 x 3 mm")
WRONG = {
    "nothing": ((), "job-not-named", '--bar "100 x 20 x 3 mm"'),
    "no unit": (("--bar", "100 x 20 x 3"), "job-answer-form", "has no unit"),
    "a length too few": (("--bar", "100 x 20 mm"), "job-answer-form", "length, width and thickness"),
    "no number": (("--bar", "100 x abc x 3 mm"), "job-answer-form", '"abc" does not start with a number'),
    "not a number": (("--bar", "nan x 20 x 3 mm"), "job-answer-form", '"nan" does not start with a number'),
    "without end": (("--bar", "1e400 x 20 x 3 mm"), "job-answer-form", "past all reason"),
    "less than nothing": (("--bar", "100 x -20 x 3 mm"), "job-range", 'width: "-20 mm"'),
    "another quantity": (("--bar", "100 x 20 x 3 kg"), "job-answer-form", "is a mass"),
    "two shapes": ((*BAR, "--rod", "8 x 60 mm"), "job-answer-part", "bar and rod are both given"),
    "a shape and a file": ((*BAR, "box.stl", "--unit", "mm"), "job-answer-part", "both given"),
    "a mesh without unit": (("box.stl",), "mesh-unit-missing", "3 mm x 2 mm x 1 mm with --unit mm"),
    "an unknown unit": (("box.stl", "--unit", "mmm"), "job-unit-unknown", 'did you mean "mm"?'),
    "a file that is not there": (("bix.stl", "--unit", "mm"), "job-mesh-missing", "there is: box.stl"),
    "a folder that is not there": (("none/box.stl", "--unit", "mm"), "job-mesh-missing", "in none/box.stl"),
    "a picture": (("box.jpg", "--unit", "mm"), "job-mesh-format", ".stl"),
    "holes in a mesh": (("box.stl", "--unit", "cm", "--hole", "8 mm"), "job-answer-part", "in --hole"),
    "a hole outside": ((*BAR, "--hole", "8 mm at 60,0"), "job-hole-outside", "hole 1 does not lie inside"),
    "the second hole outside": (
        (*BAR, "--hole", "8 mm at 0,0", "--hole", "8 mm at 0,8"),
        "job-hole-outside",
        "hole 2 does not lie inside the flat of the part: along y it reaches 12 mm from the centre, and 10 mm is there",
    ),
    "a hole in a hole": (
        (*BAR, "--hole", "8 mm", "--hole", "8 mm at 4,0"),
        "job-holes-overlap",
        "hole 2 runs into hole 1",
    ),
    "a place of one number": ((*BAR, "--hole", "8 mm at 3"), "job-answer-form", 'hole 1: "3" is not two numbers'),
    "a hole in words": ((*BAR, "--hole", "eight at 0,0"), "job-answer-form", '"eight" does not start with a number'),
    "an unknown bath": ((*BAR, "--bath", "wats-nickel"), "bath-unknown", "nearest: watts-nickel"),
    "a bath that is refused": ((*BAR, "--bath", "silver-cyanide"), "bath-refused", "licensed plater"),
    "an unknown pose": ((*BAR, "--pose", "flatt"), "job-answer-word", 'did you mean "flat"?'),
    "neither yes nor no": ((*BAR, "--stirred", "maybe"), "job-answer-word", '"yes", "no"'),
    "volts without unit": ((*BAR, "--volts", "12"), "job-unit-missing", "in --volts"),
    "a target in volts": ((*BAR, "--target", "8 V"), "job-unit-mismatch", "in --target"),
    "no current": ((*BAR, "--current", "0 A"), "job-range", "in --current"),
    "a thimble for a tank": ((*BAR, "--tank", "10 x 10 x 10 mm"), "job-answer-room", "in --tank"),
    "an anode of what is not known": ((*BAR, "--anode", "unobtainium"), "anode-refused", "in --anode"),
    "options beside a job": (("job.toml", *BAR), "option-with-job", "--bar beside a job file"),
}


@pytest.mark.parametrize(("words", "slug", "told"), WRONG.values(), ids=WRONG)
def test_a_mistake_in_the_options_is_told_in_words_and_nothing_is_written(folder: Path, words, slug: str, told: str):
    result = geom_plan(*words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(f"error: {slug}: ")
    assert told in result.stderr
    assert "Traceback" not in result.stderr
    assert [path.name for path in folder.iterdir()] == ["box.stl"]


def test_all_mistakes_are_told_at_once_and_with_json_as_a_document():
    words = ("--bar", "100 x 20 x 3", "--bath", "wats", "--target", "8", "--hole", "8 at")
    result = geom_plan(*words, "--json")
    assert result.exit_code == 2
    tree = json.loads(result.stdout)["error"]
    assert {mistake["where"] for mistake in tree["mistakes"]} == {"--bar", "--hole", "--bath", "--target"}
    assert all(mistake["message"] in result.stderr for mistake in tree["mistakes"])


@pytest.mark.parametrize(("word", "told"), [(word, f"Did you mean '--{near}'?") for word, near in ALIKE.items()])
def test_what_people_call_a_bar_or_a_rod_leads_to_it(word: str, told: str):
    result = geom_plan(f"--{word}", "3 mm")
    assert result.exit_code == 2
    assert told in result.stderr


def test_a_shape_that_only_a_job_file_has_is_said_to_be_one():
    assert set(SHAPES_OF_JOBS) | {"bar", "rod", "plate"} == set(SHAPES)
    result = geom_plan("--tube", "3 mm")
    assert result.exit_code == 2
    assert 'shape = "tube" under [part]' in result.stderr


@pytest.mark.parametrize(
    ("words", "told"), [(("plann",), "Did you mean 'plan'?"), (("plan", "--acuracy", "3%"), "--accuracy")]
)
def test_a_wrong_command_or_option_brings_the_nearest(words: tuple[str, ...], told: str):
    result = CliRunner().invoke(commands, words)
    assert result.exit_code == 2
    assert told in result.stderr
