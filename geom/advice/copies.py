"""Several parts on one rack: what each of them gets, and the features of all of them taken together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.advice.words import Advice, FeatureResult
from geom.deposit import Deposit
from geom.field import Field

EVEN = 1.05  # largest over least mean thickness of parts that count as alike


@dataclass(frozen=True, slots=True)
class CopyResult:
    """What one of the parts on a rack gets."""

    number: int  # from 1
    at: tuple[float, float, float]  # centre of its bounding box in the tank, as first hung [m]
    current: float  # first pose [A]
    current_density_ratio: float  # its mean over that of the whole rack, first pose
    thickness: float  # mean after the schedule [m]
    least_thickness: float  # lowest local thickness on its significant surface [m]; nan where it has none
    name: str = ""  # of a part of another shape than the copies; "": a copy

    @property
    def called(self) -> str:
        """Number, and name where it has one."""
        return f"part {self.number}" + (f" ({self.name})" if self.name else "")


def copy_results(first: Field, deposit: Deposit, others: Sequence[str] = ()) -> tuple[CopyResult, ...]:
    """Return a result for each wetted part on the rack; none for a part that hangs alone.

    ``others`` are the names of parts of other shapes, which come after the copies.
    """
    copies = first.cell.part.copies - len(others)
    copy = np.array([feature.copy for feature in first.cell.part.features])[first.panels.feature]
    results = []
    for number in (int(k) for k in np.unique(copy) if k > 0):
        own = copy == number
        area, current = float(first.areas[own].sum()), float(first.current_density[own] @ first.areas[own])
        corners = first.panels.part.corners[own].reshape(-1, 3)
        x, y, z = (float(v) for v in (corners.min(axis=0) + corners.max(axis=0)) / 2)
        counted = deposit.local_thickness[own & deposit.significant]
        results.append(
            CopyResult(
                number=number,
                at=(x, y, z),
                current=current,
                current_density_ratio=current / area / first.mean_current_density,
                thickness=float(np.average(deposit.thickness[own], weights=deposit.true_areas[own])),
                least_thickness=float(counted.min()) if len(counted) else float("nan"),
                name=others[number - copies - 1] if number > copies else "",
            )
        )
    return tuple(results)


def thickness_ratio(copies: Sequence[CopyResult]) -> float | None:
    """Return the largest mean thickness of a part on the rack over the least; None for a part alone."""
    means = [copy.thickness for copy in copies]
    return max(means) / min(means) if means and min(means) > 0 else None


def over_copies(features: Sequence[FeatureResult]) -> tuple[FeatureResult, ...]:
    """Return each feature once for all parts on the rack: means over all, the thinnest place of any.

    The features of a part that hangs alone come back as they are.
    """
    groups: dict[str, list[FeatureResult]] = {}
    for feature in features:
        groups.setdefault(feature.name_alone, []).append(feature)
    return tuple(group[0] if group[0].copy == 0 else _together(name, group) for name, group in groups.items())


def _together(name: str, group: Sequence[FeatureResult]) -> FeatureResult:
    """Return the results of one feature on several parts as one."""
    area = np.array([feature.area for feature in group])
    share = area / area.sum()
    thinnest = min(group, key=lambda feature: feature.least_thickness)
    return replace(
        thinnest,
        name=name,
        copy=0,
        area=float(area.sum()),
        current_density_ratio=float(share @ [feature.current_density_ratio for feature in group]),
        thickness=float(share @ [feature.thickness for feature in group]),
        significant=any(feature.significant for feature in group),
        under_air=sum(feature.under_air for feature in group),
    )


def rack_advice(copies: Sequence[CopyResult]) -> list[Advice]:
    """Say how evenly the parts on the rack are plated, and what evens them."""
    ratio = thickness_ratio(copies)
    if ratio is None:
        return []
    most, least = (choose(copies, key=lambda copy: copy.thickness) for choose in (max, min))
    text = (
        f"Of the {len(copies)} parts on the rack, {most.called} gets most ({1e6 * most.thickness:.1f} µm on average) "
        f"and {least.called} least ({1e6 * least.thickness:.1f} µm)"
    )
    if ratio < EVEN:
        return [Advice("rack-even", f"{text}: nearly alike.")]
    more = "A larger pitch, a wider anode, or thieves beside the outer parts even them (common practice, no source)."
    return [Advice("rack-uneven", f"{text}, {ratio:.2f} times as much. {more}")]
