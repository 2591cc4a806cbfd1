"""The response to the Wagner number: exact where theory says so, near direct solves elsewhere."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.cells import COARSE, reference
from numpy.testing import assert_allclose

from geom.arrays import Bools
from geom.bem.problem import Current
from geom.chemistry import Bath
from geom.deposit import significant_panels
from geom.doubt.bands import THICKEST, THINNEST, VOLTAGE, Told, bands
from geom.doubt.inputs import Doubts, Draw, doubts_of
from geom.doubt.response import (
    EDGES,
    LEAST,
    MOST,
    RESISTANCE,
    STRIP,
    UNCHECKED,
    Posed,
    Response,
    Site,
    _again,
    _figures,
    response_of,
    site_of,
)
from geom.electrode.laws import Tafel
from geom.field import Field, Prepared, prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.tables.read import bath

AMPERES = 1.2


@cache
def cell_of(name: str) -> tuple[Prepared, Field, Bools]:
    """The reference cell with a bath of the tables."""
    return _solved(bath(name))


def _solved(of: Bath, current: float = AMPERES) -> tuple[Prepared, Field, Bools]:
    kept = reference(None, COARSE)
    moved = replace(kept, cell=replace(kept.cell, bath=of))
    field = solve_field(moved, Current(current))
    return moved, field, significant_panels(field.cell.part, field.panels, ("all",))


@cache
def response(name: str) -> tuple[Doubts, Response, Site]:
    prepared, field, chosen = cell_of(name)
    doubts = doubts_of(field.cell.bath)
    return doubts, response_of(doubts, Posed((field,), (prepared,), (1.0,), chosen)), site_of(field)


def typical(doubts: Doubts) -> Draw:
    return doubts.draw(np.zeros((1, len(doubts.inputs))))


@pytest.mark.parametrize("name", ["watts-nickel", "acid-copper"])
def test_figures_at_draws_of_all_inputs_are_those_of_direct_solves(name: str) -> None:
    """Draws within the ranges: figures within 1 % where they move by up to 30 %, the voltage within 0.5 %."""
    prepared, field, chosen = cell_of(name)
    doubts, found, site = response(name)
    at = np.array([field.total_current])
    for deviates in np.random.default_rng(7).uniform(-1.6, 1.6, (4, 1, len(doubts.inputs))):
        draw = doubts.draw(deviates)
        direct = _again(field, prepared, draw, field.total_current)
        truth = _figures((direct,), Posed((field,), (prepared,), (1.0,), chosen), draw)
        wagner = site.wagner(draw, at)
        for figure in (LEAST, MOST, STRIP, EDGES):
            assert_allclose(found.at(figure, wagner)[0], truth[figure], rtol=0.01, atol=0, err_msg=figure)
        volts = found.at(RESISTANCE, wagner) / draw.conductivity * at + site.drops(draw, at)
        assert_allclose(volts[0], direct.voltage, rtol=5e-3, atol=0)


def test_under_a_tafel_law_twice_the_conductivity_is_half_the_current() -> None:
    """The shape hangs on conductivity times slope over current alone (Wagner 1951): the fields are proportional."""
    law = Tafel(1e-3, 0.05)
    bath_1, bath_2 = (bath("watts-nickel", conductivity=kappa, law=law) for kappa in (4.0, 8.0))
    _, weak, _ = _solved(bath_1, 0.5 * AMPERES)
    _, strong, _ = _solved(bath_2, AMPERES)
    assert_allclose(strong.at_centroids, 2.0 * weak.at_centroids, rtol=2e-3, atol=0)
    at = [site_of(f).wagner(typical(doubts_of(f.cell.bath)), np.array([f.total_current]))[0] for f in (weak, strong)]
    assert_allclose(at[0], at[1], rtol=1e-6, atol=0)


def test_the_ends_of_one_open_input_are_solved_themselves() -> None:
    law = Tafel(1e-3, 0.05)
    one = bath("watts-nickel", law=law, efficiency=0.95, temperature=328.15)
    prepared, field, chosen = _solved(one)
    doubts = doubts_of(one)
    found = response_of(doubts, Posed((field,), (prepared,), (1.0,), chosen))
    expected = np.log([k / 0.05 for k in (one.conductivity_range.low, one.conductivity, one.conductivity_range.high)])
    assert_allclose(np.diff(found.wagner), np.diff(expected), rtol=1e-6, atol=0)


def test_without_polarization_nothing_is_solved_anew() -> None:
    primary = bath("watts-nickel", law=None)
    prepared, field, chosen = _solved(primary)
    found = response_of(doubts_of(primary), Posed((field,), (prepared,), (1.0,), chosen))
    assert len(found.wagner) == 1
    # V = I K / kappa
    volts = float(found.at(RESISTANCE, np.zeros(1))[0]) / primary.conductivity * AMPERES
    assert_allclose(volts, field.voltage, rtol=1e-9, atol=0)


def test_more_polarizable_is_evener() -> None:
    """The larger the Wagner number, the evener the deposit (Newman and Thomas-Alyea, ch. 18, from memory)."""
    _, found, _ = response("watts-nickel")
    for figure, sign in ((LEAST, 1.0), (MOST, -1.0), (STRIP, -1.0), (EDGES, -1.0)):
        assert (sign * np.diff(found.logs[figure]) > 0).all(), figure


def test_between_and_beyond_its_points_a_response_is_a_parabola_with_straight_ends() -> None:
    points = np.array([-1.0, 0.0, 2.0])
    found = Response(points, {LEAST: 0.3 * points + 0.05 * points**2})
    inside = np.array([-0.7, 0.4, 1.9])
    assert_allclose(np.log(found.at(LEAST, inside)), 0.3 * inside + 0.05 * inside**2, rtol=1e-12, atol=0)
    # slope at the ends: 0.3 + 0.1 w
    assert_allclose(np.log(found.at(LEAST, np.array([-2.0, 3.0]))), [-0.25 - 0.2, 0.8 + 0.5], rtol=1e-12, atol=0)


def test_a_response_never_turns_where_its_points_do_not() -> None:
    found = Response(np.array([0.0, 1.0, 1.1]), {LEAST: np.array([0.0, 0.01, 0.5])})
    values = found.at(LEAST, np.linspace(-0.5, 2.0, 101))
    assert (np.diff(values) > 0).all()


def test_panels_a_good_deal_larger_give_nearly_the_same_bands() -> None:
    """What is read off them are ratios: ends of bands on a third of the panels within 3 %."""
    _, field, chosen = cell_of("watts-nickel")
    few = mesh_cell(field.cell, MeshOptions(budget=500))
    assert len(few.body) < 0.5 * len(field.panels.body)
    own = {VOLTAGE: field.voltage, THINNEST: 8e-6, THICKEST: 30e-6}
    large = prepare(field.cell, few)
    coarse = solve_field(large, Current(field.total_current), balance=UNCHECKED)
    of_few = Posed((coarse,), (large,), (1.0,), significant_panels(field.cell.part, few, ("all",)))
    of_many = Posed((field,), (cell_of("watts-nickel")[0],), (1.0,), chosen)
    made = [bands(posed, Told(own)).of for posed in (of_many, of_few)]
    for name, value in own.items():
        assert made[0][name].high > 1.05 * made[0][name].low
        assert_allclose(
            [made[1][name].low, made[1][name].high], [made[0][name].low, made[0][name].high], rtol=0.03, atol=0
        )
        assert made[0][name].driver == made[1][name].driver
        assert made[0][name].typical == made[1][name].typical == value


def test_drops_and_wagner_number_are_those_of_what_reaches_each_electrode() -> None:
    """3 A, two thirds of them into 0.01 m² of part, a quarter out of an anode of 0.02 m²; by hand."""
    of = replace(bath("watts-nickel", temperature=320.0, conductivity=8.0, efficiency=0.9), law=Tafel(0.05, 1.0))
    drawn = typical(doubts_of(of))
    site = Site(0.01, 2 / 3, ((Tafel(0.03, 2.0), 0.25, 0.02),))
    current = np.array([3.0])
    part, anode = Tafel(0.05, 1.0).drop(np.array([200.0])), Tafel(0.03, 2.0).drop(np.array([37.5]))
    assert_allclose(site.drops(drawn, current), part + 0.25 * anode, rtol=1e-12, atol=0)
    per_density = Tafel(0.05, 1.0).slope(part)
    assert_allclose(site.wagner(drawn, current), np.log(8.0 / per_density), rtol=1e-12, atol=0)
