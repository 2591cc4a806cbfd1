"""A target by specification, the metal plated on, and anodes that ventilation allows, as a job states them."""

import pytest
from numpy.testing import assert_allclose

from geom.errors import JobError
from geom.findings import Severity
from geom.job.read import parse_job

TOP = """[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
"""
ANODE = """[[anode]]
shape = "sheet"
length = "2 mm"
width = "80 mm"
height = "80 mm"
at = ["-60 mm", "0 mm", "60 mm"]
"""


def job_text(target: str, *, bath: str = 'name = "watts-nickel"', rest: str = "") -> str:
    return f"{TOP}[bath]\n{bath}\n{rest}[target]\n{target}\n"


def mistakes_of(text: str) -> list[tuple[str, str]]:
    with pytest.raises(JobError) as caught:
        parse_job(text)
    return [(mistake.slug, str(mistake)) for mistake in caught.value.mistakes]


def test_a_specification_stands_for_its_thickness_and_says_where_it_came_from() -> None:
    job = parse_job(job_text('specification = "b689 Class 5"'))
    assert job.target.specification == "ASTM B689 class 5"
    assert_allclose(job.target.thickness, 5e-6, rtol=1e-12, atol=0.0)
    origin = job.origins["target.thickness"]
    assert origin.kind == "table"
    assert origin.detail.startswith("ASTM B689 class 5: ")
    assert "memory" in origin.detail
    assert job.origins["target.specification"].kind == "job"


def test_a_thickness_has_no_specification() -> None:
    assert parse_job(job_text('thickness = "8 um"')).target.specification is None


def test_the_metal_plated_on_decides_between_two_thicknesses() -> None:
    for metal, micrometres in (("mild steel", 30), ("brass", 20)):
        job = parse_job(job_text('specification = "B456 SC3"', rest=f'[substrate]\nmetal = "{metal}"\n'))
        assert_allclose(job.target.thickness, 1e-6 * micrometres, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize(
    ("target", "rest", "slugs"),
    [
        ('specification = "B689 class 6"', "", ["spec-class-unknown"]),
        ('specification = "B698 class 5"', "", ["spec-unknown"]),
        ('specification = "AMS 2403"', "", ["spec-open"]),
        ('specification = "B456 SC3"', "", ["spec-substrate"]),
        ('specification = "B545 class B"', "", ["job-other-metal"]),
        ('specification = "B689 class 5"\nthickness = "5 um"', "", ["job-keys-exclude"]),
        ('current = "1 A"', "", ["job-key-missing"]),
        ('specification = "B456 SC3"', '[substrate]\nmetal = "coper"\n', ["substrate-unknown"]),
        ('thickness = "5 um"', '[substrate]\nmetal = "copper"\nstrike = "magic"\n', ["strike-unknown"]),
        ('thickness = "5 um"', '[hook]\nmetal = "coppr"\ndiameter = "2 mm"\n', ["wire-unknown"]),
        ('thickness = "5 um"', '[lead]\nmetal = "tinsel"\ndiameter = "2 mm"\nlength = "2 m"\n', ["wire-unknown"]),
    ],
)
def test_each_mistake_is_told_once_and_by_its_own_name(target: str, rest: str, slugs: list[str]) -> None:
    assert [slug for slug, _ in mistakes_of(job_text(target, rest=rest))] == slugs


def test_a_class_that_is_unknown_is_shown_in_its_line_with_those_that_are() -> None:
    ((_, text),) = mistakes_of(job_text('specification = "B689 class 6"'))
    assert "target.specification" in text
    assert "class 5, class 25" in text


def test_names_of_metals_are_held_as_the_tables_have_them() -> None:
    rest = '[substrate]\nmetal = "inox"\nstrike = "woods"\n[hook]\nmetal = "Stainless"\ndiameter = "2 mm"\n'
    bench = parse_job(job_text('thickness = "5 um"', rest=rest)).bench
    assert bench.substrate is not None
    assert bench.hook is not None
    assert (bench.substrate.metal, bench.substrate.strike) == ("stainless-steel", "Wood's nickel")
    assert bench.hook.metal == "stainless-steel"


@pytest.mark.parametrize(
    ("substrate", "severity", "code"),
    [
        ('metal = "stainless steel"', Severity.STOP, "substrate-needs-strike"),
        ('metal = "aluminium"', Severity.STOP, "substrate-needs-strike"),
        ('metal = "stainless steel"\nstrike = "Wood\'s nickel"', Severity.NOTE, "substrate-strike-stated"),
        ('metal = "steel"\nstrength = "1100 MPa"', Severity.WARNING, "substrate-bake"),
    ],
)
def test_the_metal_plated_on_comes_with_its_finding(substrate: str, severity: Severity, code: str) -> None:
    job = parse_job(job_text('thickness = "5 um"', rest=f"[substrate]\n{substrate}\n"))
    assert [(finding.severity, finding.code) for finding in job.findings] == [(severity, code)]


def test_copper_has_nothing_to_say_of_itself() -> None:
    assert parse_job(job_text('thickness = "5 um"', rest='[substrate]\nmetal = "copper"\n')).findings == ()


def test_acid_copper_on_steel_stops() -> None:
    job = parse_job(job_text('thickness = "5 um"', bath='name = "acid-copper"', rest='[substrate]\nmetal = "steel"\n'))
    assert [finding.severity for finding in job.findings] == [Severity.STOP]


def test_an_inert_anode_is_refused_unless_the_air_is_drawn_off_and_then_warned_of() -> None:
    anode = f'{ANODE}material = "graphite"\n'
    ((slug, text),) = mistakes_of(job_text('thickness = "5 um"', rest=anode))
    assert slug == "anode-refused"
    assert "ventilated" in text
    for state in ("false", '"yes"'):
        bath = f'name = "watts-nickel"\nventilated = {state}'
        assert "anode-refused" in [
            slug for slug, _ in mistakes_of(job_text('thickness = "5 um"', bath=bath, rest=anode))
        ]
    job = parse_job(job_text('thickness = "5 um"', bath='name = "watts-nickel"\nventilated = true', rest=anode))
    assert [(finding.severity, finding.code) for finding in job.findings] == [
        (Severity.WARNING, "anode-makes-chlorine")
    ]


@pytest.mark.parametrize("material", ["stainless steel", "mystery metal", "coins"])
def test_ventilation_allows_no_stainless_and_no_unknown_anode(material: str) -> None:
    rest = f'{ANODE}material = "{material}"\n'
    bath = 'name = "watts-nickel"\nventilated = true'
    assert [slug for slug, _ in mistakes_of(job_text('thickness = "5 um"', bath=bath, rest=rest))] == ["anode-refused"]
