"""Masks, threads, roughness and immersion in a job file: what they are read as, and every mistake with its place."""

import math

import pytest

from geom.cell.cell import Immersed, Pose
from geom.errors import JobError
from geom.job.hung import hung_cell, prepared_part
from geom.job.job import Job
from geom.job.read import parse_job
from geom.part.masks import Contact, Plug, StopOff, StopOffBox, StopOffFacing, StopOffNear, Thread

PART = '[part]\nshape = "tube"\nlength = "60 mm"\ndiameter = "22 mm"\nwall = "3 mm"\n'
REST = '[bath]\nname = "watts-nickel"\n[target]\nthickness = "8 um"\n'


def job(more: str, part: str = PART) -> Job:
    return parse_job(part + REST + more)


def mistakes(more: str, part: str = PART) -> list[tuple[str, str]]:
    with pytest.raises(JobError) as refusal:
        job(more, part)
    return [(error.slug, error.where.splitlines()[0]) for error in refusal.value.mistakes]


def test_masks_are_read_in_the_order_that_decides_between_them():
    found = job(
        """
        [[stop_off]]
        features = "outside"
        [[stop_off]]
        low = ["0 mm", "0 mm", "0 mm"]
        high = ["1 cm", "1 cm", "1 cm"]
        [[stop_off]]
        near = ["0 mm", "0 mm", "11 mm"]
        within = "2 mm"
        [[stop_off]]
        facing = "-x"
        [[stop_off]]
        facing = [0, 3, 4]
        angle = "30 deg"
        [[contact]]
        at = ["0 mm", "0 mm", "11 mm"]
        diameter = "3 mm"
        [[plug]]
        feature = "inside"
        """
    )
    assert found.masks == (
        Plug("inside"),
        Contact((0.0, 0.0, 0.011), 0.003),
        StopOff(("outside",)),
        StopOffBox((0.0, 0.0, 0.0), (0.01, 0.01, 0.01)),
        StopOffNear((0.0, 0.0, 0.011), 0.002),
        StopOffFacing((-1.0, 0.0, 0.0), math.radians(10.0)),
        StopOffFacing((0.0, 0.6, 0.8), math.radians(30.0)),
    )
    assert found.origins["stop_off[3].facing"].kind == "job"


def test_plugged_ends_of_a_tube_are_a_plug_of_its_inside():
    assert job("", PART + 'ends = "plugged"\n').masks == (Plug("inside"),)
    assert job("", PART + 'ends = "open"\n').masks == job("").masks == ()


def test_threads_and_roughness():
    found = job('[[thread]]\nfeature = "outside"\nfactor = 1.5\n', PART + "roughness_factor = 1.1\n")
    assert (found.threads, found.roughness) == ((Thread("outside", factor=1.5),), 1.1)
    by_pitch = job('[[thread]]\nfeature = "outside"\npitch = "1.5 mm"\ndiameter = "22 mm"\n')
    assert by_pitch.threads == (Thread("outside", pitch=0.0015, diameter=0.022),)


def test_a_mesh_may_be_rough_too(tmp_path):
    (tmp_path / "a.stl").write_bytes(b"")
    text = '[part]\nmesh = "a.stl"\nunit = "mm"\nroughness_factor = 1.2\n' + REST
    assert parse_job(text, path=tmp_path / "job.toml").roughness == 1.2


def test_immersion_stands_for_the_height_of_the_part():
    assert job('[pose]\nat = ["1 mm", "2 mm"]\nimmersed = "30 mm"\n').pose == Immersed((0, 0, 0), (0.001, 0.002), 0.03)
    assert job('[pose]\nat = ["1 mm", "2 mm", "30 mm"]\n').pose == Pose((0, 0, 0), (0.001, 0.002, 0.03))


def test_the_part_as_it_hangs_is_had_without_a_solve():
    asked = job(
        '[[contact]]\nat = ["0 mm", "0 mm", "11 mm"]\ndiameter = "3 mm"\n[pose]\nat = ["0 mm", "0 mm"]\nimmersed = "5 mm"\n'
    )
    assert "outside, contact" in [feature.name for feature in prepared_part(asked).features]
    cell = hung_cell(asked)
    assert cell.part.features == prepared_part(asked).features
    assert cell.tank.depth - (cell.pose.at[2] - 0.011) == pytest.approx(0.005)


@pytest.mark.parametrize(
    ("more", "slug", "place"),
    [
        ("[[stop_off]]\n", "job-key-missing", "stop_off[0].features"),
        ('[[stop_off]]\nlow = ["0 mm", "0 mm", "0 mm"]\n', "job-key-missing", "stop_off[0].high"),
        ('[[stop_off]]\nnear = ["0 mm", "0 mm", "0 mm"]\n', "job-key-missing", "stop_off[0].within"),
        ('[[stop_off]]\nfeatures = "a"\nfacing = "+x"\n', "job-keys-exclude", "stop_off[0].facing"),
        ('[[stop_off]]\nfeatures = "a"\nangle = "5 deg"\n', "job-keys-exclude", "stop_off[0].angle"),
        ('[[stop_off]]\nfacing = "+x"\nangle = "95 deg"\n', "job-range", "stop_off[0].angle"),
        ('[[stop_off]]\nfacing = "up"\n', "job-type", "stop_off[0].facing"),
        ('[[stop_off]]\nfacing = ["0 mm", "0 mm", "1 mm"]\n', "job-type", "stop_off[0].facing"),
        ("[[stop_off]]\nfacing = [0, 0, 0]\n", "job-range", "stop_off[0].facing"),
        (
            '[[stop_off]]\nlow = ["0 mm", "2 mm", "0 mm"]\nhigh = ["1 mm", "1 mm", "1 mm"]\n',
            "job-range",
            "stop_off[0].low",
        ),
        ('[stop_off]\nfeatures = "a"\n', "job-type", "stop_off"),
        ('[[contact]]\nat = ["0 mm", "0 mm", "0 mm"]\n', "job-key-missing", "contact[0].diameter"),
        ('[[plug]]\nfeatures = "inside"\n', "job-key-unknown", "plug[0].features"),
        ('[[thread]]\nfeature = "outside"\n', "job-key-missing", "thread[0].factor"),
        ('[[thread]]\nfeature = "outside"\npitch = "1 mm"\n', "job-key-missing", "thread[0].diameter"),
        ('[[thread]]\nfeature = "a"\nfactor = 1.5\npitch = "1 mm"\n', "job-keys-exclude", "thread[0].pitch"),
        ('[[thread]]\nfeature = "a"\nfactor = 0.9\n', "job-range", "thread[0].factor"),
        ('[[thread]]\nfeature = "a"\nfactor = "1.5"\n', "job-type", "thread[0].factor"),
        ('[pose]\nat = ["0 mm", "0 mm"]\n', "job-type", "pose.at"),
        ('[pose]\nat = ["0 mm", "0 mm", "9 mm"]\nimmersed = "9 mm"\n', "job-keys-exclude", "pose.immersed"),
        ('[pose]\nimmersed = "9 mm"\n', "job-key-missing", "pose.at"),
        ('[pose]\nat = ["0 mm"]\nimmersed = "9 mm"\n', "job-type", "pose.at"),
    ],
)
def test_a_mistake_is_told_with_its_key(more: str, slug: str, place: str):
    found = mistakes(more)
    assert [one for one, _ in found if one == slug]
    assert [where for one, where in found if one == slug and where.endswith(f", {place}")]


@pytest.mark.parametrize(
    ("line", "slug"),
    [('ends = "shut"', "job-word-unknown"), ("roughness_factor = 0.5", "job-range"), ("ends = 1", "job-word-unknown")],
)
def test_a_mistake_of_the_part_is_told(line: str, slug: str):
    assert [one for one, _ in mistakes("", PART + line + "\n")] == [slug]
