"""Ways to hang a part, side by side: a table, a verdict, a record for scripts, and a small picture of each."""

import math
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from geom.poses.compared import Compared, Hung
from geom.report.amounts import amount, current, minutes
from geom.report.figures import COLOURS, MICROMETRE, WIDTH_IN, blank
from geom.report.painter import both_sides, paint
from geom.report.tree import Document, Row, Section, Table

ACROSS = 4  # pictures in a row
MOST_DRAWN = 12
CELL_IN = 2.3  # height of one picture with its words


def poses_document(found: Compared) -> Document:
    """Return the comparison as a document, the verdict first."""
    possible = [one for one in found.hung if one.plan is not None]
    others = [one for one in found.hung if one.plan is None]
    sections = [Section("Ways to hang it", _notes(), (), _table(found))]
    sections.append(Section("Over several ways", _mixed(found)))
    if others:
        sections.append(Section("Cannot be", (), tuple(Row(one.name, one.why_not) for one in others)))
    title = f"{found.job.title}: {len(possible)} ways to hang it"
    return Document(title, _verdict(found), tuple(s for s in sections if s.sentences or s.rows or s.table))


def _verdict(found: Compared) -> tuple[str, ...]:
    first = found.hung[0]
    if first.plan is None:
        return ("None of these can be.",)
    if found.winner is not None:
        better = f"Hang it {first.name}: {minutes(first.time)} at {current(first.plan.current)}."
        after = next((one for one in found.hung[1:] if one.plan is not None), None)
        if after is None:
            return (better,)
        return (better, f"The next, {after.name}, {_behind(first, after)}.")
    rivals = [found.hung[k] for k in found.rivals]
    names = "; ".join(one.name for one in rivals[:4]) + (f"; and {len(rivals) - 4} more" if len(rivals) > 4 else "")
    error = max(one.error for one in rivals)
    return (
        f"No clear winner: {len(rivals)} ways are as quick to within the numerical error, {amount(error, '%', 2)} of each time: {names}.",
        "Choose among them by spread, clearance and where the hook can hold.",
    )


def _behind(first: Hung, after: Hung) -> str:
    if after.is_stopped and not first.is_stopped:
        return "has a finding that should stop you"
    if after.trapped > 0 and first.trapped == 0:
        return "holds air"
    return f"takes {minutes(after.time)}"


def _notes() -> tuple[str, ...]:
    return (
        "In this order: what can be and has no finding that should stop you, what holds no air, then the time until the "
        "thinnest significant place meets the target, turns within the plan included. Each at the current it allows.",
        "+: planned anew on panels of its own, as those that may be first are; the others on the panels of the job's own pose, by "
        "which they are less sure.",
        "*: bettered by no other in time, spread, air, bath, bare and over without being worse in one of them (Pareto). spread: "
        "thickest over thinnest on the significant surface. air: that stays under it. bath: that comes out with it. bare, over: "
        "shares of the significant surface, as first hung. gaps: the least distance to an anode / to wall or floor.",
        "x up: which axis of the part points up, and which to the anode. Half a turn about the vertical is weighed within each; what "
        "the symmetry of the part makes equal is there once.",
    )


def _table(found: Compared) -> Table:
    shown = [one for one in found.hung if one.plan is not None]
    holds = [name for name, of in HOLDS.items() if any(getattr(one, of) > 0 for one in shown)]
    lines = []
    for k, one in enumerate(found.hung):
        if one.plan is None:
            continue
        lines.append(
            (
                one.name + (" (stop)" if one.is_stopped else "") + _marks(one, k in found.front),
                minutes(one.time),
                current(one.plan.current),
                str(max(0, len(one.plan.deposit.stages) - 1)),
                f"{one.spread:.2f}",
                *(_volume(getattr(one, HOLDS[name])) for name in holds),
                amount(one.bare, "%", 2),
                amount(one.burnt, "%", 2),
                f"{1e3 * one.to_anode:.0f} / {1e3 * one.to_wall:.0f}",
            )
        )
    return Table(
        ("hung", "time", "current", "turns", "spread", *holds, "bare", "over", "gaps, mm"),
        tuple(lines),
    )


def _marks(one: Hung, on_front: bool) -> str:
    marks = ("+" if one.own_panels else "") + ("*" if on_front else "")
    return f" {marks}" if marks else ""


HOLDS = {"air": "trapped", "bath": "carried"}
"""Columns that are there only where some way holds something."""


def _volume(value: float) -> str:
    return "-" if value <= 0 else amount(value, "mL", 2)


def _mixed(found: Compared) -> tuple[str, ...]:
    plan = found.mixed
    if plan is None:
        return ("The best alone does as well as time shared among the best three.",)
    stages = ", then ".join(f"{minutes(stage.time)} {stage.name}" for stage in plan.deposit.stages)
    return (f"Shared among the best it takes {minutes(plan.time)} at {current(plan.current)}: {stages}.",)


def poses_tree(found: Compared) -> dict[str, Any]:
    """Return the comparison as a plain record; docs/poses.md lists the keys."""
    return {
        "title": found.job.title,
        "winner": None if found.winner is None else found.hung[found.winner].name,
        "rivals": [found.hung[k].name for k in found.rivals],
        "poses": [_record(one, k in found.front) for k, one in enumerate(found.hung)],
        "shared": None
        if found.mixed is None
        else {
            "time_min": found.mixed.time / 60,
            "current_A": found.mixed.current,
            "stages": [{"name": s.name, "time_min": s.time / 60} for s in found.mixed.deposit.stages],
        },
    }


def _record(one: Hung, on_front: bool) -> dict[str, Any]:
    record: dict[str, Any] = {
        "name": one.name,
        "turn_deg": [math.degrees(angle) for angle in one.pose.turn],
        "at_mm": [1e3 * x for x in one.pose.at],
        "why_not": one.why_not or None,
    }
    if one.plan is None:
        return record
    return record | {
        "pareto": on_front,
        "stops": one.is_stopped,
        "time_min": one.time / 60,
        "time_error": one.error,
        "own_panels": one.own_panels,
        "current_A": one.plan.current,
        "turns": max(0, len(one.plan.deposit.stages) - 1),
        "thickest_to_thinnest": one.spread,
        "trapped_air_mL": 1e6 * one.trapped,
        "carried_out_mL": 1e6 * one.carried,
        "bare_share": one.bare,
        "over_range_share": one.burnt,
        "to_anode_mm": 1e3 * one.to_anode,
        "to_wall_mm": 1e3 * one.to_wall,
    }


def poses_figure(found: Compared) -> Figure:
    """Return a small picture of each way, from the anode's side, coloured by thickness on one scale."""
    drawn = [one for one in found.hung if one.plan is not None][:MOST_DRAWN]
    rows = max(1, -(-len(drawn) // ACROSS))
    figure = blank(rows * CELL_IN + 0.75)
    height = figure.get_size_inches()[1]
    plans = [one.plan for one in drawn if one.plan is not None]
    low = min(plan.thickness["p1"] for plan in plans) / MICROMETRE
    high = max(plan.thickness["p99"] for plan in plans) / MICROMETRE
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    scale = Normalize(low, max(high, 1.01 * low), clip=True)
    for k, one in enumerate(drawn):
        left, top = (k % ACROSS) / ACROSS, 1 - (k // ACROSS) * CELL_IN / height
        wide, high_in = 1 / ACROSS - 0.02, (CELL_IN - 0.5) / height
        axes = figure.add_axes((left + 0.01, top - 0.45 / height - high_in, wide, high_in))
        _draw(axes, one, scale)
        words = f"{one.name}\n{minutes(one.time)}, spread {one.spread:.2f}"
        figure.text(left + 0.01 + wide / 2, top - 0.06 / height, words, ha="center", va="top", fontsize=8)
    bar = figure.add_axes((0.3, 0.38 / height, 0.4, 0.12 / height))
    figure.colorbar(ScalarMappable(scale, COLOURS), cax=bar, orientation="horizontal", extend="both")
    bar.tick_params(labelsize=8)
    figure.text(0.5, 0.02 / height, "thickness in µm, seen from the side toward the anode", ha="center", fontsize=8)
    return figure


def _draw(axes: Any, one: Hung, scale: Any) -> None:
    assert one.plan is not None
    field = one.plan.fields[0]
    view = both_sides(field)[0]
    bare = np.full(len(field.panels.bare_feature), np.nan)
    values = np.concatenate([one.plan.deposit.thickness / MICROMETRE, bare])
    paint(axes, field.panels.hung, values, view, colours=COLOURS, scale=scale)
    flat = view.flat(field.panels.hung.vertices)
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    half = 0.53 * float(np.ptp(flat, axis=0).max())
    axes.set_xlim(
        middle[0] - half * WIDTH_IN / ACROSS / (CELL_IN - 0.5), middle[0] + half * WIDTH_IN / ACROSS / (CELL_IN - 0.5)
    )
    axes.set_ylim(middle[1] - half, middle[1] + half)
    axes.set_aspect("equal")
    axes.set_axis_off()
