"""What people at a bench know. Common practice, no source, each of them."""

from functools import cache

import pytest
from helpers.demands import few_panels

from geom.job.read import parse_job
from geom.plan import Plan, make_plan

BUS_BAR = """
[part]
shape = "bar"
length = "{length} mm"
width = "{side} mm"
thickness = "3 mm"
holes = [{{ diameter = "8 mm", at = ["-30 mm", "0 mm"] }}, {{ diameter = "8 mm", at = ["30 mm", "0 mm"] }}]
[bath]
name = "watts-nickel"
[tank]
shape = "box"
length = "200 mm"
width = "150 mm"
depth = "150 mm"
[target]
thickness = "3 um"
current = "1 A"
"""


@cache
def bus_bar(length: int = 90, more: str = "", width: int = 20) -> Plan:
    text = BUS_BAR.format(length=length, side=width) + more
    return make_plan(few_panels(parse_job(text), 1200))


@pytest.mark.parametrize("length", [80, 100])
def test_a_bus_bar_is_covered_in_about_twenty_minutes_at_an_ampere(length: int) -> None:
    """3 µm or more everywhere significant; turned at half time where that is worth it."""
    made = bus_bar(length)
    assert 4 * 60 < made.time < 25 * 60
    # twenty minutes of the same schedule leave
    assert made.minimum_local_thickness * (20 * 60 / made.time) > 2.6e-6


NEAR = """
[[anode]]
shape = "sheet"
length = "1 mm"
width = "{width} mm"
height = "130 mm"
at = ["-{gap} mm", "0 mm", "70 mm"]
[pose]
turn = ["90 deg", "0 deg", "90 deg"]
at = ["0 mm", "0 mm", "75 mm"]
"""


def test_the_side_of_a_broad_plate_away_from_a_single_anode_gets_clearly_less_than_half() -> None:
    """So a part is turned. A plate 80 mm wide, the anode 20 mm away."""
    made = bus_bar(more=NEAR.format(width=120, gap=20), width=80)
    assert made.front_to_back is not None
    assert made.front_to_back > 2.1
    assert made.schedule.second > 0
    assert made.schedule.time < 0.7 * made.schedule.one_pose
    assert {advice.code for advice in made.advice} >= {"turn", "turn-live"}


def test_round_a_narrow_bar_the_current_reaches_the_far_side_better() -> None:
    """20 mm wide in an open tank: less than the near side, but more than half; it is turned all the same."""
    made = bus_bar(more=NEAR.format(width=120, gap=40))
    assert made.front_to_back is not None
    assert 1.1 < made.front_to_back < 2.0
    assert made.schedule.second > 0


def test_with_an_anode_on_each_side_nothing_is_turned() -> None:
    second = NEAR.split("[pose]")[0].replace("-{gap}", "{gap}")
    made = bus_bar(more=(second + NEAR).format(width=120, gap=60))
    assert made.schedule.second == 0
    assert made.front_to_back is None
