"""What is found does not hang on how a part lies, how its faces are listed, or into how many they are cut."""

from collections import Counter

import manifold3d
import numpy as np
import pytest
import trimesh
from helpers.typed_parts import MM, TYPED, as_read, turn
from numpy.testing import assert_allclose

from geom.part.build import build_part
from geom.recognise.recognise import Recognised, recognised
from geom.surface.soundness import edge_report
from geom.surface.surface import Surface

SOME = (
    "link with two bores",
    "bar with rounded edges",
    "flattened tube with bores",
    "angle with bores",
    "channel",
    "offset bar",
    "washer",
    "outline with a cutout",
)


def found(surface: Surface) -> Recognised:
    return recognised(surface, edge_report(surface.faces).pairs)


def listed(result: Recognised) -> list[tuple[str, float]]:
    return [(feature.name, feature.area) for feature in result.features]


def drawn(name: str) -> tuple[np.ndarray, np.ndarray]:
    surface = build_part(TYPED[name]).surface
    return surface.vertices / MM, surface.faces


@pytest.mark.parametrize("name", SOME)
def test_the_order_of_faces_and_corners_changes_nothing(name: str) -> None:
    vertices, faces = drawn(name)
    plain = found(as_read(vertices, faces))
    rng = np.random.default_rng(5)
    order = rng.permutation(len(faces))
    mixed = np.stack([np.roll(face, k) for face, k in zip(faces[order], rng.integers(0, 3, len(faces)), strict=True)])
    other = found(as_read(vertices, mixed))
    assert [n for n, _ in listed(other)] == [n for n, _ in listed(plain)]
    assert_allclose([a for _, a in listed(other)], [a for _, a in listed(plain)], rtol=1e-9, atol=0)


@pytest.mark.parametrize("name", SOME)
def test_finer_faces_change_no_name(name: str) -> None:
    vertices, faces = drawn(name)
    plain = found(as_read(vertices, faces))
    fine = found(as_read(*trimesh.remesh.subdivide(*trimesh.remesh.subdivide(vertices, faces))))
    assert [n for n, _ in listed(fine)] == [n for n, _ in listed(plain)]
    assert_allclose([a for _, a in listed(fine)], [a for _, a in listed(plain)], rtol=1e-4, atol=0)
    assert_allclose(fine.smallest, plain.smallest, rtol=1e-3, atol=0)


@pytest.mark.parametrize("name", SOME)
@pytest.mark.parametrize("seed", range(4))
def test_turning_changes_no_kind_or_size(name: str, seed: int) -> None:
    vertices, faces = drawn(name)
    plain, turned = found(as_read(vertices, faces)), found(as_read(vertices, faces, turn(100 + seed)))
    assert Counter(f.kind for f in turned.features) == Counter(f.kind for f in plain.features)
    for what in ("width", "depth", "area"):
        assert_allclose(
            sorted(getattr(f, what) for f in turned.features),
            sorted(getattr(f, what) for f in plain.features),
            rtol=2e-3,
            atol=0,
        )


@pytest.mark.parametrize("angle", [90.0, 180.0, 270.0])
def test_names_use_the_axes_of_the_file(angle: float) -> None:
    """A blind hole at one end is named by whichever axis of the file that end points along."""
    solid = manifold3d.Manifold.cube((100, 20, 20), True)
    solid -= manifold3d.Manifold.cylinder(12, 4, 4, 64).translate((35, 0, 0))
    mesh = solid.rotate((0, 0, angle)).to_mesh()
    result = found(as_read(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)))
    (name,) = [f.name for f in result.features if f.kind == "blind-hole"]
    end = {90.0: "+y", 180.0: "-x", 270.0: "-y"}[angle]
    assert name == f"blind hole 1 (8.0 mm), near the {end} end"


def test_numbers_run_along_the_part() -> None:
    vertices, faces = drawn("bar with six small bores")
    result = found(as_read(vertices, faces))
    bores = [f for f in result.features if f.kind == "bore"]
    assert [f.name.split(" (")[0] for f in bores] == [f"bore {k}" for k in range(1, 7)]
    places = [f.middle for f in bores if f.middle is not None]
    assert places == sorted(places, key=lambda place: (round(place[0], 4), round(place[1], 4)))
    assert bores[0].name.endswith("near the -x end")
    assert bores[-1].name.endswith("near the +x end")
