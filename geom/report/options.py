"""Holes and bends, and the options solved for them: sections of the report, records of the JSON."""

import math
from collections.abc import Sequence
from typing import Any

from geom.options.recesses import RecessCheck
from geom.options.solved import THICK, Options
from geom.report.amounts import amount, current, minutes, voltage
from geom.report.tree import Section, Table

NEVER = 1e7


def recess_section(checks: Sequence[RecessCheck], solved: bool) -> Section:
    """Return what holes and bends get, and what more time for them does to the edges."""
    lines = tuple(
        (
            check.name,
            _plain(check.ratio),
            _plain(check.least_ratio),
            "-" if check.extra_time <= 0 else minutes(check.extra_time) if check.extra_time < NEVER else "never",
            "-" if check.edges_then is None else amount(check.edges_then, "µm"),
            _plain(check.aspect),
            "-" if check.decay is None else amount(check.decay, "mm", 2),
        )
        for check in checks
    )
    rules = {check.rule: None for check in checks if check.rule}
    notes = [
        "mean and thinnest: thickness over that of the broad faces. edges then: the thickest 1 % after the extra time. depth: over the "
        "width. falls by e in: the depth over which the deposit falls off by e, a rule of thumb (trust rough) beside the solved figures.",
        *(f"{_names(checks, rule)}: {rule} (trust rough)." for rule in rules),
    ]
    if not solved and any(check.extra_time > 0 for check in checks):
        notes.append(
            "geom plan JOB --options solves what else could be done: less current, an anode wire inside, thieves and more."
        )
    heads = ("recess", "mean", "thinnest", "extra time", "edges then", "depth", "falls by e in")
    return Section("Holes and bends", tuple(notes) if lines else (), (), Table(heads, lines) if lines else None)


def _names(checks: Sequence[RecessCheck], rule: str) -> str:
    names = [check.name for check in checks if check.rule == rule]
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def _plain(value: float | None) -> str:
    return "-" if value is None or not math.isfinite(value) else f"{value:.2f}"


def options_section(found: Options | None) -> Section:
    """Return the options, each solved, and which wins."""
    if found is None:
        return Section("Options, each solved")
    able = [k for k, option in enumerate(found.options) if option.is_possible]
    quickest = min(able, key=lambda k: found.options[k].time, default=None)
    lines = tuple(
        (
            option.name,
            "-" if option.why else current(option.current),
            "-" if option.why else voltage(option.voltage),
            minutes(option.time) if option.is_possible else "never" if not option.why else "-",
            "-" if not option.is_possible else amount(option.thickest, "µm"),
            _plain(option.recess_ratio),
            "best" if k == found.best else "quickest" if k == quickest else "",
        )
        for k, option in enumerate(found.options)
    )
    what = f"{', '.join(found.recesses)} and the significant surface" if found.recesses else "the significant surface"
    notes = [
        f"Each until {what} meet the target, split over both sides where that pays, at the current that heats its hottest edge as the plan's "
        "does (less where the name says so). thickest: mean over the thickest 1 %. inside: mean thickness of the recesses over that of the "
        f"significant surface. best: the quickest of those whose thickest place is at most {THICK:g} times that of the evenest. One level of "
        "panels: figures may be off by some per cent, the order of close ones too.",
        *(f"{option.name}: not possible, {option.why}." for option in found.options if option.why),
    ]
    heads = ("option", "current", "volts", "time", "thickest", "inside", "")
    return Section("Options, each solved", tuple(notes), (), Table(heads, lines, (6,)))


def recesses_tree(checks: Sequence[RecessCheck]) -> list[dict[str, Any]]:
    """Return the recesses as plain JSON values."""
    return [
        {
            "name": check.name,
            "ratio_to_face": check.ratio,
            "least_ratio_to_face": check.least_ratio,
            "extra_time_min": check.extra_time / 60,
            "edges_then_um": None if check.edges_then is None else 1e6 * check.edges_then,
            "depth_ratio": check.aspect,
            "rule": check.rule or None,
            "decay_mm": None if check.decay is None else 1e3 * check.decay,
        }
        for check in checks
    ]


def options_tree(found: Options | None) -> dict[str, Any] | None:
    """Return the options as plain JSON values."""
    if found is None:
        return None
    return {
        "recesses": list(found.recesses),
        "best": None if found.best is None else found.options[found.best].name,
        "tried": [
            {
                "name": option.name,
                "current_A": option.current,
                "voltage_V": option.voltage,
                "time_min": option.time / 60,
                "thickest_um": 1e6 * option.thickest,
                "recess_ratio": option.recess_ratio,
                "not_possible": option.why or None,
            }
            for option in found.options
        ],
    }
