"""What a run takes from the anodes: conservation, hand-worked lives, and rules of placing."""

import math
from dataclasses import replace
from functools import cache

import pytest
from helpers.cells import COARSE, MM, UPRIGHT, bath, drilled_bar, reference_field, sheet
from numpy.testing import assert_allclose

from geom.advice.anodes import AnodeUse, anode_use_findings, anode_uses, area_ratio, placing_advice
from geom.bem.problem import Current
from geom.cell.build import build_cell
from geom.cell.cell import Anode, BoxTank, Pose, RodAnode, SheetAnode, Wire, WireAnode
from geom.electrode.laws import Linear
from geom.field import Field, prepare, solve_field
from geom.findings import Severity
from geom.panels import mesh_cell

HOUR = 3600.0
EQUIVALENT = 58.6934e-3 / (2 * 96485.332)  # of nickel [kg/C], IUPAC atomic weight
DENSITY = 8908.0  # of nickel [kg/m³]
LAW = Linear(2e-4)


@cache
def solved(anodes: tuple[Anode, ...], amperes: float = 2.0) -> Field:
    """The reference cell with other anodes."""
    pose = Pose(UPRIGHT, (31.5 * MM, 0.0, 75 * MM))
    cell = build_cell(drilled_bar(), bath(8.0, LAW), tank=BoxTank(0.2, 0.15, 0.15), anodes=anodes, pose=pose)
    return solve_field(prepare(cell, mesh_cell(cell, COARSE)), Current(amperes))


def strip(
    width: float = 20 * MM, height: float = 150 * MM, thick: float = 1 * MM, bottom: float = 20 * MM
) -> SheetAnode:
    """A strip that hangs in from above the liquid, 150 mm deep."""
    return SheetAnode(thick, width, height, (-60 * MM, 0.0, bottom + height / 2))


def test_the_anodes_together_lose_what_the_charge_dissolves() -> None:
    """1.095 g of nickel for each Ah (handbook figure)."""
    field = solved((sheet(-60 * MM), sheet(80 * MM, size=60 * MM)))
    uses = anode_uses((field, field), (HOUR, 0.5 * HOUR), (True, True))
    assert_allclose(sum(use.current for use in uses), 2.0, rtol=0.01, atol=0)
    assert_allclose(1e3 * sum(use.eaten for use in uses), 1.095 * 2.0 * 1.5, rtol=0.01, atol=0)


def test_mass_is_that_of_the_wetted_metal() -> None:
    """A strip of 20 x 1 mm hangs 130 mm into the liquid; 2.6 cm³ of nickel at 8.908 g/cm³."""
    (use,) = anode_uses((solved((strip(),)),), (HOUR,), (True,))
    assert_allclose(1e3 * use.mass, 2.6 * 8.908, rtol=1e-3, atol=0)
    assert_allclose(use.area, 2 * 21 * MM * 130 * MM + 20e-6, rtol=0.02, atol=0)


def test_an_anode_that_carries_evenly_lasts_as_long_as_its_mass() -> None:
    """With a stiff law all round, current is even over the surface: the fastest slice is hardly faster than the mean."""
    even = replace(strip(), law=Linear(1.0))
    (use,) = anode_uses((solved((even,), 0.5),), (HOUR,), (True,))
    by_mass = use.mass / (0.5 * EQUIVALENT)
    assert 0.85 * by_mass < use.life <= by_mass


def test_the_slice_that_goes_fastest_is_gone_before_the_mean() -> None:
    (use,) = anode_uses((solved((strip(),)),), (HOUR,), (True,))
    assert use.life < use.mass / (2.0 * EQUIVALENT)
    assert_allclose(use.worst, HOUR / use.life, rtol=1e-12, atol=0)
    assert use.worst >= use.share


def test_twice_the_thickness_lasts_about_twice_as_long_and_twice_the_current_half() -> None:
    thin, thick = solved((strip(thick=1 * MM),)), solved((strip(thick=2 * MM),))
    (one,), (two,) = (anode_uses((f,), (HOUR,), (True,)) for f in (thin, thick))
    assert_allclose(two.life / one.life, 2.0, rtol=0.12, atol=0)
    (fast,) = anode_uses((solved((strip(),), 4.0),), (HOUR,), (True,))
    assert_allclose(one.life / fast.life, 2.0, rtol=0.02, atol=0)


def test_a_long_pose_weighs_more_than_a_short_one() -> None:
    weak, strong = solved((strip(),)), solved((strip(),), 4.0)
    (use,) = anode_uses((weak, strong), (3 * HOUR, HOUR), (True,))
    (slow,) = anode_uses((weak,), (HOUR,), (True,))
    (fast,) = anode_uses((strong,), (HOUR,), (True,))
    assert_allclose(use.worst, 3 * slow.worst + fast.worst, rtol=0.02, atol=0)
    assert_allclose(use.eaten, 3 * slow.eaten + fast.eaten, rtol=1e-9, atol=0)


def test_a_strip_that_ends_beside_the_middle_of_the_part_goes_fastest_at_its_lower_end() -> None:
    """A free end carries most; one that hangs to the bottom of the part does not."""
    (short,) = anode_uses((solved((strip(bottom=75 * MM),)),), (HOUR,), (True,))
    assert short.life_at < 85 * MM
    assert not short.at_liquid_line


def test_a_dip_of_the_anode_only_just_under_the_part_goes_fastest_at_the_liquid_line() -> None:
    """The part hangs at the surface, the strip reaches far below it: what flows, flows at the top."""
    pose = Pose(UPRIGHT, (31.5 * MM, 0.0, 138 * MM))
    cell = build_cell(
        drilled_bar(),
        bath(0.5, Linear(1e-5)),
        tank=BoxTank(0.2, 0.15, 0.15),
        anodes=(replace(strip(width=80 * MM, bottom=5 * MM), at=(0.0, 0.0, 80 * MM)),),
        pose=pose,
    )
    field = solve_field(prepare(cell, mesh_cell(cell, COARSE)), Current(1.0))
    (use,) = anode_uses((field,), (HOUR,), (True,))
    assert use.life_at > 120 * MM
    assert use.at_liquid_line


def test_what_does_not_dissolve_is_not_eaten() -> None:
    (use,) = anode_uses((solved((strip(),)),), (1e6,), (False,))
    assert (use.eaten, use.worst, use.share, use.count) == (0.0, 0.0, 0.0, 1)
    assert math.isinf(use.life)
    assert anode_use_findings((use,), 1e6) == []


def test_where_no_time_was_found_only_the_rate_is_told() -> None:
    (use,) = anode_uses((solved((strip(),)),), (math.inf,), (True,))
    assert use.eaten == use.worst == 0.0
    assert 0.0 < use.life < math.inf


def test_a_slanted_wire_has_the_mass_of_what_is_in_the_liquid() -> None:
    """From 50 mm up to 250 mm, half of it over the liquid of 150 mm."""
    wire = WireAnode(8 * MM, (-60 * MM, -20 * MM, 50 * MM), (-60 * MM, 20 * MM, 250 * MM))
    (use,) = anode_uses((solved((wire,)),), (HOUR,), (True,))
    length = 0.5 * math.hypot(40 * MM, 200 * MM)
    assert_allclose(use.mass, math.pi / 4 * (8 * MM) ** 2 * length * DENSITY, rtol=1e-3, atol=0)


def used(worst: float) -> AnodeUse:
    """An anode of which the run takes so much where it goes fastest."""
    return AnodeUse("anode 1", 1e-3, 1.0, 1e3, True, 1e-2, worst * 5e-3, worst, HOUR / worst, 0.1, True)


@pytest.mark.parametrize(
    ("worst", "severity", "count"),
    [
        (0.2, None, 1),
        (0.5, None, 1),
        (0.6, Severity.WARNING, 2),
        (0.99, Severity.WARNING, 2),
        (1.0, Severity.STOP, 2),
        (2.6, Severity.STOP, 6),
    ],
)
def test_half_an_anode_is_a_warning_and_a_whole_one_stops_the_plan(
    worst: float, severity: Severity | None, count: int
) -> None:
    found = anode_use_findings((used(worst),), HOUR)
    assert [f.severity for f in found] == ([] if severity is None else [severity])
    assert used(worst).count == count
    assert used(worst / count).worst <= 0.5


def test_the_area_ratio_is_of_what_is_wetted() -> None:
    field = solved((sheet(-60 * MM, size=100 * MM),))
    anode = 2 * 100 * MM * 100 * MM + 4 * 100 * MM * 1 * MM
    assert_allclose(area_ratio(field), anode / field.wetted_area, rtol=0.02, atol=0)


def test_a_small_anode_is_told_and_so_is_what_is_usual() -> None:
    small, large = (placing_advice(solved((a,)))[0] for a in (sheet(-60 * MM, size=20 * MM), sheet(-60 * MM)))
    assert "hang more of them" in small
    assert "hang more of them" not in large
    assert all("1 to 2 is usual" in words for words in (small, large))


def test_an_anode_nearer_than_the_part_is_large_is_told_with_its_gap() -> None:
    """The bar is 100 mm long and stands 60 mm from the sheet of the reference cell, metal to metal."""
    (words,) = (
        w for w in placing_advice(reference_field(LAW, COARSE)) if "would even the deposit" in w and "stands" in w
    )
    assert "Anode 1 stands 60 mm from the part: 100 mm or more" in words


@pytest.mark.parametrize(
    "far",
    [
        SheetAnode(1 * MM, 50 * MM, 20 * MM, (-75 * MM, 0.0, 75 * MM)),
        RodAnode(8 * MM, 20 * MM, (-75 * MM, 0.0, 75 * MM)),
        WireAnode(2 * MM, (-75 * MM, 0.0, 50 * MM), (-75 * MM, 0.0, 100 * MM)),
    ],
)
def test_an_anode_far_enough_away_is_left_alone(far: Anode) -> None:
    assert not [w for w in placing_advice(solved((far,))) if "stands" in w or "below the part" in w]


@pytest.mark.parametrize(
    ("near", "gap"),
    [
        (RodAnode(8 * MM, 50 * MM, (-20 * MM, 0.0, 75 * MM)), 46),
        (WireAnode(6 * MM, (-20 * MM, 0.0, 50 * MM), (-20 * MM, 0.0, 100 * MM)), 47),
        (SheetAnode(2 * MM, 50 * MM, 20 * MM, (-20 * MM, 0.0, 75 * MM)), 49),
    ],
)
def test_gaps_are_from_metal_to_metal(near: Anode, gap: int) -> None:
    """The broad side of the bar lies at x = 30 mm."""
    assert [w for w in placing_advice(solved((near,))) if w.startswith(f"Anode 1 stands {gap} mm from the part")]


def test_thieves_count_as_cathode() -> None:
    thief = Wire(4 * MM, (31.5 * MM, -60 * MM, 50 * MM), (31.5 * MM, -60 * MM, 100 * MM))
    plain = solved((sheet(-60 * MM),))
    pose = Pose(UPRIGHT, (31.5 * MM, 0.0, 75 * MM))
    cell = build_cell(
        drilled_bar(),
        bath(8.0, LAW),
        tank=BoxTank(0.2, 0.15, 0.15),
        anodes=(sheet(-60 * MM),),
        pose=pose,
        thieves=(thief,),
    )
    field = solve_field(prepare(cell, mesh_cell(cell, COARSE)), Current(2.0))
    skin = math.pi * 4 * MM * 50 * MM + 2 * math.pi * (2 * MM) ** 2
    assert_allclose(area_ratio(plain) / area_ratio(field), 1.0 + skin / plain.wetted_area, rtol=0.01, atol=0)


def test_an_anode_that_reaches_below_the_part_is_told_by_how_much() -> None:
    """The bar ends 65 mm over the floor, the strip 20 mm."""
    pose = Pose((0.0, 0.5 * math.pi, 0.0), (31.5 * MM, 0.0, 75 * MM))
    cell = build_cell(
        drilled_bar(), bath(8.0, LAW), tank=BoxTank(0.2, 0.15, 0.15), anodes=(strip(bottom=5 * MM),), pose=pose
    )
    field = solve_field(prepare(cell, mesh_cell(cell, COARSE)), Current(2.0))
    words = placing_advice(field)
    assert [w for w in words if w.startswith("Anode 1 reaches 20 mm below the part")]
    assert [w for w in words if w.startswith("The part hangs 25 mm over the floor")]
