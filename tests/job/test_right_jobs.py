"""Right job files: every section arrives in SI, with the origin of every value."""

import math
import random
import re

import numpy as np
import pytest
from job.test_wrong_jobs import GOOD, LAW, part

from geom.cell.cell import BoxTank, InnerWire, JarTank, Pose, RodAnode, SheetAnode, Slab, Wire, WireAnode
from geom.electrode.laws import ButlerVolmer, Limited, Linear, Mirrored, Tafel
from geom.errors import JobError
from geom.findings import Severity
from geom.job.demand import with_accuracy
from geom.job.job import Demand, Job
from geom.job.read import parse_job
from geom.part import shapes
from geom.part.rack import Rack
from geom.provenance import Origin
from geom.tables.read import bath, bath_names


def close(value: object, expected: object) -> None:
    """Compare two records number by number, to the last figures and without an absolute tolerance."""
    for name in type(expected).__dataclass_fields__:
        mine, wanted = getattr(value, name), getattr(expected, name)
        if isinstance(wanted, tuple) and wanted and isinstance(wanted[0], shapes.Hole):
            assert len(mine) == len(wanted)
            for one, other in zip(mine, wanted, strict=True):
                close(one, other)
        elif isinstance(wanted, str | Linear) or wanted is None:
            assert mine == wanted
        else:
            np.testing.assert_allclose(mine, wanted, rtol=1e-12, atol=0)


def test_the_job_of_the_contract_arrives_in_si():
    job = parse_job(GOOD)
    close(job.shape, shapes.Bar(0.1, 0.02, 0.003, 0.0003, (shapes.Hole(0.008, (-0.03, 0.0)),), "bar"))
    assert job.title == "Link 3, shore-power panel"
    close(job.tank, BoxTank(0.2, 0.15, 0.15))
    (anode,) = job.anodes
    assert anode.law is None
    assert (anode.length, anode.width, anode.height, anode.at) == (0.001, 0.1, 0.1, (-0.03, 0.0, 0.075))
    close(job.pose, Pose((0.0, math.pi / 2, 0.0), (0.0315, 0.0, 0.075)))
    assert (job.supply.max_voltage, job.supply.max_current) == (19.0, 5.0)
    assert (job.target.thickness, job.target.current, job.target.voltage) == (8e-6, 1.2, None)
    assert (job.bath.conductivity, job.bath.temperature, job.bath.efficiency) == (8.0, 323.15, 0.95)
    assert job.bath.law == Linear(1.3e-4)


STANDING = """
[rack]
copies = [1, 3, 2]
pitch = ["0 mm", "1.5 in", "0.1 m"]
[[shield]]
length = "2 mm"
width = "4 cm"
height = "20 mm"
at = ["0 mm", "0 mm", "40 mm"]
turn = ["0 deg", "0 deg", "90 deg"]
[[thief]]
shape = "strip"
length = "2 mm"
width = "1 mm"
height = "20 mm"
at = ["0 mm", "5 mm", "40 mm"]
[[thief]]
shape = "wire"
diameter = "80 mil"
start = ["0 mm", "0 mm", "40 mm"]
end = ["0 mm", "0 mm", "16 cm"]
[[anode]]
shape = "wire"
diameter = "2 mm"
start = ["0 mm", "0 mm", "40 mm"]
end = ["0 mm", "10 mm", "40 mm"]
[[anode]]
shape = "wire"
diameter = "2 mm"
through = "bore 1"
beyond = "8 mm"
polarization = { law = "linear", resistance = "1e-4 ohm m2" }
"""


def test_racks_shields_thieves_and_wires_arrive_in_si():
    job = parse_job(GOOD + STANDING)
    close(job.rack, Rack((1, 3, 2), (0.0, 0.0381, 0.1)))
    (shield,), (strip, thief) = job.shields, job.thieves
    close(shield, Slab(0.002, 0.04, 0.02, (0.0, 0.0, 0.04), (0.0, 0.0, math.pi / 2)))
    close(strip, Slab(0.002, 0.001, 0.02, (0.0, 0.005, 0.04)))
    close(thief, Wire(0.002032, (0.0, 0.0, 0.04), (0.0, 0.0, 0.16)))
    close(job.anodes[1], WireAnode(0.002, (0.0, 0.0, 0.04), (0.0, 0.01, 0.04)))
    close(job.anodes[2], InnerWire(0.002, "bore 1", 0.008, Linear(1e-4)))
    for key in ("rack.pitch", "shield[0].turn", "thief[1].diameter", "anode[2].through"):
        assert job.origins[key].kind == "job", key
    plain = parse_job(GOOD)
    assert (plain.rack, plain.shields, plain.thieves) == (None, (), ())


HOLE_MM, HOLE_IN = (
    '{ diameter = "0.254 mm", at = ["-2.54 mm", "0 mm"] }',
    '{ diameter = "10 mil", at = ["-100 mil", "0 in"] }',
)

EVERY_SHAPE = [
    # (keys in millimetres, the same in inches, the record)
    (
        'shape = "bar"\nlength = "25.4 mm"\nwidth = "12.7 mm"\nthickness = "2.54 mm"\nedge_radius = "0.254 mm"\n'
        f"holes = [{HOLE_MM}]",
        'shape = "bar"\nlength = "1 in"\nwidth = "1/2 in"\nthickness = "0.1 inch"\nedge_radius = "10 mil"\n'
        f"holes = [{HOLE_IN}]",
        shapes.Bar(0.0254, 0.0127, 0.00254, 0.000254, (shapes.Hole(0.000254, (-0.00254, 0.0)),)),
    ),
    (
        'shape = "plate"\nlength = "38.1 mm"\nwidth = "12.7 mm"\nthickness = "2.54 mm"',
        "shape = \"plate\"\nlength = '1-1/2 in'\nwidth = '1/2\"'\nthickness = '0.1\"'",
        shapes.Bar(0.0381, 0.0127, 0.00254, kind="plate"),
    ),
    (
        'shape = "rod"\nlength = "30.48 cm"\ndiameter = "6.35 mm"',
        'shape = "rod"\nlength = "1 ft"\ndiameter = "1/4 in"',
        shapes.Rod(0.3048, 0.00635),
    ),
    (
        'shape = "tube"\nlength = "50.8 mm"\ndiameter = "12.7 mm"\nwall = "1.27 mm"\nflattened = "5.08 mm"\n'
        f"holes = [{HOLE_MM}]",
        'shape = "tube"\nlength = "2 in"\ndiameter = "0.5 in"\nwall = "50 mil"\nflattened = "0.2 in"\n'
        f"holes = [{HOLE_IN}]",
        shapes.Tube(0.0508, 0.0127, 0.00127, 0.00508, (shapes.Hole(0.000254, (-0.00254, 0.0)),)),
    ),
    (
        'shape = "washer"\ndiameter = "25.4 mm"\nbore = "12.7 mm"\nthickness = "1.27 mm"',
        'shape = "washer"\ndiameter = "1 in"\nbore = "0.5 in"\nthickness = "50 thou"',
        shapes.Washer(0.0254, 0.0127, 0.00127),
    ),
    (
        'shape = "angle"\nlength = "50.8 mm"\nheight = "25.4 mm"\nwidth = "12.7 mm"\nthickness = "2.54 mm"\n'
        f'inside_radius = "1.27 mm"\nbend = "90 deg"\nholes = [{HOLE_MM}]',
        'shape = "angle"\nlength = "2 in"\nheight = "1 in"\nwidth = "0.5 in"\nthickness = "0.1 in"\n'
        f'inside_radius = "50 mil"\nbend = "1.5707963267948966 rad"\nholes = [{HOLE_IN}]',
        shapes.Angle(0.0508, 0.0254, 0.0127, 0.00254, 0.00127, math.pi / 2, (shapes.Hole(0.000254, (-0.00254, 0.0)),)),
    ),
    (
        'shape = "channel"\nlength = "50.8 mm"\nwidth = "25.4 mm"\nheight = "12.7 mm"\nthickness = "2.54 mm"\n'
        f'inside_radius = "1.27 mm"\nholes = [{HOLE_MM}]',
        'shape = "channel"\nlength = "2 in"\nwidth = "1 in"\nheight = "0.5 in"\nthickness = "0.1 in"\n'
        f'inside_radius = "50 mil"\nholes = [{HOLE_IN}]',
        shapes.Channel(0.0508, 0.0254, 0.0127, 0.00254, 0.00127, (shapes.Hole(0.000254, (-0.00254, 0.0)),)),
    ),
    (
        'shape = "offset"\nlength = "101.6 mm"\nwidth = "25.4 mm"\nthickness = "2.54 mm"\noffset = "12.7 mm"\n'
        'inside_radius = "2.54 mm"\nbend = "60 deg"',
        'shape = "offset"\nlength = "4 in"\nwidth = "1 in"\nthickness = "0.1 in"\noffset = "0.5 in"\n'
        'inside_radius = "0.1 in"\nbend = "60°"',
        shapes.Offset(0.1016, 0.0254, 0.00254, 0.0127, 0.00254, math.pi / 3),
    ),
    (
        'shape = "outline"\nthickness = "2.54 mm"\n'
        'points = [["0 mm", "0 mm"], ["25.4 mm", "0 mm"], ["25.4 mm", "25.4 mm"]]\n'
        'cutouts = [[["20.32 mm", "5.08 mm"], ["22.86 mm", "5.08 mm"], ["22.86 mm", "7.62 mm"]]]',
        'shape = "outline"\nthickness = "0.1 in"\n'
        'points = [["0 mm", "0 mm"], ["1 in", "0 mm"], ["1 in", "1 in"]]\n'
        'cutouts = [[["0.8 in", "0.2 in"], ["0.9 in", "0.2 in"], ["0.9 in", "0.3 in"]]]',
        shapes.Outline(
            ((0.0, 0.0), (0.0254, 0.0), (0.0254, 0.0254)),
            0.00254,
            (((0.02032, 0.00508), (0.02286, 0.00508), (0.02286, 0.00762)),),
        ),
    ),
]


@pytest.mark.parametrize(("metric", "inch", "record"), EVERY_SHAPE)
def test_every_shape_is_the_same_in_millimetres_and_inches(metric, inch, record):
    for text in (metric, inch):
        shape = parse_job(part(text)).shape
        assert type(shape) is type(record)
        close(shape, record)


def test_a_slot_has_length_and_angle():
    text = 'shape = "bar"\nlength = "100 mm"\nwidth = "30 mm"\nthickness = "3 mm"\n[[part.holes]]\n'
    text += 'diameter = "6 mm"\nlength = "16 mm"\nangle = "90 deg"\nat = ["-20 mm", "1 mm"]'
    (hole,) = parse_job(part(text)).shape.holes
    close(hole, shapes.Hole(0.006, (-0.02, 0.001), 0.016, math.pi / 2))


def test_a_slot_lying_along_a_hole_touches_it_where_its_straight_side_runs():
    text = 'shape = "bar"\nlength = "100 mm"\nwidth = "40 mm"\nthickness = "3 mm"\nholes = [\n'
    text += '{ diameter = "6 mm", length = "40 mm", at = ["0 mm", "0 mm"] },\n'
    text += '{ diameter = "6 mm", at = ["10 mm", "%s mm"] } ]'
    assert len(parse_job(part(text % "6.1")).shape.holes) == 2
    with pytest.raises(JobError, match=r"runs into hole 1 of the list by 0\.1 mm"):
        parse_job(part(text % "5.9"))


def test_crossing_slots_overlap():
    text = 'shape = "bar"\nlength = "100 mm"\nwidth = "60 mm"\nthickness = "3 mm"\nholes = [\n'
    text += '{ diameter = "3 mm", length = "40 mm", at = ["0 mm", "0 mm"] },\n'
    text += '{ diameter = "3 mm", length = "40 mm", angle = "90 deg", at = ["5 mm", "3 mm"] } ]'
    with pytest.raises(JobError, match="runs into hole 1 of the list"):
        parse_job(part(text))


def test_only_part_bath_and_target_are_required_and_the_rest_is_assumed():
    job = parse_job(part('shape = "rod"\nlength = "50 mm"\ndiameter = "6 mm"'))
    assert (job.tank, job.anodes, job.pose) == (None, None, None)
    assert (job.supply.max_voltage, job.supply.max_current) == (None, None)
    for key in ("title", "tank", "anode", "pose", "supply", "target.current"):
        assert job.origins[key].kind == "assumed"
    assert job.bath == bath("watts-nickel")


def test_every_bath_of_the_tables_may_be_named():
    for name in bath_names():
        text = part('shape = "rod"\nlength = "50 mm"\ndiameter = "6 mm"').replace("watts-nickel", name)
        assert parse_job(text).bath.name == name


def test_jar_rod_anode_and_their_units():
    text = GOOD.replace('shape = "box"\nlength = "200 mm"\nwidth = "150 mm"', 'shape = "jar"\ndiameter = "6 in"')
    text = text.replace('shape = "sheet"\nlength = "1 mm"\nwidth = "100 mm"', 'shape = "rod"\ndiameter = "1/2 in"')
    job = parse_job(text)
    close(job.tank, JarTank(0.1524, 0.15))
    assert isinstance(job.anodes[0], RodAnode)
    assert job.anodes[0].diameter == pytest.approx(0.0127, rel=1e-12, abs=0)


LAWS = [
    ('{ law = "none" }', None),
    ('{ law = "linear", resistance = "1.3 ohm cm2" }', Linear(1.3e-4)),
    (
        '{ law = "tafel", exchange_current_density = "0.1 mA/cm2", slope = "110 mV/decade" }',
        Tafel(1.0, 0.110 / math.log(10)),
    ),
    ('{ law = "tafel", exchange_current_density = "1 A/m2", slope = "0.05 V" }', Tafel(1.0, 0.05)),
    (
        '{ law = "butler-volmer", exchange_current_density = "1 A/m2", slope = "0.11 V/decade", '
        'anodic_slope = "40 mV/decade", limiting_current_density = "10 A/dm2" }',
        Limited(ButlerVolmer(1.0, 0.11 / math.log(10), 0.04 / math.log(10)), 1000.0),
    ),
]


@pytest.mark.parametrize(("text", "law"), LAWS)
def test_every_law_of_the_bath_arrives_per_e_fold(text, law):
    found = parse_job(GOOD.replace(LAW, f"polarization = {text}")).bath.law
    if isinstance(law, Limited):
        assert found.limiting == pytest.approx(law.limiting, rel=1e-12, abs=0)
        found, law = found.law, law.law
    assert type(found) is type(law)
    if law is not None:
        close(found, law)


def test_a_butler_volmer_anode_is_written_mirrored():
    """A law for a cathode, mirrored, is i(u) = -law(-u): the anodic slope must rule dissolution."""
    text = '{ law = "butler-volmer", exchange_current_density = "2 A/m2", slope = "120 mV", anodic_slope = "40 mV" }'
    job = parse_job(GOOD.replace('75 mm"]\n[pose]', f'75 mm"]\npolarization = {text}\n[pose]'))
    close(job.anodes[0].law, ButlerVolmer(2.0, 0.040, 0.120))
    drop = np.array([-0.2, -0.01, 0.03, 0.1])
    physical = 2.0 * (np.exp(drop / 0.120) - np.exp(-drop / 0.040))
    np.testing.assert_allclose(Mirrored(job.anodes[0].law).current(drop), physical, rtol=1e-12, atol=0)
    assert isinstance(job.anodes[0], SheetAnode)


def test_current_density_range_replaces_that_of_the_table():
    job = parse_job(GOOD.replace(LAW, 'current_density = { low = "20 ASF", high = "4 A/dm2" }'))
    found = job.bath.current_density
    np.testing.assert_allclose((found.low, found.high), (20 / 0.3048**2, 400.0), rtol=1e-12, atol=0)
    assert found.low < found.typical < found.high
    assert job.origins["bath.current_density"].kind == "job"


def test_target_may_be_a_voltage_and_name_its_surface():
    job = parse_job(GOOD.replace('current = "1.2 A"', 'voltage = "900 mV"\nsignificant = ["face", "bore"]'))
    assert (job.target.current, job.target.voltage) == (None, 0.9)
    assert job.target.significant == ("face", "bore")
    assert parse_job(GOOD + 'significant = "all"\n').target.significant == ("all",)


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ("", Demand(0.02, 16_000, 60.0)),
        ('accuracy = "quick"', Demand(0.05)),
        ('accuracy = "usual"', Demand(0.02)),
        ('accuracy = " Fine "', Demand(0.01)),
        ('accuracy = "3 %"', Demand(0.03)),
        ('accuracy = "0.2%"', Demand(0.002)),
        ("accuracy = 0.3", Demand(0.3)),
        ('most_panels = 500\nmost_time = "5 min"', Demand(0.02, 500, 300.0)),
        ('accuracy = "1.5 %"\nmost_panels = 60000\nmost_time = "1 h"', Demand(0.015, 60_000, 3600.0)),
    ],
)
def test_how_sure_the_figures_have_to_be_is_asked_in_words_or_as_a_share(keys: str, expected: Demand):
    assert parse_job(f"{GOOD}[solve]\n{keys}\n").demand == expected
    assert parse_job(GOOD).demand == Demand()


def test_what_is_asked_of_the_solve_has_its_line_or_is_assumed():
    origins = parse_job(f'{GOOD}[solve]\naccuracy = "fine"\n').origins
    assert origins["solve.accuracy"].kind == "job"
    assert origins["solve.most_panels"].kind == "assumed"
    assert parse_job(GOOD).origins["solve"].kind == "assumed"


@pytest.mark.parametrize(("text", "expected"), [("fine", 0.01), ("3%", 0.03), ("3 %", 0.03), ("0.03", 0.03)])
def test_an_option_goes_before_the_accuracy_of_the_job_and_says_so(text: str, expected: float):
    job = parse_job(f'{GOOD}[solve]\naccuracy = "quick"\nmost_panels = 9000\n')
    changed = with_accuracy(job, text)
    assert changed.demand == Demand(expected, 9000)
    assert changed.origins["solve.accuracy"] == Origin("command", f"--accuracy {text}")
    assert {**changed.origins, "solve.accuracy": None} == {**job.origins, "solve.accuracy": None}


@pytest.mark.parametrize(
    ("text", "slug", "words"),
    [
        ("fne", "job-word-unknown", 'did you mean "fine"?'),
        ("2", "job-range", 'did you mean "2 %"?'),
        ("50 %", "job-range", "at most 30 %"),
        ("2 mm", "job-unit-mismatch", "a fraction is needed"),
        ("-1 %", "job-range", "at least 0.2 %"),
        ("", "job-unit-missing", "empty"),
    ],
)
def test_an_option_that_is_no_accuracy_is_refused_with_what_was_meant(text: str, slug: str, words: str):
    with pytest.raises(JobError) as caught:
        with_accuracy(parse_job(GOOD), text)
    assert (caught.value.slug, caught.value.where) == (slug, "--accuracy")
    assert words in str(caught.value)


def test_every_value_given_has_the_line_it_stands_on():
    job = parse_job(GOOD)
    lines = GOOD.splitlines()
    given = {key: origin for key, origin in job.origins.items() if origin.kind == "job"}
    for key in (
        "title",
        "part.length",
        "bath.conductivity",
        "anode[0].width",
        "pose.turn",
        "target.thickness",
    ):
        assert key in given
    for key, origin in given.items():
        line = lines[int(re.fullmatch(r"job line (\d+)", origin.detail)[1]) - 1]
        assert re.split(r"[.\[]", key.rstrip("]0123456789["))[-1] in line


def test_what_the_table_gives_names_its_source():
    job = parse_job(part('shape = "rod"\nlength = "50 mm"\ndiameter = "6 mm"'))
    for key in ("bath.conductivity", "bath.efficiency", "bath.polarization", "bath.current_density"):
        assert job.origins[key].kind == "table"
        assert job.origins[key].detail.startswith("watts-nickel: ")
    assert parse_job(GOOD).origins["bath.conductivity"].kind == "job"


@pytest.mark.parametrize(
    ("length", "diameter", "expected"), [("3.1 m", "6 mm", 1), ("0.9 mm", "0.2 mm", 1), ("9 mm", "9 mm", 0)]
)
def test_a_part_of_unlikely_size_is_a_warning(length, diameter, expected):
    job = parse_job(part(f'shape = "rod"\nlength = "{length}"\ndiameter = "{diameter}"'))
    assert [finding.code for finding in job.findings] == ["part-size"] * expected
    assert all(finding.severity is Severity.WARNING for finding in job.findings)


def test_random_damage_gives_a_job_or_a_job_error():
    """300 seeded mutations of a good job: bytes changed, lines dropped, doubled or swapped."""
    random_source = random.Random(20261125)
    refusals = []
    for _ in range(300):
        content = bytearray(GOOD.encode())
        for _ in range(random_source.randint(1, 4)):
            place = random_source.randrange(len(content))
            kind = random_source.randrange(4)
            if kind == 0:
                content[place] = random_source.randrange(256)
            elif kind == 1:
                del content[place : place + random_source.randint(1, 30)]
            elif kind == 2:
                content[place:place] = content[place : place + random_source.randint(1, 30)]
            else:
                content[place:place] = bytes(random_source.choice(b'[]{}"=.,#0123456789-e\n') for _ in range(3))
        try:
            assert isinstance(parse_job(content.decode("utf-8", errors="replace")), Job)
        except JobError as error:
            refusals.append(error)
    assert 150 < len(refusals) < 300
    for error in refusals:
        assert error.mistakes
        assert all(mistake.slug and mistake.message for mistake in error.mistakes)
        assert str(error)
