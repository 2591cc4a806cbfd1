"""The file of readings to fit a bath by: its keys, and TOML text to `Readings` with every mistake at once."""

import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from geom.bench.readings import (
    BALANCE_STEP,
    METER_TO,
    PLACE_TO,
    BurntPlate,
    ConductivityReadings,
    Coupon,
    Plate,
    PolarizationReadings,
    Readings,
    SlantPanel,
    TwoPlates,
    VoltsAmps,
)
from geom.cell.cell import BoxTank, Tank
from geom.errors import TableError
from geom.job import locate
from geom.job.bodies import many
from geom.job.fields import (
    Current,
    Length,
    LengthOrZero,
    Mistake,
    Point2,
    Section,
    Span,
    Temperature,
    Text,
    Thickness,
    Voltage,
    a_list,
    check,
    complain,
    complain_of,
    list_of,
    quantity,
    quoted,
    table,
    variant,
)
from geom.job.opened import refusal, text_of, toml_of
from geom.job.schema import TANKS, BoxKeys, JarKeys, YesNo, known_bath
from geom.tables.read import bath_name

PAGE = "docs/calibrate.md"
FIRST_PLACE, LAST_PLACE = 6.35e-3, 82.55e-3
"""Where on a slant panel the published current density holds [m]."""

PANEL_LENGTH = 0.1
"""Farther from its near end no panel of the slant cell is read [m]."""

MOST_DENSITY = 1e5
"""No coupon is plated at more [A/m²]."""

LEAST_SPAN = 1.2
"""Currents must differ by this factor at least, or they give no slope."""

_Time = Annotated[float, quantity("time", Span("min", 1.0, 1e7))]
_Mass = Annotated[float, quantity("mass", Span("g", 0.0, 1e3, above=True))]
_Area = Annotated[float, quantity("area", Span("mm2", 0.0, 10.0, above=True))]
_Leads = Annotated[float, quantity("resistance", Span("ohm", 0.0, 100.0))]
_Off = Annotated[float, quantity("fraction", Span("%", 0.0, 0.5))]
_Place = Annotated[float, quantity("length", Span("mm", FIRST_PLACE, LAST_PLACE))]
_AnyPlace = Annotated[float, quantity("length", Span("mm", 0.0, PANEL_LENGTH, above=True))]
_Pair = Annotated[
    tuple[Voltage, Current], BeforeValidator(list_of(2, 'a voltage and a current such as ["0.5 V", "0.10 A"]'))
]
_Pairs = Annotated[tuple[_Pair, ...], a_list]
_Spot = Annotated[
    tuple[_AnyPlace, Thickness], BeforeValidator(list_of(2, 'a place and a thickness such as ["1 cm", "12 um"]'))
]


def _ratio(value: object) -> float:
    """Return a plain number from 1 up."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        complain("job-type", f"{quoted(value)} stands where a plain number such as 1.6 is expected")
    if not 1.0 <= value <= 20.0:
        complain("job-range", f"{quoted(value)} is out of range; at least 1 and at most 20 is expected here")
    return float(value)


def _new_name(value: object) -> str:
    """Return the name of a bath that the tables do not have yet."""
    if not isinstance(value, str) or not value.strip():
        complain("job-type", f'{quoted(value)} stands where a name in quotes is expected, such as "club-nickel"')
    name = re.sub(r"[\s_]+", "-", value.strip().casefold())
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) or len(name) > 60:
        complain("job-type", f"{quoted(value)} is no name: letters, digits and hyphens, 60 at most")
    try:
        taken = bath_name(name)
    except TableError as error:
        if error.slug == "bath-refused":
            complain(error.slug, error.message, error.hint)
        return name
    hint = f'call yours "my-{taken}", and say like = "{taken}"'
    complain("job-name-taken", f"the tables have a bath {quoted(taken)} already", hint)


class _ReadVoltsAmps(Section):
    """Readings of voltage against current."""

    readings: _Pairs
    volts_to: Voltage | None = None
    amps_to: Current | None = None

    def pairs(self) -> VoltsAmps:
        """Return the domain's record."""
        volts, amps = zip(*self.readings, strict=True)
        return VoltsAmps(tuple(volts), tuple(amps), self.volts_to, self.amps_to)

    def reading_mistakes(self, least: int) -> Iterator[Mistake]:
        """Yield what is wrong with the readings."""
        if len(self.readings) < least:
            text = f"{len(self.readings)} readings give no slope; at least {least} are needed"
            yield Mistake(("readings",), "job-readings-few", text, "take more at other currents")
            return
        amps = [pair[1] for pair in self.readings]
        if max(amps) < LEAST_SPAN * min(amps):
            text = f"the currents lie between {min(amps):g} A and {max(amps):g} A: too near one another for a slope"
            yield Mistake(("readings",), "job-readings-few", text, "let the largest be three times the least or more")


class PlateKeys(Section):
    """One of the two plates."""

    width: Length
    immersed: Length
    thickness: Length = 1e-3
    covered: LengthOrZero = 0.0

    @model_validator(mode="after")
    def _check(self) -> "PlateKeys":
        if self.covered >= self.immersed:
            text = "the upper edge lies under the lower one"
            hint = "immersed is how deep the lower edge hangs, covered the liquid over the upper edge"
            complain_of([Mistake(("covered",), "job-range", text, hint)])
        return self

    def record(self) -> Plate:
        """Return the domain's record."""
        return Plate(self.width, self.thickness, self.immersed, self.covered)


class ConductivityKeys(_ReadVoltsAmps):
    """Two plates in a tank, and the voltages and currents read."""

    tank: Annotated[BoxKeys | JarKeys, variant("shape", TANKS)]
    plate: Annotated[PlateKeys, table(PlateKeys)]
    other: Annotated[PlateKeys, table(PlateKeys)] | None = None
    gap: Length
    middle: Point2 = (0.0, 0.0)
    gap_to: LengthOrZero = PLACE_TO
    immersed_to: LengthOrZero = PLACE_TO
    leads: _Leads = 0.0
    meters_to: _Off = METER_TO

    @model_validator(mode="after")
    def _check(self) -> "ConductivityKeys":
        found = list(self.reading_mistakes(2))
        if not found and len(self.readings) == 2:
            hint = 'how far a reading may be off, such as volts_to = "0.01 V" and amps_to = "1 mA"'
            for name in ("volts_to", "amps_to"):
                if getattr(self, name) is None:
                    text = f'"{name}" is missing: two readings alone do not show how sure they are'
                    found.append(Mistake((name,), "job-key-missing", text, hint))
        complain_of([*found, *self._misfits()])
        return self

    def _misfits(self) -> Iterator[Mistake]:
        """Yield each plate that cannot hang so."""
        tank, hint = self.tank.record(), "a plate hangs across the length of the tank; depth is that of the liquid"
        for key, plate in (("plate", self.plate), ("other", self.other)):
            if plate is not None and plate.immersed > tank.depth:
                text = f"the plate hangs {1e3 * plate.immersed:g} mm deep in {1e3 * tank.depth:g} mm of liquid"
                yield Mistake((key, "immersed"), "job-range", text, hint)
            if plate is not None and plate.width > _breadth(tank):
                text = f"the plate is {1e3 * plate.width:g} mm wide in a tank {1e3 * _breadth(tank):g} mm wide"
                yield Mistake((key, "width"), "job-range", text, hint)
        room = tank.length if isinstance(tank, BoxTank) else tank.diameter
        metal = self.plate.thickness + (self.other or self.plate).thickness
        if self.gap + metal > room:
            text = f"a gap of {1e3 * self.gap:g} mm and the plates do not fit into {1e3 * room:g} mm"
            yield Mistake(("gap",), "job-range", text, "the gap is from face to face")
        if self.gap_to >= self.gap:
            yield Mistake(("gap_to",), "job-range", "the gap is not known at all if it may be off by as much")

    def record(self) -> ConductivityReadings:
        """Return the domain's record."""
        first = self.plate.record()
        plates = TwoPlates(
            self.tank.record(),
            first,
            self.other.record() if self.other else first,
            self.gap,
            self.middle,
            self.gap_to,
            self.immersed_to,
        )
        return ConductivityReadings(plates, self.pairs(), self.leads, self.meters_to)


def _breadth(tank: Tank) -> float:
    return tank.width if isinstance(tank, BoxTank) else tank.diameter


class CouponKeys(Section):
    """A part weighed before and after."""

    current: Current
    time: _Time
    before: _Mass | None = None
    after: _Mass | None = None
    gain: _Mass | None = None
    balance: _Mass = BALANCE_STEP
    area: _Area | None = None
    meters_to: _Off = METER_TO

    @model_validator(mode="after")
    def _check(self) -> "CouponKeys":
        pair = [name for name in ("before", "after") if getattr(self, name) is not None]
        found: list[Mistake] = []
        if self.gain is not None and pair:
            text = f"gain and {pair[0]} are both given"
            found.append(Mistake(("gain",), "job-keys-exclude", text, "give gain, or before and after"))
        elif self.gain is None and len(pair) < 2:
            missing = "after" if pair == ["before"] else "before"
            text = f'"{missing}" is missing'
            found.append(Mistake((missing,), "job-key-missing", text, "give before and after, or gain"))
        elif self.gain is None and self.gained <= 0.0:
            text = f"the coupon weighs {-1e3 * self.gained:.4g} g less than before, or the same: nothing was plated"
            hint = "before is the dry coupon before plating, after the dry coupon after it"
            found.append(Mistake(("after",), "job-range", text, hint))
        elif self.gained < 3.0 * self.balance:
            text = (
                f"a gain of {1e3 * self.gained:.3g} g says nothing on a balance of steps of {1e3 * self.balance:.3g} g"
            )
            found.append(Mistake(("balance",), "job-range", text, "plate longer, or weigh on a finer balance"))
        if self.area is not None and self.current > MOST_DENSITY * self.area:
            text = f"{self.current:g} A on {1e4 * self.area:g} cm2 is more than any bath takes"
            found.append(Mistake(("area",), "job-range", text, "look at both and their units"))
        complain_of(found)
        return self

    @property
    def gained(self) -> float:
        """Metal gained [kg]."""
        if self.gain is not None:
            return self.gain
        return (self.after or 0.0) - (self.before or 0.0)

    def record(self) -> Coupon:
        """Return the domain's record."""
        return Coupon(self.current, self.time, self.gained, self.balance, self.area, self.meters_to)


class SlantPanelKeys(Section):
    """A panel of the slant-panel test cell."""

    current: Current
    burnt_to: _Place | None = None
    bright_to: _Place | None = None
    bare_from: _Place | None = None
    place_to: LengthOrZero = PLACE_TO
    thickness: Annotated[tuple[_Spot, ...], a_list] = ()
    thickness_to: Thickness | None = None
    thickness_current: Current | None = None
    stirred: YesNo = False

    @model_validator(mode="after")
    def _check(self) -> "SlantPanelKeys":
        names = [name for name in ("burnt_to", "bright_to", "bare_from") if getattr(self, name) is not None]
        found = [
            Mistake((later,), "job-range", f"{later} lies nearer to the anode than {sooner}", "places count from there")
            for sooner, later in pairwise(names)
            if not getattr(self, sooner) < getattr(self, later)
        ]
        if not names and not self.thickness:
            text = "the panel has no reading"
            hint = "give burnt_to, bright_to or bare_from, or thickness"
            found.append(Mistake((), "job-key-missing", text, hint))
        places = [spot[0] for spot in self.thickness]
        if 0 < len(places) < 3 or (places and max(places) < 2.0 * min(places)):
            text = "thickness at three places or more is needed, the farthest twice as far as the nearest"
            found.append(Mistake(("thickness",), "job-readings-few", text, "the far end tells most"))
        complain_of(found)
        return self

    def record(self) -> SlantPanel:
        """Return the domain's record."""
        return SlantPanel(
            self.current,
            self.burnt_to,
            self.bright_to,
            self.bare_from,
            self.place_to,
            self.thickness,
            self.thickness_to,
            self.thickness_current or self.current,
            self.stirred,
        )


class PolarizationKeys(_ReadVoltsAmps):
    """Voltage against current over more than a decade."""

    reference: YesNo

    @model_validator(mode="after")
    def _check(self) -> "PolarizationKeys":
        complain_of(list(self.reading_mistakes(4)))
        return self

    def record(self) -> PolarizationReadings:
        """Return the domain's record."""
        return PolarizationReadings(self.pairs(), self.reference)


class LimitingKeys(Section):
    """A plate that burnt."""

    current: Current
    area: _Area
    clean: Current | None = None
    ratio: Annotated[float, BeforeValidator(_ratio)] | None = None
    stirred: YesNo = False
    meters_to: _Off = METER_TO

    @model_validator(mode="after")
    def _check(self) -> "LimitingKeys":
        if self.clean is not None and self.clean >= self.current:
            text = "it burnt at no more current than it stood"
            complain_of(
                [Mistake(("clean",), "job-range", text, "clean is the highest current at which it did not burn")]
            )
        return self

    def record(self) -> BurntPlate:
        """Return the domain's record."""
        return BurntPlate(self.current, self.clean, self.area, self.ratio, self.stirred, self.meters_to)


class ReadingsKeys(Section):
    """The whole file."""

    name: Annotated[str, BeforeValidator(_new_name)]
    title: Text | None = None
    like: Annotated[str, BeforeValidator(known_bath)]
    temperature: Temperature
    conductivity: Annotated[ConductivityKeys, table(ConductivityKeys)] | None = None
    coupon: Annotated[tuple[Annotated[CouponKeys, table(CouponKeys)], ...], a_list, many("coupon")] = ()
    slant_panel: Annotated[SlantPanelKeys, table(SlantPanelKeys)] | None = None
    polarization: Annotated[PolarizationKeys, table(PolarizationKeys)] | None = None
    limiting: Annotated[LimitingKeys, table(LimitingKeys)] | None = None

    @model_validator(mode="after")
    def _check(self) -> "ReadingsKeys":
        if not any((self.conductivity, self.coupon, self.slant_panel, self.polarization, self.limiting)):
            hint = "give [conductivity], [[coupon]], [slant_panel], [polarization] or [limiting]"
            complain_of([Mistake(("name",), "job-key-missing", "nothing was read", hint)])
        return self

    def record(self, path: Path | None) -> Readings:
        """Return the domain's record."""
        return Readings(
            name=self.name,
            title=self.title or f"{self.name}, fitted to readings",
            like=self.like,
            temperature=self.temperature,
            conductivity=self.conductivity.record() if self.conductivity else None,
            coupons=tuple(coupon.record() for coupon in self.coupon),
            panel=self.slant_panel.record() if self.slant_panel else None,
            polarization=self.polarization.record() if self.polarization else None,
            limiting=self.limiting.record() if self.limiting else None,
            path=path,
        )


def read_readings(path: Path | str) -> Readings:
    """Return the readings in a file.

    Raises
    ------
    JobError
        with every mistake of the file in ``mistakes``, in file order.
    """
    path = Path(path)
    return parse_readings(text_of(path, "readings"), path=path)


def parse_readings(text: str, *, path: Path | None = None) -> Readings:
    """Return the readings in a text; ``path`` names it in messages."""
    source = locate.locate(text, path.name if path else "readings")
    data: dict[str, Any] = toml_of(source, "readings", PAGE)
    keys, mistakes = check(ReadingsKeys, data)
    if keys is None:
        raise refusal(mistakes, source)
    return keys.record(path)
