"""How lengths are written in the names, titles and messages of a part: always millimetres."""


def mm(length: float) -> str:
    """Return a length [m] in millimetres: up to three decimals, no trailing zeros."""
    return f"{round(float(length) * 1e3, 3) + 0.0:.10g}"
