"""Conductivity from voltages and currents between two plates."""

from dataclasses import dataclass

import numpy as np

from geom.bench.fit import EVEN, LEVEL, Line, half_width, spread, straight_line
from geom.bench.readings import ConductivityReadings, VoltsAmps
from geom.calibrate.cell_constant import CellConstant
from geom.calibrate.figure import Figure, about
from geom.errors import CalibrateError
from geom.findings import Finding, Severity

DEEP_BEND = 0.02  # of the voltage over the line, from which a clear bend is told
FEW = 3
UNSURE = 0.05  # share of the conductance that hangs on how deep the plates hang, from which it is told
WIDE = 0.15  # of an interval


@dataclass(frozen=True, slots=True)
class Conductivity:
    """The figure, and how it came about."""

    figure: Figure  # [S/m]
    line: Line  # voltage [V] against current [A]
    resistance: float  # of the liquid [ohm]
    constant: CellConstant
    scattered: bool  # the readings scatter more than the meters explain
    findings: tuple[Finding, ...]


def reading_deviation(readings: VoltsAmps, slope: float) -> float | None:
    """Return the standard deviation of one voltage about the line that the meters explain [V]; None if not stated."""
    if readings.volts_to is None and readings.amps_to is None:
        return None
    return EVEN * float(np.hypot(readings.volts_to or 0.0, slope * (readings.amps_to or 0.0)))


def conductivity(asked: ConductivityReadings, constant: CellConstant) -> Conductivity:
    """Return the conductivity: 1 / (cell constant * slope), the slope being that of voltage against current.

    The drops at the two electrodes change little with the current and go into the intercept.

    Raises
    ------
    CalibrateError
        where the voltage does not rise with the current by more than the leads explain.
    """
    amps, volts = np.array(asked.readings.amps), np.array(asked.readings.volts)
    line = straight_line(amps, volts)
    liquid = line.slope - asked.leads
    if liquid <= 0.0:
        raise CalibrateError(
            "calibrate-no-slope",
            f"the voltage rises by {line.slope:.3g} V for each ampere, the leads alone by {asked.leads:.3g}: nothing is "
            "left for the bath",
            where="[conductivity] readings",
            hint="each reading is voltage first, then current; are two of them exchanged, or is leads too large?",
        )
    one = spread(line.squares, line.freedom, reading_deviation(asked.readings, line.slope))
    limits = (asked.meters_to, constant.by_gap, constant.by_immersed, constant.error)
    half = half_width(one.deviation * line.per_reading / liquid, one.freedom, limits)
    value = 1.0 / (constant.value * liquid)
    figure = about("conductivity", value, half, LEVEL, _rests(asked, constant))
    return Conductivity(
        figure, line, liquid, constant, one.is_found, tuple(_findings(asked, line, constant, half, liquid))
    )


def _rests(asked: ConductivityReadings, constant: CellConstant) -> tuple[str, ...]:
    """Return what the figure rests on."""
    how = "area over gap, the plates filling the tank" if constant.is_exact else "solved for these plates in this tank"
    error = "" if constant.is_exact else f", ± {100 * max(constant.error, 1e-3):.1f} % by the size of the panels"
    meters = f"meters good to ± {100 * asked.meters_to:.2g} %"
    lengths = f"gap ± {1e3 * asked.plates.gap_to:.2g} mm"
    if not constant.is_exact:
        lengths += f", depth of the plates ± {1e3 * asked.plates.immersed_to:.2g} mm"
    return (
        f"slope of {len(asked.readings.volts)} readings of voltage against current",
        f"cell constant {1e3 * constant.value:.4g} mm, {how}{error}",
        f"{meters}, {lengths}",
    )


def _findings(
    asked: ConductivityReadings, line: Line, constant: CellConstant, half: float, liquid: float
) -> list[Finding]:
    """Return what makes the figure unsure."""
    found, volts, warning = [], np.array(asked.readings.volts), Severity.WARNING
    if abs(line.bend) > DEEP_BEND * float(volts.max()):
        why = (
            "the drops at the plates still change with the current, so that the conductivity comes out too low; leave the lowest "
            "currents out and read higher ones"
            if line.bend > 0
            else "at the highest currents the voltage rises too fast: gas on the plates, or a plate near its limiting current; "
            "leave those out"
        )
        text = f"the readings of voltage bend by {1e3 * abs(line.bend):.0f} mV from a line: {why}"
        found.append(Finding(warning, "calibrate-curved", text))
    if line.intercept < -0.02 * float(volts.max()):
        text = (
            f"the line through the readings meets zero current at {line.intercept:.2f} V, where the plates' own drops "
            "should leave a little over zero: look for a meter not zeroed, or a current that drifted"
        )
        found.append(Finding(warning, "calibrate-intercept", text))
    if constant.by_immersed > UNSURE:
        text = (
            f"{1e3 * asked.plates.immersed_to:.2g} mm in how deep the plates hang are {100 * constant.by_immersed:.0f} % "
            "of the conductivity: hang them deeper, or stop them off above a line"
        )
        found.append(Finding(warning, "calibrate-conductivity", text))
    if constant.by_gap > UNSURE:
        text = (
            f"{1e3 * asked.plates.gap_to:.2g} mm in the gap are {100 * constant.by_gap:.0f} % of the conductivity: "
            "set the plates farther apart, or clamp them to a measured spacer"
        )
        found.append(Finding(warning, "calibrate-conductivity", text))
    if asked.leads == 0.0 and liquid < 0.5:
        text = (
            f"the bath between the plates has {liquid:.2g} ohm only: leads and clips may be a good part of that. Read the "
            "voltage at the plates themselves, or state leads"
        )
        found.append(Finding(warning, "calibrate-conductivity", text))
    if half > WIDE:
        text = f"the conductivity is known to ± {100 * half:.0f} % only: more readings, over a wider range of currents"
        found.append(Finding(Severity.NOTE, "calibrate-conductivity", text))
    return found
