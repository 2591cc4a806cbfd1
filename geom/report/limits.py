"""The limits on the current, and how the part lies in the bath's range: sections of the report, records of the JSON."""

from typing import Any

from geom.advice.coverage import BARE, Coverage, Shares
from geom.advice.limit import Limit
from geom.plan import Plan
from geom.report import sure
from geom.report.amounts import amount, current, current_density
from geom.report.tree import Row, Section, Table


def limits_section(plan: Plan) -> Section:
    """Return every limit that was weighed, the one that binds, and what would relax it."""
    lines = tuple(
        (
            limit.name,
            amount(limit.value, "A"),
            sure.limit_error(plan, limit),
            "binds" if limit.binds else "",
            limit.basis,
        )
        for limit in plan.limits
    )
    notes = [
        "You gave the current or the voltage; the limits are for comparison."
        if plan.current_is_given
        else "The recommended current is the least of these."
    ]
    binding = next((limit for limit in plan.limits if limit.binds), None)
    if binding is not None and binding.relax:
        notes.append(f"What would let more through: {binding.relax}.")
    if plan.job.bench.stirred is None and plan.cell.bath.limiting_current_density is not None:
        notes.append(
            "Whether the bath is stirred is not stated ([bath] stirred), so its limiting current was not weighed."
        )
    notes += [f"{_capital(name)}: {source}." for source, name in _sources(plan.limits)]
    table = Table(("limit", "allows", "±", "", "because"), lines, (3, 4))
    return Section("Limits on the current", tuple(notes), (), table)


def _sources(limits: tuple[Limit, ...]) -> list[tuple[str, str]]:
    """Return each source once, with the names of the limits that rest on it."""
    found: dict[str, list[str]] = {}
    for limit in limits:
        if limit.source:
            found.setdefault(limit.source, []).append(limit.name.split(",")[0])
    return [(source, ", ".join(names)) for source, names in found.items()]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def coverage_section(found: Coverage | None) -> Section:
    """Return which share of the part plates within the range."""
    if found is None:
        return Section("Within the bath's range")
    lines = tuple(
        (name, *_cells(shares)) for name, shares in (("wetted", found.wetted), ("significant", found.significant))
    )
    note = (
        f"By share of the area, as first hung; the range is {amount(found.range.low, 'A/dm²')} to {amount(found.range.high, 'A/dm²')}. bare: "
        f"under {100 * BARE:.0f} % of its low end (common practice, no source); over: burnt if it lasts. Right at a sharp edge a thin line "
        "is always over."
    )
    rows = (
        Row("coldest significant place", current_density(found.coldest)),
        Row("least current that brings it into the range", current(found.least_current)),
    )
    return Section(
        "Within the bath's range", (note,), rows, Table(("surface", "bare", "under", "within", "over"), lines)
    )


def _cells(shares: Shares) -> tuple[str, ...]:
    return tuple(f"{100 * v:.1f} %" for v in (shares.bare, shares.under, shares.within, shares.over))


def limits_tree(limits: tuple[Limit, ...]) -> list[dict[str, Any]]:
    """Return the limits as plain JSON values."""
    return [
        {
            "name": limit.name,
            "value": limit.value,
            "binds": limit.binds,
            "basis": limit.basis,
            "source": limit.source,
            "relax": limit.relax,
        }
        for limit in limits
    ]


def coverage_tree(found: Coverage | None) -> dict[str, Any] | None:
    """Return the shares as plain JSON values."""
    if found is None:
        return None

    def shares(of: Shares) -> dict[str, float]:
        return {"bare": of.bare, "under": of.under, "within": of.within, "over": of.over}

    return {
        "low_A_dm2": found.range.low / 100,
        "high_A_dm2": found.range.high / 100,
        "wetted_shares": shares(found.wetted),
        "significant_shares": shares(found.significant),
        "coldest_A_dm2": found.coldest / 100,
        "least_current_A": found.least_current,
    }
