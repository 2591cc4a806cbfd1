"""The bands of a plan: section of the report, sentence of the answer, records of the JSON."""

from typing import Any

from geom.doubt.bands import (
    AMPERES,
    AVERAGE,
    CURRENT,
    EDGES_TO_FACES,
    METAL,
    SIDE_TO_SIDE,
    THICKEST,
    THINNEST,
    TIME,
    VOLTAGE,
    Band,
    Bands,
    FeatureBands,
)
from geom.doubt.inputs import Input
from geom.report import told
from geom.report.tree import Row, Section, Table
from geom.units import show

UNITS = {
    VOLTAGE: "V",
    CURRENT: "A",
    AMPERES: "A",
    TIME: "min",
    THINNEST: "µm",
    AVERAGE: "µm",
    THICKEST: "µm",
    METAL: "g",
    EDGES_TO_FACES: "",
    SIDE_TO_SIDE: "",
}
KEYS = {
    VOLTAGE: "voltage_V",
    CURRENT: "recommended_current_A",
    AMPERES: "current_A",
    TIME: "time_to_target_min",
    THINNEST: "thinnest_um",
    AVERAGE: "mean_um",
    THICKEST: "thickest_um",
    METAL: "metal_deposited_g",
    EDGES_TO_FACES: "edge_to_face",
    SIDE_TO_SIDE: "front_to_back",
}
FACTORS = {"V": 1.0, "A": 1.0, "min": 1 / 60, "µm": 1e6, "g": 1e3, "": 1.0}
INPUT_UNITS = {
    "conductivity": "S/m",
    "temperature": "°C",
    "Tafel slope": "mV/decade",
    "exchange current density": "A/m²",
    "cathode efficiency": "%",
    "reading of the meter": "",
    "limiting current density": "A/dm²",
}


def between(name: str, band: Band) -> str:
    """Return a band in words, with no more digits than it supports."""
    return told.time_ends(band) if name == TIME else told.ends(band, UNITS[name])


def bands_section(found: Bands | None) -> Section:
    """Return every band and what drives it."""
    if found is None or not found.inputs:
        return Section("What is not known, and what it does")
    lines = tuple(
        (name, between(name, band), band.driver or "-", f"{100 * band.share:.0f} %" if band.driver else "-")
        for name, band in found.of.items()
    )
    notes = (
        f"In {100 * found.level:.0f} of 100 cases, numerical error with it. {_run_at(found)} time is that until the thinnest significant place "
        "meets the target. driver: the input that makes most of the variance when each moves alone, and its share.",
        f"{found.samples} draws of Halton's sequence, through a response of the field solved anew at both ends of the inputs' ranges on the "
        "panels of the first look, in every pose of the schedule. Low and high of a range are read as the ends of its 90 % (this program's own reading), or of the level "
        "stated with it; a meter as any reading within its limits alike. The bright range is a rule, and where anodes and part hang was taken as stated.",
    )
    rows = tuple(Row(item.name, _input_words(item), item.basis) for item in found.inputs)
    return Section(
        "What is not known, and what it does", notes, rows, Table(("figure", "between", "driver", "of it"), lines, (2,))
    )


def _run_at(found: Bands) -> str:
    """Return at what the figures are those of a run."""
    if AMPERES in found.of:
        return "Current, thickness and time: of a run at the voltage set;"
    if CURRENT not in found.of:
        return "Voltage, thickness and time: of a run at the current set;"
    return (
        "Recommended current: what would have been recommended, were the inputs known. Voltage, thickness and time: of a run at "
        "the current printed;"
    )


def feature_bands_section(found: Bands | None) -> Section:
    """Return the bands of each feature."""
    title = "What is not known, feature by feature"
    if found is None or not found.inputs or not found.features:
        return Section(title)
    lines = tuple(
        (one.name, _ends(one.mean), _ends(one.least), _extra(one.extra, found.of.get(TIME))) for one in found.features
    )
    notes = (
        f"In {100 * found.level:.0f} of 100 cases: mean thickness, thickness of the thinnest place, and the time beyond the plan until that meets the "
        "target; 0: it may be there by the end of the plan.",
    )
    return Section(title, notes, (), Table(("feature", "mean", "thinnest", "extra time"), lines))


def _ends(band: Band | None) -> str:
    return "-" if band is None else told.ends(band, "µm")


def _extra(band: Band | None, whole: Band | None) -> str:
    """Return the band of an extra time; a second or two is none."""
    if band is None or whole is None:
        return "-"
    if band.high < 3:
        return "none"
    low, high = (f"{value / 60:.1f}" if value < 600 else f"{value / 60:.0f}" for value in (band.low, band.high))
    return f"{'0' if band.low < 3 else low} to {high} min"


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
        "target_met_share": found.met,
        "more_time_min": found.more_time / 60,
        **{
            KEYS[name]: {
                **_tree(band, FACTORS[UNITS[name]]),
                "driver": band.driver or None,
                "driver_share": band.share,
            }
            for name, band in found.of.items()
        },
        "stage_voltages_V": [_tree(band, 1.0) for band in found.stages],
        "features": [_feature_tree(one) for one in found.features],
    }


def _tree(band: Band, factor: float) -> dict[str, float]:
    return {"low": factor * band.low, "typical": factor * band.typical, "high": factor * band.high}


def _feature_tree(one: FeatureBands) -> dict[str, Any]:
    """Return the bands of a feature; None where there is none."""
    named = {"mean_um": (one.mean, 1e6), "thinnest_um": (one.least, 1e6), "extra_time_min": (one.extra, 1 / 60)}
    kept = {key: None if band is None else _tree(band, factor) for key, (band, factor) in named.items()}
    return {"name": one.name, **kept}
