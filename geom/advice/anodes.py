"""What a run takes from the anodes: mass, and how long the place that is eaten fastest lasts; where they would hang better."""

import math
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import anode_title
from geom.cell.cell import Anode, RodAnode, SheetAnode, WireAnode
from geom.electrode.faraday import equivalent
from geom.field import Field
from geom.findings import Finding, Severity
from geom.wording import digits

SLICE = 5e-3
"""Height of the slices of an anode that are looked at one by one [m]."""

WORN = 0.5
"""Share of an anode that may be eaten before it is to be replaced; common practice, no source."""

MOST_GAP = 0.1
"""A gap to the anode that is enough for a part of any size [m]; common practice, no source."""

CLEAR = 0.05
"""Bath between part and wall or floor [m]; common practice, no source."""

TALL = 0.02
"""A lower part has no lower edge to speak of [m]."""


@dataclass(frozen=True, slots=True)
class AnodeUse:
    """What a run takes from one anode."""

    title: str
    area: float  # wetted [m²]
    current: float  # out of it, as first hung [A]
    current_density: float  # mean over what is wetted, as first hung [A/m²]
    dissolves: bool
    mass: float  # of what is wetted, solid metal [kg]
    eaten: float  # in the whole schedule [kg]
    worst: float  # share of the slice that goes fastest, eaten in the whole schedule; over 1: before it ends
    life: float  # until that slice is eaten through, as the schedule goes on average [s]; inf: never
    life_at: float  # height of that slice over the floor [m]
    at_liquid_line: bool  # it is one of the two topmost, and the anode reaches the surface

    @property
    def share(self) -> float:
        """Of what is there, eaten in a run."""
        return self.eaten / self.mass if self.dissolves and self.mass > 0 else 0.0

    @property
    def count(self) -> int:
        """How many like it, side by side and sharing its current, would lose no more than half anywhere."""
        return max(1, math.ceil(self.worst / WORN - 1e-9)) if self.dissolves else 1


def anode_uses(
    fields: tuple[Field, ...], times: tuple[float, ...], dissolves: tuple[bool, ...]
) -> tuple[AnodeUse, ...]:
    """Return what the schedule takes from each anode; ``times`` [s] are those of the fields."""
    return tuple(_use(fields, times, k, is_eaten) for k, is_eaten in enumerate(dissolves))


def _use(fields: tuple[Field, ...], times: tuple[float, ...], number: int, dissolves: bool) -> AnodeUse:
    """Return what the schedule takes from one anode, counted from 0.

    Each slice is eaten evenly from all its wetted sides, at 100 % anode efficiency.
    """
    first = fields[0]
    times = tuple(t if math.isfinite(t) else 0.0 for t in times)  # where no time was found, the rate alone is told
    whole = sum(times)
    anode, metal = first.cell.anodes[number], first.cell.bath.metal
    low, high, is_cut = _span(first, anode)
    count = 1 if isinstance(anode, WireAnode) else max(1, int((high - low) / SLICE))
    edges = np.linspace(low, high, count + 1)
    weights = times if whole > 0 else (1.0, *(0.0 for _ in times[1:]))
    flow = np.sum([_flows(f, number, edges) * t for f, t in zip(fields, weights, strict=True)], axis=0) / sum(weights)
    mass = _section(anode) * _length(first, anode) * metal.density
    fastest = int(flow.argmax())
    rate = float(flow[fastest]) * equivalent(metal) if dissolves else 0.0
    life = mass / count / rate if rate > 0 else math.inf
    return AnodeUse(
        title=anode_title(number + 1, anode),
        area=_wetted_area(first, number),
        current=first.anode_currents[number],
        current_density=first.anode_densities[number],
        dissolves=dissolves,
        mass=mass,
        eaten=sum(f.anode_currents[number] * t for f, t in zip(fields, times, strict=True)) * equivalent(metal)
        if dissolves
        else 0.0,
        worst=whole / life if life > 0 else math.inf if rate > 0 else 0.0,
        life=life,
        life_at=float(0.5 * (edges[fastest] + edges[fastest + 1])),
        at_liquid_line=bool(dissolves and is_cut and count > 2 and fastest >= count - 2),
    )


def _wetted_area(field: Field, number: int) -> float:
    return float(field.panels.surface.areas[field.panels.rows(field.panels.anodes[number])].sum())


def _section(anode: Anode) -> float:
    """Return the cross-section of an anode across its height, or across a wire [m²]."""
    return anode.length * anode.width if isinstance(anode, SheetAnode) else math.pi / 4.0 * anode.diameter**2


def _span(field: Field, anode: Anode) -> tuple[float, float, bool]:
    """Return lowest and highest wetted height of an anode [m], and whether it reaches the surface."""
    level = field.cell.tank.depth
    if isinstance(anode, WireAnode):
        low, high = sorted((anode.start[2], anode.end[2]))
    else:
        low, high = anode.at[2] - anode.height / 2, anode.at[2] + anode.height / 2
    return max(low, 0.0), min(high, level), high >= level - 1e-6


def _length(field: Field, anode: Anode) -> float:
    """Return how much of an anode's height, or of a wire's length, lies in the liquid [m]."""
    low, high, _ = _span(field, anode)
    if not isinstance(anode, WireAnode):
        return max(high - low, 0.0)
    rise = abs(anode.end[2] - anode.start[2])
    length = math.dist(anode.start, anode.end)
    if rise < 1e-9:
        return length if anode.start[2] <= field.cell.tank.depth else 0.0
    return length * max(high - low, 0.0) / rise


def _flows(field: Field, number: int, edges: Floats) -> Floats:
    """Return (slices,) the current out of an anode between heights ``edges`` [A]; a panel's is spread over its height."""
    rows = field.panels.rows(field.panels.anodes[number])
    surface = field.panels.surface
    amperes = field.anode_current_density[rows] * surface.areas[rows]
    if len(edges) == 2 or not len(rows):
        return np.array([amperes.sum()] + [0.0] * (len(edges) - 2))
    heights = surface.vertices[surface.faces[rows]][:, :, 2]
    bottom, top = heights.min(axis=1), heights.max(axis=1)
    flat = top - bottom <= 1e-9
    within = np.minimum(top[:, None], edges[1:]) - np.maximum(bottom[:, None], edges[:-1])
    share = np.clip(within / np.where(flat, 1.0, top - bottom)[:, None], 0.0, 1.0)
    nearest = np.clip(np.searchsorted(edges, bottom[flat], side="right") - 1, 0, len(edges) - 2)
    share[flat] = np.eye(len(edges) - 1)[nearest]
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
    return np.asarray(amperes @ share)


def area_ratio(field: Field) -> float:
    """Return wetted area of the anodes over that of the cathode: part and thieves."""
    panels = field.panels
    anodes = sum(_wetted_area(field, k) for k in range(len(panels.anodes)))
    thieves = sum(float(panels.surface.areas[panels.rows(body)].sum()) for body in panels.thieves)
    return anodes / (field.wetted_area + thieves)


def anode_use_findings(uses: tuple[AnodeUse, ...], time: float) -> list[Finding]:
    """Return which anodes will not last; ``time`` is that of the schedule [s]."""
    out = []
    for use in uses:
        if use.worst >= 1.0:
            text = (
                f"{use.title} is eaten through after about {use.life / 60:.0f} min, before the run of {time / 60:.0f} min ends: take "
                f"{use.count} like it side by side or one with as much metal, and look at the liquid line"
            )
            out.append(Finding(Severity.STOP, "anode-eaten", text))
        elif use.worst > WORN:
            text = (
                f"{use.title} loses {100 * use.worst:.0f} % where it goes fastest in this run: replace it when half is gone, or take "
                f"{use.count} like it or one with as much metal (common practice, no source)"
            )
            out.append(Finding(Severity.WARNING, "anode-worn", text))
    return out


def placing_advice(field: Field) -> tuple[str, ...]:
    """Return what would even the deposit by placing, each a rule of the bench (common practice, no source)."""
    sentences = (_ratio_words(field), _gap_words(field), *_length_words(field), _clear_words(field))
    return tuple(sentence for sentence in sentences if sentence)


def _ratio_words(field: Field) -> str:
    ratio, wanted = area_ratio(field), field.cell.bath.anode_area_ratio
    told = f"The anodes have {digits(ratio)} times the area of the cathode in the liquid"
    if wanted is None:
        return f"{told}."
    source = field.cell.bath.sources.get("anode_area_ratio")
    usual = f"{digits(wanted.low)} to {digits(wanted.high)} is usual ({source.text if source else 'as stated'})"
    if ratio < 0.98 * wanted.low:
        return f"{told}; {usual}: hang more of them, or they may go passive and gas."
    return f"{told}; {usual}."


def _gap_words(field: Field) -> str:
    """Return whether the nearest anode stands closer than the part is large, as seen from it, or than 100 mm."""
    corners = field.panels.part.vertices
    low, high = field.panels.part.bounds
    size, middle = high - low, 0.5 * (low + high)
    short = []
    for k, anode in enumerate(field.cell.anodes, 1):
        if isinstance(anode, WireAnode) and anode.inner is not None:
            continue
        away = np.abs(np.array(anode.at[:2]) - middle[:2])
        facing = max(float(size[1] if away[0] >= away[1] else size[0]), float(size[2]))
        wanted, gap = min(facing, MOST_GAP), float(_distances(anode, corners).min())
        if gap < 0.9 * wanted:
            short.append((gap / wanted, k, gap, wanted, facing))
    if not short:
        return ""
    _, k, gap, wanted, facing = min(short)
    reason = "its size as that anode sees it" if facing <= MOST_GAP else "enough for a part of any size"
    return (
        f"Anode {k} stands {1e3 * gap:.0f} mm from the part: {1e3 * wanted:.0f} mm or more, {reason}, would even the deposit, at "
        "more voltage (common practice, no source)."
    )


def _distances(anode: Anode, points: Floats) -> Floats:
    """Return (n,) distances from (n, 3) points to the skin of an anode, zero within [m]."""
    if isinstance(anode, SheetAnode):
        half = 0.5 * np.array([anode.length, anode.width, anode.height])
        return np.asarray(np.linalg.norm(np.maximum(np.abs(points - np.array(anode.at)) - half, 0.0), axis=1))
    if isinstance(anode, RodAnode):
        beyond = np.maximum(np.abs(points[:, 2] - anode.at[2]) - 0.5 * anode.height, 0.0)
        aside = np.linalg.norm(points[:, :2] - np.array(anode.at[:2]), axis=1) - 0.5 * anode.diameter
        return np.asarray(np.hypot(np.maximum(aside, 0.0), beyond))
    start, along = np.array(anode.start), np.array(anode.end) - np.array(anode.start)
    share = np.clip((points - start) @ along / (along @ along), 0.0, 1.0)
    return np.asarray(
        np.maximum(np.linalg.norm(points - start - share[:, None] * along, axis=1) - 0.5 * anode.diameter, 0.0)
    )


def _length_words(field: Field) -> list[str]:
    """Return which upright anodes reach below the part."""
    low, high = field.panels.part.bounds
    if high[2] - low[2] < TALL:
        return []
    return [
        f"Anode {k} reaches {1e3 * (low[2] - anode.at[2] + anode.height / 2):.0f} mm below the part: ended a tenth to a fifth of the "
        "part's height above its lower end, it would even the lower edge (common practice, no source)."
        for k, anode in enumerate(field.cell.anodes, 1)
        if not isinstance(anode, WireAnode) and anode.at[2] - anode.height / 2 < low[2] - 1e-3
    ]


def _clear_words(field: Field) -> str:
    """Return whether part and floor are closer than large tanks keep them."""
    low = float(field.panels.part.bounds[0][2])
    if low >= CLEAR:
        return ""
    return (
        f"The part hangs {1e3 * low:.0f} mm over the floor: {1e3 * CLEAR:.0f} mm or more keep it out of the sludge (common practice, "
        "no source)."
    )
