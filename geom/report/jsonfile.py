"""The plan as one JSON document; docs/plan-json.md lists every key. Units are in the key names."""

from collections.abc import Sequence
from typing import Any

from geom.advice.accuracy import COARSER, Accuracy
from geom.advice.anodes import area_ratio
from geom.advice.copies import thickness_ratio
from geom.advice.figures import MEAN_OF
from geom.advice.sureness import of_edge_to_face, of_features, of_front_to_back
from geom.advice.words import FeatureResult
from geom.cell.cell import Anode, Shield, Slab, Thief, Wire, WireAnode
from geom.constants import ZERO_CELSIUS
from geom.findings import Finding
from geom.part.part import Part
from geom.plan import Plan
from geom.refine import STEP
from geom.report.bands import bands_tree
from geom.report.bathuse import anode_tree, bath_use_tree
from geom.report.cautions import cautions_tree, preparation_tree
from geom.report.hanging import hanging_tree
from geom.report.limits import coverage_tree, limits_tree
from geom.report.options import options_tree, recesses_tree
from geom.report.plainjson import SCHEMA_VERSION, dumped
from geom.report.scene import face_values
from geom.report.schedule import schedule_tree
from geom.report.supply import supply_tree
from geom.units import unit_factor


def as_json(plan: Plan, *, faces: bool = True) -> str:
    """Return the plan as JSON text: plain numbers, no NaN, the same bytes for the same plan.

    ``faces``: with what each panel gets, which is most of the text.
    """
    tree = plan_tree(plan)
    long = {"faces": tree.pop("faces")}
    return dumped(tree, long if faces else None)


def findings_tree(findings: Sequence[Finding]) -> list[dict[str, str]]:
    """Return findings as a list of plain records."""
    return [{"severity": str(f.severity), "code": f.code, "message": f.message} for f in findings]


def bounding_box_mm(part: Part) -> list[float]:
    """Return the size of a part along x, y and z."""
    low, high = part.surface.bounds
    return [1e3 * float(v) for v in high - low]


def plan_tree(plan: Plan) -> dict[str, Any]:
    """Return the plan as nested dicts and lists."""
    first, deposit = plan.fields[0], plan.deposit
    return {
        "schema_version": SCHEMA_VERSION,
        "title": plan.job.title,
        "part": _part(plan),
        "recommendation": _recommendation(plan),
        "balance": {
            "cathode_A": first.current,
            "anode_A": first.anode_current,
            "thieves_A": list(first.thief_currents),
            "anodes_A": list(first.anode_currents),
        },
        "current_density": {
            "mean_A_dm2": first.mean_current_density / 100,
            "ratio": dict(plan.ratio),
            "hottest_strip": _strip(plan),
            "edge_to_face": plan.edge_to_face,
            "front_to_back": plan.front_to_back,
            "anodes_A_dm2": [density / 100 for density in first.anode_densities],
            "thieves_A_dm2": [density / 100 for density in first.thief_densities],
        },
        "thickness_um": {name: 1e6 * value for name, value in plan.thickness.items()},
        "features": [_feature(f, plan.accuracy) for f in plan.features],
        "bare": [
            {"name": b.name, "reason": b.reason, "area_mm2": 1e6 * b.area, "part": b.copy or None} for b in plan.bare
        ],
        "rack": _rack(plan),
        "hanging": hanging_tree(plan.hanging),
        "stages": [
            {"name": s.name, "time_min": s.time / 60, "current_A": s.current, "voltage_V": s.voltage}
            for s in deposit.stages
        ],
        "deposit": {
            "mass_g": 1e3 * deposit.mass,
            "charge_Ah": deposit.charge / 3600,
            "thief_mass_g": 1e3 * deposit.thief_mass,
            "thief_charge_Ah": deposit.thief_charge / 3600,
        },
        "anode": {"mass_g": 1e3 * deposit.anode_mass},
        "coverage": coverage_tree(plan.coverage),
        "bands": bands_tree(plan.bands),
        "recesses": recesses_tree(plan.recesses),
        "options": options_tree(plan.options),
        "splits": schedule_tree(plan.schedule),
        "set_up": _set_up(plan),
        **_surroundings(plan),
        "advice": [{"code": a.code, "text": a.text} for a in plan.advice],
        "findings": findings_tree(plan.findings),
        "cautions": [caution["text"] for caution in cautions_tree(plan)],
        "caution_sources": cautions_tree(plan),
        "preparation": preparation_tree(plan),
        "origins": {key: {"kind": o.kind, "detail": o.detail} for key, o in plan.job.origins.items()},
        "numerical_error": _numerical_error(plan),
        "numerics": [
            {
                "panels": len(f.panels.body),
                "part_panels": f.panels.part_count,
                "panel_scale": f.panels.scale,
                "imbalance": f.imbalance,
                "residuals": list(f.residuals),
            }
            for f in plan.fields
        ],
        "faces": _faces(plan),
    }


def _faces(plan: Plan) -> dict[str, Any]:
    """Return what each plated panel gets, in the order of thickness.csv, in the digits that the report shows."""
    values = face_values(plan)
    return {
        "features": [feature.name for feature in plan.cell.part.features],
        "feature": plan.fields[0].panels.feature.tolist(),
        "thickness_um": values["thickness_um"],
        "current_density_A_dm2": values["current_density_A_per_dm2"],
    }


def _feature(feature: FeatureResult, accuracy: Accuracy) -> dict[str, Any]:
    return {
        "name": feature.name,
        "kind": str(feature.kind),
        "area_mm2": 1e6 * feature.area,
        "current_density_ratio": feature.current_density_ratio,
        "thickness_um": 1e6 * feature.thickness,
        "least_thickness_um": 1e6 * feature.least_thickness,
        "extra_time_min": feature.extra_time / 60,
        "significant": feature.significant,
        "part": feature.copy or None,
        "area_factor": feature.factor,
        "under_air_mm2": 1e6 * feature.under_air,
        "numerical_error": accuracy.errors.get(MEAN_OF + feature.name),
    }


def _numerical_error(plan: Plan) -> dict[str, Any]:
    accuracy = plan.accuracy
    return {
        "voltage": accuracy.voltage,
        "thinnest_significant": accuracy.thinnest,
        "hottest_strip": accuracy.hottest,
        "percentiles": accuracy.percentiles,
        "feature_means": accuracy.features,
        "worst_feature": accuracy.worst_feature,
        "edge_to_face": of_edge_to_face(plan.features, accuracy),
        "front_to_back": of_front_to_back(plan.features, accuracy),
        "coarser_by": COARSER if len(accuracy.panels) == 2 else STEP,
        "coarser_panels": accuracy.panels[-2],
        "asked": accuracy.wanted,
        "reached": accuracy.reached,
        "budget_spent": accuracy.spent or None,
        "panels": list(accuracy.panels),
        "of": dict(accuracy.errors),
    }


def _strip(plan: Plan) -> dict[str, float] | None:
    strip = plan.hottest_strip
    return None if strip is None else {"width_mm": 1e3 * strip.width, "A_dm2": strip.current_density / 100}


def _rack(plan: Plan) -> dict[str, Any] | None:
    """Return the rack and what each part on it gets; None for a part that hangs alone."""
    rack = plan.job.rack
    if rack is None:
        return None
    return {
        "copies": list(rack.copies),
        "pitch_mm": [1e3 * abs(pitch) for pitch in rack.pitch],
        "others": [
            {"name": other.name, "at_mm": [1e3 * v for v in other.at], "turn_deg": [v / unit_factor("deg", "angle") for v in other.turn]}
            for other in rack.others
        ],
        "thickness_ratio": thickness_ratio(plan.copies),
        "parts": [
            {
                "number": copy.number,
                "name": copy.name or None,
                "at_mm": [1e3 * v for v in copy.at],
                "current_A": copy.current,
                "current_density_ratio": copy.current_density_ratio,
                "thickness_um": 1e6 * copy.thickness,
                "least_thickness_um": 1e6 * copy.least_thickness,
                "numerical_error": of_features([f for f in plan.features if f.copy == copy.number], plan.accuracy),
            }
            for copy in plan.copies
        ],
    }


def _recommendation(plan: Plan) -> dict[str, Any]:
    schedule = plan.schedule
    return {
        "current_A": plan.current,
        "current_is_given": plan.current_is_given,
        "part_current_A": plan.fields[0].current,
        "mean_current_density_A_dm2": plan.fields[0].mean_current_density / 100,
        "cell_voltage_V": plan.voltage,
        "time_min": plan.time / 60,
        "time_one_pose_min": schedule.one_pose / 60,
        "time_to_mean_min": plan.time_to_mean / 60,
        "turn_after_min": schedule.first / 60 if schedule.second > 0 else None,
        "target_thickness_um": 1e6 * plan.job.target.thickness,
        "minimum_local_thickness_um": 1e6 * plan.minimum_local_thickness,
        "limits": limits_tree(plan.limits),
    }


def _surroundings(plan: Plan) -> dict[str, Any]:
    """Return what the plan asks of supply, bath and anodes."""
    found = plan.surroundings
    return {
        "supply": None if found is None else supply_tree(found.supplying),
        "bath_use": None if found is None else bath_use_tree(found.bath_use),
        "anode_area_ratio": area_ratio(plan.fields[0]),
        "anode_use": [] if found is None else anode_tree(found.anode_uses),
    }


def _part(plan: Plan) -> dict[str, Any]:
    return {
        "title": plan.cell.part.title,
        "wetted_area_mm2": 1e6 * plan.wetted_area,
        "area_mm2": 1e6 * plan.cell.part.area,
        "true_wetted_area_mm2": 1e6 * plan.true_area,
        "bare_area_mm2": 1e6 * sum(bare.area for bare in plan.bare),
        "under_air_mm2": 1e6 * sum(feature.under_air for feature in plan.features),
        "volume_mm3": 1e9 * plan.cell.part.volume,
        "bounding_box_mm": bounding_box_mm(plan.cell.part),
        "exact": plan.cell.part.exact,
    }


def _set_up(plan: Plan) -> dict[str, Any]:
    cell = plan.cell

    return {
        "tank": {"shape": type(cell.tank).__name__.removesuffix("Tank").lower(), **_lengths(cell.tank)},
        "anodes": [
            {"shape": type(a).__name__.removesuffix("Anode").lower(), **_body(a), "at_mm": [1e3 * v for v in a.at]}
            for a in cell.anodes
        ],
        "shields": [_body(shield) for shield in cell.shields],
        "thieves": [{"shape": "wire" if isinstance(t, Wire) else "strip", **_body(t)} for t in cell.thieves],
        "pose": {
            "turn_deg": [v / unit_factor("deg", "angle") for v in cell.pose.turn],
            "at_mm": [1e3 * v for v in cell.pose.at],
        },
        "supply": {"max_voltage_V": plan.job.supply.max_voltage, "max_current_A": plan.job.supply.max_current},
        "bath": {
            "name": cell.bath.name,
            "metal": cell.bath.metal.name,
            "conductivity_S_m": cell.bath.conductivity,
            "temperature_C": cell.bath.temperature - ZERO_CELSIUS,
            "efficiency": cell.bath.efficiency,
        },
    }


def _lengths(record: Any) -> dict[str, float]:
    names = ("length", "width", "depth", "height", "diameter")
    return {f"{name}_mm": 1e3 * getattr(record, name) for name in names if hasattr(record, name)}


def _body(body: Anode | Shield | Thief) -> dict[str, Any]:
    """Return the sizes and places of a body, as the job file names them."""
    tree: dict[str, Any] = dict(_lengths(body))
    if isinstance(body, Wire | WireAnode):
        tree |= {"start_mm": [1e3 * v for v in body.start], "end_mm": [1e3 * v for v in body.end]}
    if isinstance(body, WireAnode):
        tree["through"] = body.inner.through if body.inner else None
    if isinstance(body, Slab):
        tree["at_mm"] = [1e3 * v for v in body.at]
        tree["turn_deg"] = [v / unit_factor("deg", "angle") for v in body.turn]
    return tree
