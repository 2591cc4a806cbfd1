"""Dimensions that cannot be are refused, each under its slug and with the numbers that clash."""

import math

import pytest

from geom.errors import PartError
from geom.part.build import build_part
from geom.part.shapes import Angle, Bar, Channel, Hole, Offset, Outline, Rod, Shape, Tube, Washer

SQUARE = ((0.0, 0.0), (0.02, 0.0), (0.02, 0.02), (0.0, 0.02))
BOW = ((0.0, 0.0), (0.02, 0.02), (0.02, 0.0), (0.0, 0.02))

REFUSED: list[tuple[str, str, Shape]] = [
    ("part-dimensions", "zero", Bar(0.0, 0.02, 0.003)),
    ("part-dimensions", "zero", Bar(0.1, -0.02, 0.003)),
    ("part-dimensions", "nan", Bar(0.1, 0.02, math.nan)),
    ("part-dimensions", "inf", Rod(math.inf, 0.01)),
    ("part-dimensions", "look at the unit", Rod(1000.0, 0.01)),
    ("part-dimensions", "1.5 mm", Bar(0.1, 0.02, 0.003, 0.0016)),
    ("part-dimensions", "-0.1 mm", Bar(0.1, 0.02, 0.003, -0.0001)),
    ("part-dimensions", "zero", Bar(0.1, 0.02, 0.003, holes=(Hole(0.0, (0, 0)),))),
    ("part-dimensions", "overall", Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (0, 0), 0.004),))),
    ("part-dimensions", "finite", Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (math.nan, 0)),))),
    ("part-hole-outside", "-50 to 50 mm", Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (0.06, 0)),))),
    ("part-hole-outside", "overlap by 1 mm", Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (0.047, 0)),))),
    ("part-hole-outside", "0.01 mm", Bar(0.1, 0.02, 0.003, holes=(Hole(0.01998, (0, 0)),))),
    ("part-hole-outside", "overlap", Bar(0.1, 0.02, 0.003, 0.0015, (Hole(0.018, (0, 0)),))),
    ("part-hole-outside", "slot 1", Bar(0.1, 0.02, 0.003, holes=(Hole(0.006, (0, 0), 0.03, 1.5),))),
    ("part-holes-overlap", "bore 2", Bar(0.1, 0.02, 0.003, holes=(Hole(0.008, (0, 0)), Hole(0.008, (0.005, 0))))),
    ("part-dimensions", "rod", Tube(0.1, 0.01, 0.005)),
    ("part-dimensions", "flattened", Tube(0.1, 0.015, 0.001, 0.002)),
    ("part-dimensions", "flattened", Tube(0.1, 0.015, 0.001, 0.016)),
    ("part-hole-outside", "round tube", Tube(0.1, 0.015, 0.001, holes=(Hole(0.004, (0, 0)),))),
    ("part-hole-outside", "flat of the tube", Tube(0.1, 0.015, 0.001, 0.004, (Hole(0.004, (0, 0.008)),))),
    ("part-dimensions", "bore", Washer(0.02, 0.02, 0.002)),
    ("part-dimensions", "bore", Washer(0.02, 0.025, 0.002)),
    ("part-bend", "length", Angle(0.005, 0.03, 0.02, 0.003, 0.003)),
    ("part-bend", "height", Angle(0.05, 0.006, 0.02, 0.003, 0.003)),
    ("part-bend", "180 degrees", Angle(0.05, 0.03, 0.02, 0.003, 0.003, math.pi)),
    ("part-bend", "0 degrees", Angle(0.05, 0.03, 0.02, 0.003, 0.003, 0.0)),
    ("part-dimensions", "inside radius", Angle(0.05, 0.03, 0.02, 0.003, -0.001)),
    ("part-hole-outside", "leg 1", Angle(0.05, 0.03, 0.02, 0.003, 0.003, holes=(Hole(0.008, (-0.018, 0)),))),
    ("part-bend", "width", Channel(0.1, 0.01, 0.02, 0.003, 0.003)),
    ("part-bend", "height", Channel(0.1, 0.03, 0.005, 0.003, 0.003)),
    ("part-hole-outside", "web", Channel(0.1, 0.03, 0.02, 0.003, 0.003, (Hole(0.02, (0, 0)),))),
    ("part-bend", "two bends alone", Offset(0.1, 0.02, 0.003, 0.008, 0.003)),
    ("part-bend", "length", Offset(0.009, 0.02, 0.003, 0.02, 0.003)),
    ("part-bend", "100 degrees", Offset(0.1, 0.02, 0.003, 0.02, 0.003, math.radians(100))),
    ("part-hole-outside", "leg", Offset(0.1, 0.02, 0.003, 0.02, 0.003, holes=(Hole(0.008, (0, 0)),))),
    ("part-outline", "crosses", Outline(BOW, 0.002)),
    ("part-outline", "fewer than three", Outline(SQUARE[:2], 0.002)),
    ("part-outline", "crosses or touches", Outline(((0, 0), (0.01, 0), (0.02, 0)), 0.002)),
    ("part-outline", "finite", Outline((*SQUARE[:3], (math.nan, 0.0)), 0.002)),
    ("part-outline", "cutout", Outline(SQUARE, 0.002, (((0.01, 0.01), (0.03, 0.01), (0.01, 0.015)),))),
    ("part-outline", "metal", Outline(SQUARE, 0.002, (((0.01, 0.00001), (0.015, 0.01), (0.01, 0.015)),))),
    ("part-hole-outside", "outline", Outline(SQUARE, 0.002, holes=(Hole(0.004, (0.03, 0.01)),))),
]


@pytest.mark.parametrize(("slug", "words", "shape"), REFUSED)
def test_impossible_part_is_refused_with_its_reason(slug: str, words: str, shape: Shape) -> None:
    with pytest.raises(PartError) as caught:
        build_part(shape)
    assert caught.value.slug == slug
    assert words in str(caught.value)
