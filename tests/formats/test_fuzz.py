"""Spoiled files: each is refused in words or read to arrays that fit; two thousand a format, and every earlier find."""

import struct
import tempfile
import zlib
from pathlib import Path

import numpy as np
import pytest
from helpers import seeds
from helpers.mutations import check, check_part, reading, spoiled
from helpers.seeds import SEEDS
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.errors import PartError
from geom.formats.guard import read_guarded
from geom.formats.raw import RawMesh
from geom.formats.stl import read_stl
from geom.part.files import read_mesh

MM = 1e-3
FILES = 2000
PARTS = 100
OF_MESHES = ("stl-b", "stl-a", "obj", "ply-b", "off")
FINDS = sorted((Path(__file__).parent / "finds").iterdir())
IN_A_CHILD = ("step",)  # its library is not ours and may crash


@pytest.mark.parametrize("name", [name for name in SEEDS if name not in IN_A_CHILD])
def test_a_spoiled_file_is_refused_in_words_or_read_to_arrays_that_fit(name: str) -> None:
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    reader = reading(SEEDS[name][0])
    ends = {check(reader, spoiled(name, rng)) for _ in range(FILES)}
    assert len(ends) >= 2  # some are read, some are not


@pytest.mark.parametrize("name", OF_MESHES)
def test_a_part_of_a_spoiled_file_is_refused_in_words_or_never_silently_wrong(name: str) -> None:
    rng = np.random.default_rng(zlib.crc32(name.encode()) + 1)
    ends = {check_part(spoiled(name, rng), SEEDS[name][0]) for _ in range(PARTS)}
    assert len(ends) >= 3


@pytest.mark.parametrize("name", SEEDS)
def test_the_seed_itself_is_read(name: str, tmp_path: Path) -> None:
    suffix, files = SEEDS[name]
    for number, data in enumerate(files):
        path = tmp_path / f"{number}{suffix}"
        path.write_bytes(data)
        raw = read_guarded(path)
        assert not isinstance(raw, RawMesh) or len(raw.faces) == 12


def test_a_spoiled_step_file_is_refused_in_words_or_read() -> None:
    pytest.importorskip("cascadio")
    rng = np.random.default_rng(4)
    for _ in range(2):
        check(reading(".step"), spoiled("step", rng))


@pytest.mark.parametrize("path", FINDS, ids=lambda path: path.name)
def test_what_was_once_found_is_refused_in_words_or_read(path: Path) -> None:
    check(reading(path.suffix), path.read_bytes())
    if path.suffix in (".stl", ".obj", ".ply", ".off"):
        check_part(path.read_bytes(), path.suffix)


def cuts(data: bytes) -> list[int]:
    """Every byte of the first 300, and 200 places at random."""
    rng = np.random.default_rng(1)
    return [*range(min(300, len(data))), *(int(k) for k in rng.integers(300, len(data), 200))]


def test_binary_stl_cut_anywhere_is_never_a_mesh() -> None:
    for data in SEEDS["stl-b"][1]:
        for at in cuts(data):
            with pytest.raises(PartError):
                read_stl(data[:at])


def test_text_stl_cut_anywhere_is_never_a_mesh_of_fewer_facets() -> None:
    """A cut behind the last facet takes the closing line only: that is told, or the name alone is cut."""
    for data in SEEDS["stl-a"][1]:
        last = data.lower().rindex(b"endfacet") + len(b"endfacet")
        for at in [*cuts(data), *range(last - 40, len(data))]:
            try:
                raw = read_stl(data[:at])
            except PartError:
                continue
            assert len(raw.faces) == 12
            assert at >= last
            whole = b"endsolid" in data[:at].lower()
            assert [finding.code for finding in raw.findings] == ([] if whole else ["part-mesh-no-endsolid"])


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.integers(0, 30), st.integers(0, 2**32 - 1)))
def test_a_false_count_of_facets_is_never_a_mesh(count: int) -> None:
    data = bytearray(seeds.stl_binary())
    data[80:84] = struct.pack("<I", count)
    if count == 12:
        assert len(read_stl(bytes(data)).faces) == 12
        return
    with pytest.raises(PartError, match="declares"):
        read_stl(bytes(data))


@settings(max_examples=12, deadline=None)
@given(
    st.integers(0, 11),
    st.integers(0, 8),
    st.sampled_from([np.nan, np.inf, -np.inf, 3e38, -1e10, 2e8]),
)
def test_a_number_that_is_none_or_beyond_any_part_is_refused_by_name(face: int, place: int, value: float) -> None:
    data = bytearray(seeds.stl_binary())
    at = 84 + 50 * face + 12 + 4 * place
    data[at : at + 4] = struct.pack("<f", value)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "spoiled.stl"
        path.write_bytes(data)
        with pytest.raises(PartError) as caught:
            read_mesh(path, MM)
    if not np.isfinite(value):
        assert caught.value.slug == "part-mesh-numbers"
        assert f"face {face + 1} of the file" in caught.value.message
    else:
        assert caught.value.slug in ("part-mesh-size", "part-mesh-far")


@pytest.mark.parametrize("extra", [b"v nan 0 0", b"v 1e308 0 -1e308", b"v 0 1e30 0"])
def test_a_vertex_that_no_face_has_changes_nothing(tmp_path: Path, extra: bytes) -> None:
    path = tmp_path / "part.obj"
    path.write_bytes(seeds.obj() + extra + b"\n")
    part = read_mesh(path, MM)
    assert_allclose(part.area, seeds.area() * MM**2, rtol=1e-9, atol=0)
    assert {finding.code for finding in part.findings} == {"part-mesh-loose"}


@pytest.mark.parametrize("suffix", [".obj", ".off", ".ply", ".stl"])
@pytest.mark.parametrize("word", ["nan", "inf", "-Infinity", "1e400"])
def test_a_text_file_with_a_number_that_is_none_is_refused_by_face(tmp_path: Path, suffix: str, word: str) -> None:
    data = {".obj": seeds.obj(), ".off": seeds.off(), ".ply": seeds.ply(), ".stl": seeds.stl_ascii()}[suffix]
    old = {".obj": b"v 40.0 20.0 5.0", ".off": b"\n40.0 20.0 5.0", ".ply": b"\n40 20 5", ".stl": b" 20.0000 5"}[suffix]
    assert old in data
    path = tmp_path / f"part{suffix}"
    path.write_bytes(data.replace(old, old.rpartition(b" ")[0] + b" " + word.encode(), 1))
    with pytest.raises(PartError) as caught:
        read_mesh(path, MM)
    assert caught.value.slug == "part-mesh-numbers"
    assert "of the file" in caught.value.message
