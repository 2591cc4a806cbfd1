"""The plan as text: the answer first, every input with its origin, at most 100 columns, nothing a terminal obeys."""

import re
from dataclasses import replace

import pytest
from helpers.fake_plan import HOSTILE, LONE_SURROGATE, controlled, never_thick, with_severity, with_times, with_words
from helpers.small_plan import LINK, small_plan

from geom.cell.build import build_cell
from geom.cell.cell import Pose
from geom.findings import Severity
from geom.job.read import parse_job, read_job
from geom.part.build import build_part
from geom.plan import Plan
from geom.report.content import document
from geom.report.inputs import input_section
from geom.report.text import as_text
from geom.report.tree import Document, Row, Section, Table

PLANS = {
    "small": small_plan,
    "hostile": lambda: with_words(HOSTILE),
    "broken letters": lambda: with_words(LONE_SURROGATE),
    "never": never_thick,
    "stop": lambda: with_severity(Severity.STOP),
    "given current": lambda: controlled(current=1.25),
    "given voltage": lambda: controlled(voltage=2.5),
}


def text_of(plan: Plan) -> str:
    return as_text(document(plan))


def section(plan: Plan, title: str) -> str:
    (body,) = re.findall(rf"^{title}\n-+\n(.*?)(?=^\S[^\n]*\n-+\n|\Z)", text_of(plan), flags=re.MULTILINE | re.DOTALL)
    return body


@pytest.mark.parametrize("name", PLANS)
def test_no_line_is_wider_than_100_columns_or_ends_in_blanks(name: str):
    for line in text_of(PLANS[name]()).splitlines():
        assert len(line) <= 100
        assert line == line.rstrip()


@pytest.mark.parametrize("name", PLANS)
def test_nothing_in_the_text_is_an_order_to_a_terminal_and_all_of_it_can_be_encoded(name: str):
    text = text_of(PLANS[name]())
    assert all(letter == "\n" or letter.isprintable() for letter in text)
    text.encode("utf-8")


@pytest.mark.parametrize("name", PLANS)
def test_no_number_is_shown_as_nan_or_inf(name: str):
    assert not re.search(r"\b(nan|inf)\b", text_of(PLANS[name]()), flags=re.IGNORECASE)


def test_two_renders_are_the_same():
    assert text_of(small_plan()) == text_of(small_plan())


def test_the_answer_comes_first_with_current_voltage_and_time():
    plan = with_times(8.44)
    first = " ".join(text_of(plan).split("\n\n")[1].split())
    assert f"Set {plan.current:.3g} A (recommended)" in first
    assert f"Expect about {plan.voltage:.2g} V" in first
    assert re.search(r"Plate 8 min as hung \(\d+ to \d+ min until the target\)\.", first)
    assert re.search(r"about 8 µm \(0\.31 mil; 7\.\d to 8\.\d µm\)", first)


def test_a_turn_is_part_of_the_answer():
    first = " ".join(text_of(with_times(8.44, 31.7)).split("\n\n")[1].split())
    wanted = (
        "Plate 8 min as hung, then turn the part half round about the vertical and plate 32 min more (40 min in all;"
    )
    assert wanted in first


def test_a_current_or_voltage_of_the_user_is_called_theirs():
    assert "(your current)" in text_of(controlled(current=1.25))
    text = text_of(controlled(voltage=2.5))
    assert f"Set 2.5 V (your voltage). Expect about {small_plan().current:.3g} A." in text
    assert "You gave the current or the voltage" in section(controlled(voltage=2.5), "Limits on the current")


def test_a_plan_without_end_says_so():
    text = text_of(never_thick())
    assert "No time was found" in text
    assert "never" in section(never_thick(), "Feature by feature")


def test_a_stop_stands_before_everything_else_but_the_answer():
    sections = document(with_severity(Severity.STOP)).sections
    assert sections[0].sentences == ("DO NOT PLATE on this plan: something is to be known.",)
    assert "Before you plate" not in text_of(with_severity(Severity.NOTE))
    assert "Something is to be known." in section(with_severity(Severity.NOTE), "Notes")


def test_every_feature_limit_caution_and_advice_is_there():
    plan = small_plan()
    flat = " ".join(text_of(plan).split())
    for words in (
        *(feature.name for feature in plan.features),
        *(limit.name for limit in plan.limits),
        *plan.cell.bath.cautions,
        *(advice.text for advice in plan.advice),
    ):
        assert " ".join(words.split()) in flat


def test_the_cautions_defer_to_local_codes_and_licensed_practice():
    cautions = " ".join(section(small_plan(), "Cautions").split())
    assert "local codes and licensed practice go first" in cautions


def test_the_limit_that_binds_is_marked_and_no_other():
    lines = [line for line in section(small_plan(), "Limits on the current").splitlines() if " binds " in line]
    (bound,) = [limit for limit in small_plan().limits if limit.binds]
    (line,) = lines
    assert line.startswith(bound.name)


def test_thickness_is_shown_in_micrometres_and_mil():
    body = section(small_plan(), "Thickness over the part, after the whole schedule")
    rows = {line[:18].strip(): line[18:].split() for line in body.splitlines()}
    micrometres = [float(word) for word in rows["thickness in µm"]]
    mils = [float(word) for word in rows["thickness in mil"]]
    assert len(mils) == len(micrometres) == 7
    for mil, micrometre in zip(mils, micrometres, strict=True):
        assert mil == pytest.approx(micrometre / 25.4, rel=0.06)


JOBS = {
    "everything assumed": LINK,
    "everything given": LINK
    + """
[tank]
shape = "box"
length = "200 mm"
width = "150 mm"
depth = "150 mm"
[[anode]]
shape = "rod"
diameter = "10 mm"
height = "100 mm"
at = ["-60 mm", "0 mm", "75 mm"]
polarization = { law = "tafel", exchange_current_density = "1 A/m2", slope = "120 mV/decade" }
[pose]
turn = ["0 deg", "90 deg", "0 deg"]
at = ["30 mm", "0 mm", "75 mm"]
[supply]
max_voltage = "19 V"
max_current = "5 A"
""",
}


def inputs(job_text: str) -> tuple[Row, ...]:
    """Return the rows of the inputs of a job, on the small plan's field."""
    job = parse_job(job_text)
    cell = build_cell(build_part(job.shape), job.bath, tank=job.tank, anodes=job.anodes, pose=job.pose)
    return input_section(replace(small_plan(), job=job, cell=cell)).rows


WITHOUT_NUMBER = {"part: shape", "bath", "anode 1: polarization", "target: significant surface"}


@pytest.mark.parametrize("name", JOBS)
def test_every_input_has_a_value_with_unit_and_an_origin(name: str):
    unit = re.compile(r"\d\)? ?(°|%|(mm|µm|°C|S/m|A/dm²|A/m2|L|V|A|mil|g/mol|s|panels)\b)|any number of [VA]$")
    for row in inputs(JOBS[name]):
        assert row.label in WITHOUT_NUMBER or unit.search(row.value), row
        assert re.match(r"from (job line \d+|the table of )|ASSUMED: |the usual: ", row.origin), row


def test_what_the_job_leaves_out_is_marked_as_assumed():
    marks = {row.label: row.origin for row in inputs(JOBS["everything assumed"])}
    for label in ("tank", "anode 1", "pose: centre of the part at", "pose: turned about x, y, z in turn"):
        assert marks[label] == "ASSUMED: not given, chosen from the size of the part"
    for label in ("supply: gives at most", "part: edge radius"):
        assert marks[label] == "ASSUMED: not given in the job"
    assert marks["part: length"] == "from job line 5"
    assert "Handbook" in marks["bath: temperature"]
    assert "trust rough" in marks["bath: conductivity"]


def test_what_the_job_gives_comes_from_its_line():
    marks = {row.label: row.origin for row in inputs(JOBS["everything given"])}
    for label in ("tank", "anode 1", "anode 1: polarization", "pose: centre of the part at", "supply: gives at most"):
        assert re.fullmatch(r"from job line \d+", marks[label])


def test_a_value_of_the_job_has_no_source_of_the_table():
    rows = {row.label: row for row in inputs(LINK.replace("[bath]", '[bath]\nconductivity = "12 S/m"'))}
    assert rows["bath: conductivity"].value == "12 S/m"
    assert rows["bath: conductivity"].origin == "from job line 10"


def test_a_drawing_shows_its_file_thickness_and_bends(tmp_path):
    (tmp_path / "tab.dxf").touch()
    path = tmp_path / "job.toml"
    bend = '{ start = ["3 mm", "0 mm"], end = ["3 mm", "9 mm"], angle = "-45 deg", inside_radius = "2 mm" }'
    path.write_text(
        f'[part]\ndrawing = "tab.dxf"\nthickness = "2 mm"\nbends = [{bend}]\n'
        '[bath]\nname = "acid-copper"\n[target]\nthickness = "9 um"\n',
        encoding="utf-8",
    )
    rows = {row.label: row for row in input_section(replace(small_plan(), job=read_job(path))).rows}
    assert rows["part: drawing"].value == "tab.dxf"
    assert rows["part: one unit of the drawing"].value == "stated by the file"
    assert rows["part: thickness"].value == "2 mm"
    words = "-45° about the line from (3, 0) mm to (3, 9) mm, inside radius 2 mm, k factor 0.5"
    assert rows["part: bend 1"].value == words
    assert rows["part: bend 1"].origin == "from job.toml line 4"


def test_a_mesh_shows_its_file_and_its_unit(tmp_path):
    (tmp_path / "a.stl").touch()
    path = tmp_path / "job.toml"
    path.write_text(
        '[part]\nmesh = "a.stl"\nunit = "in"\n[bath]\nname = "acid-copper"\n[target]\nthickness = "9 um"\n',
        encoding="utf-8",
    )
    plan = replace(small_plan(), job=read_job(path))
    rows = {row.label: row for row in input_section(plan).rows}
    assert rows["part: mesh"].value == "a.stl"
    assert rows["part: one unit of the mesh"].value == "25.4 mm"
    assert rows["part: mesh"].origin == "from job.toml line 2"


def test_the_pose_is_shown_in_degrees():
    plan = small_plan()
    pose = Pose((0.0, 1.5707963267948966, 0.5235987755982988), (0.03, 0.0, 0.075))
    rows = {row.label: row.value for row in input_section(replace(plan, cell=replace(plan.cell, pose=pose))).rows}
    assert rows["pose: turned about x, y, z in turn"] == "(0, 90, 30)°"
    assert rows["pose: centre of the part at"] == "(30, 0, 75) mm"


def test_a_number_stays_on_the_line_of_its_unit():
    words = "x" * 93
    assert as_text(Document("t", (f"{words} 12.5 µm more",), ())).splitlines()[3:] == [words, "12.5 µm more"]


def test_a_last_column_of_words_goes_on_below_itself():
    table = Table(("name", "value", "because"), (("a", "1", "long " * 30), ("b", "22", "short")), (2,))
    lines = as_text(Document("t", (), (Section("s", (), (), table),))).splitlines()[5:]
    assert lines[2].startswith("a         1  long long")
    assert lines[3].startswith(" " * 13 + "long")
    assert lines[-1] == "b        22  short"


def test_a_significant_feature_that_asks_for_extra_time_is_explained():
    plan = small_plan()
    late = replace(plan.features[0], significant=True, extra_time=60.0)
    words = "A feature without mark may have places outside the significant surface"
    assert words in " ".join(text_of(replace(plan, features=(late, *plan.features[1:]))).split())
    early = tuple(replace(feature, significant=True, extra_time=0.0) for feature in plan.features)
    assert words not in " ".join(text_of(replace(plan, features=early)).split())


def test_an_empty_section_is_left_out():
    plan = replace(small_plan(), advice=(), findings=())
    assert "What to expect" not in text_of(plan)
    assert "Notes" not in text_of(plan)
