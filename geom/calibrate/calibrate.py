"""Readings to a bath of the user's own: each figure with its interval and what it rests on."""

from collections.abc import Callable
from dataclasses import dataclass

from geom.bench.readings import Readings, SlantPanel
from geom.calibrate.cell_constant import cell_constant
from geom.calibrate.conductivity import Conductivity, conductivity
from geom.calibrate.coupon import Efficiency, carried_curve, efficiency
from geom.calibrate.figure import Figure
from geom.calibrate.limiting import limiting
from geom.calibrate.slant import MEAN_OF_ONE_AMPERE, Panel, SlantSlope, panel_slope, read_panel
from geom.calibrate.slant_field import PANEL
from geom.calibrate.slope import VoltageSlope, voltage_slope
from geom.chemistry import Bath, Range
from geom.electrode.laws import ButlerVolmer, Tafel
from geom.errors import CalibrateError
from geom.findings import Finding, Severity
from geom.tables.read import bath

MOST = {"conductivity": 200.0, "tafel_slope": 1.0}
"""No bath has more [S/m, V per e-fold]; no current density is over `MOST_DENSITY` [A/m²]."""

MOST_DENSITY = 1e5

Progress = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A bath fitted to readings."""

    readings: Readings
    like: Bath  # of the tables, at the temperature of the readings
    figures: tuple[Figure, ...]
    conductivity: Conductivity | None
    efficiency: Efficiency | None
    panel: Panel | None
    panel_slope: SlantSlope | None
    voltage_slope: VoltageSlope | None
    findings: tuple[Finding, ...]
    efficiency_curve: tuple[tuple[float, float], ...] = ()  # (current density [A/m²], efficiency); empty: one figure

    def figure(self, key: str) -> Figure | None:
        """Return the figure of that key, if there is one."""
        return next((figure for figure in self.figures if figure.key == key), None)


def calibrate(readings: Readings, *, progress: Progress | None = None) -> Calibration:
    """Return the bath that the readings show.

    Raises
    ------
    GeomError
        where the readings cannot be those of a bath.
    """
    say = progress or (lambda stage, share: None)
    like = bath(readings.like, temperature=readings.temperature)
    found: Conductivity | None = None
    if readings.conductivity is not None:
        say("solving the field between the plates", 0.1)
        found = conductivity(readings.conductivity, cell_constant(readings.conductivity.plates, like))
    say("fitting", 0.9)
    coupons = efficiency(readings.coupons, like.metal) if readings.coupons else None
    by_voltage = voltage_slope(readings.polarization) if readings.polarization else None
    carried = found.figure.range if found else like.conductivity_range
    panel, by_panel = _panel(readings.panel, like, carried, by_voltage)
    burnt, burnt_findings = limiting(readings.limiting) if readings.limiting else (None, ())
    kept, doubled = _kept(
        [
            *([found.figure] if found else []),
            *([coupons.figure] if coupons else []),
            *_slopes(by_voltage, by_panel),
            *(panel.figures if panel else ()),
            *([burnt] if burnt else []),
        ]
    )
    _believable(kept)
    pieces = (found, coupons, by_voltage, by_panel, panel)
    findings = [finding for piece in pieces if piece is not None for finding in piece.findings]
    findings += [*burnt_findings, *doubled, *_odd(kept, like)]
    say("done", 1.0)
    curve = carried_curve(coupons, like) if coupons else ()
    return Calibration(readings, like, kept, found, coupons, panel, by_panel, by_voltage, tuple(findings), curve)


def _panel(
    asked: SlantPanel | None, like: Bath, carried: Range, by_voltage: VoltageSlope | None
) -> tuple[Panel | None, SlantSlope | None]:
    """Return what the slant panel says."""
    if asked is None:
        return None, None
    slope = panel_slope(asked, carried) if asked.thickness else None
    per_e_fold = like.law.cathodic_slope if isinstance(like.law, ButlerVolmer | Tafel) else 0.0
    if by_voltage is not None and by_voltage.figure is not None:
        per_e_fold = by_voltage.figure.range.typical
    wagner = carried.typical * per_e_fold / (MEAN_OF_ONE_AMPERE * asked.current * PANEL)
    if slope is not None and slope.wagner is not None:
        wagner = slope.wagner.typical * asked.thickness_current / asked.current
    return read_panel(asked, wagner, like.current_density), slope


def _slopes(by_voltage: VoltageSlope | None, by_panel: SlantSlope | None) -> list[Figure]:
    """Return the figures of the Tafel slope, the surer first."""
    found = [piece.figure for piece in (by_voltage, by_panel) if piece is not None and piece.figure is not None]
    return sorted(found, key=lambda figure: figure.width)


def _kept(figures: list[Figure]) -> tuple[tuple[Figure, ...], list[Finding]]:
    """Return one figure of each key, the surer of two; and a warning where two exclude one another."""
    kept: dict[str, Figure] = {}
    findings = []
    for figure in figures:
        other = kept.get(figure.key)
        if other is None:
            kept[figure.key] = figure
            continue
        if figure.range.low > other.range.high or other.range.low > figure.range.high:
            text = (
                f"two ways to find the {figure.key.replace('_', ' ')} exclude one another: one of the readings is off, or the "
                "bath changed between them. The surer is taken"
            )
            findings.append(Finding(Severity.WARNING, "calibrate-two-ways", text))
        kept[figure.key] = min(figure, other, key=lambda one: one.width)
    return tuple(kept.values()), findings


def _believable(figures: tuple[Figure, ...]) -> None:
    """Refuse a figure, or an interval, past what any bath has."""
    for figure in figures:
        most = 1.0 if figure.key == "efficiency" else MOST.get(figure.key, MOST_DENSITY)
        if figure.range.high <= most:
            continue
        raise CalibrateError(
            "calibrate-impossible",
            f"the {figure.key.replace('_', ' ')} comes out as {figure.range.typical / most:.2g} times what no bath exceeds, "
            f"its interval up to {figure.range.high / most:.2g} times",
            where=figure.rests[0],
            hint="look at the units of the readings; if they are right, the readings are too few or too near one another",
        )


def _odd(figures: tuple[Figure, ...], like: Bath) -> list[Finding]:
    """Return a warning for each figure whose interval lies outside what the tables hold possible."""
    known = {
        "conductivity": like.conductivity_range,
        "efficiency": like.efficiency_range,
        "limiting_current_density": like.limiting_current_density,
    }
    out = []
    for figure in figures:
        table = known.get(figure.key)
        if table is None or (figure.range.low <= table.high and figure.range.high >= table.low):
            continue
        way = "over" if figure.range.low > table.high else "under"
        text = (
            f"the {figure.key.replace('_', ' ')} lies {way} all that the tables give {like.name}: look at the readings and "
            "their units, and whether like names the right bath; if both are right, this bath is its own"
        )
        out.append(Finding(Severity.WARNING, "calibrate-outside-tables", text))
    return out
