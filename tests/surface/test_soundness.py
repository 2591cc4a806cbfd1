"""Counting what is wrong with a set of faces, on solids spoiled by hand; trimesh gives the second opinion."""

import numpy as np
import trimesh

from geom.surface.soundness import (
    body_of_face,
    doubled_faces,
    edge_report,
    smooth_groups,
    touching_vertices,
    welded,
)


def box_faces() -> np.ndarray:
    return np.array(trimesh.creation.box().faces, dtype=np.int64)


def test_closed_box_has_eighteen_edges_and_no_defect() -> None:
    report = edge_report(box_faces())
    assert report.is_closed
    assert len(report.pairs) == 18
    assert len(doubled_faces(box_faces())) == len(touching_vertices(box_faces(), report.pairs)) == 0


def test_each_removed_face_opens_three_edges() -> None:
    report = edge_report(box_faces()[1:])
    assert len(report.open) == 3
    assert {frozenset(edge) for edge in report.open.tolist()} == {
        frozenset(pair) for pair in zip(box_faces()[0].tolist(), np.roll(box_faces()[0], 1).tolist(), strict=True)
    }


def test_a_flipped_face_twists_three_edges() -> None:
    faces = box_faces()
    faces[4] = faces[4, ::-1]
    report = edge_report(faces)
    assert (len(report.open), len(report.crowded), len(report.twisted)) == (0, 0, 3)


def test_a_third_face_crowds_its_edge() -> None:
    faces = np.append(box_faces(), [[*box_faces()[0][:2], 8]], axis=0)
    report = edge_report(faces)
    assert (len(report.open), len(report.crowded)) == (2, 1)


def test_a_face_laid_on_another_is_found_either_way_round() -> None:
    faces = box_faces()
    spoiled = np.concatenate([faces, faces[[2]][:, ::-1], faces[[7]][:, [1, 2, 0]]])
    assert doubled_faces(spoiled).tolist() == [12, 13]


def test_two_bodies_that_share_a_corner_are_two_and_touch_there() -> None:
    one = box_faces()
    two = one + 8
    two[two == 8] = 7
    faces = np.concatenate([one, two])
    report = edge_report(faces)
    assert report.is_closed
    assert body_of_face(faces, report.pairs).max() == 1
    assert touching_vertices(faces, report.pairs).tolist() == [7]


def test_smooth_pieces_of_a_box_are_its_six_sides() -> None:
    box = trimesh.creation.box()
    pairs = edge_report(box_faces()).pairs
    group = smooth_groups(pairs, np.array(box.face_normals), np.radians(30))
    assert len(np.unique(group)) == 6
    for number in range(6):
        assert len(np.unique(np.round(box.face_normals[group == number], 9), axis=0)) == 1


def test_welding_joins_near_corners_and_tells_the_faces_that_collapse() -> None:
    box = trimesh.creation.box()
    soup = np.array(box.triangles).reshape(-1, 3)
    soup += np.random.default_rng(1).uniform(-1, 1, soup.shape) * 1e-9
    needle = [[0.5, 0.5, 0.5], [0.5, 0.5, 0.5 + 1e-9], [0, 0, 0]]
    faces = np.arange(len(soup) + 3).reshape(-1, 3)
    vertices, joined, real = welded(np.concatenate([soup, needle]), faces, 1e-7)
    assert real.tolist() == [True] * 12 + [False]
    assert len(np.unique(joined[real])) == 8
    assert edge_report(joined[real]).is_closed
    assert len(vertices) == 9
