"""Advice in plain words, each sentence with its reason."""

from dataclasses import dataclass

import numpy as np

from geom.advice.measures import Strip
from geom.advice.schedule import WORTH_TURNING, Schedule
from geom.deposit import Deposit
from geom.feature import Kind
from geom.field import Field


@dataclass(frozen=True, slots=True)
class Advice:
    """One sentence of advice, in plain words, with the reason in it; ``code`` is a stable slug."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class FeatureResult:
    """What one feature gets."""

    name: str
    kind: str
    area: float  # wetted [m²]
    current_density_ratio: float  # mean over the feature / mean over the part, first pose
    thickness: float  # mean after the schedule [m]
    least_thickness: float  # lowest local thickness on it, on its significant places where it counts as significant [m]
    extra_time: float  # beyond the schedule until its lowest local thickness meets the target [s]; inf if never
    significant: bool  # at least half of it
    copy: int = 0  # which part of a rack it belongs to, from 1; 0: the part hangs alone
    factor: float = 1.0  # true area over ``area``: thread, roughness
    under_air: float = 0.0  # of ``area``, against air that surely stays: bare, though solved for as wet [m²]

    @property
    def name_alone(self) -> str:
        """Its name on a part that hangs alone."""
        return self.name.removesuffix(f", part {self.copy}") if self.copy else self.name


@dataclass(frozen=True, slots=True)
class BareResult:
    """What of the part is in the liquid and stays bare."""

    name: str
    reason: str  # "stop-off", "contact", "plug"
    area: float  # wetted [m²]
    copy: int = 0  # as of `FeatureResult`


def turning_advice(schedule: Schedule, front_to_back: float | None, what: str = "part") -> Advice:
    """Say whether to turn the part, or the rack, when, and why."""
    ratio = (
        ""
        if front_to_back is None
        else (f" The side toward the anode gets {front_to_back:.1f} times what the far side gets.")
    )
    if any(schedule.others):
        return Advice(
            "turn",
            (
                f"Hang the {what} anew as the stages say: {_minutes(schedule.time)} in all instead of "
                f"{_minutes(schedule.one_pose)} in one pose.{ratio}"
            ),
        )
    if schedule.second > 0:
        return Advice(
            "turn",
            (
                f"Turn the {what} half round about the vertical after {_minutes(schedule.first)}, then plate "
                f"{_minutes(schedule.second)} more: {_minutes(schedule.time)} in all instead of "
                f"{_minutes(schedule.one_pose)} without turning.{ratio}"
            ),
        )
    if schedule.turned is None:
        return Advice(
            "turn-not-possible",
            f"Turning the {what} half round was not weighed: it does not fit that way.{ratio}",
        )
    if schedule.turned < WORTH_TURNING * schedule.one_pose:
        text = f"Not turned, as [schedule] asks or its caps want: with a half turn it would take {_minutes(schedule.turned)}"
        return Advice("no-turn", f"{text}, without one {_minutes(schedule.one_pose)}.{ratio}")
    return Advice(
        "no-turn",
        (
            f"No need to turn the {what}: with a half turn the plan would take {_minutes(schedule.turned)}, without one "
            f"{_minutes(schedule.one_pose)}.{ratio}"
        ),
    )


def how_to_turn(metal: str) -> Advice:
    """Say how to turn without spoiling adhesion."""
    if metal == "Ni":
        return Advice(
            "turn-live",
            (
                "Turn quickly, wet, and hook up again with the current already on: nickel left without current goes "
                "passive and the next layer may peel. If it dried or sat idle, re-activate in 5-10 % acid first; move the "
                "hook to another place each time, so that no touch mark stays bare (common practice)."
            ),
        )
    return Advice("turn-wet", "Turn quickly, keep the part wet, and move the hook to another place (common practice).")


def thin_place(field: Field, deposit: Deposit) -> Advice:
    """Name the significant place that stays thinnest, and where on the part it is."""
    rows = np.flatnonzero(deposit.significant)
    row = int(rows[deposit.local_thickness[rows].argmin()])
    name = field.cell.part.features[int(field.panels.feature[row])].name
    x, y, z = np.round(1e3 * field.panels.part.centroids[row]) + 0.0  # no minus zero
    thinnest = 1e6 * float(deposit.local_thickness[row])
    return Advice(
        "thin-place",
        (
            f"Thinnest on the significant surface: {name}, near ({x:.0f}, {y:.0f}, {z:.0f}) mm in the tank as first "
            f"hung, {thinnest:.1f} µm. That place sets the time."
        ),
    )


def edge_advice(strip: Strip | None, mean: float, high: float) -> Advice | None:
    """Say how hot the edges run."""
    if strip is None:
        return None
    times = strip.current_density / mean
    verdict = "above" if strip.current_density > 1.01 * high else "within"
    return Advice(
        "edges",
        (
            f"The hottest edge carries {strip.current_density / 100:.2g} A/dm² on a strip {1e3 * strip.width:.1f} mm wide, "
            f"{times:.1f} times the mean: {verdict} the bath's bright range (up to {high / 100:.2g} A/dm²). "
            "Edges come out thickest and sharp corners thicker still; a lower current evens the deposit, more time does not."
        ),
    )


RECESSED = (Kind.BORE, Kind.SLOT, Kind.INSIDE, Kind.BEND_INSIDE)


def recess_advice(features: tuple[FeatureResult, ...], target: float) -> list[Advice]:
    """Say of the holes, slots, insides and inside bends whether they need more time: one sentence for each answer."""
    recesses = [feature for feature in features if feature.kind in RECESSED]
    groups = {code: [f for f in recesses if _verdict(f, target) == code] for code in VERDICTS}
    wanted = f"{1e6 * target:.3g} µm"
    return [
        Advice(code, VERDICTS[code].format(target=wanted, what="; ".join(_amounts(f, code) for f in group)))
        for code, group in groups.items()
        if group
    ]


VERDICTS = {
    "recess-extra": (
        "Extra time for {what}. Time beyond the plan, to reach {target} there; the outside grows on meanwhile. "
        "Standards leave holes and recesses out of the significant surface unless the drawing says otherwise."
    ),
    "recess-bare": (
        "Practically bare: {what}. More time will not fill them; where it matters, an anode of their own inside will."
    ),
    "recess-enough": "No extra time needed, {target} or more all over: {what}.",
}


def _verdict(feature: FeatureResult, target: float) -> str:
    if feature.extra_time <= 0:
        return "recess-enough"
    if feature.least_thickness < 0.02 * target or not np.isfinite(feature.extra_time):
        return "recess-bare"
    return "recess-extra"


def _amounts(feature: FeatureResult, verdict: str) -> str:
    thickness = f"mean {1e6 * feature.thickness:.1f} µm, thinnest {1e6 * feature.least_thickness:.1f} µm"
    if feature.under_air > 0:
        thickness += ", only where bath reaches"
    if verdict == "recess-extra":
        return f"{feature.name}, {_minutes(feature.extra_time)} ({thickness})"
    return f"{feature.name} ({thickness})"


def air_advice(features: tuple[FeatureResult, ...]) -> list[Advice]:
    """Say whose figures hold only where bath reaches."""
    held = [feature for feature in features if feature.under_air > 0]
    if not held:
        return []
    # three digits, without an exponent
    what = ", ".join(f"{float(f'{1e6 * feature.under_air:.3g}'):.10g} mm² of {feature.name}" for feature in held)
    text = (
        f"Let the air out first: {what} lie under trapped air as first hung and stay bare. This plan takes them for wet: "
        "area, current and thickness told there hold only where bath reaches."
    )
    return [Advice("under-air", text)]


def plan_advice(
    first: Field,
    deposit: Deposit,
    schedule: Schedule,
    features: tuple[FeatureResult, ...],
    strip: Strip | None,
    front_to_back: float | None,
    target: float,
) -> tuple[Advice, ...]:
    """Return every sentence of advice, the most needed first."""
    bath = first.cell.bath
    hung = "part" if first.cell.part.copies == 1 else "rack"
    turning = [turning_advice(schedule, front_to_back, hung)]
    if schedule.second > 0 or any(schedule.others):
        turning.append(how_to_turn(bath.metal.symbol))
    edges = edge_advice(strip, first.mean_current_density, bath.current_density.high)
    return (
        *air_advice(features),
        *turning,
        thin_place(first, deposit),
        *([] if edges is None else [edges]),
        *recess_advice(features, target),
    )


def _minutes(seconds: float) -> str:
    minutes = seconds / 60
    return f"{minutes:.1f} min" if minutes < 10 else f"{minutes:.0f} min"
