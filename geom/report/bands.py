"""The bands of a plan: section of the report, sentence of the answer, records of the JSON."""

from typing import Any

from geom.doubt.bands import AVERAGE, CURRENT, THICKEST, THINNEST, TIME, VOLTAGE, Band, Bands
from geom.doubt.inputs import LEVEL, Input
from geom.report.tree import Row, Section, Table
from geom.units import show

UNITS = {VOLTAGE: "V", CURRENT: "A", TIME: "min", THINNEST: "µm", AVERAGE: "µm", THICKEST: "µm"}
KEYS = {
    VOLTAGE: "voltage_V",
    CURRENT: "recommended_current_A",
    TIME: "time_to_target_min",
    THINNEST: "thinnest_um",
    AVERAGE: "mean_um",
    THICKEST: "thickest_um",
}
FACTORS = {VOLTAGE: 1.0, CURRENT: 1.0, TIME: 1 / 60, THINNEST: 1e6, AVERAGE: 1e6, THICKEST: 1e6}
INPUT_UNITS = {
    "conductivity": "S/m",
    "temperature": "°C",
    "Tafel slope": "mV/decade",
    "exchange current density": "A/m²",
    "cathode efficiency": "%",
    "reading of the meter": "",
    "limiting current density": "A/dm²",
}
NARROW = 0.05
"""Half width of a band, as a share, below which three digits are shown; wider ones get two."""


def between(name: str, band: Band) -> str:
    """Return a band in words, with no more digits than it supports."""
    half = (band.high - band.low) / (2 * band.typical) if band.typical > 0 else 0.0
    digits = 3 if half < NARROW else 2
    low, high = (show(value, UNITS[name], digits) for value in (band.low, band.high))
    unit = UNITS[name]
    return f"{low.removesuffix(unit).rstrip()} to {high}"


def bands_answer(found: Bands | None) -> tuple[str, ...]:
    """Return the sentence of the answer that tells how far bath and meter may move it."""
    if found is None or not found.inputs:
        return ()
    volts, time = found.of[VOLTAGE], found.of[TIME]
    drivers = " and ".join(dict.fromkeys(band.driver for band in (volts, time) if band.driver))
    return (
        f"What is not known of bath and meter makes that, in {100 * LEVEL:.0f} of 100 cases, {between(VOLTAGE, volts)} and "
        f"{between(TIME, time)} until the target, mostly through {drivers}.",
    )


def bands_section(found: Bands | None) -> Section:
    """Return every band and what drives it."""
    if found is None or not found.inputs:
        return Section("What is not known, and what it does")
    lines = tuple(
        (name, between(name, band), band.driver or "-", f"{100 * band.share:.0f} %" if band.driver else "-")
        for name, band in found.of.items()
    )
    notes = (
        f"In {100 * found.level:.0f} of 100 cases, numerical error with it. Thickness, voltage and time: of a run at the current printed; time is "
        "that until the thinnest significant place meets the target. Recommended current: what would have been recommended, were the inputs known. "
        "driver: the input that makes most of the variance when each moves alone, and its share.",
        f"{found.samples} draws of a scrambled Sobol sequence, through a response of the field solved anew at both ends of the inputs' ranges on the "
        "panels of the first look, first pose. Low and high of a range are read as the ends of its 90 % (this program's own reading). The bright range is a rule, "
        "and where anodes and part hang was taken as stated.",
    )
    rows = tuple(Row(item.name, _input_words(item), item.basis) for item in found.inputs)
    return Section(
        "What is not known, and what it does", notes, rows, Table(("figure", "between", "driver", "of it"), lines, (2,))
    )


def _input_words(item: Input) -> str:
    unit = INPUT_UNITS[item.name]
    low, typical, high = (show(value, unit, 3) for value in (item.low, item.typical, item.high))
    return f"{typical}, {low.removesuffix(unit).rstrip()} to {high}"


def bands_tree(found: Bands | None) -> dict[str, Any] | None:
    """Return the bands as plain JSON values."""
    if found is None:
        return None
    return {
        "level": found.level,
        "samples": found.samples,
        **{
            KEYS[name]: {
                "low": FACTORS[name] * band.low,
                "typical": FACTORS[name] * band.typical,
                "high": FACTORS[name] * band.high,
                "driver": band.driver or None,
                "driver_share": band.share,
            }
            for name, band in found.of.items()
        },
    }
