"""A figure in no more digits than its band supports, and the band behind it: "1.4 V", "1.3 to 2 V".

The last digit told is that of the first digit of half the band: between one and ten of it make that half. At most three
digits are told in any case, as everywhere in a report, and at least one.
"""

import math

from geom.doubt.bands import Band
from geom.report.amounts import minutes
from geom.units import show

MOST_DIGITS = 3

CLOCK = ((45.0, 60.0), (600.0, 300.0), (3600.0, 1800.0))
"""Half a band of a time, and from there on the steps that times are told in [s]: whole minutes, five, half hours."""

COARSEST = 0.15
"""No step is more of the time itself."""

LONG = 3 * 3600.0
"""From here on times are told in hours [s]."""


def number(value: float, unit: str, band: Band | None) -> str:
    """Return a figure in one unit, a scale from zero, with the digits that its band supports; three without one."""
    if band is None or not (math.isfinite(value) and math.isfinite(band.high)):
        return show(value, unit)
    size = _size(unit)
    shown, half = value / size, _half(band) / size
    if not half > 0 or shown == 0:
        return show(value, unit)
    first = math.floor(math.log10(abs(shown)))
    last = min(max(math.floor(math.log10(half)), first - MOST_DIGITS + 1), first)  # a low end is never told as zero
    rounded = round(shown / 10.0**last) * 10.0**last
    text = f"{rounded:.{max(-last, 0)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit}".rstrip()


def ends(band: Band, unit: str) -> str:
    """Return both ends of a band in words."""
    low, high = (number(value, unit, band) for value in (band.low, band.high))
    return f"{low.removesuffix(unit).rstrip()} to {high}" if low != high else high


def time(value: float, band: Band | None) -> str:
    """Return a time as a clock at a bench is read, and no finer than its band supports."""
    step = 0.0 if band is None else clock_step(band)
    if not step or not math.isfinite(value) or 0 < value < step:
        return minutes(value)
    return _clock(round(value / step) * step, step)


def time_ends(band: Band) -> str:
    """Return both ends of the band of a time in words."""
    step = clock_step(band)
    if not (step and band.low >= step and math.isfinite(band.high)):
        low, high = minutes(band.low), minutes(band.high)
    else:
        low, high = (time(value, band) for value in (band.low, band.high))
    unit = " min" if high.endswith(" min") else " h"
    return f"{low.removesuffix(unit)} to {high}" if low != high else high


def stages(times: tuple[float, ...], band: Band | None) -> tuple[str, ...]:
    """Return the times of stages that follow one another, so rounded that they add up to the whole as it is told."""
    step = 0.0 if band is None else clock_step(band)
    if not step or any(not math.isfinite(one) or one < step for one in times):
        return tuple(minutes(one) for one in times)
    told, passed, marks = [], 0.0, 0
    for one in times:
        passed += one
        reached = round(passed / step)
        told.append(_clock((reached - marks) * step, step))
        marks = reached
    return tuple(told)


def clock_step(band: Band) -> float:
    """Return the step that a time with this band is told in [s]; 0: tenths of a minute."""
    half = _half(band)
    most = COARSEST * band.typical
    return max((step for least, step in CLOCK if math.isfinite(half) and half >= least and step <= most), default=0.0)


def _clock(value: float, step: float) -> str:
    if value < LONG or step < 300.0:  # a tenth of an hour is six minutes
        return f"{value / 60:.0f} min"
    hours = f"{value / 3600:.1f}"
    return f"{hours.removesuffix('.0')} h"


def _half(band: Band) -> float:
    return 0.5 * (band.high - band.low)


def _size(unit: str) -> float:
    """Return the SI size of a unit."""
    return 1.0 / float(show(1.0, unit, 12).partition(" ")[0])
