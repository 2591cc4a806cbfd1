"""The schedule beside the plain ways to split the time: section of the report, records of the JSON."""

from typing import Any

from geom.advice.schedule import CAP_SLACK, Schedule
from geom.report.amounts import amount, minutes
from geom.report.tree import Section, Table


def schedule_section(schedule: Schedule) -> Section:
    """Return the schedule beside one pose, and half and half."""
    has_caps = any(one.excess is not None for one in schedule.alternatives)
    lines = tuple(
        (
            one.name,
            minutes(one.time),
            amount(one.least, "µm"),
            amount(one.mean, "µm"),
            amount(one.thickest, "µm"),
            *([_kept(one.excess)] if has_caps else []),
        )
        for one in schedule.alternatives
    )
    if len({line[1:] for line in lines}) < 2:
        return Section("Ways to split the time")
    note = (
        "Each until the thinnest significant place meets the target. thinnest and thickest: lowest local thickness on the significant "
        "surface, highest anywhere, means over about 1 cm². The schedule is the least time of a linear programme over the poses weighed; a "
        "further turn must save 7 % to be taken, and so must hanging the part otherwise than the job has it."
    )
    heads = ("plan", "time", "thinnest", "mean", "thickest", *(["caps"] if has_caps else []))
    return Section("Ways to split the time", (note,), (), Table(heads, lines))


def _kept(excess: float | None) -> str:
    """Return whether the caps on thickness are kept."""
    if excess is None:
        return "-"
    return "kept" if excess <= 1 + CAP_SLACK else f"passed {excess:.2f} times"


def schedule_tree(schedule: Schedule) -> list[dict[str, Any]]:
    """Return the ways to split the time as plain JSON values."""
    return [
        {
            "name": one.name,
            "time_min": one.time / 60,
            "least_thickness_um": 1e6 * one.least,
            "mean_thickness_um": 1e6 * one.mean,
            "thickest_um": 1e6 * one.thickest,
            "cap_excess": one.excess,
        }
        for one in schedule.alternatives
    ]
