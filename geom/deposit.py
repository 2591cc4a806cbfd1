"""`Field` to `Deposit`: thickness on every panel of the part after a schedule of poses."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from geom.arrays import Bools, Floats, frozen
from geom.cell.bodies import part_solid
from geom.chemistry import Bath
from geom.electrode.faraday import deposition_rate, mass_of_charge
from geom.errors import PartError
from geom.field import Field
from geom.panels import Panels
from geom.part.naming import is_called, unknown
from geom.part.part import Part
from geom.surface.ball import BALL, square_normals, touched
from geom.surface.surface import Surface
from geom.surface.waterline import cut_at

REFERENCE_AREA = 1e-4
"""Local thickness is a mean over about 1 cm² (ISO 2064:1996 defines it as a mean over a reference area) [m²]."""


CUT_IN = 0.04
"""Share of its radius by which that ball may cut into panels: they lie across curves."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One stretch of the schedule: a pose held for a time at a current."""

    name: str  # "as hung", "turned half round"
    time: float  # [s]
    current: float  # [A]
    voltage: float  # [V]


@dataclass(frozen=True, eq=False)
class Deposit:
    """What lies on the part after the whole schedule; arrays run over the part's panels."""

    stages: tuple[Stage, ...]
    thickness: Floats  # (part_count,) mean over each panel [m]
    quarters: Floats  # (part_count, 4) over the middle and the corner quarters of each panel [m]
    local_thickness: Floats  # (part_count,) mean over the reference area around each panel [m]
    significant: Bools  # (part_count,)
    areas: Floats  # (part_count,) as drawn [m²]
    mass: float  # on the part [kg]
    charge: float  # through the supply: into part and thieves [C]
    anode_mass: float  # dissolved [kg], at 100 % anode efficiency
    thief_charge: float = 0.0  # of it into thieves [C]
    thief_mass: float = 0.0  # deposited on thieves [kg]
    factor: Floats = field(default_factory=lambda: np.ones(1))  # (part_count,) true area over drawn; (1,): of all

    def __post_init__(self) -> None:
        for name in ("thickness", "quarters", "local_thickness", "areas", "factor"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))
        object.__setattr__(self, "significant", frozen(self.significant, np.bool_))

    @property
    def time(self) -> float:
        """Length of the whole schedule [s]."""
        return sum(stage.time for stage in self.stages)

    @property
    def true_areas(self) -> Floats:
        """(part_count,) with the factors of threads and roughness: thickness times this is volume [m²]."""
        return np.asarray(self.areas * self.factor)


def area_factors(field: Field) -> Floats:
    """Return (part_count,) true area over drawn area of each panel."""
    return np.array([feature.factor for feature in field.cell.part.features])[field.panels.feature]


def quarter_growth_rate(field: Field) -> Floats:
    """Return (part_count, 4) thickness gained per second on each quarter of a panel [m/s], by Faraday's law.

    The efficiency is that at the local current density. On a thread or a rough surface current and metal spread over the
    true area, which is not drawn.
    """
    bath = field.cell.bath
    plating = np.maximum(field.quarters, 0.0) / area_factors(field)[:, None]
    return np.asarray(deposition_rate(plating * bath.efficiency_at(plating), bath.metal))


def growth_rate(field: Field) -> Floats:
    """Return (part_count,) thickness gained per second on each panel [m/s]."""
    return np.asarray(quarter_growth_rate(field).mean(axis=1))


def mean_growth_rate(field: Field) -> float:
    """Return the mean of the thickness gained per second over the true area of the part [m/s]."""
    true = field.areas * area_factors(field)
    return float(growth_rate(field) @ true / true.sum())


def thief_growth(field: Field) -> float:
    """Return the mass that the thieves gain per second [kg/s], by Faraday's law at the local efficiency."""
    bath, panels = field.cell.bath, field.panels
    total = 0.0
    for body in panels.thieves:
        rows = panels.rows(body)
        density = field.solution.current_density[rows]
        total += float((density * bath.efficiency_at(density)) @ panels.surface.areas[rows])
    return float(mass_of_charge(total, bath.metal))


def plate(fields: Sequence[Field], times: Sequence[float], names: Sequence[str], significant: Bools) -> Deposit:
    """Return the deposit after each field has been held for its time [s]; all on the same panels of the part."""
    bath: Bath = fields[0].cell.bath
    quarters = np.sum([quarter_growth_rate(f) * t for f, t in zip(fields, times, strict=True)], axis=0)
    thickness = quarters.mean(axis=1)
    charge = sum(f.total_current * t for f, t in zip(fields, times, strict=True))
    stolen = sum(sum(f.thief_currents) * t for f, t in zip(fields, times, strict=True))
    stages = tuple(
        Stage(name, time, f.total_current, f.voltage)
        for name, f, time in zip(names, fields, times, strict=True)
        if time > 0
    )
    areas, factor = fields[0].areas, area_factors(fields[0])
    return Deposit(
        stages=stages,
        thickness=thickness,
        quarters=quarters,
        local_thickness=local_mean(thickness, fields[0].panels),
        significant=significant,
        areas=areas,
        mass=float(thickness @ (areas * factor)) * bath.metal.density,
        charge=charge,
        anode_mass=float(mass_of_charge(charge, bath.metal)),
        thief_charge=stolen,
        thief_mass=float(sum(thief_growth(f) * t for f, t in zip(fields, times, strict=True))),
        factor=factor,
    )


def local_mean(values: Floats, panels: Panels) -> Floats:
    """Return (part_count,) the area mean over the reference area round each panel, within its own feature.

    Panels that look another way are left out: the far wall of a bore is another place.
    """
    part = panels.part
    tree = cKDTree(part.centroids)
    i, j = tree.query_pairs(float(np.sqrt(REFERENCE_AREA / np.pi)), output_type="ndarray").T
    alike = (panels.feature[i] == panels.feature[j]) & (np.einsum("ij,ij->i", part.normals[i], part.normals[j]) > 0.5)
    i, j = i[alike], j[alike]
    weight, count = part.areas, len(values)
    amount = weight * values
    total = weight + np.bincount(i, weight[j], count) + np.bincount(j, weight[i], count)
    return np.asarray((amount + np.bincount(i, amount[j], count) + np.bincount(j, amount[i], count)) / total)


def significant_panels(part: Part, panels: Panels, wanted: Sequence[str]) -> Bools:
    """Return (part_count,) which panels belong to the significant surface.

    ``wanted`` names features or kinds, or is ("all",); empty means every place that a 20 mm ball can touch.

    Raises
    ------
    PartError
        where a name fits no feature, or nothing wetted is chosen.
    """
    if not wanted:
        chosen = touched_by_ball(panels, part)
    elif tuple(wanted) == ("all",):
        chosen = np.ones(panels.part_count, dtype=np.bool_)
    else:
        check_names(part, wanted)
        named = [any(is_called(feature, word) for word in wanted) for feature in part.features]
        chosen = np.array(named)[panels.feature]
    if not np.any(chosen):
        raise PartError(
            "nothing-significant",
            "no wetted place of the part belongs to the significant surface",
            where="[target] significant",
            hint='name features or kinds there, or significant = ["all"]',
        )
    return np.asarray(chosen)


def check_names(part: Part, wanted: Sequence[str], *, where: str = "[target] significant") -> None:
    """Refuse a name of the significant surface, or of ``where``, that no feature or kind of this part has.

    Raises
    ------
    PartError
        naming the nearest one.
    """
    if tuple(wanted) == ("all",):
        return
    plated = [feature for feature in part.features if feature.is_plated]
    for name in wanted:
        if not any(is_called(feature, name) for feature in plated):
            raise unknown(plated, name, where=where)


def touched_by_ball(panels: Panels, part: Part) -> Bools:
    """Return (part_count,) whether a ball of radius ``BALL`` can touch each panel without cutting into the part.

    What hangs above the liquid is in its way too, and what is stopped off. Each part on a rack is looked at by itself:
    significant is what matters in use, not how it is hung.
    """
    wet, dry, count = panels.hung, above_liquid(panels, part), panels.part_count
    copies = np.array([feature.copy for feature in part.features])
    copy, dry_copy = copies[wet.tag], copies[dry.tag]
    chosen = np.zeros(count, dtype=np.bool_)
    for number in np.unique(copy[:count]):
        own = np.flatnonzero(copy == number)
        alone = wet.selected(copy == number)
        plated = own < count
        # normals of panels point into the metal
        points, normals = alone.centroids[plated], -square_normals(alone)[plated]
        fits = touched(alone, points, normals, BALL, CUT_IN)
        out = dry.selected(dry_copy == number)
        if len(out.faces):
            fits &= touched(out, points, normals, BALL, CUT_IN)
        chosen[own[plated]] = fits
    return chosen


def above_liquid(panels: Panels, part: Part) -> Surface:
    """Return what of the part hangs above the liquid; tags are features, tank frame. Panels end at the waterline."""
    solid = part_solid(part, panels.pose)
    level = float(panels.surface.bounds[1, 2])
    cut = cut_at(solid, level)
    return cut.surface.selected(~cut.inside)
