"""A cylinder and a sphere off the centre of a round anode, with a linear law on the inner one.

Radius 1 in radius 3, axes 1 apart. Primary cylinders: bipolar coordinates (Smythe, Static and Dynamic Electricity); all
else: spectral solutions of our own, boundary residual under 1e-14.
"""

import math
from functools import cache

import numpy as np
import pytest
from helpers.kept import Kept
from helpers.meshes import icosphere, turned_over
from helpers.order import observed_order
from helpers.revolved import evened
from helpers.slabs import slab
from helpers.validation import hold
from numpy.polynomial import chebyshev, legendre

from geom.arrays import Floats
from geom.electrode.laws import Linear
from geom.surface.solid import joined
from geom.surface.surface import Surface

TABLE = "eccentric"
SPECTRAL = "spectral solution of our own"
SHIFT, OUTER = 1.0, 3.0
HEIGHT = 4.0


@cache
def cylinders(n: int = 32) -> Kept:
    """The ring between them, in ``n`` steps."""
    inner, outer = evened(n), OUTER * evened(n)

    def place(s: Floats, t: Floats) -> tuple[Floats, Floats]:
        share = (OUTER**s - 1.0) / (OUTER - 1.0)  # finer towards the inner one
        radius = inner + share * (outer - inner)
        return radius * np.cos(t) + share * SHIFT, radius * np.sin(t)

    radial, angle = np.linspace(0.0, 1.0, n // 4 + 1), np.linspace(0.0, 2 * math.pi, n + 1)
    return Kept(slab(place, radial, angle, (1, 2, None, None), HEIGHT))


@pytest.mark.parametrize(
    ("wagner", "conductance", "near", "far"),
    [
        (0.0, 6.52850260527299, 1.34164078649987, 0.74535599249993),
        (0.1, 5.8927870044, 1.2957091775, 0.7722135404),
        (1.0, 3.1719318118, 1.1362929547, 0.8845541982),
        (2.0, 2.1043100089, 1.0856192169, 0.9256761549),
    ],
)
def test_eccentric_cylinders_agree_with_the_closed_form_or_the_spectral_solution(
    wagner: float, conductance: float, near: float, far: float
) -> None:
    """kappa R_ct / radius: G / (kappa length), i / mean nearest to and farthest from the anode."""
    cell = cylinders()
    found = cell.solved(Linear(wagner) if wagner else None)
    case, whose = f"cylinders, Wa {wagner:g}", SPECTRAL if wagner else "closed form"
    got = found.cathode_current / HEIGHT
    hold(TABLE, case, "conductance / (kappa length)", got, conductance, rtol=4e-3, panels=cell.panels, source=whose)
    centroids = cell.surface.centroids[cell.here]
    cosine = np.cos(np.arctan2(centroids[:, 1], centroids[:, 0]))
    fit = chebyshev.chebfit(cosine, cell.density(found) / cell.mean(found), 6)  # a cosine series in the angle
    for name, place, known in (("farthest", 1.0, far), ("nearest", -1.0, near)):
        value = float(chebyshev.chebval(place, fit))
        hold(TABLE, case, f"i / mean {name}", value, known, rtol=5e-3, panels=cell.panels, source=whose)


def test_primary_conductance_of_eccentric_cylinders_converges_at_second_order() -> None:
    exact = 2 * math.pi / math.acosh((1 + OUTER**2 - SHIFT**2) / (2 * OUTER))
    found = [cylinders(n).solved().cathode_current / HEIGHT for n in (16, 24, 32)]
    order = observed_order((1 / 16, 1 / 24, 1 / 32), np.array(found) - exact)
    assert order > 1.7
    panels, case, whose = cylinders(32).panels, "cylinders, Wa 0", "closed form"
    hold(TABLE, case, "the same, three meshes", found[-1], exact, rtol=4e-3, panels=panels, source=whose, order=order)


def round_as_its_sphere(level: int, radius: float, tag: int) -> Surface:
    """An icosphere of the volume of the sphere: the mean of its radius is right to second order."""
    ball = icosphere(level, radius, tag)
    stretch = (4 / 3 * math.pi * radius**3 / ball.volume) ** (1 / 3)
    return Surface(ball.vertices * stretch, ball.faces, ball.tag)


@cache
def spheres() -> Kept:
    shell = round_as_its_sphere(2, OUTER, 2).moved(np.eye(3), np.array([SHIFT, 0.0, 0.0]))
    return Kept(joined([turned_over(round_as_its_sphere(3, 1.0, 1)), shell]))


@pytest.mark.parametrize(
    ("wagner", "conductance", "shares"),
    [
        (0.0, 1.6061115265, (0.8781852522, 0.9838211172, 1.190294162)),
        (0.1, 1.3826462498, (0.8983260103, 0.9879063008, 1.1523846536)),
        (1.0, 0.6153812921, (0.9595515038, 0.9963984072, 1.0553298213)),
        (2.0, 0.3808872821, (0.9758129525, 0.9979891557, 1.032475661)),
    ],
)
def test_eccentric_spheres_agree_with_the_spectral_solution(
    wagner: float, conductance: float, shares: tuple[float, ...]
) -> None:
    """G / (4 pi kappa a); i / mean at the pole far from the anode, on the equator, at the near pole."""
    cell = spheres()
    found = cell.solved(Linear(wagner) if wagner else None)
    case = f"spheres, Wa {wagner:g}"
    got = found.cathode_current / (4 * math.pi)
    hold(TABLE, case, "conductance / (4 pi kappa a)", got, conductance, rtol=3e-3, panels=cell.panels, source=SPECTRAL)
    axis = cell.surface.centroids[cell.here]
    cosine = axis[:, 0] / np.linalg.norm(axis, axis=1)
    fit = legendre.legfit(cosine, cell.density(found) / cell.mean(found), 6, w=np.sqrt(cell.areas))
    for name, place, known in zip(("far pole", "equator", "near pole"), (1.0, 0.0, -1.0), shares, strict=True):
        value = float(legendre.legval(place, fit))
        hold(TABLE, case, f"i / mean at {name}", value, known, rtol=4e-3, panels=cell.panels, source=SPECTRAL)
