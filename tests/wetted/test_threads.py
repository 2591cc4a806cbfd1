"""Area factors of threads: the profile against lengths added up from its drawing, and where the factor goes."""

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.errors import PartError
from geom.part.build import build_part
from geom.part.masking import masked
from geom.part.masks import StopOffBox, Thread
from geom.part.shapes import Bar, Hole, Rod
from geom.part.threads import profile_factor, threaded

MM = 1e-3


def revolved(pitch: float, diameter: float) -> float:
    """Area of one pitch of the 60° basic profile of ISO 68-1 (from memory), turned round the axis corner by corner."""
    height = math.sqrt(3) / 2 * pitch
    crest, root = diameter / 2, diameter / 2 - 5 / 8 * height
    flank = (crest - root) * math.tan(math.radians(30))
    corners = [(0.0, crest), (pitch / 8, crest), (pitch / 8 + flank, root), (pitch / 8 + flank + pitch / 4, root)]
    corners.append((corners[-1][0] + flank, crest))
    assert_allclose(corners[-1][0], pitch, rtol=1e-12, atol=0)
    pairs = pairwise(corners)
    return math.fsum(math.pi * (r + s) * math.hypot(x - y, r - s) for (x, r), (y, s) in pairs)


@pytest.mark.parametrize(("pitch", "diameter"), [(0.7, 4.0), (1.25, 8.0), (1.75, 12.0), (3.0, 24.0)])
def test_the_factor_is_the_area_of_the_turned_profile(pitch: float, diameter: float):
    plain = math.pi * diameter * pitch
    assert_allclose(profile_factor(pitch, diameter, diameter), revolved(pitch, diameter) / plain, rtol=1e-12, atol=0)


def test_a_fine_thread_tends_to_the_length_of_its_profile():
    """One eighth and one quarter of flats, and two flanks of 5/8 of the pitch: 1.625 pitches."""
    assert_allclose(profile_factor(1e-6, 1.0, 1.0), 1.625, rtol=1e-5, atol=0)


def test_a_finer_facet_by_facet_helix_has_the_same_area():
    """The lead that the factor leaves out: a thread of M8 x 1.25 swept round by small quads."""
    pitch, diameter = 1.25, 8.0
    height, turns, around = math.sqrt(3) / 2 * pitch, 1, 400
    crest, root = diameter / 2, diameter / 2 - 5 / 8 * height
    along = np.array([0.0, 1 / 8, 1 / 8 + 5 / 16, 3 / 8 + 5 / 16, 1.0]) * pitch
    places = np.concatenate([np.linspace(a, b, 9)[:-1] for a, b in pairwise(along)] + [along[-1:]])
    radius = np.interp(places, along, [crest, crest, root, root, crest])
    angle = np.linspace(0, 2 * math.pi * turns, around + 1)[:, None]
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), places + pitch * angle / (2 * math.pi)], axis=-1)
    a, b, c, d = points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]
    area = 0.5 * sum(np.linalg.norm(np.cross(q - p, r - p), axis=-1).sum() for p, q, r in ((a, b, c), (a, c, d)))
    assert_allclose(profile_factor(pitch, diameter, diameter), area / (math.pi * diameter * pitch), rtol=2e-3, atol=0)


def test_factors_of_thread_and_roughness_multiply():
    part = build_part(Bar(60 * MM, 20 * MM, 4 * MM, holes=(Hole(6.8 * MM, (0, 0)),)))
    done = threaded(part, [Thread("bore 1", factor=1.5)], roughness=1.1)
    found = {feature.name: feature.factor for feature in done.features}
    assert_allclose(found.pop("bore 1 (6.8 mm)"), 1.65, rtol=1e-12, atol=0)
    assert set(found.values()) == {1.1}
    assert done.area == part.area
    assert_allclose(done.true_area, 1.1 * part.area + 0.55 * math.pi * 6.8 * 4 * MM**2, rtol=1e-12, atol=0)


def test_a_nut_is_drawn_at_its_core_and_a_bolt_at_its_nominal_diameter():
    nut = threaded(
        build_part(Bar(60 * MM, 20 * MM, 4 * MM, holes=(Hole(6.8 * MM, (0, 0)),))),
        [Thread("bore 1", pitch=1.25 * MM, diameter=8 * MM)],
    )
    bolt = threaded(build_part(Rod(40 * MM, 8 * MM)), [Thread("round side", pitch=1.25 * MM, diameter=8 * MM)])
    turned = revolved(1.25, 8) / (math.pi * 1.25)
    assert_allclose([f.factor for f in nut.features if f.factor != 1], turned / 6.8, rtol=1e-12, atol=0)
    assert_allclose([f.factor for f in bolt.features if f.factor != 1], turned / 8, rtol=1e-12, atol=0)


def test_the_pieces_of_a_thread_that_is_half_masked_keep_its_factor():
    rod = threaded(build_part(Rod(40 * MM, 8 * MM)), [Thread("round side", factor=1.5)])
    part = masked(rod, [StopOffBox((0, -1, -1), (1, 1, 1))])
    assert {f.name: f.factor for f in part.features if "side" in f.name} == {
        "round side": 1.5,
        "round side, stopped off": 1.5,
    }


@pytest.mark.parametrize(
    ("thread", "slug"),
    [
        (Thread("bore 2", factor=1.5), "feature-unknown"),
        (Thread("bore 1", pitch=7 * MM, diameter=8 * MM), "thread-too-deep"),
        (Thread("bore 1", pitch=1.25 * MM, diameter=20 * MM), "thread-does-not-fit"),
    ],
)
def test_a_thread_that_cannot_be_is_refused(thread: Thread, slug: str):
    part = build_part(Bar(60 * MM, 20 * MM, 4 * MM, holes=(Hole(6.8 * MM, (0, 0)),)))
    with pytest.raises(PartError) as refusal:
        threaded(part, [thread])
    assert (refusal.value.slug, refusal.value.where) == (slug, "[[thread]] number 1")
