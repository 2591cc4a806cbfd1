"""Two electrodes in a closed cell against closed forms, primary and polarized."""

import math

import numpy as np
import pytest
from helpers import analytic
from helpers.electrodes import facing, rows
from helpers.meshes import box_panels, coaxial, graded, sphere_in_sphere
from helpers.order import observed_order
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.bem.problem import Current, Voltage
from geom.electrode.laws import Linear, Tafel
from geom.surface.surface import Surface

INNER, OUTER = [0], [1]


def plates(n: int) -> Surface:
    """A block 1 x 2 x 3 m between electrodes at its two ends in x."""
    return box_panels(np.zeros(3), np.array([1.0, 2.0, 3.0]), (graded(n, 1.5), graded(n, 1.5), graded(n, 1.5)))


def test_concentric_spheres_converge_at_second_order() -> None:
    """G = 4 pi kappa a b / (b - a), elementary."""
    exact = analytic.concentric_spheres(1.0, 3.0)
    found = [
        facing(sphere_in_sphere(level, 1.0, 3.0), anode=OUTER, cathode=INNER).cathode_current for level in (1, 2, 3)
    ]
    order = observed_order((1.0, 0.5, 0.25), np.array(found) - exact)
    assert order > 1.7
    hold(
        "two-electrodes",
        "concentric spheres 1 : 3",
        "conductance",
        found[-1],
        exact,
        rtol=5e-3,
        source="closed form",
        order=order,
    )


def test_coaxial_cylinders_with_insulated_ends_converge() -> None:
    """G = 2 pi kappa L / ln(b / a), elementary."""
    exact = analytic.coaxial_cylinders(1.0, 3.0, 1.0)
    found = [facing(coaxial(n, 1.0, 3.0, 1.0), anode=OUTER, cathode=INNER).cathode_current for n in (4, 8, 12)]
    order = observed_order((1 / 4, 1 / 8, 1 / 12), np.array(found) - exact)
    assert order > 1.4
    hold(
        "two-electrodes",
        "coaxial cylinders 1 : 3",
        "conductance",
        found[-1],
        exact,
        rtol=1e-2,
        source="closed form",
        order=order,
    )


def test_parallel_plates_with_insulating_walls_converge_to_ohm_s_law() -> None:
    """G = kappa A / d."""
    found = [facing(plates(n), anode=[1], cathode=[0], conductivity=5.0).cathode_current for n in (2, 4, 8)]
    order = observed_order((1 / 2, 1 / 4, 1 / 8), np.array(found) - 30.0)
    assert order > 1.4
    hold(
        "two-electrodes", "parallel plates", "conductance", found[-1], 30.0, rtol=3e-3, source="Ohm's law", order=order
    )


def test_parallel_plates_carry_an_even_current() -> None:
    surface = plates(8)
    found = facing(surface, anode=[1], cathode=[0])
    here = rows(surface, [0])
    even = found.current_density[here]
    assert surface.areas[here] @ np.abs(even - 1) / surface.areas[here].sum() < 0.01


def test_sphere_with_polarization_in_a_concentric_anode_agrees_with_the_closed_form() -> None:
    """R = (1/a - 1/b) / (4 pi kappa) + R_ct / (4 pi a2) = 0.0928403835 ohm for a 1, b 3, kappa 1, R_ct 0.5."""
    found = facing(sphere_in_sphere(3, 1.0, 3.0), anode=OUTER, cathode=INNER, law=Linear(0.5))
    case = "concentric spheres 1 : 3, linear law"
    hold(
        "two-electrodes",
        case,
        "resistance",
        1 / found.cathode_current,
        0.0928403834702723,
        rtol=8e-3,
        source="closed form",
    )


def test_coaxial_tafel_cathode_needs_the_voltage_of_the_closed_form() -> None:
    """V = i a / kappa ln(b / a) + beta ln(i / i0), elementary; the current is even."""
    surface = coaxial(10, 1.0, 3.0, 1.0)
    area = surface.areas[rows(surface, INNER)].sum()
    law = Tafel(exchange=1e-3, cathodic_slope=0.05)
    found = facing(surface, anode=OUTER, cathode=INNER, law=law, control=Current(area * 1.0))
    exact = math.log(3.0) + 0.05 * math.log(1.0 / 1e-3)
    case = "coaxial cylinders 1 : 3, Tafel law"
    hold("two-electrodes", case, "voltage", found.voltage, exact, rtol=8e-3, source="closed form")
    again = facing(surface, anode=OUTER, cathode=INNER, law=law, control=Voltage(found.voltage))
    assert_allclose(again.cathode_current, area, rtol=1e-4, atol=0)


@pytest.mark.parametrize(
    ("resistance", "conductance", "near", "far"),
    [
        (0.0, 6.52850260527299, 1.34164078649987, 0.74535599249993),
        (1.0, 3.1719318118, 1.1362929547, 0.8845541982),
    ],
)
def test_eccentric_cylinders_agree_with_the_closed_form_or_the_spectral_solution(
    resistance: float, conductance: float, near: float, far: float
) -> None:
    """Primary: Smythe, Static and Dynamic Electricity; polarized: independent spectral solution to 1e-9."""
    surface = coaxial(12, 1.0, 3.0, 1.0)
    vertices = np.array(surface.vertices)
    # the outer cylinder moved by 1 along x, the ends drawn out in proportion
    vertices[:, 0] += (np.hypot(vertices[:, 0], vertices[:, 1]) - 1.0) / 2.0
    surface = Surface(vertices, surface.faces, surface.tag)
    law = Linear(resistance) if resistance else None
    found = facing(surface, anode=OUTER, cathode=INNER, law=law)
    case = f"cylinders 1 : 3, axes 1 apart, R_ct {resistance:g}"
    source = "spectral solution of our own" if resistance else "closed form"
    hold("two-electrodes", case, "conductance", found.cathode_current, conductance, rtol=1e-2, source=source)
    here = rows(surface, INNER)
    place = surface.centroids[here] / np.linalg.norm(surface.centroids[here, :2], axis=1)[:, None]
    local = found.current_density[here] / (found.cathode_current / surface.areas[here].sum())
    assert_allclose(local[place[:, 0] < -0.98].mean(), near, rtol=0.02, atol=0)
    assert_allclose(local[place[:, 0] > 0.98].mean(), far, rtol=0.02, atol=0)


@pytest.mark.parametrize(
    ("resistance", "conductance", "poles"),
    [(0.0, 1.6061115265, (0.8781852522, 1.190294162)), (1.0, 0.6153812921, (0.9595515038, 1.0553298213))],
)
def test_sphere_off_the_centre_of_its_anode_agrees_with_the_spectral_solution(
    resistance: float, conductance: float, poles: tuple[float, float]
) -> None:
    """Radius 1 in radius 3, centres 1 apart: independent spectral solution in bispherical form, to 1e-9."""
    surface = sphere_in_sphere(3, 1.0, 3.0, shift=1.0)
    found = facing(surface, anode=OUTER, cathode=INNER, law=Linear(resistance) if resistance else None)
    case, source = f"spheres 1 : 3, centres 1 apart, R_ct {resistance:g}", "spectral solution of our own"
    flow = found.cathode_current / (4 * math.pi)
    hold("two-electrodes", case, "conductance / 4π", flow, conductance, rtol=6e-3, source=source)
    here = rows(surface, INNER)
    local = found.current_density[here] / (found.cathode_current / surface.areas[here].sum())
    x = surface.centroids[here, 0]
    assert_allclose((local[x > 0.97].mean(), local[x < -0.97].mean()), poles, rtol=0.01, atol=0)
