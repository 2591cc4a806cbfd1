"""What someone at a bench would read of a bath that only the test knows, with meters, lengths and runs off."""

import math

import numpy as np

from geom.bench.readings import ConductivityReadings, Coupon, Plate, TwoPlates, VoltsAmps
from geom.calibrate.cell_constant import CellConstant
from geom.cell.cell import BoxTank
from geom.electrode.faraday import equivalent
from geom.tables.read import metal

PLATE = Plate(0.05, 1e-3, 0.06)
PLATES = TwoPlates(BoxTank(0.2, 0.1, 0.1), PLATE, PLATE, 0.06, (0.0, 0.0))
CONSTANT = CellConstant(0.1146, 1e-3, 0.007, 0.008, False)
"""Of these plates; tests of the cell constant hold that it is."""

NICKEL = metal("Ni")


def even(draw: np.random.Generator, limit: float) -> float:
    """Return an error that lies anywhere within a limit."""
    return float(draw.uniform(-limit, limit))


def plates(
    draw: np.random.Generator,
    truth: float,
    amps: list[float],
    *,
    stated: bool,
    noise: float = 4e-3,
    meter: float | None = None,
) -> ConductivityReadings:
    """Return readings in a bath of that conductivity; ``meter``: true amperes over those read, drawn if not given."""
    constant = CONSTANT.value * (1 + even(draw, CONSTANT.error) + even(draw, CONSTANT.by_gap))
    constant *= 1 + even(draw, CONSTANT.by_immersed)
    resistance = 1 / (truth * constant) * (1 + even(draw, 0.02) if meter is None else meter)
    errors = [even(draw, noise * math.sqrt(3)) if stated else noise * draw.standard_normal() for _ in amps]
    volts = tuple(0.5 + resistance * a + e for a, e in zip(amps, errors, strict=True))
    to = (noise * math.sqrt(3), 0.0) if stated else (None, None)
    return ConductivityReadings(PLATES, VoltsAmps(volts, tuple(amps), *to))


def coupons(
    draw: np.random.Generator, truth: float, count: int, runs: float, meter: float | None = None
) -> list[Coupon]:
    """Return coupons of a bath of that efficiency; runs differ, the ammeter is off for all alike."""
    off = 1 + even(draw, 0.02) if meter is None else meter
    out = []
    for _ in range(count):
        gain = truth * (1 + runs * draw.standard_normal()) * 1.2 * off * 900 * equivalent(NICKEL)
        out.append(Coupon(1.2, 900.0, round(gain / 1e-6) * 1e-6, 1e-6))
    return out
