"""A bath fitted to readings, as text and as a plain tree."""

from collections.abc import Iterator
from typing import Any

from geom.bench.fit import LEVEL
from geom.calibrate.calibrate import Calibration
from geom.calibrate.figure import Figure
from geom.chemistry import Range
from geom.report.amounts import amount, current_density
from geom.report.bathtable import UNITS
from geom.report.tree import Document, Row, Section, Table

NAMES = {
    "conductivity": "conductivity",
    "efficiency": "efficiency",
    "tafel_slope": "Tafel slope of the cathode",
    "current_density": "usable current density",
    "limiting_current_density": "limiting current density, still",
    "limiting_current_density_stirred": "limiting current density, stirred",
}
SHOWN = {"efficiency": "%", "tafel_slope": "mV/decade", "current_density": "A/dm²", "conductivity": "S/m"}
LIMIT = "A/dm²"
BY_HAND = "Keys of [bath] in a job that is to do without the table; ranges, slope and limits are then left out."
TREE_UNITS = {"S/m": "S_m", "V/decade": "V_decade", "A/dm2": "A_dm2", "": ""}


def calibration_document(found: Calibration, out: str | None) -> Document:
    """Return each figure with what it rests on; ``out`` is the file that the bath was written to."""
    asked = found.readings
    count = len(found.figures)
    answer = [
        f"{count} figure{'' if count == 1 else 's'} of the bath {asked.name} from readings at {amount(asked.temperature, '°C')}; "
        f"all else is that of {asked.like}."
    ]
    if out is not None:
        answer.append(f'To plan with it: tables = "{out}" at the top of the job, name = "{asked.name}" under [bath].')
    sections = [
        Section("Figures", (), tuple(_row(found, figure) for figure in found.figures)),
        *([_readings(found)] if found.conductivity else []),
        *([_coupons(found)] if found.efficiency else []),
        *([_panel(found)] if found.panel and found.panel.borders else []),
        *([Section("By hand", (BY_HAND,), by_hand)] if (by_hand := _by_hand(found)) else []),
        Section("Findings", tuple(f"{f.severity.capitalize()}: {f.message}." for f in found.findings)),
    ]
    kept = tuple(section for section in sections if section.sentences or section.rows or section.table)
    return Document(f"Bath fitted to readings: {asked.title}", tuple(answer), kept)


def _by_hand(found: Calibration) -> tuple[Row, ...]:
    """Return the keys of a job's [bath] that the figures fill."""
    rows = [
        Row("name", f'"{found.readings.like}"'),
        Row("temperature", f'"{amount(found.readings.temperature, "C", 4)}"'),
    ]
    for figure in found.figures:
        ends = figure.range
        if figure.key in ("conductivity", "efficiency"):
            rows.append(Row(figure.key, f'"{amount(ends.typical, SHOWN[figure.key])}"'))
        if figure.key == "current_density":
            pair = f'low = "{amount(ends.low, "A/dm2")}", high = "{amount(ends.high, "A/dm2")}"'
            rows.append(Row(figure.key, f"{{ {pair} }}"))
    return tuple(rows) if len(rows) > 2 else ()


def _row(found: Calibration, figure: Figure) -> Row:
    unit = SHOWN.get(figure.key, LIMIT)
    ends = f"{amount(figure.range.low, unit)} to {amount(figure.range.high, unit)}"
    if figure.key == "current_density":
        value = f"{ends} ({_surely_within(figure)})"
    else:
        level = "no level" if figure.level is None else f"{100 * figure.level:.0f} % interval"
        value = f"{amount(figure.range.typical, unit)} ({ends}, {level})"
    before = _before(found, figure.key)
    was = "" if before is None else f"; the tables have {amount(before.low, unit)} to {amount(before.high, unit)}"
    return Row(NAMES[figure.key], f"{value}{was}", f"{'; '.join(figure.rests)} [trust {figure.trust}]")


def _surely_within(figure: Figure) -> str:
    """Return how surely a working range lies within the one that was seen."""
    if figure.level is None:
        return "no level"
    return f"the whole of it is usable {100 * figure.level:.0f} times in 100"


def _before(found: Calibration, key: str) -> Range | None:
    """Return what the tables give the bath that this one is like."""
    like = found.like
    return {
        "conductivity": like.conductivity_range,
        "efficiency": like.efficiency_range,
        "current_density": like.current_density,
        "limiting_current_density": like.limiting_current_density,
    }.get(key)


def _readings(found: Calibration) -> Section:
    """Return the readings against the line through them."""
    assert found.conductivity is not None
    assert found.readings.conductivity is not None
    line, asked = found.conductivity.line, found.readings.conductivity.readings
    rows = (
        Row("voltage at no current", amount(line.intercept, "V"), "drops of the two plates together"),
        Row(
            "resistance of the bath", amount(found.conductivity.resistance, "ohm"), "slope of the line, less the leads"
        ),
        Row("cell constant", amount(found.conductivity.constant.value, "mm", 4), "conductance at unit conductivity"),
    )
    lines = tuple(
        (amount(amps, "A"), amount(volts, "V", 4), f"{1e3 * (volts - line.intercept - line.slope * amps):+.1f} mV")
        for amps, volts in zip(asked.amps, asked.volts, strict=True)
    )
    return Section("Two plates", (), rows, Table(("current", "voltage", "over the line"), lines))


def _coupons(found: Calibration) -> Section:
    """Return each coupon."""
    assert found.efficiency is not None
    lines = tuple(
        (str(number), "-" if density is None else current_density(density), f"{100 * value:.1f} %")
        for number, (value, density) in enumerate(
            zip(found.efficiency.coupons, found.efficiency.densities, strict=True), 1
        )
    )
    scatter = found.efficiency.scatter
    said = () if scatter is None else (f"One coupon differs from the next by ± {100 * scatter:.1f} points.",)
    return Section("Coupons", said, (), Table(("coupon", "current density", "efficiency"), lines))


def _panel(found: Calibration) -> Section:
    """Return the borders seen on the slant panel."""
    assert found.panel is not None
    words = {"burnt": "burnt up to", "bright": "bright up to", "bare": "bare from"}
    lines = tuple(
        (words[b.what], amount(b.place, "mm"), current_density(b.density.typical), _ends(b.density))
        for b in found.panel.borders
    )
    said = (
        f"Mean current density of the panel {current_density(found.panel.mean)}; places count from the end near the anode. "
        f"Ranges are {100 * LEVEL:.0f} % intervals: they take in the reading of the place, and how far the published rule and the solved field "
        "lie apart.",
    )
    return Section("Slant panel", said, (), Table(("border", "place", "current density", "range"), lines))


def _ends(values: Range) -> str:
    return f"{amount(values.low, 'A/dm²')} to {amount(values.high, 'A/dm²')}"


def calibration_tree(found: Calibration, out: str | None) -> dict[str, Any]:
    """Return the fit as plain JSON values."""
    asked, part = found.readings, found.conductivity
    return {
        "name": asked.name,
        "title": asked.title,
        "like": asked.like,
        "temperature_C": asked.temperature - 273.15,
        "level": LEVEL,
        "table_file": out,
        "figures": [dict(_figure_tree(figure)) for figure in found.figures],
        "two_plates": None
        if part is None
        else {
            "cell_constant_mm": 1e3 * part.constant.value,
            "cell_constant_error": part.constant.error,
            "cell_constant_is_exact": part.constant.is_exact,
            "voltage_at_no_current_V": part.line.intercept,
            "resistance_ohm": part.resistance,
        },
        "efficiency_curve": [{"current_density_A_dm2": at / 100, "efficiency": e} for at, e in found.efficiency_curve],
        "coupons": [] if found.efficiency is None else list(found.efficiency.coupons),
        "borders": []
        if found.panel is None
        else [
            {
                "what": border.what,
                "place_mm": 1e3 * border.place,
                "current_density_A_dm2": border.density.typical / 100,
                "low_A_dm2": border.density.low / 100,
                "high_A_dm2": border.density.high / 100,
            }
            for border in found.panel.borders
        ],
        "findings": [{"severity": str(f.severity), "code": f.code, "message": f.message} for f in found.findings],
    }


def _figure_tree(figure: Figure) -> Iterator[tuple[str, Any]]:
    unit = UNITS[figure.key]
    yield "key", figure.key
    for name in ("low", "typical", "high"):
        yield name, float(amount(getattr(figure.range, name), unit, 10).partition(" ")[0])
    yield "unit", unit
    yield "level", figure.level
    yield "trust", str(figure.trust)
    yield "rests_on", list(figure.rests)
