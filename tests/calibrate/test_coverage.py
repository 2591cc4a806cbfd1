"""A bath is hidden inside the range of the tables and read with noise: how often does the interval hold it?

200 baths each; binomial, three sigma. The readings are closed forms, no field is solved in the loop.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from helpers.bench_readings import CONSTANT, NICKEL, coupons, even, plates

from geom.bench.fit import LEVEL
from geom.bench.readings import (
    BurntPlate,
    PolarizationReadings,
    SlantPanel,
    VoltsAmps,
)
from geom.calibrate.conductivity import conductivity
from geom.calibrate.coupon import efficiency
from geom.calibrate.limiting import limiting
from geom.calibrate.slant import MEAN_OF_ONE_AMPERE, panel_slope, published_density, read_panel, wagner_range
from geom.calibrate.slant_field import PANEL, profile
from geom.calibrate.slope import voltage_slope
from geom.chemistry import Range
from geom.tables.read import bath, law_range

DRAWS = 200
BATH = bath("watts-nickel", temperature=321.15)


def held(hits: int, draws: int = DRAWS) -> None:
    """Hold a count of hits to the level."""
    assert abs(hits / draws - LEVEL) <= 3 * math.sqrt(LEVEL * (1 - LEVEL) / draws)


@pytest.mark.parametrize(
    ("amps", "stated", "noise"),
    [
        ([0.2, 0.4, 0.6, 0.9, 1.2, 1.5], False, 0.012),
        ([0.2, 0.4, 0.6, 0.9, 1.2, 1.5], False, 0.002),
        ([0.3, 0.8, 1.3], False, 0.004),
        ([0.3, 1.3], True, 0.015),
        ([0.2, 0.5, 0.9, 1.2, 1.5], True, 0.015),
    ],
    ids=["six noisy", "six", "three", "two, meters stated", "five, meters stated"],
)
def test_conductivity(amps: list[float], stated: bool, noise: float) -> None:
    draw, hits = np.random.default_rng(7), 0
    for _ in range(DRAWS):
        truth = draw.uniform(BATH.conductivity_range.low, BATH.conductivity_range.high)
        found = conductivity(plates(draw, truth, amps, stated=stated, noise=noise), CONSTANT).figure.range
        hits += found.low <= truth <= found.high
    held(hits)


@pytest.mark.parametrize("count", [1, 2, 3, 6])
def test_efficiency(count: int) -> None:
    """Runs that differ by what is guessed beforehand; where the guess is two readings' worth, it holds a little too often."""
    draw, hits = np.random.default_rng(11), 0
    for _ in range(DRAWS):
        truth = draw.uniform(0.3, 0.9)
        found = efficiency(coupons(draw, truth, count, 0.03), NICKEL).figure.range
        hits += found.low <= truth <= found.high
    if count == 1:
        assert hits >= 0.95 * DRAWS  # the guess itself is not known for sure: wider than the runs of this test
    else:
        held(hits)


@pytest.mark.parametrize("runs", [0.01, 0.06])
def test_efficiency_where_runs_differ_otherwise_than_guessed(runs: float) -> None:
    """Four coupons: less scatter than guessed is held too often, twice as much hardly less often than said."""
    draw, hits = np.random.default_rng(12), 0
    for _ in range(DRAWS):
        truth = draw.uniform(0.3, 0.85)
        found = efficiency(coupons(draw, truth, 4, runs), NICKEL).figure.range
        hits += found.low <= truth <= found.high
    assert hits / DRAWS > LEVEL - 0.06


def test_slope_by_voltage() -> None:
    low, _, high = law_range("watts-nickel")
    draw, hits = np.random.default_rng(13), 0
    amps = (0.02, 0.04, 0.08, 0.15, 0.3, 0.6)
    for _ in range(DRAWS):
        truth = draw.uniform(low.cathodic_slope, high.cathodic_slope)
        volts = tuple(0.3 + 0.1 * a + truth * math.log(a) + 2e-3 * draw.standard_normal() for a in amps)
        found = voltage_slope(PolarizationReadings(VoltsAmps(volts, amps), True)).figure
        hits += found is not None and found.range.low <= truth <= found.range.high
    held(hits)


def panel(draw: np.random.Generator, wagner: float, current: float, noise: float) -> SlantPanel:
    """Thickness along a panel at one of the Wagner numbers that are kept."""
    places = np.array([10, 20, 35, 50, 65, 80, 90, 95]) * 1e-3
    heights = 5e-6 * profile(wagner).at(places) * np.exp(noise * draw.standard_normal(len(places)))
    spots = tuple(zip(places.tolist(), heights.tolist(), strict=True))
    return SlantPanel(current, thickness=spots, thickness_current=current)


def test_wagner_number_by_thickness() -> None:
    draw, hits = np.random.default_rng(17), 0
    choices = np.exp(np.linspace(math.log(0.04), math.log(0.4), 25))
    for _ in range(DRAWS):
        truth = float(draw.choice(choices))
        found, _ = wagner_range(panel(draw, truth, 0.2, 0.03))
        hits += found is not None and found.low <= truth <= found.high
    held(hits)


def test_the_slope_is_the_wagner_number_in_volts() -> None:
    """Wa = conductivity * slope / (mean current density * panel length)."""
    draw = np.random.default_rng(19)
    carried, slope, current = Range(7.4, 7.6, 7.8), 0.112 / math.log(10), 0.2
    wagner = 7.6 * slope / (current * MEAN_OF_ONE_AMPERE * PANEL)
    found = panel_slope(panel(draw, wagner, current, 0.005), carried)
    assert found.figure is not None
    assert found.figure.range.typical == pytest.approx(slope, rel=0.05)
    assert found.figure.range.low < slope < found.figure.range.high


def test_a_panel_at_much_current_tells_no_slope_and_says_why() -> None:
    draw = np.random.default_rng(23)
    found = panel_slope(panel(draw, 0.004, 2.0, 0.05), Range(7.4, 7.6, 7.8))
    assert found.figure is None
    assert [f.code for f in found.findings] == ["calibrate-slope-open"]
    assert "lower its current" in found.findings[0].message


def test_the_borders_of_a_panel_hold_what_flows_there_and_the_usable_range_lies_within_them() -> None:
    """What truly flows lies anywhere off the published rule by as much as the solved field, and a place is misread by up to 1 mm."""
    draw, hits, within = np.random.default_rng(31), 0, 0
    wagner, current = 0.012, 2.0

    def flows(place: float, off: float) -> float:
        rule = published_density(current, place)
        solved = current * MEAN_OF_ONE_AMPERE * float(profile(wagner).at(np.array([place]))[0])
        return rule + off * (solved - rule)

    for _ in range(DRAWS):
        burnt, bright = draw.uniform(0.012, 0.025), draw.uniform(0.055, 0.075)
        truth = {
            "burnt": flows(burnt, even(draw, 1.0)),
            "bright": flows(bright, even(draw, 1.0)),
        }
        asked = SlantPanel(current, burnt + even(draw, 1e-3), bright + even(draw, 1e-3))
        found = read_panel(asked, wagner, BATH.current_density)
        hits += sum(b.density.low <= truth[b.what] <= b.density.high for b in found.borders)
        usable, limit = found.figures
        assert usable.level == limit.level == LEVEL
        within += truth["bright"] <= usable.range.low and usable.range.high <= truth["burnt"]
    held(hits, 2 * DRAWS)
    held(within)


@pytest.mark.parametrize("ratio", [1.6, None])
def test_limit_of_a_plate_that_burnt(ratio: float | None) -> None:
    """Current raised in steps until it burns at its edge, which carries a share of the mean that is stated or not."""
    draw, hits = np.random.default_rng(37), 0
    for _ in range(DRAWS):
        clean = draw.uniform(1.0, 2.0)
        steps = draw.uniform(1.1, 1.5)
        edge = ratio or 1.5 * (2.0 ** (d / 1.96) if (d := draw.standard_normal()) > 0 else 1.5 ** (d / 1.96))
        truth = draw.uniform(clean, clean * steps) / 0.005 * edge
        off = 1 + even(draw, 0.02)
        found, _ = limiting(BurntPlate(clean * steps / off, clean / off, 0.005, ratio, False, 0.02))
        hits += found.range.low <= truth <= found.range.high
    held(hits)


def width(values: Range) -> float:
    return (values.high - values.low) / values.typical


def never_wider(widths: list[float]) -> None:
    """Each mean width at most a fifth over the least before it, and the last clearly under the first.

    A fifth: readings that happen to scatter more than stated are given more doubt.
    """
    for k in range(1, len(widths)):
        assert widths[k] <= 1.2 * min(widths[:k])
    assert widths[-1] < 0.9 * widths[0]


def mean_width(make: Callable[[np.random.Generator], Range]) -> float:
    draw = np.random.default_rng(29)
    return float(np.mean([width(make(draw)) for _ in range(60)]))


def test_more_voltages_never_widen_the_conductivity_on_average() -> None:
    def at(count: int) -> float:
        amps = np.linspace(0.2, 1.5, count).tolist()
        return mean_width(
            lambda draw: conductivity(plates(draw, 7.0, amps, stated=True, noise=0.02), CONSTANT).figure.range
        )

    never_wider([at(count) for count in (2, 3, 4, 6, 10, 16)])


def test_more_coupons_never_widen_the_efficiency_on_average() -> None:
    never_wider(
        [
            mean_width(lambda draw, n=count: efficiency(coupons(draw, 0.6, n, 0.03), NICKEL).figure.range)
            for count in (1, 2, 3, 5, 8)
        ]
    )


def test_more_thickness_readings_never_widen_the_wagner_number_on_average() -> None:
    def at(take: int) -> float:
        def one(draw: np.random.Generator) -> Range:
            whole = panel(draw, 0.1, 0.2, 0.03)
            spots = whole.thickness * take
            noisy = tuple((x, h * math.exp(0.03 * draw.standard_normal())) for x, h in spots)
            found, _ = wagner_range(replace(whole, thickness=noisy))
            assert found is not None
            return found

        return mean_width(one)

    never_wider([at(1), at(2), at(4)])
