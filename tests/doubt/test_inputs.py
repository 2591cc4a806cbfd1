"""What is not known: the ends of each range, what a job states, and what warms the conductivity."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from geom.chemistry import Bath, Range
from geom.doubt.inputs import (
    CONDUCTIVITY,
    EFFICIENCY,
    END,
    EXCHANGE,
    LIMITING,
    READING,
    SLOPE,
    TEMPERATURE,
    Doubts,
    doubts_of,
)
from geom.electrode.laws import ButlerVolmer, Linear
from geom.tables.read import bath, law_range


def names(of: Bath, **more: bool) -> set[str]:
    return {item.name for item in doubts_of(of, **more).inputs}


def one_at(doubts: Doubts, name: str, deviate: float) -> np.ndarray:
    return np.array([[deviate if item.name == name else 0.0 for item in doubts.inputs]])


def test_a_bath_of_the_tables_is_open_in_all_it_gives_a_range_for() -> None:
    open_ends = {CONDUCTIVITY, TEMPERATURE, SLOPE, EXCHANGE, EFFICIENCY, READING}
    assert names(bath("watts-nickel")) == open_ends
    assert names(bath("watts-nickel"), with_limiting=True) == {*open_ends, LIMITING}


def test_what_a_job_states_has_no_range() -> None:
    stated = bath("watts-nickel", temperature=320.0, conductivity=8.0, efficiency=0.95, law=Linear(1e-4))
    assert names(stated) == {READING}
    # a conductivity that is stated was measured in that bath, at whatever temperature it has
    assert TEMPERATURE not in names(bath("watts-nickel", conductivity=8.0))
    assert SLOPE not in names(bath("watts-nickel", law=None))


def test_the_law_at_the_ends_is_that_of_the_tables() -> None:
    doubts = doubts_of(bath("watts-nickel"))
    for deviate, expected in zip((-END, 0.0, END), law_range("watts-nickel"), strict=True):
        law = doubts.draw(one_at(doubts, SLOPE, deviate)).law
        assert isinstance(law, ButlerVolmer)
        assert isinstance(expected, ButlerVolmer)
        got = [float(np.ravel(v)[0]) for v in (law.exchange, law.cathodic_slope, law.anodic_slope)]
        assert_allclose(got, [expected.exchange, expected.cathodic_slope, expected.anodic_slope], rtol=1e-12, atol=0)


def test_a_law_with_arrays_for_numbers_is_that_of_each_number() -> None:
    doubts = doubts_of(bath("acid-copper"))
    drawn = doubts.draw(np.random.default_rng(3).standard_normal((7, len(doubts.inputs)))).law
    assert isinstance(drawn, ButlerVolmer)
    density = np.geomspace(1.0, 900.0, 7)
    plain = [
        float(ButlerVolmer(float(a), float(b), float(c)).drop(np.array([i]))[0])
        for a, b, c, i in zip(
            np.asarray(drawn.exchange),
            np.asarray(drawn.cathodic_slope),
            np.asarray(drawn.anodic_slope),
            density,
            strict=True,
        )
    ]
    assert_allclose(drawn.drop(density), plain, rtol=1e-10, atol=0)


def test_a_bath_as_cold_as_its_range_allows_conducts_as_the_tables_say() -> None:
    warm = bath("watts-nickel")
    doubts = doubts_of(warm)
    for deviate, temperature in ((-END, warm.temperature_range.low), (END, warm.temperature_range.high)):
        drawn = float(doubts.draw(one_at(doubts, TEMPERATURE, deviate)).conductivity[0])
        assert_allclose(drawn, bath("watts-nickel", temperature=temperature).conductivity, rtol=1e-9, atol=0)


def test_no_draw_deposits_more_than_all_the_charge_or_conducts_backwards() -> None:
    wide = replace(bath("acetate-nickel"), efficiency_range=Range(0.25, 0.6, 1.0))
    doubts = doubts_of(wide)
    drawn = doubts.draw(6.0 * np.random.default_rng(4).standard_normal((200, len(doubts.inputs))))
    assert drawn.efficiency.max() == 1.0
    assert drawn.conductivity.min() > 0


def test_nine_cases_of_ten_lie_within_a_range_five_in_a_hundred_on_either_side() -> None:
    """Two halves of a normal distribution, each as wide as its own side: 5 % lie outside each end."""
    (kappa, *_) = doubts_of(bath("acetate-nickel")).inputs
    values = kappa.at(np.random.default_rng(5).standard_normal(20_000))
    for outside in (values < kappa.low, values > kappa.high):
        assert abs(float(outside.mean()) - 0.05) < 4 * np.sqrt(0.05 * 0.95 / 20_000)


def test_a_range_stated_at_another_level_is_reached_at_its_own_deviate() -> None:
    """95 % within: 1.960 deviates to either side (published table of the normal distribution)."""
    of = replace(bath("watts-nickel"), levels={"conductivity": 0.95, "law": 0.95})
    doubts, wide = doubts_of(of), of.conductivity_range
    ends = [float(doubts.draw(one_at(doubts, CONDUCTIVITY, at)).conductivity[0]) for at in (-1.959964, 1.959964)]
    assert_allclose(ends, (wide.low, wide.high), rtol=1e-6, atol=0)
    law = doubts.draw(one_at(doubts, SLOPE, 1.959964)).law
    assert isinstance(law, ButlerVolmer)
    steepest = law_range("watts-nickel")
    assert steepest is not None
    assert isinstance(steepest[2], ButlerVolmer)
    assert_allclose(np.ravel(law.cathodic_slope)[0], steepest[2].cathodic_slope, rtol=1e-6, atol=0)
    known = {item.name: item.level for item in doubts.inputs}
    assert (known[CONDUCTIVITY], known[SLOPE], known[EFFICIENCY]) == (0.95, 0.95, 0.9)
