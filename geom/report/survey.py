"""A survey of a part as a document and as a plain record."""

from typing import Any

from geom.feature import Feature
from geom.report.amounts import amount, area, length
from geom.report.hanging import hanging_section, hanging_tree
from geom.report.jsonfile import bounding_box_mm, findings_tree
from geom.report.plainjson import SCHEMA_VERSION
from geom.report.tree import Document, Row, Section, Table
from geom.surface.ball import BALL
from geom.survey import Survey
from geom.units import show
from geom.wording import mm2


def survey_document(survey: Survey) -> Document:
    """Return the survey as sections: size, what was repaired, features, how it hangs, findings."""
    part = survey.part
    sections = [
        Section("Size", (), tuple(_size_rows(survey))),
        _repair_section(survey),
        _feature_section(survey),
        hanging_section(survey.hanging, is_hung=survey.rotation is not None),
        _findings_section(survey),
    ]
    told = () if survey.job is None else (f"Part: {part.title}.",)
    return Document(survey.job or part.title, told, tuple(section for section in sections if section is not None))


def _size_rows(survey: Survey) -> list[Row]:
    part = survey.part
    low, high = part.surface.bounds
    how = "by formula" if part.exact else "of the mesh"
    rows = [
        Row("size", " x ".join(show(v, "mm", 5) for v in high - low)),
        Row("size in inch", " x ".join(show(v, "in", 4) for v in high - low)),
        Row(f"area ({how})", _both(part.area + part.bare_area)),
    ]
    if part.bare_area > 0:
        rows.append(Row("of it kept bare", _both(part.bare_area)))
    if survey.immersed is not None:
        rows.append(Row(f"wetted area to plate, immersed {show(survey.immersed, 'mm', 4)}", _both(survey.wetted_area)))
    elif part.bare_area > 0:
        rows.append(Row("area to plate", _both(survey.wetted_area)))
    under_air = float(survey.under_air.sum())
    if under_air > 0:
        rows.append(Row("of it under trapped air, which stays bare", _both(under_air)))
    if abs(survey.true_area - survey.wetted_area) > 1e-9 * survey.wetted_area:
        rows.append(Row("the same with thread and roughness factors", _both(survey.true_area)))
    ball = show(2 * BALL, "mm")
    what = "significant surface" if survey.immersed is None else "wetted significant surface"
    rows.append(Row(f"{what} (a {ball} ball can touch it)", _both(float(survey.wetted_touchable.sum()))))
    rows.append(Row(f"volume ({how})", f"{show(part.volume, 'mm³', 5)} ({show(part.volume, 'in³', 4)})"))
    if part.bodies > 1:
        rows.append(Row("separate bodies", str(part.bodies)))
    if part.exact:
        facets = f"{show(part.surface.area, 'mm²', 5)}, {show(part.surface.volume, 'mm³', 5)}"
        rows.append(Row("area and volume of the facets that stand for it", facets))
    return rows


def _both(value: float) -> str:
    return f"{show(value, 'mm²', 5)} ({show(value, 'dm²', 4)}, {show(value, 'in²', 4)})"


def _repair_section(survey: Survey) -> Section | None:
    changes = survey.part.changes
    if not changes:
        return None
    lines = tuple((change.message, str(change.faces), _change(change.area)) for change in changes)
    return Section("What was repaired", (), (), Table(("change", "faces", "area change"), lines))


def _change(value: float) -> str:
    """Return a change of area with its sign."""
    return "none" if value == 0 else ("+" if value > 0 else "") + mm2(value)


def _feature_section(survey: Survey) -> Section:
    lines = tuple(
        (f.name + (" !" if dry > 0 else ""), str(f.kind), area(f.area), "; ".join(_words(f, *areas)))
        for f, dry, areas in zip(survey.part.features, survey.under_air, _amounts(survey), strict=True)
    )
    held = "; ".join(
        f"{area(float(v))} of {f.name}" for f, v in zip(survey.part.features, survey.under_air, strict=True) if v > 0
    )
    notes = (f"! as it hangs, under trapped air, which stays bare: {held}.",) if held else ()
    return Section("Features", notes, (), Table(("feature", "kind", "area", "measures"), lines, (1, 3)))


def _amounts(survey: Survey) -> list[tuple[float, float]]:
    """Return what of each feature is wet, and what of that the ball can touch [m²]."""
    return list(zip(survey.wetted.tolist(), survey.wetted_touchable.tolist(), strict=True))


def _words(feature: Feature, wet: float, touch: float) -> list[str]:
    """Return measures, and what is special: not plated, partly out of the liquid, out of the ball's reach."""
    words = [_measures(feature)]
    if feature.bare:
        words.append(f"not plated ({feature.bare})")
    if wet < 0.999 * feature.area:
        words.append(f"wet {100 * wet / feature.area:.0f} %")
    if not feature.bare and wet > 0 and touch < 0.5 * wet:
        words.append("not significant")
    if feature.factor != 1.0:
        words.append(f"area factor {feature.factor:.3g}")
    return [word for word in words if word]


def _measures(feature: Feature) -> str:
    """Return width, depth and radius in words."""
    words = []
    if feature.width > 0:
        words.append(f"{length(feature.width)} wide")
    if feature.depth > 0:
        words.append(f"{length(feature.depth)} deep")
    if feature.aspect > 0:
        words.append(f"depth/width {amount(feature.aspect, '', 2)}")
    if feature.radius > 0:
        words.append(f"radius {length(feature.radius)}")
    return ", ".join(words)


def _findings_section(survey: Survey) -> Section | None:
    repaired = {change.message for change in survey.part.changes}
    told = [f"{f.severity}: {f.message}" for f in survey.findings if f.message not in repaired]
    return Section("Findings", tuple(told)) if told else None


def survey_tree(survey: Survey) -> dict[str, Any]:
    """Return the survey as nested dicts and lists."""
    part = survey.part
    amounts = (survey.wetted, survey.touchable, survey.wetted_touchable, survey.under_air)
    return {
        "schema_version": SCHEMA_VERSION,
        "title": part.title,
        "job": survey.job,
        "wetted_area_mm2": 1e6 * survey.wetted_area,
        "true_wetted_area_mm2": 1e6 * survey.true_area,
        "bare_area_mm2": 1e6 * survey.bare_area,
        "area_mm2": 1e6 * part.area,
        "touchable_area_mm2": 1e6 * float(survey.touchable.sum()),
        "wetted_touchable_area_mm2": 1e6 * float(survey.wetted_touchable.sum()),
        "under_air_mm2": 1e6 * float(survey.under_air.sum()),
        "immersed_mm": None if survey.immersed is None else 1e3 * survey.immersed,
        "volume_mm3": 1e9 * part.volume,
        "mesh_area_mm2": 1e6 * part.surface.area,
        "mesh_volume_mm3": 1e9 * part.surface.volume,
        "mesh_faces": len(part.surface.faces),
        "exact": part.exact,
        "bodies": part.bodies,
        "bounding_box_mm": bounding_box_mm(part),
        "bounding_box_in": [v / 25.4 for v in bounding_box_mm(part)],
        "features": [
            _feature_tree(part.features[k], *(float(areas[k]) for areas in amounts)) for k in range(len(part.features))
        ],
        "repairs": [
            {
                "severity": str(change.severity),
                "code": change.code,
                "message": change.message,
                "faces": change.faces,
                "area_change_mm2": 1e6 * change.area,
                "place_mm": None if change.place is None else [1e3 * v for v in change.place],
            }
            for change in part.changes
        ],
        "hanging": hanging_tree(survey.hanging),
        "findings": findings_tree(survey.findings),
    }


def _feature_tree(feature: Feature, wet: float, touch: float, wet_touch: float, under_air: float) -> dict[str, Any]:
    return {
        "name": feature.name,
        "kind": str(feature.kind),
        "area_mm2": 1e6 * feature.area,
        "wetted_area_mm2": 1e6 * wet,
        "touchable_area_mm2": 1e6 * touch,
        "wetted_touchable_area_mm2": 1e6 * wet_touch,
        "under_air_mm2": 1e6 * under_air,
        "width_mm": 1e3 * feature.width,
        "depth_mm": 1e3 * feature.depth,
        "aspect": feature.aspect,
        "radius_mm": 1e3 * feature.radius,
        "axis": None if feature.axis is None else list(feature.axis),
        "middle_mm": None if feature.middle is None else [1e3 * v for v in feature.middle],
        "bare": feature.bare,
        "area_factor": feature.factor,
    }
