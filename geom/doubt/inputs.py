"""What is not known of a bath and a meter: each input with its range, and its value at a standard normal deviate.

Low and high of a range are read as the ends of a band round a median, the typical value: of ``LEVEL``, 5 % below low and
5 % above high, or of the level that the range is stated with. Each side is half a normal distribution of its own width, of the logarithm of a positive quantity
(a two-piece normal; Wallis, Statistical Science 29, 2014, from memory). A table that gives nothing but three figures
allows no finer reading; that its ends are such a band is this program's own choice. A meter is known by its limits
instead: any reading between them has the same chance (JCGM 100:2008, 4.3.7; from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

from geom.arrays import Floats
from geom.bench.readings import METER_TO
from geom.chemistry import Bath, Range
from geom.electrode.laws import Law

LEVEL = 0.90
"""Share of cases that a range of an input, and a band of a figure, holds."""

END = 1.6448536269514722
"""Standard normal deviate below which 95 % lie: that of the high end of a range."""

LEAST_WARMING = 0.2
"""Share of its conductivity that a bath keeps however cold a draw is: the line in T holds near the bath's own."""

CONDUCTIVITY, TEMPERATURE, SLOPE = "conductivity", "temperature", "Tafel slope"
EXCHANGE, EFFICIENCY, READING = "exchange current density", "cathode efficiency", "reading of the meter"
LIMITING = "limiting current density"
LOGARITHM, PLAIN = "two-piece normal of the logarithm", "two-piece normal"
EVEN = "even between its limits"


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that is not known: its range holds ``level`` of the cases, and typical is the median.

    All of the cases where it is even between its limits.
    """

    name: str
    low: float  # SI, as the quantity of that name is
    typical: float
    high: float
    distribution: str
    basis: str  # who gives the range
    level: float = LEVEL

    @property
    def end(self) -> float:
        """Standard normal deviate at the high end of the range."""
        return end_of(self.level)

    def at(self, deviate: Floats) -> Floats:
        """Return (n,) values at (n,) standard normal deviates: typical at 0, low at -``end``, high at ``end``."""
        if self.distribution == EVEN:
            return np.asarray(self.low + (self.high - self.low) * ndtr(deviate))
        share = deviate / self.end
        if self.distribution == PLAIN:
            wide = np.where(share > 0, self.high - self.typical, self.typical - self.low)
            return np.asarray(self.typical + wide * share)
        return _between(self.low, self.typical, self.high, share)


def end_of(level: float) -> float:
    """Return the standard normal deviate at the high end of a band that holds ``level`` of the cases."""
    return END if level == LEVEL else float(ndtri(0.5 + 0.5 * level))


def _between(low: float, typical: float, high: float, share: Floats) -> Floats:
    """Return the values at ``share``: low at -1, typical at 0, high at 1, straight in the logarithm on either side."""
    up, down = np.log(high / typical), np.log(low / typical)
    return np.asarray(typical * np.exp(np.abs(share) * np.where(share > 0, up, down)))


@dataclass(frozen=True, eq=False)
class Draw:
    """Values of the inputs in ``n`` cases."""

    conductivity: Floats  # (n,) [S/m]
    law: Law | None  # of the cathode; its numbers are (n,) where they are not known
    efficiency: Floats  # (n,)
    reading: Floats  # (n,) what truly flows, or stands, over what the meter shows
    limiting: Floats  # (n,) limiting current density over the typical one


@dataclass(frozen=True, eq=False)
class Doubts:
    """The inputs of one job that are not known, and the bath they belong to."""

    bath: Bath
    inputs: tuple[Input, ...]
    laws: tuple[Law, Law, Law] | None  # from the flattest to the steepest; None: the law is as stated
    warming: float = 0.0  # relative change of the conductivity per kelvin, at the typical temperature [1/K]

    def draw(self, deviates: Floats) -> Draw:
        """Return the inputs at (n, k) standard normal deviates, a column for each of ``inputs``."""
        column = {item.name: deviates[:, k] for k, item in enumerate(self.inputs)}
        known = {item.name: item for item in self.inputs}

        def value(name: str, typical: float) -> Floats:
            return known[name].at(column[name]) if name in known else np.full(len(deviates), typical)

        warmer = value(TEMPERATURE, self.bath.temperature) - self.bath.temperature
        return Draw(
            value(CONDUCTIVITY, self.bath.conductivity) * np.maximum(1 + self.warming * warmer, LEAST_WARMING),
            self._law(column.get(SLOPE), value, EXCHANGE in known),
            np.minimum(value(EFFICIENCY, self.bath.efficiency), 1.0),
            value(READING, 1.0),
            value(LIMITING, 1.0) / (known[LIMITING].typical if LIMITING in known else 1.0),
        )

    def _law(self, slope: Floats | None, value: Callable[[str, float], Floats], is_open: bool) -> Law | None:
        law: Any = self.bath.law
        changed: dict[str, Any] = {}  # laws act number by number: their own numbers may be arrays as well
        if slope is not None and self.laws is not None:
            low, typical, high = self.laws
            for name in (entry.name for entry in fields(typical) if entry.name != "exchange"):
                flat, middle, steep = (float(getattr(of, name)) for of in (low, typical, high))
                changed[name] = _between(flat, middle, steep, slope / end_of(self.bath.levels.get("law", LEVEL)))
        if is_open:
            changed["exchange"] = value(EXCHANGE, law.exchange)
        return replace(law, **changed) if changed else self.bath.law


def doubts_of(bath: Bath, *, at_voltage: bool = False, with_limiting: bool = False) -> Doubts:
    """Return what is not known of a bath and the user's meter; ``at_voltage``: the meter is set by its volts.

    ``with_limiting``: the limiting current density of the bath is weighed, so that its range counts too.

    What a job states has no range, nor has a rule: the bright range says what is asked, not what is.
    """
    laws, exchange = _law_ranges(bath)
    warming = _warming(bath)
    inputs = [_ranged(CONDUCTIVITY, bath.conductivity_range, bath, "conductivity")]
    if warming:
        warm = bath.temperature_range
        ends = (min(warm.low, bath.temperature), bath.temperature, max(warm.high, bath.temperature))
        inputs.append(Input(TEMPERATURE, *ends, PLAIN, "the working range of the bath: no temperature is stated"))
    if laws is not None:
        slopes = [float(getattr(law, "cathodic_slope", 0.0)) for law in laws]
        inputs.append(_ranged(SLOPE, Range(slopes[0], slopes[1], slopes[2]), bath, "law"))
    if exchange is not None:
        inputs.append(_ranged(EXCHANGE, exchange, bath, "exchange_current_density"))
    inputs.append(_ranged(EFFICIENCY, bath.efficiency_range, bath, "efficiency"))
    if with_limiting and bath.limiting_current_density is not None:
        inputs.append(_ranged(LIMITING, bath.limiting_current_density, bath, "limiting_current_density"))
    what = "volts" if at_voltage else "amperes"
    basis = f"the {what} read, off by {100 * METER_TO:.0f} % at most either way (common practice, no source)"
    inputs.append(Input(READING, 1 - METER_TO, 1.0, 1 + METER_TO, EVEN, basis))
    return Doubts(bath, tuple(item for item in inputs if item.low < item.high), laws, warming)


def _ranged(name: str, of: Range, bath: Bath, attribute: str) -> Input:
    level = bath.levels.get(attribute, LEVEL)
    stated = "" if attribute not in bath.levels else f", stated as its {100 * level:.0f} %"
    return Input(name, of.low, of.typical, of.high, LOGARITHM, f"the range of the bath{stated}", level)


def _law_ranges(bath: Bath) -> tuple[tuple[Law, Law, Law] | None, Range | None]:
    """Return the laws of a bath from the flattest to the steepest, and the range of its exchange current density.

    None for each that the tables do not give, or that the job states in place of the tables.
    """
    laws = bath.laws
    if laws is None or bath.law != laws[1]:
        return None, None
    return laws, bath.exchange_range


def _warming(bath: Bath) -> float:
    """Return the relative change of the conductivity per kelvin [1/K]; 0 where temperature or conductivity is stated."""
    if not {"temperature", "conductivity"} <= bath.sources.keys():
        return 0.0
    return bath.growth_per_kelvin or 0.0
