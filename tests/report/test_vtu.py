"""The VTU file is read back by meshio, another program's reader of the format."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.report.vtu import part_vtu

meshio = pytest.importorskip("meshio")


@pytest.fixture(scope="module")
def mesh(tmp_path_factory):
    path = tmp_path_factory.mktemp("vtu") / "part.vtu"
    path.write_text(part_vtu(small_plan()), encoding="utf-8")
    return meshio.read(path)


def corners(mesh) -> np.ndarray:
    (block,) = mesh.cells
    assert block.type == "triangle"
    return mesh.points[block.data]


def test_the_triangles_are_the_panels_in_millimetres(mesh):
    panels = small_plan().fields[0].panels.part
    assert_allclose(corners(mesh)[:, ::-1], 1e3 * panels.corners, rtol=1e-8, atol=0)


def test_the_triangles_bound_the_metal_with_outward_normals(mesh):
    a, b, c = np.moveaxis(corners(mesh), 1, 0)
    volume = np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0
    assert_allclose(volume, 1e9 * small_plan().cell.part.volume, rtol=0.01, atol=0)


def test_the_fields_are_those_of_the_plan(mesh):
    plan = small_plan()
    data = {name: blocks[0] for name, blocks in mesh.cell_data.items()}
    assert_allclose(data["thickness_um"], 1e6 * plan.deposit.thickness, rtol=1e-8, atol=0)
    assert_allclose(data["local_thickness_um"], 1e6 * plan.deposit.local_thickness, rtol=1e-8, atol=0)
    assert_allclose(data["current_density_A_dm2"], plan.fields[0].current_density / 100, rtol=1e-8, atol=0)
    np.testing.assert_array_equal(data["feature"], plan.fields[0].panels.feature)
    np.testing.assert_array_equal(data["significant"], plan.deposit.significant)


def test_the_file_says_its_unit_and_names_the_features():
    text = part_vtu(small_plan())
    assert "Points are in mm" in text
    for k, feature in enumerate(small_plan().cell.part.features):
        assert f"feature {k}: {feature.name}" in text


def test_a_feature_name_cannot_end_the_comment_or_break_the_file():
    plan = small_plan()
    part = plan.cell.part
    features = (replace(part.features[0], name="---><x>&-"), *part.features[1:])
    text = part_vtu(replace(plan, cell=replace(plan.cell, part=replace(part, features=features))))
    assert ElementTree.fromstring(text).tag == "VTKFile"
    assert len(re.findall("-->", text)) == 1
