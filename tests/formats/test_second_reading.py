"""Two readers must find the same area in a mesh file."""

import io
from pathlib import Path

import numpy as np
import pytest
import trimesh

from geom.errors import PartError
from geom.formats.raw import RawMesh
from geom.formats.second_reading import second_reading
from geom.part.files import read_mesh


def stl_bytes() -> bytes:
    return bytes(trimesh.creation.box((10.0, 20.0, 3.0)).export(file_type="stl"))


def raw_box(stretch: float = 1.0) -> RawMesh:
    box = trimesh.load_mesh(io.BytesIO(stl_bytes()), file_type="stl", process=False)
    return RawMesh(np.array(box.vertices) * stretch, np.array(box.faces), np.arange(len(box.faces)))


def test_a_file_that_both_readers_take_alike_passes_without_a_word() -> None:
    assert second_reading(stl_bytes(), ".stl", raw_box()) == []


def test_a_file_that_the_readers_take_differently_is_refused() -> None:
    with pytest.raises(PartError, match="part-mesh-disputed"):
        second_reading(stl_bytes(), ".stl", raw_box(1.001))


def test_a_file_that_the_second_reader_cannot_take_is_noted() -> None:
    (finding,) = second_reading(b"", ".off", raw_box())
    assert finding.code == "part-mesh-read-once"


def test_a_sound_file_is_read_without_note(tmp_path: Path) -> None:
    path = tmp_path / "box.stl"
    path.write_bytes(stl_bytes())
    part = read_mesh(path, 1e-3)
    np.testing.assert_allclose(part.area, 2 * (200 + 30 + 60) * 1e-6, rtol=1e-6, atol=0)
    assert part.findings == ()
