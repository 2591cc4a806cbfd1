"""What is done to the part before it is hung: [[stop_off]], [[contact]], [[plug]], [[thread]], roughness."""

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from geom.job.fields import Angle, Length, Mistake, Point3, Section, Text, complain, complain_of, quoted
from geom.part.masks import (
    Contact,
    CoveringMask,
    Plug,
    StopOff,
    StopOffBox,
    StopOffFacing,
    StopOffNear,
    Thread,
)

MOST_FACTOR = 10.0
ASLANT = math.radians(10.0)
"""By how much a face may look another way than asked, unless the job says so."""

SIDES = {f"{sign}{axis}": (sign, "xyz".index(axis)) for sign in "+-" for axis in "xyz"}
FORMS = (("features",), ("low", "high"), ("near", "within"), ("facing",))
"""Keys that say which places a stop-off covers: one of these."""


def names(value: object) -> tuple[str, ...]:
    """Return the names of features, from one name or a list of them."""
    found = value if isinstance(value, list) else [value]
    if not found or not all(isinstance(name, str) and name.strip() and name.isprintable() for name in found):
        complain("job-type", 'names of features are expected here, such as ["face", "bore"], or "all"')
    return tuple(found)


def _factor(value: object) -> float:
    """Return an area factor: a plain number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        complain("job-type", f"{quoted(value)} stands where a plain number such as 1.1 is expected")
    if not 1.0 <= value <= MOST_FACTOR:
        text = f"{quoted(value)} is out of range; at least 1 and at most {MOST_FACTOR:g} is expected here"
        complain("job-range", text, "the true area over the area that is drawn")
    return float(value)


def _direction(value: object) -> tuple[float, float, float]:
    """Return a unit vector from a word such as "+z", or from three plain numbers."""
    if isinstance(value, str) and value in SIDES:
        sign, axis = SIDES[value]
        unit = [0.0, 0.0, 0.0]
        unit[axis] = -1.0 if sign == "-" else 1.0
        return unit[0], unit[1], unit[2]
    numbers = value if isinstance(value, list) and len(value) == 3 else None
    if numbers is None or not all(isinstance(v, int | float) and not isinstance(v, bool) for v in numbers):
        complain("job-type", f'{quoted(value)} stands where a direction is expected, such as "+z" or [0, 0.7, 0.7]')
    length = math.hypot(*numbers)
    if not 1e-9 < length < 1e9:
        complain("job-range", "a direction needs a length: three numbers, not all of them zero")
    x, y, z = (float(v) / length for v in numbers)
    return x, y, z


AreaFactor = Annotated[float, BeforeValidator(_factor)]
Names = Annotated[tuple[str, ...], BeforeValidator(names)]
Direction = Annotated[tuple[float, float, float], BeforeValidator(_direction)]


class StopOffKeys(Section):
    """Places that lacquer, wax or tape keeps bare: features, a box, a ball, or all that looks one way."""

    features: Names | None = None
    low: Point3 | None = None
    high: Point3 | None = None
    near: Point3 | None = None
    within: Length | None = None
    facing: Direction | None = None
    angle: Angle | None = None

    @model_validator(mode="after")
    def _check(self) -> "StopOffKeys":
        given = [form for form in FORMS if any(getattr(self, key) is not None for key in form)]
        hint = "features, or low and high, or near and within, or facing"
        if not given:
            complain_of([Mistake(("features",), "job-key-missing", "nothing says what is stopped off", hint)])
        if len(given) > 1:
            second = next(key for key in given[1] if getattr(self, key) is not None)
            text = f"{given[0][0]} and {second} are both given"
            complain_of([Mistake((second,), "job-keys-exclude", text, f"{hint}; give each its own [[stop_off]]")])
        missing = [key for key in given[0] if getattr(self, key) is None]
        complain_of([Mistake((key,), "job-key-missing", f'"{key}" is missing', hint) for key in missing])
        if self.low and self.high:
            crossed = [axis for axis, low, high in zip("xyz", self.low, self.high, strict=True) if low > high]
            text = f"low is above high along {' and '.join(crossed)}"
            complain_of([Mistake(("low",), "job-range", text)] if crossed else [])
        if self.angle is not None and self.facing is None:
            complain_of([Mistake(("angle",), "job-keys-exclude", "angle goes with facing only")])
        if self.angle is not None and not 0 <= self.angle <= math.pi / 2:
            complain_of([Mistake(("angle",), "job-range", "an angle from 0 to 90 deg is expected here")])
        return self

    def record(self) -> CoveringMask:
        """Return the domain's record."""
        if self.features:
            return StopOff(self.features)
        if self.low and self.high:
            return StopOffBox(self.low, self.high)
        if self.near and self.within:
            return StopOffNear(self.near, self.within)
        assert self.facing is not None
        return StopOffFacing(self.facing, ASLANT if self.angle is None else self.angle)


class ContactKeys(Section):
    """Where a hook or a clip sits."""

    at: Point3
    diameter: Length

    def record(self) -> Contact:
        """Return the domain's record."""
        return Contact(self.at, self.diameter)


class PlugKeys(Section):
    """A hollow feature that is closed."""

    feature: Text

    def record(self) -> Plug:
        """Return the domain's record."""
        return Plug(self.feature)


class ThreadKeys(Section):
    """A thread on what is drawn as a plain cylinder: by a factor, or by the 60° profile."""

    feature: Text
    factor: AreaFactor | None = None
    pitch: Length | None = None
    diameter: Length | None = None

    @model_validator(mode="after")
    def _check(self) -> "ThreadKeys":
        profile: dict[str, Any] = {"pitch": self.pitch, "diameter": self.diameter}
        given = [key for key, value in profile.items() if value is not None]
        hint = "a thread has a factor, or pitch and nominal diameter"
        if self.factor is not None and given:
            text = f"factor and {given[0]} are both given"
            complain_of([Mistake((given[0],), "job-keys-exclude", text, hint)])
        if self.factor is None:
            missing = [key for key in profile if key not in given] if given else ["factor"]
            complain_of([Mistake((key,), "job-key-missing", f'"{key}" is missing', hint) for key in missing])
        return self

    def record(self) -> Thread:
        """Return the domain's record."""
        return Thread(self.feature, self.factor or 0.0, self.pitch or 0.0, self.diameter or 0.0)
