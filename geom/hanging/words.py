"""Findings about how a part hangs."""

import numpy as np

from geom.findings import Finding, Severity
from geom.hanging.hanging import Hanging
from geom.hanging.pockets import Pocket

CUPPED = 0.33e-3
"""Bath carried out on a cup-shaped part, from which on it is worth a warning [m³ per m²].

Handbooks give 0.33 to 0.98 L/m² for such parts, 0.016 for an upright well drained face (after Soderberg; from memory).
"""

NAMED = 3  # features named in one finding


def hanging_findings(hanging: Hanging, area: float) -> list[Finding]:
    """Return what the reader should know of air, bath and hydrogen held; ``area`` is that of one part [m²]."""
    return [*_air(hanging), *_doubtful(hanging), *_bath(hanging, area), *_narrow(hanging), *_level(hanging)]


def millilitres(volume: float) -> str:
    """Return a volume [m³] in mL, two digits."""
    return f"{_digits(1e6 * volume, 2)} mL"


def _square(area: float) -> str:
    return f"{_digits(1e6 * area, 3)} mm²"


def _digits(value: float, count: int) -> str:
    """Return a number of so many digits, without an exponent."""
    return f"{float(f'{value:.{count}g}'):.10g}"


def against(pockets: tuple[Pocket, ...]) -> list[tuple[str, float]]:
    """Return the features that pockets lie against with the area of each [m²], the largest first."""
    total: dict[str, float] = {}
    for pocket in pockets:
        for name, area in pocket.features:
            total[name] = total.get(name, 0.0) + area
    return sorted(total.items(), key=lambda item: -item[1])


def _named(pockets: tuple[Pocket, ...]) -> str:
    features = against(pockets)
    words = ", ".join(f"{_square(area)} of {name}" for name, area in features[:NAMED])
    return words + (f" and {len(features) - NAMED} more" if len(features) > NAMED else "")


def way_out(hanging: Hanging, what: str) -> str:
    """Return what frees air or bath ("air", "bath"), in words."""
    tilt = hanging.tilt
    if tilt is None or not (tilt.frees_air if what == "air" else tilt.frees_bath):
        hole = "a vent hole at the top" if what == "air" else "a drain hole at the bottom"
        return (
            f"no tilt up to 45° frees the {what}: hang it with the mouth sideways or turn it over, or ask for {hole} of the "
            "pocket (ASTM B507 asks for drain and vent holes, and for no pockets)"
        )
    return f"{tilt_words(hanging)} frees the {what}"


def tilt_words(hanging: Hanging) -> str:
    """Return the tilt as an order, with the turn of the pose that it makes."""
    if hanging.tilt is None:
        return ""
    words = (
        f"tilting it {np.degrees(hanging.tilt.angle):.0f}° about {hanging.tilt.axis}, the {hanging.tilt.side} side up,"
    )
    if hanging.turn is None:
        return words.rstrip(",")
    turn = ", ".join(f'"{_round(v)} deg"' for v in hanging.turn)
    return f"{words} that is turn = [{turn}] in [pose],"


def _round(angle: float) -> str:
    return f"{round(float(np.degrees(angle)), 1) + 0.0:.10g}"


def _air(hanging: Hanging) -> list[Finding]:
    sure = tuple(pocket for pocket in hanging.trapped if pocket.sure)
    if not sure:
        return []
    bare = f" and keeps bare {_named(sure)} (still counted in the wetted area)" if against(sure) else ""
    dry = " (of it what bath would have to reach over a brim above its surface)" if any(p.dry for p in sure) else ""
    where = "under the part" if len(sure) == 1 else f"in {len(sure)} places under the part"
    message = f"about {millilitres(hanging.trapped_volume)} of air stays {where} as it hangs{dry}{bare}; "
    return [Finding(Severity.WARNING, "trapped-air", message + way_out(hanging, "air"))]


def _doubtful(hanging: Hanging) -> list[Finding]:
    air = tuple(pocket for pocket in hanging.trapped if not pocket.sure)
    bath = tuple(pocket for pocket in hanging.cups if not pocket.sure)
    parts = [
        f"{millilitres(sum(p.volume for p in pockets))} of {what} ({_named(pockets) or 'no feature'})"
        for what, pockets in (("air", air), ("bath", bath))
        if pockets
    ]
    if not parts:
        return []
    message = (
        f"{' and '.join(parts)} may be held by surface tension: only holes narrower than 3 mm let it out; shake the "
        "part under the surface, or ask for wider holes"
    )
    return [Finding(Severity.NOTE, "narrow-way-out", message)]


def _bath(hanging: Hanging, area: float) -> list[Finding]:
    sure = tuple(pocket for pocket in hanging.cups if pocket.sure)
    if not sure:
        return []
    volume = hanging.cup_volume
    severity = Severity.WARNING if volume > CUPPED * area else Severity.NOTE
    message = (
        f"each part lifted out as it hangs carries about {millilitres(volume)} of bath into the rinse, against "
        f"{_named(sure)}; {way_out(hanging, 'bath')}, or tip it out over the bath"
    )
    return [Finding(severity, "bath-carried-out", message)]


def _narrow(hanging: Hanging) -> list[Finding]:
    if not hanging.narrow:
        return []
    names = ", ".join(hanging.narrow[:NAMED]) + (" and more" if len(hanging.narrow) > NAMED else "")
    message = (
        f"blind and narrower than 3 mm, {names} may hold a bubble, and later bath, in any pose: surface tension keeps it; "
        "fill and drain by shaking or with a syringe, or plug"
    )
    return [Finding(Severity.NOTE, "narrow-blind-hole", message)]


def _level(hanging: Hanging) -> list[Finding]:
    free = [underside for underside in hanging.undersides if underside.is_free]
    if not free:
        return []
    named = ", ".join(
        f"{u.feature} ({_square(u.area)}, about {_digits(1e3 * u.width, 2)} mm across)" for u in free[:NAMED]
    )
    message = (
        f"hydrogen bubbles cling under level faces and leave pits: {named}; tilt the part by 5 to 15°, or move it while it "
        "plates (common practice, no source)"
    )
    return [Finding(Severity.NOTE, "level-underside", message)]
