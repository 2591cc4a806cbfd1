"""`Plan`: the whole answer. `make_plan` is the page a new developer reads first."""

from collections.abc import Mapping
from dataclasses import dataclass

from geom.cell.cell import Cell
from geom.deposit import Deposit
from geom.field import Field
from geom.findings import Finding
from geom.job.job import Job


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on the current: the current it allows, and whether it is the one that binds."""

    name: str  # "bright range at the hottest strip"
    value: float  # current it allows [A]
    binds: bool
    basis: str  # "7 A/dm² on a strip 1 mm wide; Nickel Plating Handbook (memory, good)"


@dataclass(frozen=True, slots=True)
class FeatureResult:
    """What one feature gets."""

    name: str
    kind: str
    area: float  # wetted [m²]
    current_density_ratio: float  # mean over the feature / mean over the part, first pose
    thickness: float  # mean after the schedule [m]
    extra_time: float  # beyond the schedule until this feature's mean reaches the target [s]; 0 if it does
    significant: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """Mean over the strip of stated width along one sharp edge, first pose."""

    width: float  # [m]
    current_density: float  # [A/m²]


@dataclass(frozen=True, slots=True)
class Advice:
    """One sentence of advice, in plain words, with the reason in it; ``code`` is a stable slug."""

    code: str
    text: str


@dataclass(frozen=True, eq=False)
class Plan:
    """Everything a renderer shows; nothing is computed after this."""

    job: Job
    cell: Cell  # first pose, with every default filled in
    fields: tuple[Field, ...]  # one for each pose of the schedule, the first first
    deposit: Deposit
    wetted_area: float  # [m²]
    volume: float  # of the part [m³]
    limits: tuple[Limit, ...]
    current_is_given: bool  # by the user: then no limit binds
    time: float  # whole schedule, until the minimum local thickness meets the target [s]
    time_to_mean: float  # until the mean thickness meets the target, in the first pose alone [s]
    time_one_pose: float  # until the minimum local thickness meets the target in the first pose alone [s]
    minimum_local_thickness: float  # lowest local thickness on the significant surface [m]
    ratio: Mapping[str, float]  # p1 p10 p50 p90 p99 of local/mean current density, first pose
    thickness: Mapping[str, float]  # mean min p1 p10 p50 p90 p99 max [m]; min and max are means over 1 % of the area
    features: tuple[FeatureResult, ...]
    hottest_strip: Strip | None
    edge_to_face: float | None  # mean current density of the edge features / of the broad faces
    front_to_back: float | None  # broad face toward the anode / the one away from it, first pose
    advice: tuple[Advice, ...]
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
