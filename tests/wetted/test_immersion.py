"""Parts dipped to a given depth: the wetted area by closed forms, without a solve and on the panels."""

import math

import numpy as np
import pytest
from helpers.cells import MM, bath
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, Immersed
from geom.cell.wetted import wetted_areas
from geom.errors import CellError
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.masking import masked
from geom.part.masks import StopOffBox
from geom.part.rack import Rack
from geom.part.shapes import Bar, Rod, Shape

TANK = BoxTank(0.2, 0.15, 0.15)
UPRIGHT = (0.0, math.pi / 2, 0.0)


def dipped(shape: Shape, depth: float, turn: tuple[float, float, float] = UPRIGHT, **more: object) -> Cell:
    return build_cell(
        build_part(shape),
        bath(),
        tank=TANK,
        anodes=None,
        pose=Immersed(turn, (30 * MM, 0.0), depth),
        **more,  # type: ignore[arg-type]
    )


@given(st.floats(0.5, 49.5))
@settings(max_examples=20, deadline=None)
def test_a_bar_standing_is_wet_to_its_depth(depth: float):
    wet = wetted_areas(dipped(Bar(50 * MM, 20 * MM, 4 * MM), depth * MM))
    assert_allclose(wet.sum(), (2 * (20 + 4) * depth + 20 * 4) * MM**2, rtol=1e-9, atol=0)


@given(st.floats(0.5, 49.5))
@settings(max_examples=20, deadline=None)
def test_a_rod_standing_is_wet_to_its_depth_by_formula(depth: float):
    wet = wetted_areas(dipped(Rod(50 * MM, 10 * MM), depth * MM))
    assert_allclose(wet.sum(), (math.pi * 10 * depth + math.pi * 25) * MM**2, rtol=1e-9, atol=0)


@pytest.mark.parametrize("depth", [1.0, 2.5, 5.0, 8.0])
def test_a_rod_lying_is_wet_along_its_arc(depth: float):
    wet = wetted_areas(dipped(Rod(50 * MM, 10 * MM), depth * MM, (0.0, 0.0, 0.0)))
    half = math.acos(1 - depth / 5)
    segment = 25 * (half - math.sin(half) * math.cos(half))
    assert_allclose(wet.sum() / MM**2, 2 * half * 5 * 50 + 2 * segment, rtol=2e-3, atol=0)  # flats of 3.75°


@pytest.mark.parametrize("slant", [10.0, 30.0, 45.0])
def test_a_bar_on_the_slant_is_wet_below_a_slanted_line(slant: float):
    """A bar turned about y by less than a right angle: its four long sides are cut by lines across them."""
    s, c = math.sin(math.radians(slant)), math.cos(math.radians(slant))
    depth = 30.0
    wet = wetted_areas(dipped(Bar(50 * MM, 20 * MM, 4 * MM), depth * MM, (0.0, math.radians(90 - slant), 0.0)))
    along = depth / c  # from the lowest edge, on the side that leans on it; the other side begins 4 tan higher
    low, high = along, along - 4 * s / c
    assert_allclose(wet.sum() / MM**2, 20 * 4 + 20 * (low + high) + 2 * 0.5 * (low + high) * 4, rtol=1e-9, atol=0)


def test_the_panels_have_the_same_wetted_areas_as_the_cut():
    cell = dipped(Bar(50 * MM, 20 * MM, 4 * MM), 30 * MM)
    panels = mesh_cell(cell, MeshOptions(budget=800))
    assert_allclose(panels.wetted_areas, wetted_areas(cell), rtol=1e-9, atol=1e-18)
    assert_allclose(panels.part.area, (2 * 24 * 30 + 80) * MM**2, rtol=1e-9, atol=0)
    assert_allclose(cell.pose.at, (30 * MM, 0, (150 - 30 + 25) * MM), rtol=1e-12, atol=0)
    assert [finding.code for finding in cell.findings] == ["part-through-surface"]


def test_deep_under_is_all_wet():
    cell = dipped(Bar(50 * MM, 20 * MM, 4 * MM), 90 * MM)
    assert_allclose(wetted_areas(cell).sum(), cell.part.area, rtol=1e-12, atol=0)
    assert_allclose(cell.pose.at[2], 85 * MM, rtol=1e-12, atol=0)


def test_what_is_masked_below_the_waterline_is_told_apart():
    part = masked(build_part(Bar(50 * MM, 20 * MM, 4 * MM)), [StopOffBox((0.015, -1, -1), (1, 1, 1))])
    cell = build_cell(part, bath(), tank=TANK, anodes=None, pose=Immersed(UPRIGHT, (0.03, 0.0), 30 * MM))
    wet, bare = wetted_areas(cell), np.array([not feature.is_plated for feature in part.features])
    assert_allclose(wet[bare].sum(), (48 * 10 + 80) * MM**2, rtol=1e-9, atol=0)  # the masked end hangs down
    assert_allclose(wet[~bare].sum(), 48 * 20 * MM**2, rtol=1e-9, atol=0)


def test_the_depth_of_a_rack_is_that_of_its_lowest_part():
    rack = Rack((1, 1, 2), (0.0, 0.0, 60 * MM))
    cell = dipped(Bar(50 * MM, 20 * MM, 4 * MM), 80 * MM, rack=rack)
    wet = wetted_areas(cell)
    copy = np.array([feature.copy for feature in cell.part.features])
    assert_allclose(wet[copy == 1].sum(), (2 * 24 * 50 + 160) * MM**2, rtol=1e-9, atol=0)
    assert_allclose(wet[copy == 2].sum(), (2 * 24 * 20 + 80) * MM**2, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("depth", "slug"), [(0.1, "part-above-liquid"), (50.0, "gap-too-narrow"), (160.0, "part-outside-tank")]
)
def test_a_depth_that_cannot_be_is_refused(depth: float, slug: str):
    with pytest.raises(CellError) as refusal:
        dipped(Bar(50 * MM, 20 * MM, 4 * MM), depth * MM)
    assert refusal.value.slug == slug


def test_a_round_part_that_is_dipped_keeps_its_panels_when_it_is_turned_half_round():
    """Panels stand a little off a curve: that is no sign that another surface is wet. A deeper dip is one."""
    first = dipped(Rod(50 * MM, 10 * MM), 30 * MM)
    panels = mesh_cell(first, MeshOptions(budget=800))
    turned = dipped(Rod(50 * MM, 10 * MM), 30 * MM, (0.0, math.pi / 2, math.pi))
    assert_allclose(
        mesh_cell(turned, MeshOptions(budget=800), like=panels).part.areas, panels.part.areas, rtol=1e-9, atol=0
    )
    deeper = dipped(Rod(50 * MM, 10 * MM), 31 * MM, (0.0, math.pi / 2, math.pi))
    assert_allclose(
        mesh_cell(deeper, MeshOptions(budget=800), like=panels).wetted_areas.sum(),
        (math.pi * 10 * 31 + math.pi * 25) * MM**2,
        rtol=1e-9,
        atol=0,
    )
