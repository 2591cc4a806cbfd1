"""Threads and roughness: how much more area there is than is drawn.

A metric thread has the 60° basic profile of ISO 68-1 (from memory): a triangle of height H = 0.866 P, cut off by
H / 8 at the crest of the bolt and by H / 4 at its root. For each pitch P along the axis that leaves a flat of P / 8
at the nominal diameter D, a flat of P / 4 at the minor diameter d = D - 1.0825 P, and two flanks 0.625 P long each
(5 H / 8 high, 30° to the radius) at the mean of both diameters. With the lead angle left out, a share under 1e-3,

    area per length of cylinder / pi = D / 8 + d / 4 + 2 * 0.625 * (D + d) / 2

which over the diameter that is drawn gives the factor: about 1.5 to 1.6 for a bolt drawn at its nominal diameter.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

from geom.errors import PartError
from geom.feature import Feature
from geom.part.masks import Thread
from geom.part.naming import called
from geom.part.part import Part
from geom.wording import mm

HEIGHT = math.sqrt(3) / 2 * 5 / 8  # of the thread, over the pitch


def profile_factor(pitch: float, diameter: float, drawn: float) -> float:
    """Return the area of a 60° thread over that of the plain cylinder of diameter ``drawn`` [m]."""
    minor = diameter - 2 * HEIGHT * pitch
    return (diameter / 8 + minor / 4 + 0.625 * (diameter + minor)) / drawn


def threaded(part: Part, threads: Sequence[Thread], roughness: float = 1.0) -> Part:
    """Return the part with the area factors of its threads, and of its roughness everywhere, on its features.

    Raises
    ------
    PartError
        where there is no such feature, or a thread deeper than its cylinder.
    """
    factors = [1.0] * len(part.features)
    for number, thread in enumerate(threads, 1):
        where = f"[[thread]] number {number}"
        for tag in called(part, thread.feature, where=where):
            factors[tag] = thread.factor or _of_profile(thread, part.features[tag], where)
    if not threads and roughness == 1.0:
        return part
    features = tuple(
        replace(feature, factor=feature.factor * factor * roughness)
        for feature, factor in zip(part.features, factors, strict=True)
    )
    return replace(part, features=features)


def _of_profile(thread: Thread, feature: Feature, where: str) -> float:
    """Return the factor by the profile; a feature without a width of its own is drawn at the nominal diameter."""
    if 2 * HEIGHT * thread.pitch >= 0.9 * thread.diameter:
        raise PartError(
            "thread-too-deep",
            f"a pitch of {mm(thread.pitch)} mm leaves no core of a thread {mm(thread.diameter)} mm in diameter",
            where=where,
            hint="look at pitch and diameter: an M8 thread has 1.25 mm and 8 mm",
        )
    drawn = feature.width or 2 * feature.radius or thread.diameter
    if not 0.7 * thread.diameter <= drawn <= 1.1 * thread.diameter:
        raise PartError(
            "thread-does-not-fit",
            f"{feature.name} is drawn {mm(drawn)} mm wide: no cylinder for a thread {mm(thread.diameter)} mm in diameter",
            where=where,
            hint="name the bore or rod that has the thread, or give its factor",
        )
    return profile_factor(thread.pitch, thread.diameter, drawn)
