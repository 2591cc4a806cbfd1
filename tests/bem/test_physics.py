"""What holds for any cell, to the figure each law of physics allows, in double precision and to a tight tolerance.

Linearity, scale and the Wagner number, symmetry and numbering hold for the equations as they are discretised: to
1e-6 and better. Charge, reciprocity and energy hold for the exact field: as far as the panels resolve it.
"""

import hashlib
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from helpers.electrodes import ONE_VOLT, rows
from helpers.meshes import box_in_box, sphere_in_sphere
from helpers.validation import record
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundaryLaw, BoundarySolution, Current, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.electrode.laws import ButlerVolmer, Limited, Linear, Tafel
from geom.surface.surface import Surface

PART = tuple(range(6))
LEFT, RIGHT = (6,), (7,)
KAPPA = 20.0
SIDE = 0.04  # of the cube that is plated [m]
TIGHT = 1e-10

LAWS: dict[str, BoundaryLaw] = {
    "linear": Linear(1e-3),
    "Tafel": Tafel(exchange=0.1, cathodic_slope=0.05),
    "Butler-Volmer": ButlerVolmer(exchange=1.0, cathodic_slope=0.052, anodic_slope=0.026),
    "limited": Limited(ButlerVolmer(exchange=1.0, cathodic_slope=0.052, anodic_slope=0.026), 4000.0),
}


def box(scale: float = 1.0, n: int = 2) -> Surface:
    """A cube of 40 mm in the middle of a cubic tank of 150 mm; tags 0..5 part, 6..11 walls."""
    return box_in_box(n, SIDE * scale, 0.15 * scale)


@cache
def kept(n: int = 2) -> Operators:
    """Of the cell between its two walls in x."""
    surface = box(1.0, n)
    return assemble(surface, rows(surface, [*PART, *LEFT, *RIGHT]), dtype=np.float64)


def posed(
    surface: Surface,
    operators: Operators,
    law: BoundaryLaw | None,
    control: Voltage | Current,
    *,
    kappa: float = KAPPA,
    anode: tuple[int, ...] = (*LEFT, *RIGHT),
    tolerance: float = TIGHT,
) -> BoundarySolution:
    return solve(
        operators,
        anodes=[ElectrodePatch(rows(surface, anode), None)],
        cathodes=[ElectrodePatch(rows(surface, PART), law)],
        conductivity=kappa,
        control=control,
        tolerance=tolerance,
    )


def cell(
    law: BoundaryLaw | None = None,
    control: Voltage | Current = ONE_VOLT,
    kappa: float = KAPPA,
    n: int = 2,
) -> BoundarySolution:
    return posed(box(1.0, n), kept(n), law, control, kappa=kappa)


def on_part(surface: Surface, found: BoundarySolution) -> tuple[Floats, Floats]:
    """Current densities and areas of the cathode's panels."""
    here = rows(surface, PART)
    return found.current_density[here], surface.areas[here]


def shares(surface: Surface, found: BoundarySolution) -> Floats:
    """Local over mean current density of the cathode's panels."""
    density, areas = on_part(surface, found)
    return density / (density @ areas / areas.sum())


def worst(found: Floats, known: Floats) -> float:
    """Largest difference over the largest value."""
    return float(np.abs(found - known).max() / np.abs(known).max())


def held(case: str, quantity: str, found: float, most: float) -> None:
    """Assert a miss, and record it."""
    assert found <= most
    record("identities", case, quantity, found, f"at most {most:g}", bound=most)


# linearity, scale, Wagner number (hold for the discrete equations)


def test_primary_current_is_proportional_to_voltage_and_conductivity() -> None:
    one = cell().cathode_current
    held("no polarization", "I ~ V, 7 times", abs(cell(None, Voltage(7.0)).cathode_current / one / 7 - 1), 1e-6)
    held("no polarization", "I ~ κ, 1/67 times", abs(cell(kappa=0.3).cathode_current / one / 0.015 - 1), 1e-6)


def test_primary_current_and_resistance_scale_with_the_size() -> None:
    one, fixed = cell(), cell(None, Current(1.0))
    flow, spread, volts = [], [], []
    for scale in (0.05, 30.0):
        surface = box(scale)
        operators = assemble(surface, rows(surface, [*PART, *LEFT, *RIGHT]), dtype=np.float64)
        two = posed(surface, operators, None, Voltage(1.0))
        flow.append(abs(two.cathode_current / one.cathode_current / scale - 1))
        spread.append(worst(shares(surface, two), shares(box(), one)))
        volts.append(abs(posed(surface, operators, None, Current(1.0)).voltage * scale / fixed.voltage - 1))
    held("no polarization, size 1/20 and 30 times", "I ~ size at a fixed voltage", max(flow), 1e-6)
    held("no polarization, size 1/20 and 30 times", "V ~ 1 / size at a fixed current", max(volts), 1e-6)
    held("no polarization, size 1/20 and 30 times", "i / mean stays", max(spread), 1e-6)


def test_the_distribution_depends_on_the_wagner_number_alone() -> None:
    """Size, conductivity and polarization resistance changed together at one kappa R / length."""
    surface = box(3.0)
    operators = assemble(surface, rows(surface, [*PART, *LEFT, *RIGHT]), dtype=np.float64)
    one = cell(Linear(1e-3), kappa=10.0)
    two = posed(surface, operators, Linear(15e-3), Voltage(2.0), kappa=2.0)
    held("Wagner number", "same i / mean at one κ R / length", worst(shares(surface, two), shares(box(), one)), 1e-6)
    slow, fast = Tafel(0.1, 0.05), Tafel(1e-4, 0.05)
    three, four = (cell(law, Current(2.0)) for law in (slow, fast))
    miss = worst(shares(box(), four), shares(box(), three))
    held("Wagner number", "Tafel: exchange current density shifts the voltage alone", miss, 1e-6)
    assert_allclose(four.voltage - three.voltage, 0.05 * np.log(1e3), rtol=1e-6, atol=0)


def test_without_and_with_much_polarization_the_limits_are_met() -> None:
    """Primary for a Wagner number towards zero; even for a large one: largest over smallest under 1.01 at 100."""
    primary = shares(box(), cell())
    near = shares(box(), cell(Linear(1e-7 * SIDE / KAPPA)))
    held("Wagner number", "κ R / length = 1e-7 against no polarization", worst(near, primary), 1e-3)
    even = shares(box(), cell(Linear(100.0 * SIDE / KAPPA)))
    held("Wagner number", "largest over smallest i at κ R / length = 100, less 1", even.max() / even.min() - 1, 0.01)


# symmetry, numbering, repetition


@pytest.mark.parametrize("name", ["no polarization", *LAWS])
def test_a_cell_with_a_mirror_plane_has_a_mirrored_field(name: str) -> None:
    surface, found = box(), cell(LAWS.get(name), Current(2.0))
    density, _ = on_part(surface, found)
    places = surface.centroids[rows(surface, PART)]
    misses = []
    for axis in range(3):
        image = places * np.where(np.arange(3) == axis, -1.0, 1.0)
        near = np.linalg.norm(places[:, None] - image[None], axis=2).argmin(axis=0)
        assert np.abs(places[near] - image).max() < 1e-12
        misses.append(worst(density[near], density))
    held(f"mirror symmetry, {name}", "i at the images in x, y and z", max(misses), 1e-6)


def test_numbering_the_panels_and_corners_otherwise_changes_nothing() -> None:
    surface = box()
    order = np.random.default_rng(7)
    corners, panels = order.permutation(len(surface.vertices)), order.permutation(len(surface.faces))
    vertices = np.zeros_like(surface.vertices)
    vertices[corners] = surface.vertices
    turned = np.array(
        [np.roll(face, k) for face, k in zip(corners[surface.faces], order.integers(0, 3, len(panels)), strict=True)]
    )
    other = Surface(vertices, turned[panels], surface.tag[panels])
    operators = assemble(other, rows(other, [*PART, *LEFT, *RIGHT]), dtype=np.float64)
    for name in ("linear", "Tafel"):
        one = cell(LAWS[name], Voltage(1.0))
        two = posed(other, operators, LAWS[name], Voltage(1.0))
        held(
            "another numbering",
            f"i of every panel, {name}",
            worst(two.current_density, one.current_density[panels]),
            1e-9,
        )


SCRIPT = """
import hashlib, sys
sys.path[:0] = sys.argv[1:]
from bem.test_physics import LAWS, Current, box, kept, posed
found = posed(box(), kept(), LAWS["Butler-Volmer"], Current(2.0), tolerance=1e-5)
print(hashlib.sha256(found.current_density.tobytes() + found.potential.tobytes()).hexdigest())
"""


def test_another_process_with_another_count_of_threads_finds_the_same_bytes() -> None:
    """Every row of the matrices and of a product is summed by one thread, whichever it is."""
    here = posed(box(), kept(), LAWS["Butler-Volmer"], Current(2.0), tolerance=1e-5)
    bytes_here = hashlib.sha256(here.current_density.tobytes() + here.potential.tobytes()).hexdigest()
    tests = Path(__file__).parents[1]
    paths = [str(tests), str(tests.parent)]
    environment = {**os.environ, "NUMBA_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "PYTHONHASHSEED": "5"}
    environment["OPENBLAS_NUM_THREADS"] = "1"
    there = subprocess.run(
        [sys.executable, "-c", SCRIPT, *paths], env=environment, capture_output=True, text=True, check=True
    )
    assert there.stdout.strip() == bytes_here


# charge, reciprocity, energy, maximum principle (hold for the exact field)


def test_charge_is_kept_the_better_the_finer_the_panels() -> None:
    """What leaves the anodes enters the cathode; collocation keeps it as far as the panels resolve the field."""
    misses = []
    for n in (2, 3, 4):
        found = cell(n=n)
        misses.append(abs(found.anode_current / found.cathode_current - 1))
    assert np.all(np.diff(misses) < 0)
    held("charge", "anodes against cathode, cube in a tank", misses[-1], 4e-3)


ELECTRODES: tuple[tuple[int, ...], ...] = (PART, LEFT, RIGHT, (8,), (11,))


def conductances(n: int) -> Floats:
    """(5, 5) current out of the liquid into electrode row [A] for one volt on electrode column: part and four walls."""
    surface = box(1.0, n)
    patches = [rows(surface, tags) for tags in ELECTRODES]
    operators = assemble(surface, np.concatenate(patches), dtype=np.float64)
    matrix = np.zeros((len(patches), len(patches)))
    for column, driven in enumerate(patches):
        found = solve(
            operators,
            anodes=[ElectrodePatch(p, None) for p in patches if p is not driven],
            cathodes=[ElectrodePatch(driven, None)],
            conductivity=1.0,
            control=Voltage(1.0),
            tolerance=TIGHT,
        )
        # metal of the driven one at -1 V: currents into the metals are those of the matrix, signs turned
        matrix[:, column] = [found.current_density[p] @ surface.areas[p] for p in patches]
    return matrix


def test_the_matrix_of_conductances_is_reciprocal_its_rows_vanish_and_no_mutual_one_has_the_wrong_sign() -> None:
    matrices = [conductances(n) for n in (2, 3)]
    size = [np.abs(np.diag(matrix)).max() for matrix in matrices]
    skew = [float(np.abs(m - m.T).max() / s) for m, s in zip(matrices, size, strict=True)]
    loss = [float(np.abs(m.sum(axis=0)).max() / s) for m, s in zip(matrices, size, strict=True)]
    gain = [float(np.abs(m.sum(axis=1)).max() / s) for m, s in zip(matrices, size, strict=True)]
    for matrix in matrices:
        assert np.all(np.diag(matrix) > 0)
        assert np.all(matrix[~np.eye(len(matrix), dtype=bool)] < 0)
    assert skew[1] < skew[0]
    assert loss[1] < loss[0]
    held("matrix of conductances, five electrodes", "largest skew part over the largest entry", skew[1], 4e-3)
    held("matrix of conductances, five electrodes", "largest sum of a column (charge)", loss[1], 4e-3)
    held("matrix of conductances, five electrodes", "largest sum of a row (no current at one potential)", gain[1], 1e-8)


@pytest.mark.parametrize("name", ["no polarization", *LAWS])
@pytest.mark.parametrize("control", [Voltage(0.7), Current(3.0)], ids=["0.7 V", "3 A"])
def test_no_potential_leaves_the_bounds_of_the_metals_and_no_current_runs_backwards(
    name: str, control: Voltage | Current
) -> None:
    """Maximum principle; the anode metal is at 0 V, the cathode metal at minus the voltage."""
    surface, found = box(), cell(LAWS.get(name), control)
    slack = 1e-9 * found.voltage
    assert found.potential.max() <= slack
    assert found.potential.min() >= -found.voltage - slack
    walls = rows(surface, (8, 9, 10, 11))
    assert found.potential[walls].max() < 0
    assert found.potential[walls].min() > found.potential[rows(surface, PART)].min()
    assert found.current_density[rows(surface, PART)].min() > 0
    assert found.current_density[rows(surface, (*LEFT, *RIGHT))].max() < 0


def interior_power(surface: Surface, found: BoundarySolution, kappa: float, shift: float, radial: int = 6) -> float:
    """Heat in the liquid between sphere and shell [W], by sampling the gradient in the liquid.

    Gradients come from the representation formula with point sources on every panel cut in sixteen; places are
    Gauss points along rays from the inner sphere's centre to the shell.
    """
    nodes, weights = np.polynomial.legendre.leggauss(radial)
    cosines, ring = np.polynomial.legendre.leggauss(8)
    # symmetric about x: one half plane will do
    polar = np.stack([cosines, np.sqrt(1 - cosines**2), np.zeros(8)], axis=1)
    reach = shift * cosines + np.sqrt(9.0 - shift**2 * (1 - cosines**2))  # to the shell of radius 3
    r = 1.0 + 0.5 * (nodes[:, None] + 1) * (reach[None] - 1.0)
    places = (r[:, :, None] * polar[None]).reshape(-1, 3)
    weight = (0.5 * weights[:, None] * (reach[None] - 1.0) * ring[None] * r**2).reshape(-1) * 2 * np.pi
    corners = surface.corners
    shares_ = [(a, b) for a in range(4) for b in range(4 - a)]
    up = [(a + 1 / 3, b + 1 / 3) for a, b in shares_]
    down = [(a + 2 / 3, b + 2 / 3) for a, b in shares_ if a + b < 3]
    spots = np.concatenate(
        [
            corners[:, 0] + u / 4 * (corners[:, 1] - corners[:, 0]) + v / 4 * (corners[:, 2] - corners[:, 0])
            for u, v in (*up, *down)
        ]
    )
    normal, area = np.tile(surface.normals, (16, 1)), np.tile(surface.areas / 16, 16)
    flux = np.tile(-found.current_density / kappa, 16)
    potential = np.tile(found.potential, 16)
    total = 0.0
    for place, w in zip(places, weight, strict=True):
        d = place - spots
        inverse = 1.0 / np.linalg.norm(d, axis=1)
        along = np.einsum("ij,ij->i", d, normal)
        # phi = (single of dphi/dn - double of phi): gradients of 1/r and of (n . d) / r³ at the place
        one = -(flux * area * inverse**3) @ d
        two = (potential * area * inverse**3) @ normal - (3 * potential * area * along * inverse**5) @ d
        total += w * kappa * float(np.sum((one - two) ** 2)) / (4 * np.pi) ** 2
    return total


def test_the_power_put_in_is_the_heat_sampled_in_the_liquid_and_that_at_the_interface() -> None:
    """V I = heat in the liquid + sum of i u. The heat is an integral over the volume: no surface term is used twice."""
    surface = sphere_in_sphere(3, 1.0, 3.0, shift=0.5)
    here = rows(surface, [0])
    law = Tafel(0.1, 0.05)
    found = solve(
        assemble(surface, np.arange(len(surface.faces)), dtype=np.float64),
        anodes=[ElectrodePatch(rows(surface, [1]), None)],
        cathodes=[ElectrodePatch(here, law)],
        conductivity=1.0,
        control=Current(2.0),
        tolerance=1e-8,
    )
    heat = interior_power(surface, found, 1.0, 0.5)
    interface = float((law.drop(found.current_density[here]) * found.current_density[here]) @ surface.areas[here])
    put_in = found.voltage * found.cathode_current
    assert min(heat, interface) > 0.1 * put_in
    held(
        "energy, sphere off the centre of its anode",
        "V I against heat in the liquid and at the interface",
        abs((heat + interface) / put_in - 1),
        1e-3,
    )


# slopes of the laws


@pytest.mark.parametrize("name", LAWS)
def test_the_slope_of_a_law_leaves_a_remainder_of_second_order(name: str) -> None:
    """Taylor: |i(u + h) - i(u) - h i'(u)| falls as h²; a wrong slope would leave first order."""
    law, steps = LAWS[name], np.array([1e-2, 5e-3, 2.5e-3, 1.25e-3]) / 4
    drops = np.array([-0.03, 0.01, 0.1, 0.25, 0.4])
    left = np.array([np.abs(law.current(drops + h) - law.current(drops) - h * law.slope(drops)).max() for h in steps])
    if name == "linear":
        assert left.max() < 1e-12 * law.current(drops).max()
        return
    order = float(np.polyfit(np.log(steps), np.log(left), 1)[0])
    assert abs(order - 2.0) < 0.1
    record("identities", f"slope of the law, {name}", "order of Taylor's remainder", order, "2 ± 0.1", bound=0.1)


# more conductivity, more polarization, more distance: never less even


@cache
def stretched(far: float) -> tuple[Surface, Operators]:
    """The cell with its wall at +x drawn away; panels of the part and of the wall at -x stay as they are."""
    surface = box(1.0, 2)
    vertices = np.array(surface.vertices)
    beyond = vertices[:, 0] > 0.5 * SIDE + 1e-9
    vertices[beyond, 0] = 0.5 * SIDE + (vertices[beyond, 0] - 0.5 * SIDE) * far
    moved = Surface(vertices, surface.faces, surface.tag)
    return moved, assemble(moved, rows(moved, [*PART, *RIGHT]), dtype=np.float64)


def peak(far: float, law: BoundaryLaw, control: Voltage | Current, kappa: float) -> float:
    """Largest over mean current density on the part, one wall being the anode."""
    surface, operators = stretched(far)
    return float(
        shares(surface, posed(surface, operators, law, control, kappa=kappa, anode=RIGHT, tolerance=1e-8)).max()
    )


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.floats(1e-6, 1e-1), st.floats(0.1, 50.0), st.floats(1.01, 100.0), st.floats(0.1, 10.0))
def test_more_conductivity_or_polarization_never_makes_the_part_less_even(
    resistance: float, kappa: float, more: float, amperes: float
) -> None:
    for far in (0.7, 1.0):
        base = peak(far, Linear(resistance), Current(amperes), kappa)
        assert peak(far, Linear(resistance * more), Current(amperes), kappa) <= base * (1 + 1e-6)
        assert peak(far, Linear(resistance), Current(amperes), kappa * more) <= base * (1 + 1e-6)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.floats(0.02, 0.1), st.floats(1.0, 30.0), st.floats(0.3, 3.0), st.floats(1.05, 10.0))
def test_a_gentler_tafel_slope_never_makes_the_part_less_even(
    slope: float, kappa: float, amperes: float, more: float
) -> None:
    base = peak(1.0, Tafel(0.1, slope), Current(amperes), kappa)
    assert peak(1.0, Tafel(0.1, slope * more), Current(amperes), kappa) <= base * (1 + 1e-6)
    assert peak(1.0, Tafel(0.1, slope), Current(amperes), kappa * more) <= base * (1 + 1e-6)


@settings(max_examples=5, deadline=None, derandomize=True)
@given(st.floats(1e-5, 1e-2), st.floats(1.0, 30.0))
def test_drawing_the_anode_away_never_makes_the_part_less_even(resistance: float, kappa: float) -> None:
    peaks = [peak(far, Linear(resistance), Voltage(1.0), kappa) for far in (0.5, 0.7, 1.0, 1.4)]
    assert np.all(np.diff(peaks) <= 1e-6 * peaks[0])
