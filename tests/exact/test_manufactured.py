"""Potentials known beforehand: harmonic polynomials, point sources and dipoles on the far side of the surface.

The solver is given the potential on every panel and asked for the current. Theory for piecewise constant values:
second order away from edges of the metal; panels that touch an edge keep an error of a few percent, since the
potential of a panel is one number there, and their share of the area falls as the panel size: first order over all.
"""

import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from helpers.manufactured import Asked, Known, dipole, polynomial, source
from helpers.meshes import cube, icosphere, turned_over
from helpers.order import observed_order
from helpers.validation import record

from geom.arrays import Floats
from geom.part.files import read_mesh
from geom.surface.remesh import remeshed
from geom.surface.sizing import GradedSize
from geom.surface.surface import Surface

MM = 1e-3
CLAMP = Path(__file__).parents[2] / "samples" / "clamp" / "clamp.stl"
MOMENT = np.array([1.0, 2.0, 3.0])
HALVING = (1.0, 0.5, 0.25)


def outside(surface: Surface) -> dict[str, Known]:
    """Potentials without a source within the bounds of a surface."""
    low, high = surface.bounds
    size = float((high - low).max())
    return {
        "polynomial of the third degree": polynomial(0.5 * (low + high), size),
        "point source outside": source(high + 0.25 * size),
        "dipole outside": dipole(high + 0.25 * size, size * MOMENT),
    }


def within(at: Floats) -> dict[str, Known]:
    """Potentials with their source in the metal, for liquid without end round it."""
    return {"point source in the metal": source(at), "dipole in the metal": dipole(at, MOMENT)}


def mean_misses(case: str, meshes: list[Asked], sizes: list[float], known: Known, name: str, least: float) -> float:
    """Return the observed order of the mean miss over all panels, recorded."""
    found = [mesh.mean_miss(known) for mesh in meshes]
    order = observed_order(sizes, found)
    assert order > least
    record(
        "manufactured",
        case,
        name,
        found[-1],
        f"order at least {least:g}",
        panels=len(meshes[-1].surface.faces),
        order=order,
        bound=found[-1],
    )
    return order


@cache
def balls(*, enclosed: bool) -> list[Asked]:
    bodies = [icosphere(level) for level in (1, 2, 3)]
    return [Asked(body if enclosed else turned_over(body), enclosed) for body in bodies]


@cache
def cubes(*, enclosed: bool) -> list[Asked]:
    bodies = [cube(n) for n in (2, 4, 8)]
    return [Asked(body if enclosed else turned_over(body), enclosed) for body in bodies]


@pytest.mark.parametrize("name", outside(icosphere(0)))
def test_the_current_of_a_known_potential_in_a_ball_converges_at_second_order(name: str) -> None:
    known = outside(icosphere(0))[name]
    assert mean_misses("ball of liquid", balls(enclosed=True), [*HALVING], known, name, 1.6) < 2.4


@pytest.mark.parametrize("name", within(np.zeros(3)))
def test_the_current_of_a_known_potential_round_a_ball_converges_at_second_order(name: str) -> None:
    known = within(np.array([0.3, -0.2, 0.1]))[name]
    assert mean_misses("liquid round a ball", balls(enclosed=False), [*HALVING], known, name, 1.6) < 2.4


@pytest.mark.parametrize("name", [*outside(cube(1)), *within(np.zeros(3))])
def test_round_edges_and_away_from_them_a_cube_converges_as_theory_says(name: str) -> None:
    enclosed = name in outside(cube(1))
    known = outside(cube(1))[name] if enclosed else within(np.array([0.1, 0.05, 0.0]))[name]
    meshes = cubes(enclosed=enclosed)
    case = "cube of liquid" if enclosed else "liquid round a cube"
    assert mean_misses(case, meshes, [*HALVING], known, name, 0.7) < 1.6
    far = [np.sort(0.5 - np.abs(mesh.surface.centroids), axis=1)[:, 1] > 0.15 for mesh in meshes]
    found = [mesh.mean_miss(known, rows) for mesh, rows in zip(meshes, far, strict=True)]
    order = observed_order(HALVING, found)
    assert order > 1.5
    quantity, least = f"{name}, away from edges", "order at least 1.5"
    record("manufactured", case, quantity, found[-1], least, order=order, bound=found[-1])


def asked_part(path: Path, unit: float, size: float) -> Asked:
    """A part's surface in even panels, liquid inside it."""
    return Asked(remeshed(read_mesh(path, unit).surface, GradedSize((), size, 1e-7)), enclosed=True)


def spacing(mesh: Asked) -> float:
    """Mean panel size [m]."""
    return float(np.sqrt(mesh.surface.area / len(mesh.surface.faces)))


@cache
def clamps() -> list[Asked]:
    return [asked_part(CLAMP, MM, size * MM) for size in (5.0, 2.5, 1.7)]


def test_row_sums_on_a_real_part_obey_the_theorem_of_gauss() -> None:
    """The double layer of a closed surface sums to -1/2 on it; panels far away enter by few points only."""
    miss = max(mesh.operators.gauss_error for mesh in clamps())
    assert miss < 2e-4
    record("identities", "cable clamp", "largest row sum against Gauss's theorem", miss, "at most 0.0002", bound=2e-4)


@pytest.mark.parametrize("name", outside(cube(1)))
def test_greens_identity_holds_the_better_the_finer_the_panels_of_a_real_part(name: str) -> None:
    """phi / 2 + double layer of phi = single layer of its normal derivative, with the exact values of both."""
    known = outside(clamps()[0].surface)[name]
    misses = [mesh.green_miss(known) for mesh in clamps()]
    order = observed_order([spacing(mesh) for mesh in clamps()], misses)
    assert order > 1.5
    quantity = f"Green's identity, {name}"
    record("identities", "cable clamp", quantity, misses[-1], "order at least 1.5", order=order, bound=misses[-1])


@pytest.mark.parametrize("name", outside(cube(1)))
def test_the_current_of_a_known_potential_converges_at_first_order_on_a_real_part(name: str) -> None:
    meshes = clamps()
    known = outside(meshes[0].surface)[name]
    assert mean_misses("cable clamp", meshes, [spacing(mesh) for mesh in meshes], known, name, 0.75) < 1.5
    net = [float(mesh.flux(known) @ mesh.surface.areas) for mesh in meshes[-1:]]
    size = float(np.abs(meshes[-1].flux(known)) @ meshes[-1].surface.areas)
    assert abs(net[0]) < 2e-3 * size  # what flows in flows out


def corpus_part(name: str) -> Path:
    """A file of the shared corpus of real parts, or a skipped test."""
    named = os.environ.get("GEOM_CORPUS")
    folder = Path(named) if named else Path(__file__).resolve().parents[3] / "shared" / "meshes"
    path = folder / "good" / "open" / name
    if not path.is_file():
        pytest.skip("the corpus of meshes is not here")
    return path


@pytest.mark.corpus
@pytest.mark.parametrize("name", ["pyvista__nut.ply", "Voron-0__Middle_Clip_x9.stl", "numpy-stl__HalfDonut.stl"])
def test_parts_of_the_corpus_converge_at_first_order_or_better(name: str) -> None:
    path = corpus_part(name)
    whole = read_mesh(path, MM).surface
    edge = float(np.sqrt(whole.area / 300))
    meshes = [asked_part(path, MM, edge * share) for share in (1.6, 0.9, 0.6)]
    for known in outside(whole).values():
        assert (
            0.75 < observed_order([spacing(mesh) for mesh in meshes], [mesh.mean_miss(known) for mesh in meshes]) < 2.4
        )
