"""How lengths and areas are written in the names, titles and messages of a part: always millimetres."""


def mm(length: float) -> str:
    """Return a length [m] in millimetres: up to three decimals, no trailing zeros."""
    return f"{round(float(length) * 1e3, 3) + 0.0:.10g}"


def mm2(area: float, digits: int = 4) -> str:
    """Return an area [m²] in square millimetres with its unit: so many digits, never with an exponent."""
    return f"{float(f'{float(area) * 1e6:.{digits}g}'):.15g} mm²"


def digits(value: float, count: int = 2) -> str:
    """Return a number to so many significant digits, never with an exponent."""
    return f"{float(f'{float(value):.{count}g}'):.15g}"
