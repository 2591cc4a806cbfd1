"""Records of metals and baths refuse numbers that cannot be."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from geom.chemistry import Metal, Range
from geom.tables.read import bath

WATTS = bath("watts-nickel")


@pytest.mark.parametrize("bounds", [(2.0, 1.0, 3.0), (1.0, 4.0, 3.0), (1.0, float("nan"), 3.0)])
def test_a_range_out_of_order_is_refused(bounds: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="not in order"):
        Range(*bounds)


def test_a_range_is_scaled_as_a_whole() -> None:
    scaled = Range(1.0, 2.0, 4.0).scaled(1.5)
    assert_allclose([scaled.low, scaled.typical, scaled.high], [1.5, 3.0, 6.0], rtol=1e-15, atol=0.0)


@pytest.mark.parametrize("change", [{"molar_mass": 0.0}, {"density": -1.0}, {"electrons": 0}])
def test_a_metal_that_cannot_be_is_refused(change: dict[str, float]) -> None:
    fields = {"molar_mass": 0.0587, "density": 8908.0, "electrons": 2} | change
    with pytest.raises(ValueError, match=f"Metal.{next(iter(change))} must be positive"):
        Metal("Ni", "nickel", **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"conductivity": 0.0}, "Bath.conductivity"),
        ({"conductivity": float("inf")}, "Bath.conductivity"),
        ({"temperature": -5.0}, "Bath.temperature"),
        ({"efficiency": 1.5}, "Bath.efficiency cannot exceed 1"),
        ({"efficiency_range": Range(0.9, 0.95, 1.2)}, "Bath.efficiency_range cannot exceed 1"),
        ({"current_density": Range(-1.0, 2.0, 3.0)}, "Bath.current_density.low"),
        ({"anode_area_ratio": Range(0.0, 1.0, 2.0)}, "Bath.anode_area_ratio.low"),
        ({"run_time": Range(0.0, 60.0, 120.0)}, "Bath.run_time.low"),
    ],
)
def test_a_bath_that_cannot_be_is_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(WATTS, **change)  # type: ignore[arg-type]
