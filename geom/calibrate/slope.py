"""Tafel slope from voltages over more than a decade of current."""

import math
from dataclasses import dataclass

import numpy as np

from geom.bench.fit import LEVEL, fitted, spread, student
from geom.bench.readings import PolarizationReadings
from geom.calibrate.conductivity import reading_deviation
from geom.calibrate.figure import Figure, about
from geom.findings import Finding, Severity

DECADE = 10.0
"""Largest current over the least, under which slope and resistance are not told apart."""

MOST_HALF = 0.5
"""Half the interval of a slope, as a share, past which it is not told."""


@dataclass(frozen=True, slots=True)
class VoltageSlope:
    """V = rest + resistance * I + slope * ln I."""

    slope: float | None  # per e-fold [V]; None: not identified
    half: float  # of its interval, as a share
    resistance: float  # [ohm]
    figure: Figure | None  # None too where the slope is that of two electrodes together
    findings: tuple[Finding, ...]


def voltage_slope(asked: PolarizationReadings) -> VoltageSlope:
    """Return the Tafel slope, per e-fold, with the ohmic drop left free.

    Against a wire without current it is the cathode's; against the anode it is that of both electrodes.
    """
    volts, amps = np.array(asked.readings.volts), np.array(asked.readings.amps)
    span = float(amps.max() / amps.min())
    if span < DECADE:
        text = (
            f"the currents span a factor of {span:.1f}: over less than ten the drop of the bath and that of the electrode rise "
            "alike, and no slope is told; read from a twentieth of the working current up to it"
        )
        return _refused(text)
    if len(np.unique(amps)) < 4:
        return _refused("fewer than four different currents leave a slope, a resistance and a rest voltage open")
    found = fitted(np.column_stack([np.ones_like(amps), amps, np.log(amps)]), volts)
    _, resistance, slope = (float(v) for v in found.values)
    one = spread(found.squares, found.freedom, reading_deviation(asked.readings, resistance))
    half = student(one.freedom) * one.deviation * math.sqrt(float(found.covariance[2, 2])) / abs(slope)
    if not slope > 0.0 or half > MOST_HALF:
        text = (
            f"the slope comes out as {1e3 * slope * math.log(10):.0f} mV for a decade of current, ± {100 * half:.0f} %: not "
            "told. Read more currents over a wider range, the low ones too, each after the voltage has settled"
        )
        return _refused(text, resistance)
    if not asked.reference:
        text = (
            f"{1e3 * slope * math.log(10):.0f} mV for a decade of current is the slope of cathode and anode together: the "
            "cathode's is less. It is told, not taken; read against a nickel wire without current beside the cathode"
        )
        return VoltageSlope(slope, half, resistance, None, (Finding(Severity.WARNING, "calibrate-slope-both", text),))
    rests = (
        f"{len(volts)} readings of voltage over a factor of {span:.0f} in current, against a wire without current",
        f"{resistance:.3g} ohm of bath before that wire taken off by the same fit",
    )
    return VoltageSlope(slope, half, resistance, about("tafel_slope", slope, half, LEVEL, rests), ())


def _refused(text: str, resistance: float = math.nan) -> VoltageSlope:
    """Return that no slope is told, and why."""
    finding = Finding(Severity.WARNING, "calibrate-slope-open", text)
    return VoltageSlope(None, math.inf, resistance, None, (finding,))
