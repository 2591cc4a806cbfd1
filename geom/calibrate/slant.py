"""What a panel plated in the slant-panel test cell says: usable range, limiting current density, Tafel slope."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq, minimize_scalar

from geom.arrays import Floats
from geom.bench.fit import EVEN, LEVEL, half_width, spread, student
from geom.bench.readings import SlantPanel
from geom.calibrate.figure import Figure
from geom.calibrate.slant_field import PANEL, PANEL_AREA, profile
from geom.chemistry import Range
from geom.electrode.laws import tafel_slope_per_e_fold
from geom.findings import Finding, Severity

FIRST_PLACE, LAST_PLACE = 6.35e-3, 82.55e-3
"""Where the published current density holds, from the end near the anode [m]."""

LEAST_WAGNER, MOST_WAGNER = 1e-3, 3.0
"""Between them a slope is looked for; below, the panel is as without polarization; above, it is even."""

MOST_UNSURE = 2.0  # high over low of a slope, past which it is not told: the tables know it better
GAUGE = 0.05  # a single thickness reading, as a share, where nothing is stated; common practice, no source

MEAN_OF_ONE_AMPERE = 1.0 / PANEL_AREA
"""Mean current density of the panel at one ampere [A/m²]."""


def published_density(current: float, place: float) -> float:
    """Return the local current density [A/m²] at a ``place`` [m] from the end near the anode.

    5.10 - 5.24 log10(L/cm) A/dm² for each ampere: the rule of the trade for the cell of 267 mL, from 6.35 to 82.55 mm
    (from memory; in inches 27.7 - 48.7 log10 L A/ft²).
    """
    return 100.0 * current * (5.10 - 5.24 * math.log10(100.0 * place))


@dataclass(frozen=True, slots=True)
class Border:
    """A place of the panel where the deposit changes, and the current density there."""

    what: str  # "burnt", "bright", "bare"
    place: float  # [m]
    density: Range  # [A/m²], low to high at `LEVEL`


@dataclass(frozen=True, slots=True)
class Panel:
    """What the panel says."""

    borders: tuple[Border, ...]
    figures: tuple[Figure, ...]
    mean: float  # current density [A/m²]
    findings: tuple[Finding, ...]


def read_panel(panel: SlantPanel, wagner: float, typical: Range) -> Panel:
    """Return what the borders of the deposit say.

    ``wagner`` is the likely one of the panel (`slant_field.profile`), ``typical`` the range of the bath of the tables:
    an end that the panel does not show stays as it is there [A/m²].
    """
    named = (("burnt", panel.burnt_to), ("bright", panel.bright_to), ("bare", panel.bare_from))
    borders = {what: _border(panel, what, place, wagner) for what, place in named if place is not None}
    figures, findings = [], []
    low = borders.get("bright", borders.get("bare"))
    high = borders.get("burnt")
    if low or high:
        figures.append(_usable(low, high, typical))
        findings += _usable_findings(panel, low, high, "bright" in borders, typical)
    if high:
        key = "limiting_current_density_stirred" if panel.stirred else "limiting_current_density"
        rests = (
            f"the border of the burnt deposit, {_rest_of(high)}",
            "it burns at the limiting current density or somewhat under it: the figure is on the safe side",
        )
        figures.append(Figure(key, high.density, LEVEL, rests, _width(high.density)))
    mean = MEAN_OF_ONE_AMPERE * panel.current
    return Panel(tuple(borders.values()), tuple(figures), mean, tuple(findings))


def _border(panel: SlantPanel, what: str, place: float, wagner: float) -> Border:
    """Return a border with its current density: published, its interval by the place and by what the solved field says.

    Both are limits of errors that lie anywhere within them: how far rule and field lie apart is what neither is sure of.
    """
    near, far = (min(max(place + by, FIRST_PLACE), LAST_PLACE) for by in (-panel.place_to, panel.place_to))
    value = published_density(panel.current, place)
    solved = MEAN_OF_ONE_AMPERE * panel.current * float(profile(wagner).at(np.array([place]))[0])
    by_place = max(published_density(panel.current, near) - value, value - published_density(panel.current, far))
    half = half_width(0.0, math.inf, (by_place, abs(solved - value)))
    return Border(what, place, Range(max(value - half, 0.5 * min(value, solved)), value, value + half))


def _rest_of(border: Border) -> str:
    return f"{1e3 * border.place:.3g} mm from the near end, by the published current density of the cell of 267 mL"


def _usable(low: Border | None, high: Border | None, typical: Range) -> Figure:
    """Return the usable range, each end drawn in by what it is unsure of.

    Each end is past its border in (1 - `LEVEL`) / 2 of the cases, so that the whole lies between both in `LEVEL` of them
    at least. Where an end is that of the tables, or drawn in they would cross, there is no such level.
    """
    least = low.density.high if low else typical.low
    most = high.density.low if high else typical.high
    crossed = least >= most
    if crossed:  # as read
        least, most = (low.density.typical if low else least), (high.density.typical if high else most)
    least, most = min(least, most), max(least, most)
    middle = typical.typical if least < typical.typical < most else math.sqrt(least * most)
    how = (
        "as read: drawn in by what they are unsure of, the ends would cross"
        if crossed
        else "drawn in by what it is unsure of"
    )
    rests = tuple(
        f"{end} end: that of the tables"
        if border is None
        else f"{end} end: the border of the {border.what} deposit, {_rest_of(border)}, {how}"
        for end, border in (("upper", high), ("lower", low))
    )
    width = max(_width(border.density) for border in (low, high) if border)
    level = LEVEL if low and high and not crossed else None
    return Figure("current_density", Range(least, middle, most), level, rests, width)


def _width(values: Range) -> float:
    return 0.5 * (values.high - values.low) / values.typical


def _usable_findings(
    panel: SlantPanel, low: Border | None, high: Border | None, is_bright: bool, typical: Range
) -> list[Finding]:
    """Return what the panel leaves open."""
    found, note = [], Severity.NOTE
    if high is None:
        most = published_density(panel.current, FIRST_PLACE)
        text = (
            f"nothing is burnt at {panel.current:g} A, up to {most / 100:.2g} A/dm²: the upper end of the range stays that "
            "of the tables; run a panel at more current until its near end burns"
        )
        found.append(Finding(note, "calibrate-range-open", text))
    if low is None:
        text = "the panel shows no lower end of the range: it stays that of the tables; run a panel at less current"
        found.append(Finding(note, "calibrate-range-open", text))
    elif not is_bright:
        text = "the lower end of the range is where metal is found at all, not where it is bright: give bright_to"
        found.append(Finding(note, "calibrate-range-open", text))
    if (low and not high and low.density.high >= typical.high) or (
        high and not low and high.density.low <= typical.low
    ):
        text = "the end that was read lies outside the range of the tables: look at current, places and the bath named by like"
        found.append(Finding(Severity.WARNING, "calibrate-range-odd", text))
    return found


@dataclass(frozen=True, slots=True)
class SlantSlope:
    """The Tafel slope that the thickness along a panel shows."""

    wagner: Range | None  # of the panel; None: not told apart from any
    figure: Figure | None  # slope per e-fold [V]
    findings: tuple[Finding, ...]


def panel_slope(panel: SlantPanel, conductivity: Range) -> SlantSlope:
    """Return the Tafel slope by the thickness along the panel, the field being solved for one Wagner number after another.

    The thickness follows the local current density, its scale left free: constant efficiency is assumed.
    """
    wagner, scattered = wagner_range(panel)
    mean = MEAN_OF_ONE_AMPERE * panel.thickness_current
    findings = []
    if scattered:
        text = "the thickness readings lie off the field of the cell by more than the gauge explains"
        findings.append(Finding(Severity.WARNING, "calibrate-scatter", text))
    if wagner is None or wagner.high > MOST_UNSURE * wagner.low:
        findings.append(Finding(Severity.WARNING, "calibrate-slope-open", _open_words(panel, wagner, conductivity)))
        return SlantSlope(wagner, None, tuple(findings))
    factor = mean * PANEL / conductivity.typical
    value = wagner.typical * factor
    own = math.log(conductivity.high / conductivity.low) / 2.0
    up = math.exp(math.hypot(math.log(wagner.high / wagner.typical), own))
    down = math.exp(math.hypot(math.log(wagner.typical / wagner.low), own))
    rests = (
        f"{len(panel.thickness)} readings of thickness along the panel against the solved field of the cell",
        f"conductivity {conductivity.typical:.3g} S/m ({conductivity.low:.3g} to {conductivity.high:.3g})",
        "the same efficiency all along the panel",
    )
    figure = Figure("tafel_slope", Range(value / down, value, value * up), LEVEL, rests, 0.5 * (up - 1.0 / down))
    return SlantSlope(wagner, figure, tuple(findings))


def wagner_range(panel: SlantPanel) -> tuple[Range | None, bool]:
    """Return the Wagner numbers that the thickness readings allow, at `LEVEL`; and whether they scatter too much.

    None where none or any would do. The interval is where the sum of squares is not too far over its least.
    """
    places, heights = (np.array(column) for column in zip(*panel.thickness, strict=True))
    logs = np.log(heights)
    weights = 1.0 / _deviation(panel, places, heights) ** 2

    grid = np.linspace(math.log(LEAST_WAGNER), math.log(MOST_WAGNER), 41)
    fields = CubicSpline(grid, [np.log(profile(math.exp(log)).at(places)) for log in grid])

    def squares(log: float) -> float:
        left = logs - fields(log)
        left = left - weights @ left / weights.sum()
        return float(weights @ left**2)

    values = np.array([squares(x) for x in grid])
    k = int(values.argmin())
    ends = grid[max(k - 1, 0)], grid[min(k + 1, len(grid) - 1)]
    best = float(minimize_scalar(squares, bounds=ends, method="bounded", options={"xatol": 1e-4}).x)
    least, freedom = min(squares(best), float(values.min())), len(places) - 2
    known = 1.0 if panel.thickness_to is not None else None
    one = spread(least, freedom, known)
    over = least + (student(one.freedom) * max(one.deviation, 1e-9)) ** 2
    inside = values < over
    if inside[0] or inside[-1]:
        return None, one.is_found and known is not None
    below, above = grid[:k][~inside[:k]], grid[k + 1 :][~inside[k + 1 :]]
    if not len(below) or not len(above):
        return None, False
    low, high = (float(brentq(lambda x: squares(x) - over, *pair)) for pair in ((below[-1], best), (best, above[0])))
    found = Range(math.exp(low), math.exp(best), math.exp(high))
    return found, one.is_found and known is not None


def _deviation(panel: SlantPanel, places: Floats, heights: Floats) -> Floats:
    """Return (n,) what gauge and place explain of the logarithm of a thickness; equal where the gauge is not stated."""
    if panel.thickness_to is None:
        return np.full(len(places), GAUGE)
    middle = profile(0.03)
    step = 1e-3
    sides = [np.log(middle.at(places + by)) for by in (-step, step)]
    by_place = panel.place_to * np.abs(sides[1] - sides[0]) / (2.0 * step)
    return np.asarray(EVEN * np.hypot(panel.thickness_to / heights, by_place))


def _open_words(panel: SlantPanel, wagner: Range | None, conductivity: Range) -> str:
    """Return why no slope is told, and at what current it would show."""
    seen = float(tafel_slope_per_e_fold(0.11)) * conductivity.typical / (MEAN_OF_ONE_AMPERE * PANEL * 0.1)
    reason = (
        "the readings of thickness fit the field with any polarization or none"
        if wagner is None
        else f"the readings of thickness leave the slope open by a factor of {wagner.high / wagner.low:.1f}"
    )
    advice = (
        f"about {seen:.1g} A would do"
        if seen < panel.thickness_current
        else "measure at more places, nearer to the far end"
    )
    return (
        f"{reason}: no slope is told. The panel is the more even, and shows the slope the better, the lower its current "
        f"({advice}); measure to the far end and with a finer gauge"
    )
