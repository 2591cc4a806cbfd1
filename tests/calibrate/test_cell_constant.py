"""What two plates conduct: against area over gap, and against finite differences of our own."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import cg

from geom.bench.readings import Plate, TwoPlates
from geom.calibrate.cell_constant import COARSE, FINE, cell_constant, conductance, fills
from geom.cell.cell import BoxTank, JarTank
from geom.errors import CalibrateError
from geom.tables.read import bath

BATH = bath("watts-nickel")
TANK = BoxTank(0.204, 0.096, 0.102)
PLATE = Plate(0.048, 0.006, 0.060)
OPEN = TwoPlates(TANK, PLATE, PLATE, 0.060, (0.0, 0.0), 0.0, 0.0)


@pytest.fixture(scope="module")
def solved() -> float:
    """Of two plates in an open tank."""
    return conductance(OPEN, BATH, FINE)


def test_plates_that_fill_the_cross_section_have_area_over_gap() -> None:
    full = Plate(TANK.width, 1e-3, TANK.depth)
    found = cell_constant(replace(OPEN, first=full, second=full, gap_to=0.6e-3), BATH)
    assert found.is_exact
    assert found.value == pytest.approx(0.096 * 0.102 / 0.060, rel=1e-12)
    assert found.by_gap == pytest.approx(0.01, rel=1e-12)


def test_plates_that_nearly_fill_it_are_solved_to_a_little_more() -> None:
    """Little more than area over gap: what slips through the slots into their backs."""
    nearly = Plate(TANK.width - 0.6e-3, 1e-3, TANK.depth - 0.3e-3)
    plates = replace(OPEN, first=nearly, second=nearly)
    assert not fills(plates)
    known = 0.096 * 0.102 / 0.060
    assert known * 0.999 < conductance(plates, BATH, COARSE) < known * 1.02


def test_a_jar_is_never_filled() -> None:
    assert not fills(
        replace(OPEN, tank=JarTank(0.1, 0.06), first=Plate(0.1, 1e-3, 0.06), second=Plate(0.1, 1e-3, 0.06))
    )


def differences(step: float) -> float:
    """Conductance of the open tank by finite differences: nodes in the middle of cubes, half of it by symmetry in x and y."""
    shape = np.round(np.array([TANK.length / 2, TANK.width / 2, TANK.depth]) / step).astype(int)
    x, y, z = (step * (np.arange(n) + 0.5) for n in shape)
    metal = (
        ((x > 0.03) & (x < 0.03 + PLATE.thickness))[:, None, None]
        & (y < PLATE.width / 2)[None, :, None]
        & (z > TANK.depth - PLATE.immersed)[None, None, :]
    )
    number = np.arange(metal.size).reshape(shape)
    rows, columns, values = [], [], []
    side = np.zeros(shape)
    for axis in range(3):
        one = np.take(number, range(shape[axis] - 1), axis).ravel()
        two = np.take(number, range(1, shape[axis]), axis).ravel()
        # a cube of metal is metal up to its face: half the way
        link = np.where(metal.ravel()[one] ^ metal.ravel()[two], 2.0, 1.0) * step
        rows += [one, two]
        columns += [two, one]
        values += [-link, -link]
    side[0] = 2.0 * step  # half way between the plates the potential is zero
    matrix = coo_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(metal.size, metal.size)
    ).tocsr()
    diagonal = side.ravel() - np.asarray(matrix.sum(axis=1)).ravel()
    free, held = np.flatnonzero(~metal.ravel()), np.flatnonzero(metal.ravel())
    scale = 1.0 / np.sqrt(diagonal[free])
    inner = matrix[free][:, free] + coo_matrix((diagonal[free], (range(len(free)), range(len(free))))).tocsr()
    inner = inner.multiply(scale[:, None]).multiply(scale[None, :]).tocsr()
    pull = -np.asarray(matrix[free][:, held].sum(axis=1)).ravel()
    found, failed = cg(inner, scale * pull, rtol=1e-7)
    assert failed == 0
    potential = scale * found
    half = float((potential * side.ravel()[free]).sum())  # into the middle plane, at one volt of the plate over it
    return 2.0 * half * 0.5  # both halves in y; twice the voltage


def test_plates_in_an_open_tank_agree_with_finite_differences(solved: float) -> None:
    """At a sharp edge of metal the error of the differences goes with the step to the power 4/3."""
    coarse, fine = differences(3e-3), differences(1.5e-3)
    power = 2.0 ** (4.0 / 3.0)
    known = (power * fine - coarse) / (power - 1.0)
    assert abs(fine / coarse - 1.0) > 3e-3  # the step matters, so that the figure is no chance
    assert solved == pytest.approx(known, rel=4e-3)


def test_the_order_of_the_plates_does_not_matter(solved: float) -> None:
    small = Plate(0.030, 0.006, 0.040)
    one = conductance(replace(OPEN, second=small), BATH, COARSE)
    other = conductance(replace(OPEN, first=small), BATH, COARSE)
    assert one == pytest.approx(other, rel=4e-3)
    assert one < solved


def test_lengths_and_panels_are_told(solved: float) -> None:
    found = cell_constant(replace(OPEN, gap_to=1e-3, immersed_to=1e-3), BATH)
    assert found.value == pytest.approx(solved, rel=3e-3)
    assert found.error < 3e-3
    assert 0.003 < found.by_gap < 1 / 60  # less than in proportion: much runs round the edges
    assert 0.003 < found.by_immersed < 1 / 60


def test_a_plate_past_the_wall_is_refused() -> None:
    with pytest.raises(CalibrateError) as caught:
        cell_constant(replace(OPEN, middle=(-0.068, 0.0)), BATH)
    assert caught.value.slug == "calibrate-plates"
    assert "through a wall" in caught.value.message


def test_plates_hang_in_a_jar_too() -> None:
    jar = replace(
        OPEN, tank=JarTank(0.12, 0.1), first=Plate(0.03, 1e-3, 0.05), second=Plate(0.03, 1e-3, 0.05), gap=0.05
    )
    assert 0.03 * 0.05 / 0.05 < conductance(jar, BATH, COARSE) < 4 * 0.03 * 0.05 / 0.05


def test_plates_that_touch_a_wall_are_refused() -> None:
    wide = replace(OPEN, first=replace(PLATE, width=TANK.width))
    with pytest.raises(CalibrateError) as caught:
        cell_constant(wide, BATH)
    assert caught.value.slug == "calibrate-plates"
    assert "wall" in caught.value.message
