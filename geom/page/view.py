"""`view_of`: a plan as the plain record that the page shows; every figure is the plan's, rounded as in the report."""

import math
from dataclasses import asdict
from typing import Any

from geom.advice.copies import over_copies
from geom.plan import Plan
from geom.report.content import NEVER, document
from geom.report.scene import scene_of
from geom.report.tree import printable

MICRO, SQUARE_MILLI, MINUTE = 1e6, 1e6, 60.0  # of a metre, of a square metre; seconds


def view_of(plan: Plan) -> dict[str, Any]:
    """Return what the page shows of a plan: JSON types alone, no NaN, text without control characters."""
    tree = document(plan)
    view = {
        "title": tree.title,
        "answer": list(tree.answer),
        "numbers": _numbers(plan),
        "findings": [{"severity": str(f.severity), "slug": f.code, "message": f.message} for f in plan.findings],
        "features": _features(plan),
        "sections": [asdict(section) for section in tree.sections],
        "scene": scene_of(plan),
    }
    return {key: value if key == "scene" else plain(value) for key, value in view.items()}


def plain(value: Any) -> Any:
    """Return a tree that JSON can hold: numbers that are not finite become null, control characters "?"."""
    if isinstance(value, dict):
        return {printable(str(key)): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, str):
        return printable(value)
    if value is None or isinstance(value, bool | int):
        return value
    return float(value) if math.isfinite(value) else None


def rounded(value: float, digits: int = 3) -> float:
    """Return a number to so many significant digits, as the report shows it."""
    return float(f"{value + 0.0:.{digits}g}") if math.isfinite(value) else value


def _clock(value: float) -> float:
    """Return minutes to the tenth below ten minutes, whole ones above: as the report has them; nan for never."""
    if not 0 <= value < NEVER:
        return math.nan
    return round(value / MINUTE, 1 if value < 10 * MINUTE else 0)


def _numbers(plan: Plan) -> dict[str, Any]:
    spread, within = plan.thickness, plan.coverage
    high, low = spread["max"], plan.minimum_local_thickness
    bath_range = plan.cell.bath.current_density
    return {
        "current_A": rounded(plan.current),
        "current_is_given": plan.current_is_given,
        "voltage_V": rounded(plan.voltage, 2),
        "mean_current_density_A_per_dm2": rounded(plan.fields[0].mean_current_density / 100),
        "minutes": _clock(plan.time),
        "turn_after_minutes": _clock(plan.schedule.first) if plan.schedule.second > 0 else None,
        "target_um": rounded(MICRO * plan.job.target.thickness),
        "thinnest_um": rounded(MICRO * low),
        "mean_um": rounded(MICRO * spread["mean"]),
        "thickest_um": rounded(MICRO * high),
        "thickest_to_thinnest": rounded(high / low) if low > 0 else None,
        "wetted_area_mm2": rounded(SQUARE_MILLI * plan.wetted_area, 4),
        "bare_share": None if within is None else rounded(within.wetted.bare),
        "shares": None if within is None else {name: rounded(share) for name, share in asdict(within.wetted).items()},
        "stopped_off_mm2": rounded(SQUARE_MILLI * sum(one.area for one in plan.bare), 4),
        "range_A_per_dm2": [rounded(bath_range.low / 100), rounded(bath_range.high / 100)],
        "panels": plan.fields[0].panels.part_count,
        "stops": sum(str(f.severity) == "stop" for f in plan.findings),
        "warnings": sum(str(f.severity) == "warning" for f in plan.findings),
    }


def _features(plan: Plan) -> list[dict[str, Any]]:
    plated = [
        {
            "name": one.name,
            "area_mm2": rounded(SQUARE_MILLI * one.area, 4),
            "share": round(one.current_density_ratio, 2),
            "mean_um": rounded(MICRO * one.thickness),
            "thinnest_um": rounded(MICRO * one.least_thickness),
            "extra_minutes": _clock(one.extra_time),
            "significant": one.significant,
            "bare": False,
        }
        for one in over_copies(plan.features)
    ]
    blank = dict.fromkeys(("share", "mean_um", "thinnest_um", "extra_minutes"))
    bare = [
        {"name": one.name, "area_mm2": rounded(SQUARE_MILLI * one.area, 4), **blank, "significant": False, "bare": True}
        for one in plan.bare
    ]
    return plated + bare
