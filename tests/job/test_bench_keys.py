"""Keys of what stands round the cell: hook, lead, room, make-up."""

import pytest
from numpy.testing import assert_allclose

from geom.bench.records import Bench
from geom.chemistry import Range
from geom.errors import JobError
from geom.job.read import parse_job

JOB = """
[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
[bath]
name = "acetate-nickel"
[target]
thickness = "8 um"
"""


def bench(keys: str) -> Bench:
    return parse_job(JOB + keys).bench


def slugs(keys: str) -> list[str]:
    """The slugs of the mistakes in a job with these keys."""
    with pytest.raises(JobError) as caught:
        parse_job(JOB + keys)
    return [mistake.slug for mistake in caught.value.mistakes]


def test_nothing_stated_is_nothing_known() -> None:
    plain = bench("")
    assert plain.hook is plain.lead is plain.room is plain.make_up is None


def test_a_make_up_has_its_metal_in_grams_a_litre() -> None:
    made = bench('[make_up]\nstart = "1 g/L"\nend = "5.9 g/L"\ncurrent = "500 mA"').make_up
    assert made is not None
    assert_allclose((made.start, made.end, made.current or 0.0), (1.0, 5.9, 0.5), rtol=1e-12, atol=0)


def test_a_make_up_begins_with_no_metal_where_nothing_else_is_said() -> None:
    made = bench('[make_up]\nend = "1 oz/gal"').make_up
    assert made is not None
    assert made.start == 0.0
    assert made.current is None
    # 28.3495 g in 3.78541 L: the avoirdupois ounce and the US gallon
    assert_allclose(made.end, 28.349523 / 3.785412, rtol=1e-6, atol=0)


@pytest.mark.parametrize(
    ("keys", "slug"),
    [
        ('[make_up]\nstart = "6 g/L"\nend = "5 g/L"', "job-range"),
        ('[make_up]\nstart = "5 g/L"\nend = "5 g/L"', "job-range"),
        ('[make_up]\nstart = "5 g/L"', "job-key-missing"),
        ('[make_up]\nend = "5 A"', "job-unit-mismatch"),
        ('[make_up]\nend = "500 g/L"', "job-range"),
        ('[make_up]\nend = "-1 g/L"', "job-range"),
        ('[make_up]\nend = "5 g/L"\ncurrent = "0 A"', "job-range"),
        ('[make_up]\nend = "5 g/L"\nto = "6 g/L"', "job-key-unknown"),
        ('[hook]\nmetal = "copper"', "job-key-missing"),
        ('[hook]\ndiameter = "1 mm"\ncount = 0', "job-range"),
        ('[hook]\ndiameter = "1 mm"\ncount = 2.0', "job-type"),
        ('[hook]\ndiameter = "1 mm"\ncount = true', "job-type"),
        ('[hook]\ndiameter = "1 mm"\nmetal = "cheese"', "wire-unknown"),
        ('[lead]\ndiameter = "1 mm"', "job-key-missing"),
        ('[lead]\ndiameter = "0 mm"\nlength = "1 m"', "job-range"),
        ('[room]\nloss = ["0.6 W/K"]', "job-type"),
        ('[room]\nloss = ["0.6 W/K", "0 W/K"]', "job-range"),
        ('[room]\nmost_rise = "90 K"', "job-range"),
    ],
)
def test_what_cannot_be_is_refused(keys: str, slug: str) -> None:
    assert slugs(keys) == [slug]


def test_a_loss_is_a_range_in_either_order() -> None:
    room = bench('[room]\nloss = ["0.9 W/K", "0.6 W/K"]\ntemperature = "25 °C"').room
    assert room is not None
    assert room.loss is not None
    assert room.loss == Range(0.6, 0.75, 0.9)
    assert_allclose(room.temperature, 298.15, rtol=1e-12, atol=0)
    assert room.most_rise == 15.0


@pytest.mark.parametrize(
    ("sold_as", "diameter"),
    [
        ("AWG 18", 1.024e-3),  # ASTM B258 and any wire table: 1.024 mm
        ("10 awg", 2.588e-3),
        ("gauge 24", 0.511e-3),
        ("1.5 mm2", 1.382e-3),  # IEC 60228 section; diameter of the solid round of that area
        ("0.75 mm²", 0.977e-3),
        ("1/16 in", 1.588e-3),
    ],
)
def test_a_wire_may_be_named_as_it_is_sold(sold_as: str, diameter: float) -> None:
    found = bench(f'[hook]\ndiameter = "{sold_as}"\n[lead]\ndiameter = "{sold_as}"\nlength = "1 m"')
    assert found.hook is not None
    assert found.lead is not None
    assert_allclose((found.hook.diameter, found.lead.diameter), diameter, rtol=1e-3, atol=0)


@pytest.mark.parametrize("sold_as", ["AWG 99", "0 mm2", "-1 mm2", "1e9 mm2", "AWG", "1.5", "AWG 18 mm"])
def test_a_wire_that_cannot_be_is_refused(sold_as: str) -> None:
    assert slugs(f'[hook]\ndiameter = "{sold_as}"')[0].startswith("job-")


def test_hook_and_lead_are_of_copper_unless_said() -> None:
    found = bench(
        '[hook]\ndiameter = "1.2 mm"\ncount = 3\n[lead]\ndiameter = "1.5 mm"\nlength = "2 m"\nmetal = "brass"'
    )
    assert found.hook is not None
    assert found.lead is not None
    assert (found.hook.metal, found.hook.count) == ("copper", 3)
    assert (found.lead.metal, found.lead.length) == ("brass", 2.0)
