"""A fitted bath as a table of baths in TOML, laid out as those of the program."""

from collections.abc import Iterator
from dataclasses import dataclass

from geom.calibrate.calibrate import Calibration
from geom.calibrate.figure import Figure
from geom.chemistry import Range
from geom.provenance import Trust
from geom.report.tree import printable
from geom.units import show

UNITS = {
    "conductivity": "S/m",
    "efficiency": "",
    "tafel_slope": "V/decade",
    "current_density": "A/dm2",
    "limiting_current_density": "A/dm2",
    "limiting_current_density_stirred": "A/dm2",
    "temperature": "C",
}
"""The unit of each row."""

DIGITS = 4


@dataclass(frozen=True, slots=True)
class _Line:
    """One row of the table."""

    key: str
    range: Range
    trust: Trust
    basis: str
    text: str
    level: float | None = None  # share of the times that low to high holds the truth


def bath_table_text(found: Calibration) -> str:
    """Return the bath as TOML: what was measured; all else is that of the bath it is like."""
    asked = found.readings
    file = asked.path.name if asked.path else "readings"
    source = _quoted(f"readings in {file}")
    lines = [
        f"# {_plain(asked.title)}: made by geom calibrate from {_plain(file)}.",
        f"# What is not here is that of {asked.like}. A job takes this bath by",
        '#     tables = "THIS FILE"        at its top, and',
        f'#     name = "{asked.name}"       under [bath].',
        "",
        f"[{asked.name}]",
        f"like = {_quoted(asked.like)}",
        f"title = {_quoted(asked.title)}",
        "",
        f"[{asked.name}.values]",
    ]
    for line in _lines(found):
        at = f", at = {_quoted(_number(asked.temperature, 'C') + ' C')}" if line.key == "conductivity" else ""
        unit = f", unit = {_quoted(UNITS[line.key])}" if UNITS[line.key] else ""
        ends = zip(("low", "typical", "high"), (line.range.low, line.range.typical, line.range.high), strict=True)
        numbers = ", ".join(f"{name} = {_number(value, UNITS[line.key])}" for name, value in ends)
        who = f"source = {source}, basis = {_quoted(line.basis)}, trust = {_quoted(str(line.trust))}"
        level = "" if line.level is None else f", level = {line.level:g}"
        lines.append(f"{line.key} = {{ {numbers}{unit}{at}{level}, {who}, text = {_quoted(line.text)} }}")
    if found.efficiency_curve:
        points = ", ".join(f"[{_number(at, 'A/dm2')}, {_number(share, '')}]" for at, share in found.efficiency_curve)
        trust = found.figure("efficiency")
        words = f'trust = "{trust.trust}", text = "straight between, flat beyond"' if trust else ""
        lines.append(
            f'efficiency_curve = {{ points = [{points}], unit = "A/dm2", source = {source}, basis = "measured", {words} }}'
        )
    return "\n".join(lines) + "\n"


def _lines(found: Calibration) -> Iterator[_Line]:
    """Yield the rows; what hangs on them (A/ft2, the anodic slope) follows where the table is read."""
    asked, like = found.readings, found.like
    at, known = asked.temperature, like.temperature_range
    yield _Line(
        "temperature",
        Range(min(known.low, at), at, max(known.high, at)),
        Trust.GOOD,
        "measured",
        "that of the readings",
    )
    for figure in found.figures:
        yield _Line(figure.key, figure.range, figure.trust, "measured", _rests(figure), figure.level)


def _rests(figure: Figure) -> str:
    """Return what a row says of itself."""
    share = "" if figure.level is None else f"{100 * figure.level:.0f} %"
    if figure.key == "current_density":
        level = f"working range, {f'within that seen in {share} of the cases' if share else 'of no stated level'}"
    else:
        level = f"{share} interval" if share else "of no stated level"
    return f"{level}; rests on {'; '.join(figure.rests)}"


def _number(value: float, unit: str) -> str:
    """Return an SI value as a number of TOML in a unit."""
    return show(value, unit, DIGITS).partition(" ")[0]


def _plain(text: str) -> str:
    return printable(text).replace("\n", " ")


def _quoted(text: str) -> str:
    """Return text as a basic string of TOML."""
    return '"' + _plain(text).replace("\\", "\\\\").replace('"', '\\"') + '"'
