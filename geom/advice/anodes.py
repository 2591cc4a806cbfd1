"""What a run takes from the anodes: mass, and how long the place that is eaten fastest lasts."""

import math
from dataclasses import dataclass

import numpy as np

from geom.cell.bodies import anode_title
from geom.cell.cell import Anode, SheetAnode, WireAnode
from geom.electrode.faraday import equivalent, mass_of_charge
from geom.field import Field
from geom.findings import Finding, Severity

SLICE = 5e-3
"""Height of the slices of an anode that are looked at one by one [m]."""

WORN = 0.5
"""Share of an anode that may be eaten before it is to be replaced; common practice, no source."""


@dataclass(frozen=True, slots=True)
class AnodeUse:
    """What a run takes from one anode."""

    title: str
    area: float  # wetted [m²]
    current: float  # out of it, as first hung [A]
    current_density: float  # mean over what is wetted [A/m²]
    dissolves: bool
    mass: float  # of what is wetted, solid metal [kg]
    eaten: float  # in the whole schedule [kg]
    life: float  # until the slice that goes fastest is eaten through, at that current [s]; inf: never
    life_at: float  # height of that slice over the floor [m]
    at_liquid_line: bool  # it is the topmost wetted one, and the anode goes on above the liquid

    @property
    def share(self) -> float:
        """Of what is there, eaten in a run."""
        return self.eaten / self.mass if self.dissolves and self.mass > 0 else 0.0


def anode_uses(
    fields: tuple[Field, ...], times: tuple[float, ...], dissolves: tuple[bool, ...]
) -> tuple[AnodeUse, ...]:
    """Return what the schedule takes from each anode; ``times`` [s] are those of the fields."""
    first = fields[0]
    found = []
    for k, anode in enumerate(first.cell.anodes):
        charge = sum(f.anode_currents[k] * t for f, t in zip(fields, times, strict=True))
        area = float(first.panels.surface.areas[first.panels.rows(first.panels.anodes[k])].sum())
        life, height, on_line = _life(first, k, anode) if dissolves[k] else (math.inf, 0.0, False)
        found.append(
            AnodeUse(
                title=anode_title(k + 1, anode),
                area=area,
                current=first.anode_currents[k],
                current_density=first.anode_densities[k],
                dissolves=dissolves[k],
                mass=_wetted_mass(first, anode),
                eaten=float(mass_of_charge(charge, first.cell.bath.metal)) if dissolves[k] else 0.0,
                life=life,
                life_at=height,
                at_liquid_line=on_line,
            )
        )
    return tuple(found)


def _section(anode: Anode) -> float:
    """Return the cross-section of an anode across its height, or across a wire [m²]."""
    return anode.length * anode.width if isinstance(anode, SheetAnode) else math.pi / 4.0 * anode.diameter**2


def _span(field: Field, anode: Anode) -> tuple[float, float, bool]:
    """Return lowest and highest wetted height of an upright anode [m], and whether it goes on above the liquid."""
    level = field.cell.tank.depth
    if isinstance(anode, WireAnode):
        low, high = sorted((anode.start[2], anode.end[2]))
    else:
        low, high = anode.at[2] - anode.height / 2, anode.at[2] + anode.height / 2
    return max(low, 0.0), min(high, level), high >= level - 1e-6


def _wetted_mass(field: Field, anode: Anode) -> float:
    if isinstance(anode, WireAnode):
        length = math.dist(anode.start, anode.end)
    else:
        low, high, _ = _span(field, anode)
        length = max(high - low, 0.0)
    return _section(anode) * length * field.cell.bath.metal.density


def _life(field: Field, number: int, anode: Anode) -> tuple[float, float, bool]:
    """Return how long the fastest slice lasts [s], its height [m] and whether it lies at the liquid line.

    Each slice is eaten evenly from all its wetted sides, at 100 % anode efficiency.
    """
    rows = field.panels.rows(field.panels.anodes[number])
    surface = field.panels.surface
    amperes = field.anode_current_density[rows] * surface.areas[rows]
    low, high, goes_on = _span(field, anode)
    if isinstance(anode, WireAnode) or not amperes.sum() > 0 or high <= low:
        total = float(amperes.sum())
        grams = equivalent(field.cell.bath.metal)
        return (_wetted_mass(field, anode) / (total * grams) if total > 0 else math.inf), low, False
    count = max(1, int((high - low) / SLICE))
    edges = np.linspace(low, high, count + 1)
    # a panel's current is spread over the heights that it covers
    corners = surface.vertices[surface.faces[rows]][:, :, 2]
    bottom, top = corners.min(axis=1), corners.max(axis=1)
    tall = np.maximum(top - bottom, 1e-9)
    share = np.clip(
        (np.minimum(top[:, None], edges[1:]) - np.maximum(bottom[:, None], edges[:-1])) / tall[:, None], 0.0, 1.0
    )
    flat = top - bottom <= 1e-9
    inside = (bottom[:, None] >= edges[:-1] - 1e-9) & (bottom[:, None] <= edges[1:] + 1e-9)
    share[flat] = inside[flat] / np.maximum(inside[flat].sum(axis=1, keepdims=True), 1)
    flow = amperes @ share
    metal = _section(anode) * (high - low) / count * field.cell.bath.metal.density
    fastest = int(flow.argmax())
    life = metal / (float(flow[fastest]) * equivalent(field.cell.bath.metal))
    return life, float(0.5 * (edges[fastest] + edges[fastest + 1])), bool(goes_on and fastest >= count - 2)


def anode_use_findings(uses: tuple[AnodeUse, ...], time: float) -> list[Finding]:
    """Return which anodes will not last."""
    out = []
    for use in uses:
        if use.dissolves and use.life < time:
            text = (
                f"{use.title} is eaten through after about {use.life / 60:.0f} min, before the run of {time / 60:.0f} min ends: take a "
                "thicker one or several strips, and look at the liquid line"
            )
            out.append(Finding(Severity.STOP, "anode-eaten", text))
        elif use.share > WORN or use.life < time / WORN:
            text = (
                f"{use.title} loses {100 * max(use.share, time / use.life):.0f} % where it goes fastest in this run: replace it when half "
                "is gone (common practice, no source)"
            )
            out.append(Finding(Severity.WARNING, "anode-worn", text))
    return out


def placing_advice(field: Field) -> tuple[str, ...]:
    """Return what would even the deposit by placing, each a rule of the bench (common practice, no source)."""
    cell = field.cell
    low, high = field.panels.part.bounds
    size = high - low
    out = []
    facing = max(size[1], size[2])
    gaps = [float(np.abs(np.array(a.at[:2]) - (low + high)[:2] / 2).max()) for a in cell.anodes]
    nearest = min(gaps, default=math.inf)
    wanted = min(max(facing, 0.0), 0.1)
    if nearest < wanted:
        out.append(
            f"The nearest anode stands about {1e3 * nearest:.0f} mm from the middle of the part; {1e3 * wanted:.0f} mm, its largest facing "
            "size or 100 mm, would even the deposit."
        )
    for k, anode in enumerate(cell.anodes, 1):
        if isinstance(anode, WireAnode):
            continue
        bottom = anode.at[2] - anode.height / 2
        if bottom < low[2] - 1e-3 and size[2] > 0.02:
            out.append(
                f"Anode {k} reaches below the part: ended a tenth to a fifth of the part's height above its lower end, it would even "
                "the lower edge."
            )
    return tuple(out)
