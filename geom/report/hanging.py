"""How a part hangs: a section of the report, and a record of the JSON."""

from typing import Any

from geom.hanging.hanging import Hanging
from geom.hanging.pockets import Pocket
from geom.hanging.words import against, millilitres, tilt_words
from geom.report.amounts import amount, area, point
from geom.report.tree import Row, Section, Table
from geom.units import unit_factor

NAMED = 4  # features named in one line of the table


def hanging_section(hanging: Hanging | None, *, is_hung: bool = True) -> Section:
    """Return what air, bath and hydrogen a part holds as it hangs; nothing where it was not looked at.

    Not hung is the part of a mesh or drawing: it is looked at with z of the file up.
    """
    if hanging is None:
        return Section("Hanging", ())
    how = "as first hung" if is_hung else "with z of the file up"
    pockets = (*hanging.trapped, *hanging.cups)
    if not pockets and not hanging.undersides:
        return Section("Hanging", _notes(hanging, how))
    rows = []
    if pockets:
        rows.append(Row("air that stays under one part", millilitres(hanging.trapped_volume)))
        rows.append(Row("bath that one part carries out", millilitres(hanging.cup_volume)))
    rows += [
        Row(
            f"level underside: {u.feature}", f"{area(u.area)}, about {amount(u.width, 'mm', 2)} across{_gas(u.is_free)}"
        )
        for u in hanging.undersides
    ]
    if any(pocket.sure for pocket in pockets):
        rows.append(Row("least tilt that helps", _tilt(hanging)))
    return Section("Hanging", _notes(hanging, how), tuple(rows), _table(hanging) if pockets else None)


def _gas(is_free: bool) -> str:
    return "; gas gets away along it" if is_free else "; no way out for gas"


def _tilt(hanging: Hanging) -> str:
    tilt = hanging.tilt
    if tilt is None:
        return "none up to 45°: another pose, or a vent or drain hole"
    freed = " and ".join(what for what, is_free in (("air", tilt.frees_air), ("bath", tilt.frees_bath)) if is_free)
    return f"{tilt_words(hanging)} frees the {freed}"


def _notes(hanging: Hanging, how: str) -> tuple[str, ...]:
    if not (hanging.trapped or hanging.cups):
        return (f"{how[0].upper()}{how[1:]} the part holds no air under it and carries no cup of bath out.",)
    notes = [
        f"Air: when the part goes in {how}. Bath: when it comes out that way. Turned half round about the vertical both stay."
    ]
    if any(not pocket.sure for pocket in (*hanging.trapped, *hanging.cups)):
        notes.append("?: only a hole narrower than 3 mm lets it out, which surface tension may keep shut.")
    return tuple(notes)


def _table(hanging: Hanging) -> Table:
    lines = tuple(
        (
            ("air" if pocket in hanging.trapped else "bath") + ("" if pocket.sure else " ?"),
            millilitres(pocket.volume),
            millilitres(pocket.doubt),
            point([round(v, 4) + 0.0 for v in pocket.middle]),
            ", ".join(f"{name} {area(size)}" for name, size in against((pocket,))[:NAMED]) or "-",
        )
        for pocket in (*hanging.trapped, *hanging.cups)
    )
    return Table(("held", "volume", "±", "middle at", "against"), lines, (3, 4))


def hanging_tree(hanging: Hanging | None) -> dict[str, Any] | None:
    """Return the record as plain data; None where it was not looked at."""
    if hanging is None:
        return None
    tilt, degree = hanging.tilt, unit_factor("deg", "angle")
    return {
        "trapped_air_mm3": 1e9 * hanging.trapped_volume,
        "carried_out_mm3": 1e9 * hanging.cup_volume,
        "pockets": [_pocket("air", p) for p in hanging.trapped] + [_pocket("bath", p) for p in hanging.cups],
        "undersides": [
            {"feature": u.feature, "area_mm2": 1e6 * u.area, "width_mm": 1e3 * u.width, "gas_is_free": u.is_free}
            for u in hanging.undersides
        ],
        "narrow_blind_holes": list(hanging.narrow),
        "tilt": None
        if tilt is None
        else {
            "angle_deg": tilt.angle / degree,
            "side_up": tilt.side,
            "frees_air": tilt.frees_air,
            "frees_bath": tilt.frees_bath,
            "pose_turn_deg": None if hanging.turn is None else [v / degree for v in hanging.turn],
        },
        "grid_step_mm": 1e3 * hanging.step,
    }


def _pocket(holds: str, pocket: Pocket) -> dict[str, Any]:
    return {
        "holds": holds,
        "volume_mm3": 1e9 * pocket.volume,
        "doubt_mm3": 1e9 * pocket.doubt,
        "middle_mm": [1e3 * v for v in pocket.middle],
        "level_mm": 1e3 * pocket.level,
        "sure": pocket.sure,
        "stays_dry": pocket.dry,
        "features": [{"name": name, "area_mm2": 1e6 * size} for name, size in pocket.features],
    }
