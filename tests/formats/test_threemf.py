"""3MF files: what the build makes is read right, and whatever cannot be is refused before it costs anything."""

import csv
import io
import math
import os
import time
import tracemalloc
import warnings
import zipfile
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import trimesh
from helpers.threemf import (
    BOX_AREA,
    BOX_VOLUME,
    START,
    archive,
    box,
    component,
    group,
    item,
    mesh,
    model,
    relationships,
    zipped,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import PartError
from geom.formats.open import read_bytes
from geom.formats.package import Inflation
from geom.formats.raw import USUAL, RawMesh
from geom.formats.threemf import read_3mf

MM = 1e-3
SHIFT = "1 0 0 0 1 0 0 0 1 50 0 0"
MIRROR = "-1 0 0 0 1 0 0 0 1 0 0 0"
DOUBLE = "2 0 0 0 2 0 0 0 2 0 0 0"


def area(raw: RawMesh) -> float:
    one, two, three = np.moveaxis(raw.vertices[raw.faces], 1, 0)
    return float(np.linalg.norm(np.cross(two - one, three - one), axis=1).sum()) / 2


def volume(raw: RawMesh) -> float:
    one, two, three = np.moveaxis(raw.vertices[raw.faces], 1, 0)
    return float(np.einsum("ij,ij->i", one, np.cross(two, three)).sum()) / 6


def refused(data: bytes, words: str, slug: str = "part-mesh-format") -> None:
    with pytest.raises(PartError) as caught:
        read_3mf(data)
    assert caught.value.slug == slug
    assert words in caught.value.message


def codes(raw: RawMesh) -> list[str]:
    return [finding.code for finding in raw.findings]


# what is read


def test_a_sound_file_gives_its_mesh_and_its_unit():
    raw = read_3mf(archive())
    assert len(raw.faces) == 12
    assert area(raw) == BOX_AREA
    assert volume(raw) == BOX_VOLUME
    assert raw.unit == MM
    assert raw.findings == ()
    assert raw.file_face.tolist() == list(range(12))


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("micron", 1e-6), ("millimeter", 1e-3), ("centimeter", 1e-2), ("inch", 0.0254), ("foot", 0.3048), ("meter", 1.0)],
)
def test_every_unit_of_the_specification_is_honoured(unit, metres):
    assert read_3mf(archive(model(attributes=f'unit="{unit}"'))).unit == metres


def test_a_model_without_a_unit_is_in_millimetres_as_the_specification_says():
    assert read_3mf(archive(model(attributes=""))).unit == MM


@pytest.mark.parametrize("unit", ["furlong", "Millimeter", "mm", ""])
def test_a_unit_of_no_list_is_refused(unit):
    refused(archive(model(attributes=f'unit="{unit}"')), "unit")


def test_the_transform_of_an_item_is_applied():
    raw = read_3mf(archive(model(build=item(1, DOUBLE))))
    assert area(raw) == 4 * BOX_AREA
    assert volume(raw) == 8 * BOX_VOLUME


def test_a_row_of_a_transform_is_the_image_of_an_axis():
    # the x axis goes to y, y to -x: a quarter turn about z, then a move
    raw = read_3mf(archive(model(build=item(1, "0 1 0 -1 0 0 0 0 1 100 200 300"))))
    assert raw.vertices.min(axis=0).tolist() == [70, 200, 300]
    assert raw.vertices.max(axis=0).tolist() == [100, 220, 304]


def test_a_mirrored_instance_is_still_right_side_out():
    raw = read_3mf(archive(model(build=item(1, MIRROR))))
    assert volume(raw) == BOX_VOLUME
    assert raw.vertices[:, 0].max() == 0


def test_two_mirrors_in_a_row_cancel():
    objects = box(1) + group(2, component(1, MIRROR))
    assert volume(read_3mf(archive(model(objects, item(2, MIRROR))))) == BOX_VOLUME


def test_the_inner_transform_comes_first():
    # doubled, then moved by 50: from 50 to 90; the other way round it would be from 100 to 140
    objects = box(1) + group(2, component(1, DOUBLE))
    raw = read_3mf(archive(model(objects, item(2, SHIFT))))
    assert (raw.vertices[:, 0].min(), raw.vertices[:, 0].max()) == (50, 90)


def test_instances_share_the_face_numbers_of_their_object():
    objects = box(7) + box(8) + group(9, component(8), component(8, SHIFT))
    raw = read_3mf(archive(model(objects, item(9) + item(7, "1 0 0 0 1 0 0 0 1 0 99 0"))))
    assert raw.file_face.tolist() == [*range(12, 24), *range(12, 24), *range(12)]
    assert codes(raw) == ["part-3mf-items"]


def test_an_object_that_the_build_does_not_make_is_left_out_and_named():
    objects = box(1) + box(2, 'name="Lid &lt;b&gt;"', (1, 1, 1))
    raw = read_3mf(archive(model(objects)))
    assert area(raw) == BOX_AREA
    assert codes(raw) == ["part-3mf-left-out"]
    assert 'object 2 "Lid <b>"' in raw.findings[0].message


def test_an_item_marked_as_not_to_be_printed_is_left_out_and_named():
    raw = read_3mf(archive(model(box(1) + box(2), item(1) + item(2, SHIFT, 'printable="0"'))))
    assert area(raw) == BOX_AREA
    assert [finding.message for finding in raw.findings if "object 2" in finding.message]


@pytest.mark.parametrize("kind", ["support", "solidsupport"])
def test_support_is_left_out_and_named(kind):
    objects = box(1) + box(2, f'type="{kind}"') + group(3, component(1), component(2, SHIFT))
    raw = read_3mf(archive(model(objects, item(3))))
    assert area(raw) == BOX_AREA
    assert "support for printing: object 2" in raw.findings[0].message


@pytest.mark.parametrize("kind", ["other", "surface"])
def test_an_object_in_the_build_that_is_no_solid_is_refused(kind):
    refused(archive(model(box(1, f'type="{kind}"'))), kind, "part-3mf-kind")


def test_the_type_of_an_object_made_of_components_does_not_count():
    # core specification 1.3, chapter 4: it is overridden by the objects below
    objects = box(1) + group(2, component(1)).replace('id="2"', 'id="2" type="other"')
    assert area(read_3mf(archive(model(objects, item(2))))) == BOX_AREA


def test_objects_of_another_model_part_are_found_by_their_path():
    other = model(box(1, sizes=(1, 1, 1)) + box(2, sizes=(2, 2, 2)), "")
    objects = box(1) + group(5, component(2, "", 'p:path="/3D/Objects/other.model"'))
    build = item(5) + item(1, SHIFT, 'p:path="/3d/objects/OTHER.model"')
    raw = read_3mf(archive(model(objects, build), parts={"3D/Objects/other.model": other}))
    assert area(raw) == 24 + 6
    assert raw.file_face.tolist() == [*range(24, 36), *range(12, 24)]


def test_the_build_of_another_model_part_is_ignored():
    # production extension 1.1, chapter 2
    other = model(box(1, sizes=(1, 1, 1)), item(1) + item(1, SHIFT))
    build = item(1, "", 'p:path="/3D/other.model"')
    assert area(read_3mf(archive(model("", build), parts={"3D/other.model": other}))) == 6


def test_a_third_model_part_is_refused():
    second = model(group(1, component(1, "", 'p:path="/3D/third.model"')), "")
    build = item(1, "", 'p:path="/3D/second.model"')
    parts = {"3D/second.model": second, "3D/third.model": model()}
    refused(archive(model("", build), parts=parts), "refers to a third part")


def test_model_parts_of_different_units_are_refused():
    parts = {"3D/other.model": model(attributes='unit="inch"')}
    build = item(1, "", 'p:path="/3D/other.model"')
    refused(archive(model("", build), parts=parts), "is in inch")


def test_the_start_is_where_the_relationships_say():
    # the part of the usual name is a decoy
    parts = {"Models/real.model": model(box(sizes=(1, 2, 3)))}
    raw = read_3mf(archive(links=relationships("/Models/real.model"), parts=parts))
    assert area(raw) == 22


def test_content_of_unknown_optional_extensions_is_named():
    extra = '<n:notes xmlns:n="urn:notes"><n:note/></n:notes>'
    raw = read_3mf(archive(model(f'<object id="1">{mesh(extra=extra)}</object>')))
    assert area(raw) == BOX_AREA
    assert codes(raw) == ["part-3mf-extra"]
    assert "urn:notes" in raw.findings[0].message


def test_colours_and_metadata_are_no_matter():
    resources = '<basematerials id="9"><base name="steel" displaycolor="#808080"/></basematerials>'
    colours = '<m:colorgroup xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02" id="8"/>'
    details = "<metadatagroup><metadata name='x:a'>1</metadata></metadatagroup>"
    objects = resources + colours + f'<object id="1" pid="9" pindex="0">{details}{mesh()}</object>'
    raw = read_3mf(archive(model(objects, f'<item objectid="1">{details}</item>')))
    assert area(raw) == BOX_AREA
    assert raw.findings == ()


@pytest.mark.parametrize("text", ["1.5", "+1.5", "15e-1", " 1.5 ", "1.50E+0"])
def test_numbers_may_be_written_in_any_way_the_specification_has(text):
    raw = read_3mf(archive(model().replace('x="20.0"', f'x="{text}"')))
    assert raw.vertices[:, 0].max() == 1.5


def test_utf16_and_a_byte_order_mark_are_read():
    text = model()
    assert area(read_3mf(archive(b"\xef\xbb\xbf" + text.encode()))) == BOX_AREA
    assert area(read_3mf(archive(text.replace("UTF-8", "UTF-16").encode("utf-16")))) == BOX_AREA


def test_a_large_mesh_is_read_across_the_pieces_it_is_taken_in():
    count = 12_000
    ring = [f'<vertex x="{math.cos(k)!r}" y="{k}" z="{math.sin(k)!r}"/>' for k in range(count)]
    strip = [f'<triangle v1="{a}" v2="{b}" v3="{(b + 1) % count}"/>' for a, b in pairwise(range(count))]
    text = f"<mesh><vertices>{''.join(ring)}</vertices><triangles>{''.join(strip)}</triangles></mesh>"
    raw = read_3mf(archive(model(f'<object id="1">{text}</object>')))
    assert np.array_equal(raw.vertices[:, 1], np.arange(count))
    assert np.array_equal(raw.faces[:, 0], np.arange(count - 1))


# an own expansion, by plain products of 4 by 4 matrices

FINITE = st.floats(-3, 3).map(lambda x: round(x, 4))


@st.composite
def transforms(draw: st.DrawFn) -> list[float]:
    rows = [draw(FINITE) for _ in range(12)]
    stretch = np.linalg.svd(np.reshape(rows[:9], (3, 3)), compute_uv=False)
    return rows if stretch[2] > 1e-3 else [1, 0, 0, 0, 1, 0, 0, 0, 1, *rows[9:]]


@st.composite
def trees(draw: st.DrawFn) -> tuple[dict[int, list[tuple[int, list[float]]]], list[tuple[int, list[float]]]]:
    """Objects 1 and 2 are boxes; each later one has components among those before; the build has some of them."""
    groups = {}
    for number in range(3, draw(st.integers(3, 7))):
        uses = st.tuples(st.integers(1, number - 1), transforms())
        groups[number] = draw(st.lists(uses, min_size=1, max_size=3))
    last = max(groups, default=2)
    build = draw(st.lists(st.tuples(st.integers(1, last), transforms()), min_size=1, max_size=3))
    return groups, build


BOXES = {1: (20.0, 30.0, 4.0), 2: (1.0, 2.0, 3.0)}


def matrix(rows: list[float]) -> np.ndarray:
    full = np.eye(4)
    full[:3, :3] = np.reshape(rows[:9], (3, 3)).T  # columns are images, points are columns
    full[:3, 3] = rows[9:]
    return full


def expanded_area(groups: dict, number: int, above: np.ndarray) -> float:
    """Sum over the leaves of the areas of three pairs of parallelograms."""
    if number not in BOXES:
        return sum(expanded_area(groups, one, above @ matrix(rows)) for one, rows in groups[number])
    a, b, c = (above[:3, k] * BOXES[number][k] for k in range(3))
    return 2 * sum(float(np.linalg.norm(np.cross(u, v))) for u, v in ((a, b), (b, c), (c, a)))


def words(rows: list[float]) -> str:
    return " ".join(map(repr, map(float, rows)))


def tree_archive(groups: dict, build: list[tuple[int, list[float]]]) -> bytes:
    objects = [box(number, sizes=sizes) for number, sizes in BOXES.items()]
    objects += [group(number, *(component(n, words(r)) for n, r in uses)) for number, uses in groups.items()]
    return archive(model("".join(objects), "".join(item(n, words(r)) for n, r in build)))


@settings(max_examples=60, deadline=None)
@given(trees())
def test_any_tree_of_components_has_the_area_and_volume_of_its_expansion(tree):
    groups, build = tree
    raw = read_3mf(tree_archive(groups, build))
    expected = sum(expanded_area(groups, number, matrix(rows)) for number, rows in build)
    assert area(raw) == pytest.approx(expected, rel=1e-9)
    assert volume(raw) > 0


def test_the_reader_of_another_library_finds_the_same_bodies():
    turn = "0 1 0 -1 0 0 0 0 1 7 8 9"
    objects = box(1) + group(2, component(1, DOUBLE), component(1, turn)) + group(3, component(2, SHIFT))
    data = archive(model(objects, item(3, "1 0 0 0 1 0 0 0 1 0 0 500") + item(1, "1 0 0 0 1 0 0 0 1 0 0 900")))
    raw = read_3mf(data)
    other = trimesh.load(io.BytesIO(data), file_type="3mf").to_geometry()
    assert area(raw) == pytest.approx(other.area, rel=1e-12)
    assert volume(raw) == pytest.approx(other.volume, rel=1e-12)
    for mine, theirs in zip((raw.vertices.min(axis=0), raw.vertices.max(axis=0)), other.bounds, strict=True):
        assert mine == pytest.approx(theirs, rel=1e-12, abs=1e-9)


# what is refused: the model


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('v1="0"', 'v1="99"', "corner 99"),
        ('v1="0"', 'v1="8"', "corner 8"),
        ('v1="0"', 'v1="-1"', "-1"),
        ('v1="0"', 'v1="x"', '"x"'),
        ('v1="0"', 'v1="1 2"', '"1 2"'),
        ('v1="0"', 'v1="1.0"', '"1.0"'),
        ('v1="0"', 'v1="99999999999999999999"', "99999999999999999999"),
        ('v1="0"', 'w="0"', 'without "v1"'),
        ('x="20.0"', 'x="nan"', '"nan"'),
        ('x="20.0"', 'x="inf"', '"inf"'),
        ('x="20.0"', 'x="1e999"', '"1e999"'),
        ('x="20.0"', 'x="20,5"', '"20,5"'),
        ('x="20.0"', 'x="2_0"', '"2_0"'),
        ('x="20.0"', 'x="0x14"', '"0x14"'),
        ('x="20.0"', 'x="20 30"', '"20 30"'),
        ('x="20.0"', 'x="\u0662\u0660"', "where a number belongs"),
        ('x="20.0"', 'x=""', "where a number belongs"),
        ('x="20.0"', "", 'without "x"'),
        ("<triangles>", "<triangles><quad/>", '"quad"'),
        ("<vertices>", "<vertices><triangle v1='0' v2='1' v3='2'/>", 'outside of "triangles"'),
        ("</mesh>", "<vertices/></mesh>", '"vertices" twice'),
        ("</mesh>", "</mesh><mesh/>", '"mesh" twice'),
        ("</mesh>", "</mesh><components/>", "both a mesh and components"),
        ("</object>", '</object><object id="1"/>', "two objects of the number 1"),
        ('id="1"', "", 'without "id"'),
        ('id="1"', 'id="1" type="statue"', '"statue"'),
        ('objectid="1"', 'objectid="7"', "object 7"),
        ("<build>", "<build/><build>", '"build" twice'),
        ("</model>", "", "XML"),
        ("core/2015/02", "core/2013/01", "is no 3MF model"),
        ('unit="millimeter"', 'unit="millimeter" unit="inch"', "XML"),
        ('unit="millimeter"', 'requiredextensions="zz"', '"zz"'),
    ],
)
def test_a_model_that_breaks_the_specification_is_refused_with_the_place(old, new, said):
    text = model()
    assert old in text
    refused(archive(text.replace(old, new, 1)), said)


@pytest.mark.parametrize(
    ("transform", "said"),
    [
        ("1 0 0 0 1 0 0 0 0 0 0 0", "flattens"),
        ("0 0 0 0 0 0 0 0 0 0 0 0", "flattens"),
        ("1 2 3 2 4 6 0 0 1 0 0 0", "flattens"),
        ("nan 0 0 0 1 0 0 0 1 0 0 0", '"nan"'),
        ("1 0 0 0 1 0 0 0 1 0 0 inf", '"inf"'),
        ("1 0 0 0 1 0 0 0 1", "9 numbers"),
        ("1,0 0 0 0 1 0 0 0 1 0 0 0", '"1,0"'),
    ],
)
def test_a_transform_that_is_none_is_refused(transform, said):
    refused(archive(model(build=item(1, transform))), said)
    refused(archive(model(box(1) + group(2, component(1, transform)), item(2))), said)


def test_transforms_that_multiply_beyond_all_numbers_are_refused():
    huge = "1e99 0 0 0 1e99 0 0 0 1e99 0 0 0"
    objects = box(1) + "".join(group(k, component(k - 1, huge)) for k in range(2, 7))
    refused(archive(model(objects, item(6))), "where numbers end")


@pytest.mark.parametrize("name", ["beamlattice", "slice", "volumetric", "securecontent", "unheard-of"])
def test_a_required_extension_that_changes_the_shape_is_refused_by_name(name):
    uri = f"http://schemas.microsoft.com/3dmanufacturing/{name}/2017/02"
    refused(archive(model(attributes=f'xmlns:q="{uri}" requiredextensions="p q"')), name, "part-3mf-extension")


def test_a_beam_lattice_is_refused_even_if_it_may_be_passed_over():
    uri = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
    text = f'<object id="1">{mesh(extra=f"<b:beamlattice xmlns:b={uri!r}/>")}</object>'
    refused(archive(model(text)), "beam lattice", "part-3mf-extension")


def test_a_mesh_that_only_stands_in_for_slices_is_refused():
    uri = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
    text = box(1, f'xmlns:s="{uri}" s:meshresolution="lowres"')
    refused(archive(model(text)), "slices", "part-3mf-extension")


def test_an_object_whose_shape_is_in_an_extension_only_is_refused():
    uri = "http://schemas.3mf.io/3dmanufacturing/booleanoperations/2023/07"
    text = f'{box(1)}<object id="2"><o:booleanshape xmlns:o="{uri}"/></object>'
    refused(archive(model(text, item(2))), "booleanoperations", "part-3mf-extension")


def test_an_object_of_nothing_is_refused():
    refused(archive(model('<object id="1"/>')), "neither a mesh nor components")


@pytest.mark.parametrize("build", ["", item(1, "", 'printable="0"')])
def test_a_build_that_makes_nothing_is_refused_and_says_what_there_is(build):
    with pytest.raises(PartError) as caught:
        read_3mf(archive(model(build=build)))
    assert caught.value.slug == "part-mesh-empty"
    assert "object 1" in caught.value.hint


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("Metadata/Slic3r_PE_model.config", '<metadata type="volume" key="volume_type" value="NegativeVolume"/>'),
        ("Metadata/Slic3r_PE_model.config", '<metadata type="volume" key="modifier" value="1"/>'),
        ("Metadata/model_settings.config", '<part id="2" subtype="modifier_part">'),
    ],
)
def test_a_project_of_a_slicer_with_pieces_of_no_material_is_refused(name, content):
    refused(archive(parts={name: content}), "slicer", "part-3mf-kind")


def test_a_project_of_a_slicer_with_plain_pieces_is_read():
    content = '<metadata type="volume" key="volume_type" value="ModelPart"/><part id="2" subtype="normal_part">'
    parts = {"Metadata/Slic3r_PE_model.config": content, "Metadata/model_settings.config": content}
    assert area(read_3mf(archive(parts=parts))) == BOX_AREA


# what is refused: recursion and bombs


def cheap(data: bytes, said: str, slug: str = "part-mesh-format") -> None:
    """Refused in little time and with little memory."""
    tracemalloc.start()
    begin = time.process_time()
    refused(data, said, slug)
    spent, (_, peak) = time.process_time() - begin, tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert spent < 5
    assert peak < 50e6


def test_an_object_that_is_a_component_of_itself_is_refused():
    cheap(archive(model(group(1, component(1)))), "component of itself")
    cheap(archive(model(group(1, component(2)) + group(2, component(1)))), "component of itself")


def test_two_to_the_thirty_first_instances_are_refused_before_any_is_made():
    doubling = "".join(group(k, component(k - 1), component(k - 1)) for k in range(2, 33))
    cheap(archive(model(box(1) + doubling, item(32))), "expands to", "part-3mf-limit")
    empty = '<object id="1"><mesh><vertices/><triangles/></mesh></object>'
    cheap(archive(model(empty + doubling, item(32))), "expands to", "part-3mf-limit")


def test_objects_nested_too_deep_are_refused():
    chain = "".join(group(k, component(k - 1)) for k in range(2, 3001))
    cheap(archive(model(box(1) + chain, item(3000))), "deep", "part-3mf-limit")
    # also where the lower half was weighed before the upper
    cheap(archive(model(box(1) + chain, item(60) + item(110))), "deep", "part-3mf-limit")


def test_as_many_objects_within_objects_as_allowed_are_read():
    chain = "".join(group(k, component(k - 1)) for k in range(2, 65))
    assert area(read_3mf(archive(model(box(1) + chain, item(64))))) == BOX_AREA


def test_the_most_faces_are_a_limit_that_can_be_raised():
    data = archive(model(build=item(1) + item(1, SHIFT)))
    with pytest.raises(PartError):
        read_3mf(data, Inflation(faces=23))
    assert len(read_3mf(data, Inflation(faces=24)).faces) == 24


def test_allowing_a_larger_file_raises_the_limits_with_it():
    data = archive(model() + " " * 300_000)  # about 150 to 1
    with pytest.raises(PartError) as caught:
        read_bytes(data, ".3mf")
    assert "--most-size" in caught.value.hint
    assert len(read_bytes(data, ".3mf", 10 * USUAL.size).faces) == 12


def test_a_bomb_is_refused_before_it_is_inflated():
    cheap(archive(parts={"Metadata/thumbnail.png": bytes(30_000_000)}), "to 1", "part-3mf-limit")
    cheap(archive(model() + " " * 30_000_000), "to 1", "part-3mf-limit")


def test_a_bomb_beside_honest_parts_is_refused():
    honest = np.random.default_rng(1).bytes(1_000_000)
    cheap(archive(parts={"Metadata/a.bin": honest, "Metadata/b.bin": bytes(20_000_000)}), "to 1", "part-3mf-limit")


def test_an_archive_that_says_it_is_too_large_is_refused_before_it_is_inflated():
    with pytest.raises(PartError) as caught:
        read_3mf(archive(), Inflation(total=1000))
    assert caught.value.slug == "part-3mf-limit"


def test_many_small_bombs_count_together():
    parts = {f"Metadata/{k}.bin": bytes(99_000) for k in range(200)}
    cheap(archive(parts=parts), "to 1", "part-3mf-limit")


def test_a_size_that_lies_ends_inflating_where_it_said():
    data = bytearray(archive(model() + " " * 20_000_000))
    end = data.rindex(START.encode()) - 46  # the record of the model in the directory
    data[end + 24 : end + 28] = (5000).to_bytes(4, "little")
    cheap(bytes(data), "damaged")


def test_more_parts_than_any_model_has_are_refused():
    with pytest.raises(PartError) as caught:
        read_3mf(archive(), Inflation(parts=2))
    assert caught.value.slug == "part-3mf-limit"


@pytest.mark.parametrize(
    "declared",
    [
        '<!DOCTYPE model [<!ENTITY a "20">]>',
        '<!DOCTYPE model [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE model SYSTEM "http://localhost/none.dtd">',
        "<!DOCTYPE model>",
    ],
)
def test_document_types_and_entities_are_refused(declared):
    text = model().replace("?><model", f"?>{declared}<model")
    refused(archive(text), "document type")
    refused(archive(links=declared + relationships()), "document type")


def test_entities_that_multiply_are_refused_before_they_do():
    lines = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10}">' for k in range(1, 12))
    text = model().replace("?><model", f'?><!DOCTYPE model [<!ENTITY a0 "0">{lines}]><model').replace("20.0", "&a11;")
    cheap(archive(text), "document type")


# what is refused: the archive


@pytest.mark.parametrize(
    "name", ["../evil.model", "/etc/evil", "3D/../../evil", "C:/evil", "3D\\evil", "a" * 600, "\\\\host\\share"]
)
def test_names_that_lead_out_of_the_package_are_refused(name):
    refused(archive(parts={name: "x"}), "which no package may")


@pytest.mark.parametrize("path", ["../../etc/passwd", "/../x.model", "file:///etc/passwd", "3D\\x.model", ""])
def test_references_lead_to_parts_of_the_package_only(path):
    build = item(1, "", f'p:path="{path or "/"}"')
    refused(archive(model(build=build)), "has no part")
    refused(archive(links=relationships(path or "/")), "has no part")


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("again", [START, START.upper()])
def test_a_part_that_is_there_twice_is_refused(again):
    data = zipped([("_rels/.rels", relationships()), (START, model()), (again, model(box(sizes=(1, 1, 1))))])
    refused(data, "twice")


def test_archives_without_what_a_package_needs_are_refused():
    refused(zipped([(START, model())]), "no relationships")
    refused(zipped([("_rels/.rels", relationships())]), "has no part")
    refused(archive(links=relationships(kind="urn:thumbnail")), "name 0 models")
    again = relationships().split(">", 1)[1].replace("</Relationships>", "")
    refused(archive(links=relationships(more=again)), "name 2 models")
    refused(archive(links=relationships().replace("Id=", 'TargetMode="External" Id=')), "outside it")
    keys = again.replace(relationships().split('Type="')[1].split('"')[0], KEYS)
    refused(archive(links=relationships(more=keys)), "encrypted", "part-3mf-extension")


KEYS = "http://schemas.microsoft.com/3dmanufacturing/2019/04/keystore"


def test_an_encrypted_part_is_refused():
    data = bytearray(archive())
    for mark, offset in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        at = -1
        while (at := data.find(mark, at + 1)) >= 0:
            data[at + offset] |= 1
    refused(bytes(data), "encrypted")


def test_a_part_packed_by_another_method_is_refused():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_LZMA) as file:
        file.writestr("_rels/.rels", relationships())
        file.writestr(START, model())
    refused(buffer.getvalue(), "packed in a way")


def test_a_changed_byte_of_the_model_is_refused():
    data = bytearray(archive())
    at = data.index(START.encode()) + len(START) + 60
    data[at] ^= 0x10
    refused(bytes(data), "damaged")


def test_a_file_that_is_no_archive_is_refused():
    refused(b"", "ZIP")
    refused(b"solid x\nendsolid x\n", "ZIP")
    refused(b"junk" + archive(), "ZIP")
    refused(archive() + b"junk", "does not end")


def test_an_archive_cut_anywhere_is_refused():
    data = archive()
    for length in range(len(data)):
        with pytest.raises(PartError):
            read_3mf(data[:length])


def test_a_comment_at_the_end_of_the_archive_is_allowed():
    data = archive()
    assert area(read_3mf(data[:-2] + b"\3\0abc")) == BOX_AREA


def test_changed_bytes_never_give_another_area():
    data, random = archive(), np.random.default_rng(7)
    answers = 0
    for _ in range(2000):
        changed = bytearray(data)
        for at in random.integers(0, len(data), random.integers(1, 4)):
            changed[at] = random.integers(0, 256)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                raw = read_3mf(bytes(changed))
        except PartError:
            continue
        answers += 1
        assert area(raw) == BOX_AREA
    assert answers < 1000


def test_changed_words_of_the_model_never_give_anything_but_a_mesh_or_a_refusal():
    text, random = model(box(1) + group(2, component(1, DOUBLE)), item(2)).encode(), np.random.default_rng(8)
    for _ in range(1000):
        changed = bytearray(text)
        for at in random.integers(0, len(text), random.integers(1, 3)):
            changed[at] = random.choice(list(b"0123456789.-eE<>/ \"'=xyz\xff"))
        try:
            raw = read_3mf(archive(bytes(changed)))
        except PartError:
            continue
        assert np.isfinite(raw.vertices).all()
        assert raw.faces.max() < len(raw.vertices)


def test_nothing_is_written_to_disk(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    read_3mf(archive(parts={"Metadata/evil.sh": "x"}))
    assert list(tmp_path.iterdir()) == []


# the corpus of real files, where it is at hand


def corpus() -> Path | None:
    """Folder of the corpus: named by GEOM_CORPUS, else beside the checkout."""
    named = os.environ.get("GEOM_CORPUS")
    folder = Path(named) if named else Path(__file__).resolve().parents[3] / "shared" / "meshes"
    return folder if (folder / "index_open.csv").is_file() else None


@pytest.mark.corpus
@pytest.mark.skipif(corpus() is None, reason="the corpus of meshes is not here")
def test_files_of_the_corpus_are_right_or_refused():
    folder, wrong, right = corpus(), [], 0
    assert folder is not None
    with (folder / "index_open.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["file"].endswith(".3mf")]
    for row in rows:
        truth = row["true_area_mm2"] or (row["area"] if row["set"] == "good" else "")
        try:
            raw = read_3mf((folder / row["file"]).read_bytes())
        except PartError as error:
            if row["expect"] == "ACCEPT" or row["set"] == "good":
                wrong.append(f"{row['name']}: refused, {error.message}")
            continue
        scale = 1.0 if row["set"] == "good" or raw.unit is None else (raw.unit / MM) ** 2
        if truth and math.isclose(area(raw) * scale, float(truth), rel_tol=1e-6):
            right += 1
        else:
            wrong.append(f"{row['name']}: {area(raw) * scale}, on record {truth}, {row['expect']}")
    assert wrong == []
    assert right >= 10
