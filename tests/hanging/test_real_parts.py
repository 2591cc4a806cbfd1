"""Real parts of the corpus, as in their files and turned over: every ray leaves the metal as often as it enters, and air and
bath change places."""

import time

import numpy as np
import pytest
from helpers.corpus import corpus, rows
from helpers.hollows import turned, upside_down
from numpy.testing import assert_allclose

from geom.hanging import column_kernels as kernels
from geom.hanging.columns import grid_over
from geom.hanging.hanging import hung
from geom.part.build import build_part
from geom.part.shapes import MeshFile

pytestmark = [
    pytest.mark.corpus,
    pytest.mark.skipif(corpus() is None, reason="the corpus of files is not here"),
]

GOOD = [
    row
    for row in rows()
    if row["set"] == "good"
    and row["file"].lower().endswith((".stl", ".obj", ".off", ".ply"))
    and int(row["faces"]) < 6000
][::2]
BUBBLE = 5e-9  # some pockets are as small as the least that is told [m³]


@pytest.mark.parametrize("row", GOOD, ids=lambda row: row["name"])
def test_air_and_bath_change_places_when_a_real_part_is_turned_over(row: dict[str, str]):
    folder = corpus()
    assert folder is not None
    large = 1e-3 if float(row["extent_max"]) > 5 else 1e-1
    part = build_part(MeshFile(folder / row["file"], large))
    before = time.process_time()
    one = hung(part.surface, part.features, None, tilts=False)
    assert time.process_time() - before < 10
    other = hung(upside_down(part.surface), part.features, None, tilts=False)
    for a, b in ((one.trapped, other.cups), (one.cups, other.trapped)):
        doubt = sum(pocket.doubt for pocket in (*a, *b))
        more = sum(pocket.volume for pocket in a) - sum(pocket.volume for pocket in b)
        assert abs(more) <= 2 * doubt + len((*a, *b)) * BUBBLE


@pytest.mark.parametrize("row", GOOD, ids=lambda row: row["name"])
def test_rays_through_a_real_part_leave_it_and_see_its_volume(row: dict[str, str]):
    folder = corpus()
    assert folder is not None
    # turned, so that no thin wall runs along a line of the grid
    solid = turned(build_part(MeshFile(folder / row["file"], 1e-3)).surface, "z", 29)
    grid = grid_over(solid.bounds, float(np.ptp(solid.bounds, axis=0).max()) / 400)
    start, height, way, _ = kernels.hits(np.array(solid.vertices), np.array(solid.faces), grid.xs, grid.ys)
    column = np.repeat(np.arange(len(start) - 1), np.diff(start))
    assert np.all(np.bincount(column, way, minlength=len(start) - 1) == 0)
    assert_allclose(-(grid.areas[column] * height * way).sum(), solid.volume, rtol=0.01)
