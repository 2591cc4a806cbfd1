"""The figures show what the plan says, whole and without overlap."""

import io
from dataclasses import replace
from typing import Any

import matplotlib
import numpy as np
import pytest
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan
from matplotlib.collections import PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.testing import assert_allclose

from geom.advice.measures import anode_direction
from geom.cell.bodies import part_solid
from geom.cell.cell import BoxTank, JarTank, RodAnode, SheetAnode
from geom.plan import Plan
from geom.report import figures, tankfigure
from geom.report.figures import features_figure, part_figure, png, round_length, shown_features, thickness_scale
from geom.report.painter import both_sides, broadest_direction, paint, split, tilted_view
from geom.report.tankfigure import ABOVE, Side, nearest_gap, silhouette, tank_figure
from geom.surface.solid import box
from geom.surface.surface import Surface

MAKERS = {"part": part_figure, "features": features_figure, "tank": tank_figure}


def seen_texts(figure: Figure) -> list[Text]:
    """Return the texts that are drawn, legends included."""
    figure.canvas.draw()
    found = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    ticks = {label for axes in figure.axes for axis in (axes.xaxis, axes.yaxis) for label in hidden_ticks(axes, axis)}
    return [t for t in found if t not in ticks]


def hidden_ticks(axes, axis) -> list[Text]:
    """Return labels that are not drawn: of axes switched off, or of ticks beyond the limits."""
    low, high = sorted(axis.get_view_interval())
    pad = 1e-9 * (high - low)
    hidden = [] if axes.axison else [axis.label]
    for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
        if not axes.axison or not low - pad <= tick.get_loc() <= high + pad:
            hidden += [tick.label1, tick.label2]
    return hidden


def long_names(plan: Plan) -> Plan:
    """Return the plan with features whose names are far too long, and one that reads as a formula."""
    name = "skin on the side of the terminal, between the two bends and the large hole (piece 12 of 14)"
    features = (
        replace(plan.features[0], name=name),
        replace(plan.features[1], name="x" * 90),
        replace(plan.features[2], name="$\\frac{1}{$"),
        *plan.features[3:],
    )
    return replace(plan, features=features)


def narrow_tank(plan: Plan) -> Plan:
    """Return the plan as if the tank were narrow along x and the anode close to the part."""
    x, y, _ = plan.cell.pose.at
    anode = SheetAnode(0.002, 0.1, 0.17, (x - 0.014, y, 0.095))
    return replace(plan, cell=replace(plan.cell, tank=BoxTank(0.12, 0.4, 0.15), anodes=(anode,)))


def plain(plan: Plan) -> Plan:
    return plan


@pytest.mark.parametrize(
    ("make", "change"),
    [
        (part_figure, plain),
        (features_figure, plain),
        (features_figure, long_names),
        (tank_figure, plain),
        (tank_figure, narrow_tank),
    ],
)
def test_no_text_is_cut_off_or_lies_on_another(make, change):
    figure = make(change(small_plan()))
    boxes = [(t.get_text(), t.get_window_extent()) for t in seen_texts(figure)]
    assert len(boxes) > 3
    width, height = figure.canvas.get_width_height()
    for text, extent in boxes:
        assert extent.x0 >= 0, text
        assert extent.y0 >= 0, text
        assert extent.x1 <= width, text
        assert extent.y1 <= height, text
    for k, (text, extent) in enumerate(boxes):
        for other, another in boxes[k + 1 :]:
            apart = (
                extent.x1 <= another.x0 or another.x1 <= extent.x0 or extent.y1 <= another.y0 or another.y1 <= extent.y0
            )
            assert apart, (text, other)


@pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)
def test_a_figure_is_a_png_that_comes_out_the_same_twice_and_leaves_no_global_state(make):
    before = dict(matplotlib.rcParams)
    first = png(make(small_plan()))
    assert first == png(make(small_plan()))
    assert dict(matplotlib.rcParams) == before
    image = matplotlib.image.imread(io.BytesIO(first))
    assert image.shape[1] == round(figures.WIDTH_IN * figures.DOTS_PER_INCH)
    assert np.ptp(image[..., :3]) > 0.5


def test_the_two_views_look_from_the_anode_and_from_behind():
    field = small_plan().fields[0]
    direction = anode_direction(field)
    toward, away = both_sides(field)
    # 25 degrees up and 20 aside are 32 degrees in all
    slant = 1 / np.sqrt(1 + np.tan(np.radians(25)) ** 2 + np.tan(np.radians(20)) ** 2)
    assert_allclose(toward.axes[2] @ direction, slant, rtol=2e-3, atol=0)  # the direction is nearly level
    assert_allclose(away.axes[2] @ direction, -slant, rtol=2e-3, atol=0)
    assert toward.axes[2, 2] > 0.3
    assert away.axes[2, 2] > 0.3


@pytest.mark.parametrize("toward", [(1, 0, 0), (0.6, -0.8, 0), (0, 0, 1), (0, 0, -1), (0.5, 0.5, 0.7071)])
def test_a_view_is_not_mirrored(toward):
    axes = tilted_view(np.array(toward, dtype=float)).axes
    assert_allclose(axes @ axes.T + 1, np.eye(3) + 1, rtol=1e-12, atol=0)
    assert_allclose(np.linalg.det(axes), 1.0, rtol=1e-12, atol=0)


def test_up_in_the_picture_is_up_in_the_tank():
    view = tilted_view(np.array([1.0, 0.0, 0.0]))
    right, up = view.flat(np.array([0.0, 0.0, 1.0]))
    assert abs(right) < 1e-12
    assert up > 0.8


def test_the_broad_side_of_a_plate_is_found():
    plate = box((-0.001, -0.03, -0.05), (0.001, 0.03, 0.05))
    assert_allclose(np.abs(broadest_direction(plate))[0], 1.0, rtol=1e-12, atol=0)


def test_splitting_keeps_area_and_owner():
    corners = box((0, 0, 0), (0.01, 0.02, 0.03)).corners
    pieces, owner = split(corners, 0.004)
    area = 0.5 * np.linalg.norm(np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]), axis=1)
    whole = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    assert_allclose(np.bincount(owner, area), whole, rtol=1e-12, atol=0)
    assert np.linalg.norm(pieces - np.roll(pieces, 1, axis=1), axis=2).max() <= 0.004


def inward(solid: Surface) -> Surface:
    """Return the faces wound as panels are: normals into the metal."""
    return Surface(solid.vertices, solid.faces[:, ::-1], solid.tag)


def colour_at(figure: Figure, view, point) -> np.ndarray:
    """Return the colour drawn where a point of space falls on the picture."""
    figure.canvas.draw()
    x, y = figure.axes[0].transData.transform(view.flat(np.array(point)))
    image = np.asarray(figure.canvas.buffer_rgba())
    return image[image.shape[0] - 1 - int(y), int(x), :3] / 255


def test_near_things_hide_far_ones():
    # two slabs, one behind the other as seen from +x; only the near one may be seen
    far, near = box((-0.02, -0.02, -0.02), (-0.01, 0.02, 0.02)), box((0.01, -0.02, -0.02), (0.02, 0.02, 0.02))
    both = inward(
        Surface(
            np.concatenate([near.vertices, far.vertices]),
            np.concatenate([near.faces, far.faces + len(near.vertices)]),
            np.repeat([0, 1], [len(near.faces), len(far.faces)]),
        )
    )
    view = tilted_view(np.array([1.0, 0.0, 0.0]))
    figure = figures.blank(4.0)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(-0.04, 0.04), ylim=(-0.04, 0.04))
    paint(axes, both, both.tag.astype(float), view, colours=matplotlib.colormaps["gray"], scale=Normalize(0, 1))
    assert colour_at(figure, view, (0.02, 0.0, 0.0)).max() < 0.1  # black: the near slab
    assert colour_at(figure, view, (-0.01, -0.015, -0.015)).max() < 0.1  # hidden behind it
    assert colour_at(figure, view, (-0.015, 0.0, 0.02)).min() > 0.8  # the top of the far one is in sight


def test_the_colour_of_a_panel_is_that_of_its_thickness_but_for_a_light_shade():
    plan = small_plan()
    figure = part_figure(plan)
    scale = thickness_scale(plan)
    table = figures.COLOURS(np.linspace(0, 1, 256))[:, :3]
    shades = np.linspace(0.8, 1.0, 21)
    allowed = (table[:, None] * shades[None, :, None]).reshape(-1, 3)
    (painted,) = (c for c in figure.axes[0].collections if isinstance(c, PolyCollection))
    colours = painted.get_facecolors()[:, :3]
    nearest = np.array([np.abs(allowed - colour).max(axis=1).min() for colour in colours[::97]])
    assert nearest.max() < 0.01
    assert scale.vmin <= 8.0 <= scale.vmax


def test_the_scale_leaves_out_the_extreme_hundredths_and_holds_the_target():
    plan = small_plan()
    scale = thickness_scale(plan)
    assert_allclose(scale.vmax, 1e6 * plan.thickness["p99"], rtol=1e-12, atol=0)
    thick = replace(plan, job=replace(plan.job, target=replace(plan.job.target, thickness=1e-3)))
    assert_allclose(thickness_scale(thick).vmax, 1000.0, rtol=1e-12, atol=0)
    even = replace(plan, thickness={"p1": 8e-6, "p99": 8e-6})
    assert thickness_scale(even).vmin < 8.0 < thickness_scale(even).vmax


@pytest.mark.parametrize(
    ("longest", "wanted"), [(1.0, 1.0), (1.99, 1.0), (2.0, 2.0), (7.3, 5.0), (99.0, 50.0), (0.03, 0.02)]
)
def test_scale_bars_have_round_lengths(longest, wanted):
    assert_allclose(round_length(longest), wanted, rtol=1e-12, atol=0)


def test_the_bars_are_the_means_of_the_features_and_the_marks_their_least():
    plan = small_plan()
    axes = features_figure(plan).axes[0]
    assert_allclose([bar.get_width() for bar in axes.patches], [1e6 * f.thickness for f in plan.features], rtol=1e-12)
    assert_allclose(axes.lines[0].get_xdata(), [1e6 * f.least_thickness for f in plan.features], rtol=1e-12, atol=0)
    assert_allclose(axes.lines[1].get_xdata(), 8.0, rtol=1e-12, atol=0)
    assert [label.get_text() for label in axes.get_yticklabels()] == [f.name for f in plan.features]


def test_of_very_many_features_the_thinnest_are_shown_in_their_order():
    one = small_plan().features[0]
    many = tuple(replace(one, name=f"skin {k}", least_thickness=1e-6 * ((7 * k) % 50 + 1)) for k in range(50))
    shown, left_out = shown_features(many)
    assert left_out == 20
    assert max(f.least_thickness for f in shown) <= 30.5e-6
    assert [f.name for f in shown] == [f.name for f in many if f in shown]
    assert "20 features" in features_figure(replace(small_plan(), features=many)).axes[0].get_xlabel()


def test_the_shadow_of_a_bar_has_its_area_and_its_holes():
    plan = small_plan()
    solid = part_solid(plan.cell.part, plan.cell.pose)  # hung upright, broad side along x
    (broad,) = silhouette(solid, Side(1, 2))
    assert len(broad.interiors) == 2
    assert_allclose(broad.area, 60 * 20 - np.pi * (4**2 + 3**2), rtol=2e-3, atol=0)
    (above,) = silhouette(solid, ABOVE)
    assert_allclose(above.area, 3 * 20, rtol=1e-4, atol=0)


def test_the_gap_is_the_free_way_from_part_to_nearest_anode():
    cell = small_plan().cell
    solid = part_solid(cell.part, cell.pose)
    x = solid.bounds[1, 0]
    z = solid.bounds[:, 2].mean()
    far = SheetAnode(0.002, 0.1, 0.1, (x + 0.061, 0.0, z))
    near = RodAnode(0.008, 0.1, (x + 0.034, 0.0, z))
    aside = RodAnode(0.008, 0.1, (x + 0.014, 0.2, z))  # does not face the part
    start, end, height = nearest_gap(replace(cell, anodes=(far, near, aside)), solid, 0)
    assert_allclose([start, end - start], [x, 0.030], rtol=1e-9, atol=0)
    assert solid.bounds[0, 2] < height < solid.bounds[1, 2]
    assert nearest_gap(replace(cell, anodes=(aside,)), solid, 0) is None


@pytest.mark.parametrize("tank", [None, JarTank(0.25, 0.2)], ids=["box", "jar"])
def test_both_drawings_of_the_tank_have_one_scale_and_say_its_size(tank):
    plan = small_plan()
    plan = plan if tank is None else replace(plan, cell=replace(plan.cell, tank=tank))
    figure = tank_figure(plan)
    figure.canvas.draw()
    scales = []
    for axes in figure.axes:
        origin, one = axes.transData.transform([(0.0, 0.0), (1.0, 1.0)])
        scales += [*(one - origin)]
    assert_allclose(scales, scales[0], rtol=1e-6, atol=0)
    above, side = (axes.get_title() for axes in figure.axes)
    assert ("250 mm" in above) if tank else (tankfigure.mm(plan.cell.tank.width) in above)
    assert tankfigure.mm(plan.cell.tank.depth) in side


def test_the_tank_shows_shields_thieves_wires_and_the_number_of_each_part():
    plan = rack_plan()
    figure = tank_figure(plan)
    figure.canvas.draw()
    above, side = figure.axes
    assert {"1", "2", "3", "shield 1", "thief 1", "thief 2"} <= {text.get_text() for text in above.texts}
    assert {"1 to 3", "1, 2, 3"} & {text.get_text() for text in side.texts}  # they hang behind one another
    (legend,) = figure.legends
    words = [text.get_text() for text in legend.get_texts()]
    assert {"shield", "thief", "anode"} <= set(words)
    assert all(word not in ("shield", "thief") for word in _legend_words(tank_figure(small_plan())))
    outlines = [patch.get_path().get_extents() for patch in above.patches]
    wire = [box for box in outlines if abs(box.width - 18) < 0.1 and abs(box.height - 3) < 0.1]
    assert len(wire) == 3  # of 3 mm, 6 mm beyond each side of links 6 mm thick
    assert_allclose(sorted((box.y0 + box.y1) / 2 for box in wire), (-30, 0, 30), rtol=0, atol=0.05)


def _legend_words(figure: Any) -> list[str]:
    return [text.get_text() for legend in figure.legends for text in legend.get_texts()]


def test_the_features_of_a_rack_are_drawn_once():
    labels = [text.get_text() for text in features_figure(rack_plan()).axes[0].get_yticklabels()]
    assert len(labels) == len({feature.name_alone for feature in rack_plan().features})
