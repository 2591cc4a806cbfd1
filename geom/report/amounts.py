"""SI numbers in the words of the bench: metric first, inch units beside where shops use them."""

from collections.abc import Sequence

import numpy as np

from geom.units import show


def amount(value: float, unit: str, digits: int = 3) -> str:
    """Return a number in one unit ("" for a plain number), to so many significant digits."""
    return show(value, unit, digits)


def length(value: float) -> str:
    """Return a length in mm."""
    return show(value, "mm", 4)


def area(value: float) -> str:
    """Return an area, in dm² from 1 dm² up."""
    return show(value, "dm²", 4) if value >= 1e-2 else show(value, "mm²", 4)


def thickness(value: float) -> str:
    """Return a coating thickness in µm and mil."""
    return f"{show(value, 'µm')} ({show(value, 'mil', 2)})"


def current(value: float) -> str:
    """Return a current, in mA below 0.1 A."""
    return show(value, "A") if value >= 0.1 else show(value, "mA")


def voltage(value: float) -> str:
    """Return a voltage, two digits: it hangs on a conductivity known no better."""
    return show(value, "V", 2)


def current_density(value: float) -> str:
    """Return a current density in A/dm² and A/ft²."""
    return f"{show(value, 'A/dm²')} ({show(value, 'A/ft²', 2)})"


def minutes(value: float) -> str:
    """Return a time in minutes, from three hours up in hours, as a clock at a bench is read."""
    if not np.isfinite(value):
        return "without end"
    if 0 < value < 3:
        return "under 0.1 min"
    if value < 600:
        return f"{value / 60:.1f} min"
    if value < 3 * 3600:
        return f"{value / 60:.0f} min"
    return f"{value / 3600:.1f} h"


LEAST_ERROR = 1e-3
"""A smaller numerical error is told as this: figures are shown with three digits at most."""


def percent(value: float) -> str:
    """Return a relative error in %, to a tenth below 10 %, never less than 0.1 %."""
    if value >= 1:
        return "100 % or more"
    return f"{100 * max(value, LEAST_ERROR):.{1 if value < 0.0995 else 0}f} %"


def plus_minus(text: str, error: float | None) -> str:
    """Return a figure with its relative error behind it; as it is where none is known."""
    return text if error is None or not np.isfinite(error) else f"{text} ± {percent(error)}"


def point(place: Sequence[float]) -> str:
    """Return a place in mm."""
    return f"({', '.join(f'{round(1e3 * v, 4) + 0.0:.4g}' for v in place)}) mm"


def turn(angles: Sequence[float]) -> str:
    """Return angles in degrees."""
    text = ", ".join(f"{np.degrees(v):.4g}" for v in angles)
    return f"({text})°" if len(angles) > 1 else f"{text}°"
