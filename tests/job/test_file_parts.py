"""The [part] section for meshes and drawings in files: records, and every mistake at once."""

import math
from pathlib import Path

import pytest

from geom.errors import JobError
from geom.formats.raw import USUAL, Limits
from geom.job.job import Job
from geom.job.read import parse_job, read_job
from geom.part.shapes import BendLine, Drawing, MeshFile

TAIL = '\n[bath]\nname = "watts-nickel"\n[target]\nthickness = "8 um"\n'


def job(part: str) -> Job:
    return parse_job(f"[part]\n{part}{TAIL}")


def slugs(part: str) -> list[tuple[str, str]]:
    """Return slug and last word of the place of each mistake."""
    with pytest.raises(JobError) as caught:
        job(part)
    return [(m.slug, m.where.splitlines()[0].rpartition(", ")[2]) for m in caught.value.mistakes]


def test_a_drawing_with_bends_becomes_its_record():
    shape = job(
        """drawing = "tab.dxf"
unit = "in"
thickness = "2 mm"
most_size = "1 GB"
bends = [
  { start = ["30 mm", "-1 mm"], end = ["30 mm", "21 mm"], angle = "90 deg", inside_radius = "2 mm" },
  { start = ["9 mm", "0 mm"], end = ["9 mm", "20 mm"], angle = "-45 deg", inside_radius = "1 mm", k_factor = 0.44 },
]"""
    ).shape
    assert isinstance(shape, Drawing)
    assert shape.path == Path("tab.dxf")
    assert shape.unit == pytest.approx(0.0254, rel=1e-12)
    assert shape.thickness == pytest.approx(2e-3, rel=1e-12)
    assert shape.limits == Limits(size=1_000_000_000)
    first, second = shape.bends
    assert first.start == pytest.approx((0.03, -1e-3), rel=1e-12)
    assert first.angle == pytest.approx(math.pi / 2, rel=1e-12)
    assert first.k_factor == BendLine.__dataclass_fields__["k_factor"].default
    assert (second.angle, second.k_factor) == pytest.approx((-math.pi / 4, 0.44), rel=1e-12)


def test_a_drawing_needs_no_unit_and_starts_at_the_folder_of_the_job(tmp_path):
    (tmp_path / "tab.svg").write_text("<svg/>")
    (tmp_path / "job.toml").write_text(f'[part]\ndrawing = "tab.svg"\nthickness = "2 mm"{TAIL}')
    shape = read_job(tmp_path / "job.toml").shape
    assert shape == Drawing(tmp_path / "tab.svg", None, pytest.approx(2e-3, rel=1e-12))


def test_bends_may_be_tables_of_their_own():
    text = '\n[[part.bends]]\nstart = ["1 mm", "0 mm"]\nend = ["1 mm", "9 mm"]\nangle = "9 deg"\ninside_radius = "1 mm"'
    assert len(job(f'drawing = "a.dxf"\nthickness = "2 mm"{text}').shape.bends) == 1


@pytest.mark.parametrize("suffix", ["3mf", "step", "stp", "STEP"])
def test_formats_that_state_their_unit_need_none(suffix):
    assert job(f'mesh = "clamp.{suffix}"').shape == MeshFile(Path(f"clamp.{suffix}"), None)


def test_a_mesh_may_ask_for_strictness_a_thickness_and_other_limits():
    text = 'mesh = "a.stl"\nunit = "mm"\nstrict = true\nthickness = "2 mm"\nmost_memory = "8 GB"\nmost_time = "5 min"'
    shape = job(text).shape
    assert isinstance(shape, MeshFile)
    assert shape.strict
    assert shape.thickness == pytest.approx(2e-3, rel=1e-12)
    assert shape.limits == Limits(USUAL.size, 8_000_000_000, 300.0)


@pytest.mark.parametrize(
    ("part", "wanted"),
    [
        ('drawing = "tab.dxf"', [("job-key-missing", "part.thickness")]),
        ('drawing = "tab.pdf"\nthickness = "2 mm"', [("job-mesh-format", "part.drawing")]),
        ('drawing = "tab.stl"\nthickness = "2 mm"', [("job-mesh-format", "part.drawing")]),
        ('mesh = "tab.dxf"\nunit = "mm"', [("job-mesh-format", "part.mesh")]),
        ('mesh = "a.stl"', [("job-key-missing", "part.unit")]),
        ('mesh = "a.stl"\nunit = "mm"\nstrict = "yes"', [("job-type", "part.strict")]),
        ('mesh = "a.stl"\nunit = "mm"\nmost_size = "3 mm"', [("job-unit-mismatch", "part.most_size")]),
        ('mesh = "a.stl"\nunit = "mm"\nmost_memory = "1 MB"', [("job-range", "part.most_memory")]),
        ('mesh = "a.stl"\nunit = "mm"\ndrawing = "a.dxf"', [("job-keys-exclude", "part.drawing")]),
        ('shape = "bar"\ndrawing = "a.dxf"', [("job-keys-exclude", "part.drawing")]),
        ('drawing = "a.dxf"\nthickness = "2 mm"\nstrict = true', [("job-key-unknown", "part.strict")]),
        (
            'drawing = "a.dxf"\nthickness = 2\nunit = "kg"\nbends = [{ start = ["1 mm"], angle = "1000 deg" }]',
            [
                ("job-unit-missing", "part.thickness"),
                ("job-unit-unknown", "part.unit"),
                ("job-key-missing", "part.bends[0].end"),
                ("job-key-missing", "part.bends[0].inside_radius"),
                ("job-type", "part.bends[0].start"),
                ("job-range", "part.bends[0].angle"),
            ],
        ),
        (
            'drawing = "a.dxf"\nthickness = "2 mm"\nbends = [{ start = ["1 mm", "1 mm"], end = ["1 mm", "1 mm"], '
            'angle = "9 deg", inside_radius = "1 mm" }]',
            [("job-range", "part.bends[0].end")],
        ),
        (
            'drawing = "a.dxf"\nthickness = "2 mm"\nbends = [{ start = ["1 mm", "1 mm"], end = ["1 mm", "9 mm"], '
            'angle = "0.1 deg", inside_radius = "0 mm", k_factor = 0.9 }]',
            [
                ("job-range", "part.bends[0].angle"),
                ("job-range", "part.bends[0].inside_radius"),
                ("job-range", "part.bends[0].k_factor"),
            ],
        ),
    ],
)
def test_every_mistake_is_named_at_once(part, wanted):
    assert sorted(slugs(part)) == sorted(wanted)


def test_a_drawing_that_is_not_there_is_a_mistake_of_the_job(tmp_path):
    (tmp_path / "job.toml").write_text(f'[part]\ndrawing = "tab.dxf"\nthickness = "2 mm"{TAIL}')
    with pytest.raises(JobError) as caught:
        read_job(tmp_path / "job.toml")
    assert caught.value.slug == "job-mesh-missing"
    assert "part.drawing" in caught.value.where
