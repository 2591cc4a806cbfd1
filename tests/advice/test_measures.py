"""Figures read off the panels, against NumPy's own and against what they are defined as."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.cells import COARSE, bath, mesh_part
from helpers.flows import coarse, flowing, on_the_link, with_bath
from helpers.meshes import icosphere
from helpers.small_plan import small_plan
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.advice.measures import (
    LEAST_EDGE,
    PERCENTILES,
    STRIP,
    feature_means,
    front_and_back,
    hottest_current_density,
    hottest_strip,
    kind_mean,
    percentiles,
    spread,
    strip_width,
    tail_mean,
)
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, SheetAnode
from geom.feature import Kind
from geom.panels import mesh_cell
from geom.part.shapes import Bar

few = settings(max_examples=60, deadline=None, derandomize=True)
seeds = st.integers(0, 2**32 - 1)


def weighted(seed: int, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Values, and whole numbers as their areas."""
    generator = np.random.default_rng(seed)
    return generator.lognormal(size=count), generator.integers(1, 6, count).astype(float)


@few
@given(seeds)
def test_percentiles_are_those_of_each_value_repeated_as_often_as_its_area(seed: int) -> None:
    values, areas = weighted(seed)
    repeated = np.repeat(values, areas.astype(int) * 20)
    found = percentiles(values, areas)
    assert list(found) == [f"p{p}" for p in PERCENTILES] == ["p1", "p10", "p50", "p90", "p99"]
    for p in PERCENTILES:
        step = 100 * areas.max() / areas.sum()  # one panel more or less
        low, high = np.percentile(repeated, [max(p - step, 0), min(p + step, 100)])
        assert low <= found[f"p{p}"] <= high


def test_percentiles_of_panels_of_one_size_are_those_of_numpy() -> None:
    values = np.random.default_rng(3).uniform(1, 2, 5001)
    found = percentiles(values, np.full(5001, 0.7))
    for p in PERCENTILES:
        assert_allclose(found[f"p{p}"], np.percentile(values, p, method="hazen"), rtol=1e-12, atol=0)


@few
@given(seeds, st.integers(0, 399))
def test_percentiles_do_not_depend_on_the_order_or_on_a_panel_being_cut_in_two(seed: int, cut: int) -> None:
    values, areas = weighted(seed)
    order = np.random.default_rng(seed).permutation(len(values))
    assert percentiles(values[order], areas[order]) == pytest.approx(percentiles(values, areas), rel=1e-12)
    halves = areas.copy()
    halves[cut] /= 2
    both = percentiles(np.append(values, values[cut]), np.append(halves, halves[cut]))
    for name, value in percentiles(values, areas).items():
        assert_allclose(both[name], value, rtol=0.25, atol=0)


@few
@given(seeds, st.sampled_from([0.01, 0.05, 0.5, 1.0]))
def test_tail_means_are_means_over_the_repeated_values(seed: int, share: float) -> None:
    values, areas = weighted(seed)
    repeated = np.sort(np.repeat(values, areas.astype(int) * 100))
    count = round(share * len(repeated))
    assert_allclose(tail_mean(values, areas, share), repeated[:count].mean(), rtol=1e-9, atol=0)
    assert_allclose(tail_mean(values, areas, -share), repeated[-count:].mean(), rtol=1e-9, atol=0)


@few
@given(seeds)
def test_a_spread_is_in_order_and_its_mean_is_numpys(seed: int) -> None:
    values, areas = weighted(seed)
    found = spread(values, areas)
    assert list(found) == ["mean", "min", "p1", "p10", "p50", "p90", "p99", "max"]
    assert_allclose(found["mean"], np.average(values, weights=areas), rtol=1e-12, atol=0)
    names = ("min", "p1", "p10", "p50", "p90", "p99", "max")
    assert [found[n] for n in names] == sorted(found[n] for n in names)


def test_feature_means_weighted_by_their_area_make_the_mean() -> None:
    field = small_plan().fields[0]
    count = len(small_plan().cell.part.features)
    means = feature_means(field.current_density, field.areas, field.panels, count)
    area = np.array([field.areas[field.panels.feature == k].sum() for k in range(count)])
    assert_allclose(means @ area, field.current, rtol=1e-9, atol=0)
    one = np.average(field.current_density[field.panels.feature == 0], weights=field.areas[field.panels.feature == 0])
    assert_allclose(means[0], one, rtol=1e-12, atol=0)


def test_a_feature_that_is_dry_has_no_mean() -> None:
    field = small_plan().fields[0]
    count = len(small_plan().cell.part.features)
    assert np.isnan(feature_means(field.current_density, field.areas, field.panels, count + 1)[-1])


def test_the_mean_of_a_kind_is_that_of_its_features() -> None:
    field, part = small_plan().fields[0], small_plan().cell.part
    bores = np.array([f.kind == Kind.BORE for f in part.features])[field.panels.feature]
    expected = np.average(field.current_density[bores], weights=field.areas[bores])
    assert_allclose(kind_mean(field, part, (Kind.BORE,)), expected, rtol=1e-12, atol=0)
    assert kind_mean(field, part, (Kind.BEND_INSIDE,)) is None


def test_an_even_flow_has_no_hot_strip() -> None:
    field = on_the_link(np.full(small_plan().fields[0].panels.part_count, 123.0))
    assert_allclose(hottest_strip(field).current_density, 123.0, rtol=1e-12, atol=0)
    assert_allclose(hottest_current_density(field), 123.0, rtol=1e-12, atol=0)


def test_the_hottest_strip_is_found_along_the_edge_that_was_heated() -> None:
    panels = small_plan().fields[0].panels
    long = np.flatnonzero(panels.edge_length >= LEAST_EDGE)
    for chain in long[:3]:
        flow = np.full(panels.part_count, 100.0)
        flow[panels.edge_chain == chain] = 300.0
        assert_allclose(hottest_strip(on_the_link(flow)).current_density, 300.0, rtol=1e-12, atol=0)


def test_a_short_edge_is_a_corner_and_does_not_count() -> None:
    panels = small_plan().fields[0].panels
    short = np.flatnonzero(panels.edge_length < LEAST_EDGE)
    assert len(short) > 0  # the link is 3 mm thick
    flow = np.full(panels.part_count, 100.0)
    flow[np.isin(panels.edge_chain, short)] = 1000.0
    assert_allclose(hottest_strip(on_the_link(flow)).current_density, 100.0, rtol=1e-12, atol=0)


def test_a_wider_strip_along_the_edges_is_cooler() -> None:
    field = small_plan().fields[0]
    densities = [hottest_strip(field, width).current_density for width in (1e-3, 2e-3, 4e-3)]
    assert densities == sorted(densities, reverse=True)
    assert densities[0] > 1.2 * field.mean_current_density


def test_the_strip_is_a_millimetre_wide_or_as_wide_as_the_panels_allow() -> None:
    panels = small_plan().fields[0].panels
    assert strip_width(replace(panels, scale=1.0)) == STRIP == 1e-3
    assert_allclose(strip_width(replace(panels, scale=2.5)), 1.25e-3, rtol=1e-12, atol=0)
    assert strip_width(replace(panels, scale=0.5)) == STRIP


def test_a_part_without_edges_has_no_strip_and_its_top_is_taken() -> None:
    part = mesh_part(icosphere(3, 15e-3))
    cell = build_cell(part, bath(), tank=None, anodes=None, pose=None)
    panels = mesh_cell(cell, COARSE)
    flow = np.linspace(100.0, 200.0, panels.part_count)
    field = flowing(cell, panels, flow)
    assert hottest_strip(field) is None
    assert_allclose(hottest_current_density(field), tail_mean(flow, field.areas, -0.01), rtol=1e-12, atol=0)


def test_front_is_the_side_towards_the_anode() -> None:
    """The anode of ours stands at -x: panels whose outward normal has -x are the front."""
    first = small_plan().fields[0]
    outward = -first.panels.part.normals[:, 0]
    flow = np.where(outward < -0.7, 300.0, np.where(outward > 0.7, 100.0, 200.0))
    assert_allclose(front_and_back(on_the_link(flow)), (300.0, 100.0), rtol=1e-12, atol=0)
    # three times the current at two thirds of the efficiency deposits twice as much
    bent = with_bath(on_the_link(flow), efficiency=0.75, efficiency_curve=((100.0, 0.9), (300.0, 0.6)))
    front, back = front_and_back(bent) or (0.0, 1.0)
    assert_allclose(front / back, 2.0, rtol=1e-12, atol=0)


def test_there_is_no_front_between_two_anodes() -> None:
    anodes = tuple(SheetAnode(2e-3, 60e-3, 60e-3, (x, 0.0, 75e-3)) for x in (-70e-3, 70e-3))
    cell, panels = coarse(Bar(60e-3, 20e-3, 3e-3), tank=BoxTank(0.2, 0.15, 0.15), anodes=anodes)
    assert front_and_back(flowing(cell, panels, np.full(panels.part_count, 100.0))) is None
