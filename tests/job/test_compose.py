"""A job made of a few answers: every text is read and stands in its tank, and every mistake names its answer."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.cell.cell import BoxTank, JarTank, SheetAnode
from geom.errors import JobError
from geom.job.compose import Composed, compose, defaults, pose_names
from geom.job.hung import hung_cell
from geom.job.jobtext import toml_string
from geom.job.read import parse_job
from geom.job.setup import turn_of, turned

SAMPLES = Path(__file__).parents[2] / "samples"
BAR = {"bar": "100 x 20 x 3 mm"}
FEW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def mistakes(answers: dict[str, str | list[str]], folder: Path | None = None) -> dict[str, str]:
    """Return the slug that each answer is refused with."""
    with pytest.raises(JobError) as caught:
        compose(answers, folder=folder)
    assert caught.value.where in [m.where for m in caught.value.mistakes]
    return {m.where: m.slug for m in caught.value.mistakes}


def attempt(answers: dict[str, str | list[str]], folder: Path | None = None) -> Composed | JobError:
    """Return the job, or what it is refused with."""
    try:
        return compose(answers, folder=folder)
    except JobError as error:
        return error


def keys(composed: Composed) -> dict:
    return tomllib.loads(composed.text)


# what is written


def test_the_default_answers_make_a_job_that_assumes_nothing():
    made = compose(defaults())
    assert made.assumed == ()
    assert "assumed" not in made.text.split("\n", 2)[2]
    assert hung_cell(parse_job(made.text)).findings == ()


def test_a_bar_alone_is_enough_and_what_is_assumed_is_said_and_marked():
    made = compose({**BAR, "hole": ["8 mm at -30,0"]})
    heads = [sentence.partition(":")[0] for sentence in made.assumed]
    assert heads == ["bath", "tank", "anode", "anodes", "distance", "pose", "target", "supply"]
    marked = [line for line in made.text.splitlines()[2:] if "assumed" in line]
    assert [line.split(" ")[0] for line in marked] == ["name", "[tank]", "shape", "at", "[pose]", "thickness"]


def test_what_is_stated_is_written_as_it_was_said():
    made = keys(compose({**defaults(), "title": "Link A", "temperature": "131 F", "current": "1.2 A"}))
    assert made["title"] == "Link A"
    assert made["part"]["length"] == "90 mm"
    assert made["part"]["holes"][1] == {"diameter": "8.4 mm", "at": ["33 mm", "0 mm"]}
    assert made["bath"] == {"name": "watts-nickel", "temperature": "131 F", "stirred": True}
    assert made["supply"] == {"max_voltage": "12 V", "max_current": "5 A"}
    assert made["target"] == {"thickness": "8 um", "current": "1.2 A"}
    assert made["tank"] == {"shape": "box", "length": "200 mm", "width": "120 mm", "depth": "160 mm"}


def test_inches_stay_inches_and_one_unit_serves_for_all_lengths():
    made = keys(compose({"bar": "4 x 3/4 x 1/8 in", "hole": ["5/16 at -1-1/4,0.1"]}))
    assert made["part"]["width"] == "3/4 in"
    assert made["part"]["holes"] == [{"diameter": "5/16 in", "at": ["-1-1/4 in", "0.1 in"]}]
    assert all(made["tank"][side].endswith(" in") for side in ("length", "width", "depth"))


def test_the_same_answers_make_the_same_text():
    assert compose(defaults()).text == compose(defaults()).text


@pytest.mark.parametrize("text", ["100 x 20 x 3 mm", "100mm x 20mm x 3mm", "10 cm × 2 cm × 3 mm", "100 X 20 by 3 mm"])
def test_lengths_may_be_written_in_many_ways(text: str):
    shape = parse_job(compose({"bar": text}).text).shape
    assert (shape.length, shape.width, shape.thickness) == pytest.approx((0.1, 0.02, 0.003), rel=1e-12)


def test_a_gap_that_is_asked_for_is_the_gap_that_is_there():
    job = parse_job(compose({**BAR, "distance": "73.3 mm"}).text)
    cell = hung_cell(job)
    (anode,) = cell.anodes
    assert isinstance(anode, SheetAnode)
    assert cell.pose.at[0] - 1.5e-3 - (anode.at[0] + anode.length / 2) == pytest.approx(73.3e-3, rel=1e-9)


def test_anodes_on_both_sides_stand_alike():
    cell = hung_cell(parse_job(compose({**BAR, "anodes": "both sides", "tank": "200 x 120 x 160 mm"}).text))
    left, right = cell.anodes
    assert left.at[0] == -right.at[0]
    assert cell.pose.at[0] == 0


def test_an_anode_may_be_a_material_a_size_a_rod_or_all_of_it():
    assert keys(compose({**BAR, "anode": "nickel"}))["anode"][0]["material"] == "nickel"
    sheet = keys(compose({**BAR, "anode": "nickel, 3 x 60 x 90 mm"}))["anode"][0]
    assert (sheet["material"], sheet["length"], sheet["width"], sheet["height"]) == ("nickel", "3 mm", "60 mm", "90 mm")
    rod = keys(compose({**BAR, "anode": "rod 10 x 110 mm"}))["anode"][0]
    assert (rod["shape"], rod["diameter"], rod["height"]) == ("rod", "10 mm", "110 mm")


def test_a_mesh_is_measured_so_that_its_tank_fits():
    made = compose({"part": "clamp.stl", "unit": "mm"}, folder=SAMPLES / "clamp")
    cell = hung_cell(parse_job(made.text, path=SAMPLES / "clamp" / "job.toml"))
    low, high = cell.part.surface.bounds
    assert np.argmax(turned(high - low, turn_of(pose_names()[0], high - low))) == 2
    assert isinstance(cell.tank, BoxTank)
    assert 2 * max(high - low) < cell.tank.depth < 4 * max(high - low)
    assert made.title == "clamp"


def test_a_drawing_is_measured_too():
    made = compose({"part": "tab.dxf", "thickness": "3 mm"}, folder=SAMPLES / "tab")
    job = parse_job(made.text, path=SAMPLES / "tab" / "job.toml")
    assert hung_cell(job).findings == ()


# ways of hanging


@pytest.mark.parametrize("pose", pose_names())
@pytest.mark.parametrize("part", [{"bar": "40 x 20 x 3 mm"}, {"rod": "8 x 60 mm"}, {"bar": "10 x 10 x 10 mm"}])
def test_every_way_of_hanging_fits_every_part(pose: str, part: dict[str, str]):
    assert hung_cell(parse_job(compose({**part, "pose": pose}).text)).findings == ()


def test_each_way_of_hanging_puts_the_sides_where_its_name_says():
    extent = np.array([50.0, 90.0, 3.0])
    of = {pose: tuple(turned(extent, turn_of(pose, extent))) for pose in pose_names()}
    assert of["upright, broad side to the anode"] == (3, 50, 90)
    assert of["upright, edge to the anode"] == (50, 3, 90)
    assert of["level, broad side to the anode"] == (3, 90, 50)
    assert of["level, edge to the anode"] == (50, 90, 3)
    assert of["level, end to the anode"] == (90, 50, 3)
    assert of["upside down, broad side to the anode"] == (3, 50, 90)
    assert of["as drawn, z up"] == (50, 90, 3)


def test_upside_down_keeps_the_side_to_the_anode():
    from geom.surface.turning import rotation

    extent = np.array([90.0, 20.0, 3.0])
    upright, over = (
        rotation(np.radians(turn_of(p, extent))) for p in (pose_names()[0], "upside down, broad side to the anode")
    )
    assert (np.round(upright[:, 2] - over[:, 2]) == 0).all()
    assert (np.round(upright[:, 0] + over[:, 0]) == 0).all()


def test_ways_of_hanging_may_be_shortened():
    for short in ("upright", "broad side to the anode", "broad side", "end up"):
        assert "upright, broad side" in compose({**BAR, "pose": short}).text
    assert "level, edge" in compose({**BAR, "pose": "flat"}).text


# every text is read, and stands

side = st.integers(2, 400)
unit = st.sampled_from(["mm", "mm", "mm", "cm", "in"])


@FEW
@given(st.tuples(side, side, side), unit, st.sampled_from(pose_names()), st.booleans(), st.booleans())
def test_every_bar_hangs_in_the_tank_that_is_chosen_for_it(sides, of, pose, both, with_hole):
    length, width, thickness = sorted(sides, reverse=True)
    holes = [f"{width / 3:.4g} {of} at 0,0"] if with_hole else []
    answers = {"bar": f"{length} x {width} x {thickness} {of}", "hole": holes, "pose": pose}
    made = attempt({**answers, "anodes": "both sides" if both else "one side"})
    if isinstance(made, JobError):  # only what no tank of 10 m takes
        assert length * {"mm": 1e-3, "cm": 1e-2, "in": 25.4e-3}[of] > 2
        assert {m.slug for m in made.mistakes} <= {"job-range"}
        return
    job = parse_job(made.text)
    shape = job.shape
    factor = {"mm": 1e-3, "cm": 1e-2, "in": 25.4e-3}[of]
    assert (shape.length, shape.width, shape.thickness) == pytest.approx(
        (length * factor, width * factor, thickness * factor), rel=1e-9
    )
    assert hung_cell(job).findings == ()


@FEW
@given(
    st.tuples(st.integers(60, 400), st.integers(60, 400), st.integers(60, 400)),
    st.integers(2, 30),
    st.integers(20, 200),
    st.sampled_from(pose_names()),
    st.one_of(st.none(), st.integers(1, 300)),
    st.booleans(),
    st.booleans(),
)
def test_a_stated_tank_takes_the_part_or_says_what_does_not_fit(tank, thick, long, pose, distance, is_round, both):
    answers = {"rod": f"{min(thick, long)} x {long} mm", "pose": pose, "anodes": "both" if both else "one"}
    answers["tank"] = f"round {tank[0]} x {tank[2]} mm" if is_round else f"{tank[0]} x {tank[1]} x {tank[2]} mm"
    if distance:
        answers["distance"] = f"{distance} mm"
    made = attempt(answers)
    if isinstance(made, JobError):
        assert {m.where for m in made.mistakes} <= {"tank", "distance"}
        assert {m.slug for m in made.mistakes} == {"job-answer-room"}
        return
    cell = hung_cell(parse_job(made.text))
    assert isinstance(cell.tank, JarTank if is_round else BoxTank)
    assert {finding.code for finding in cell.findings} <= {"narrow-gap", "anode-close"}


# hostile text

HOSTILE = [
    '"',
    '\\"',
    '"""\n[target]\nthickness = "1 um"',
    "a\nb",
    "\x00\x1b[2J",
    "'''",
    "\u202e",
    "\ud800",
    "x" * 10_000,
    "# no",
]


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize(
    "name", ["title", "bath", "target", "volts", "temperature", "tank", "anode", "pose", "part", "bar", "unit"]
)
def test_no_answer_breaks_out_of_its_string(name: str, text: str):
    answers = {**defaults(), name: text}
    if name in ("part", "unit"):
        answers = {"part": "clamp.stl", "unit": "mm", name: text}
    made = attempt(answers, SAMPLES / "clamp")
    if isinstance(made, JobError):
        assert all(mistake.where for mistake in made.mistakes)
        assert all(len(mistake.message) < 500 for mistake in made.mistakes)
        return
    assert (name, text) == ("title", text) or (name, text) == ("unit", '"')  # which is the sign of an inch
    assert keys(made)["title"] == (text.replace("\ud800", "\ufffd") if name == "title" else "clamp")
    assert keys(made)["target"] == {"thickness": "8 um"}


@FEW
@given(st.text(max_size=60))
def test_every_text_comes_back_out_of_toml_as_it_went_in(text: str):
    written = tomllib.loads(f"k = {toml_string(text)}")["k"]
    assert written == "".join("\ufffd" if 0xD800 <= ord(letter) <= 0xDFFF else letter for letter in text)


@FEW
@given(st.dictionaries(st.sampled_from(sorted({*defaults(), "title", "rod", "unit", "current"})), st.text(max_size=30)))
def test_no_answers_whatever_make_another_error(answers: dict[str, str]):
    made = attempt(answers)
    assert made.mistakes if isinstance(made, JobError) else parse_job(made.text)


# mistakes


def test_all_mistakes_are_told_at_once_each_under_its_answer():
    answers = {
        "rod": "8 x 60 mm",
        "pose": "sideways",
        "bath": "wats",
        "target": "8",
        "volts": "12 A",
        "titel": "x",
        "title": "a\nb",
        "hole": ["8 mm at 3"],
        "stirred": "maybe",
        "tank": "200 x 120",
        "anode": "lead 2 x 80 x 120 mm",
    }
    assert mistakes(answers) == {
        "titel": "job-answer-unknown",
        "hole": "job-answer-part",
        "pose": "job-answer-word",
        "tank": "job-answer-form",
        "stirred": "job-answer-word",
        "title": "job-type",
        "bath": "bath-unknown",
        "anode": "anode-refused",
        "volts": "job-unit-mismatch",
        "target": "job-unit-missing",
    }


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ({}, {"bar": "job-answer-part"}),
        ({"bar": "1 x 1 x 1 mm", "rod": "8 x 60 mm"}, {"rod": "job-answer-part"}),
        ({"bar": "100 x 20 mm"}, {"bar": "job-answer-form"}),
        ({"bar": "100 x 20 x 3"}, {"bar": "job-answer-form"}),
        ({"bar": "100 x 20 x 0 mm"}, {"bar": "job-range"}),
        ({"bar": "3 x 20 x 100 mm"}, {"bar": "job-shape-impossible"}),
        ({"bar": "8 x 60 kg"}, {"bar": "job-answer-form"}),
        ({**BAR, "hole": ["8 mm at -30,0", "8 mm at 60,0"]}, {"hole": "job-hole-outside"}),
        ({**BAR, "hole": ["8 mm at 0,5,0"]}, {"hole": "job-answer-form"}),
        ({**BAR, "unit": "mm"}, {"unit": "job-answer-part"}),
        ({**BAR, "tank": "50 x 50 x 50 mm"}, {"tank": "job-answer-room"}),
        ({**BAR, "tank": "200 x 120 x 160 mm", "distance": "500 mm"}, {"distance": "job-answer-room"}),
        ({**BAR, "tank": "200 x 120 x 160 mm", "anode": "2 x 300 x 90 mm"}, {"anode": "job-answer-room"}),
        ({**BAR, "bath": "silver-cyanide"}, {"bath": "bath-refused"}),
        ({**BAR, "temperature": "150 C"}, {"temperature": "job-range"}),
        ({**BAR, "current": "0 A"}, {"current": "job-range"}),
        ({"part": "none.stl", "unit": "mm"}, {"part": "job-mesh-missing"}),
        ({"part": "clamp.stl"}, {"unit": "mesh-unit-missing"}),
        ({"part": "clamp.stl", "unit": "mmm"}, {"unit": "job-unit-unknown"}),
        ({"part": "../tab/tab.dxf"}, {"thickness": "drawing-thickness-missing"}),
        ({"part": "job.toml"}, {"part": "part-mesh-suffix"}),
    ],
)
def test_a_mistake_names_the_answer_to_change(answers: dict[str, str], expected: dict[str, str]):
    assert mistakes(answers, SAMPLES / "clamp") == expected


def test_the_hole_that_is_wrong_is_told_by_its_number():
    with pytest.raises(JobError, match="hole 2"):
        compose({**BAR, "hole": ["8 mm at -30,0", "x"]})


# from an error of the job back to the answer


def test_errors_of_the_job_find_their_answers():
    made = compose(defaults())
    number = next(n for n, line in enumerate(made.text.splitlines(), 1) if line.startswith("max_current"))
    found = {
        "job.toml, line 9, part.width\n    9 | width": "bar",
        "job.toml, line 12, part.holes[1].at": "hole",
        f"job.toml, line {number}": "amps",
        "[pose]": "tank",
        "[[anode]] number 1 and [pose]": "distance",
        "[[anode]] number 1": "anode",
        "[tank]": "tank",
        "job.toml, pose.turn": "pose",
        "": None,
        "nowhere": None,
    }
    assert {where: made.answer_of(where) for where in found} == found


def test_an_answer_that_was_not_given_hands_on_to_one_that_was():
    made = compose(BAR)
    assert made.answer_of("[tank]") == "bar"
    mesh = compose({"part": "clamp.stl", "unit": "mm"}, folder=SAMPLES / "clamp")
    assert mesh.answer_of("/somewhere/clamp.stl") == "part"
