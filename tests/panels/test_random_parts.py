"""Panels of random bars, holes, bends and tubes: closed, true to area and volume, well shaped, and of known origin."""

import math

import numpy as np
from helpers.cells import MM, bath
from helpers.quality import is_closed, least_angles
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.cell.build import build_cell
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.part import Part
from geom.part.shapes import Angle, Bar, Hole, Offset, Rod, Shape, Tube

few = settings(max_examples=6, deadline=None, derandomize=True, phases=[Phase.generate])  # shrinking takes minutes
lengths, widths, thicknesses = st.floats(30, 120), st.floats(8, 30), st.floats(0.5, 6)


def well_meshed(part: Part, scale: float | None, volume_within: float, facing_above: float = 0.5) -> None:
    """Everything that is promised of the panels of a part hung free in the liquid."""
    cell = build_cell(part, bath(), tank=None, anodes=None, pose=None)
    panels = mesh_cell(cell, MeshOptions(budget=5000), scales=None if scale is None else (scale, 2 * scale))
    assert is_closed(panels.part)
    assert_allclose(panels.part.area, part.area, rtol=1e-3, atol=0)
    assert_allclose(-panels.part.volume, part.volume, rtol=volume_within, atol=0)
    assert least_angles(panels.part).min() > 15
    assert np.array_equal(part.surface.tag[panels.source], panels.feature)
    rotation = cell.pose.rotation
    facing = -(panels.part.normals @ rotation)
    assert (
        np.einsum("ij,ij->i", facing, part.surface.normals[panels.source]).min() > facing_above
    )  # one chord may span 90° of a tight bend


@few
@given(lengths, widths, thicknesses, st.floats(2, 7), st.floats(-0.3, 0.3), st.floats(0, 3), st.floats(1.0, 1.6))
def test_drilled_bars(
    length: float, width: float, thickness: float, hole: float, place: float, angle: float, scale: float
) -> None:
    at = (place * (length - 20) * MM, place * 2 * MM)
    slot = Hole(0.4 * width * MM, (-at[0], 0.0), 0.6 * width * MM, angle)
    holes = (slot,) if abs(at[0]) < 6 * MM else (Hole(min(hole, 0.5 * width) * MM, at), slot)
    if len(holes) == 2 and 2 * abs(at[0]) < (0.6 * width / 2 + hole / 2 + 1) * MM:
        holes = (slot,)
    well_meshed(build_part(Bar(length * MM, width * MM, thickness * MM, holes=holes)), scale, 2e-3)


@few
@given(lengths, widths, st.floats(0.8, 4), st.floats(0.3, 4), st.floats(0.5, 1.9), st.floats(1.0, 1.6))
def test_bent_strips(length: float, width: float, thickness: float, radius: float, bend: float, scale: float) -> None:
    legs = (length / 2 + 12) * MM
    shape: Shape = Angle(legs, legs, width * MM, thickness * MM, radius * MM, bend)
    well_meshed(build_part(shape), scale, 5e-3)


@few
@given(st.floats(60, 120), widths, st.floats(1, 3), st.floats(8, 15), st.floats(1, 3), st.floats(1.0, 1.6))
def test_offset_strips(
    length: float, width: float, thickness: float, offset: float, radius: float, scale: float
) -> None:
    shape = Offset(length * MM, width * MM, thickness * MM, offset * MM, radius * MM, math.pi / 2)
    well_meshed(build_part(shape), scale, 1e-2)


@few
@given(lengths, st.floats(4, 20), st.floats(0.5, 1.5), st.booleans(), st.floats(1.0, 1.6))
def test_rods_and_tubes(length: float, diameter: float, wall: float, hollow: bool, scale: float) -> None:
    """A prism of n sides with the area of a cylinder has 1 - (pi / n)^2 / 3 of its volume."""
    shape: Shape = Tube(length * MM, diameter * MM, wall * MM) if hollow else Rod(length * MM, diameter * MM)
    well_meshed(build_part(shape), scale, 3e-2)


@few
@given(lengths, widths, st.floats(1.5, 6), st.floats(0.15, 0.5))
def test_bars_with_rounded_edges(length: float, width: float, thickness: float, share: float) -> None:
    shape = Bar(length * MM, width * MM, thickness * MM, edge_radius=share * thickness * MM)
    well_meshed(build_part(shape), None, 3e-2, 0.0)  # the panels may be larger than the rounding, but none is folded
