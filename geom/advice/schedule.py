"""How long in which pose: the least time until the thinnest significant place meets the target."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from geom.advice.programme import SHORT, Asked, Programme, Times
from geom.arrays import Bools, Floats
from geom.deposit import area_factors, growth_rate, local_mean
from geom.field import Field
from geom.findings import Finding, Severity
from geom.job.job import Turns
from geom.part.naming import is_called

WORTH_TURNING = 0.93  # a turn must cut the time to this share or less to be worth the handling
AS_GOOD = 1.02  # half and half, or fewer turns, is taken where it takes no longer than this times the best
CAP_SLACK = 0.01  # a cap counts as passed, or passed less, from this share on


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to split the time, beside the schedule."""

    name: str  # "one pose", "half and half", "this schedule"
    time: float  # [s]
    least: float  # lowest local thickness on the significant surface [m]
    thickest: float  # highest local thickness anywhere [m]
    mean: float  # mean thickness [m]
    excess: float | None = None  # by how many times the tightest cap is passed, 1 where all are kept; None: no caps


@dataclass(frozen=True, slots=True)
class Schedule:
    """Times in each pose [s] until the lowest local thickness on the significant surface meets the target."""

    first: float
    second: float  # turned half round; 0 when the part is not
    one_pose: float  # time without turning [s]
    turned: float | None  # time with the best half turn [s]; None when the other pose cannot be had
    others: tuple[float, ...] = ()  # in the poses that the job asks to weigh, in its order
    excess: float = 1.0  # by how many times the tightest cap on thickness is passed
    alternatives: tuple[Alternative, ...] = ()

    @property
    def time(self) -> float:
        """Whole time [s]."""
        return self.first + self.second + sum(self.others)

    @property
    def uses_first(self) -> bool:
        """Is time spent in the first pose, or none found at all?"""
        return self.first > 0.0

    @property
    def turns(self) -> int:
        """How often the part is turned or hung anew."""
        return sum(time > 0.0 for time in (self.first, self.second, *self.others)) - 1

    def times(self, count: int) -> tuple[float, ...]:
        """Return the times of ``count`` fields: first pose, half turned if it can be had, those asked for."""
        turned = (self.second,) if count - len(self.others) == 2 else ()
        return (self.first, *turned, *self.others)


def time_to_thinnest(rate: Floats, significant: Bools, target: float) -> float:
    """Return the time until the slowest significant place reaches ``target`` [s]; inf where it never does."""
    slowest = float(rate[significant].min())
    return target / slowest if slowest > 0 else float("inf")


def best_schedule(
    first: Field,
    second: Field | None,
    significant: Bools,
    target: float,
    others: Sequence[Field] = (),
    turns: Turns | None = None,
    *,
    begun: bool = False,
) -> Schedule:
    """Return the shortest schedule over the poses at hand; simple ones where they are nearly as good.

    Parameters
    ----------
    others : fields of the poses that ``turns`` asks to weigh, on the same panels of the part
    begun : whether time must be spent in the first pose
    """
    turns = turns or Turns()
    fields = (first, *([] if second is None else [second]), *others)
    rates = np.array([local_mean(growth_rate(field), field.panels) for field in fields])
    asked = _asked(first, rates, significant, target, turns)
    alone = time_to_thinnest(rates[0], significant, target)
    half_turned = None if second is None else _half_turned(asked)
    best = _chosen(asked, turns, has_second=second is not None, begun=begun)
    turned = None if second is None else (float("inf") if half_turned is None else half_turned.total)
    if best is None:
        return Schedule(alone, 0.0, alone, turned, (0.0,) * len(others))
    where = 1 if second is None else 2
    made = Schedule(
        float(best.times[0]),
        0.0 if second is None else float(best.times[1]),
        alone,
        turned,
        tuple(float(t) for t in best.times[where:]),
        best.excess,
    )
    even = None if second is None else _even(_of(asked, (0, 1)))
    splits = {
        "one pose": [alone] if np.isfinite(alone) else None,
        "half and half": None if even is None else list(even.times),
    }
    splits["this schedule"] = list(best.times)
    kept = tuple(
        _alternative(name, np.array(times), asked, rates, fields, significant)
        for name, times in splits.items()
        if times is not None
    )
    return replace(made, alternatives=kept)


def _alternative(
    name: str, times: Floats, asked: Asked, rates: Floats, fields: Sequence[Field], significant: Bools
) -> Alternative:
    count = len(times)
    local = times @ rates[:count]
    first = fields[0]
    areas = first.areas * area_factors(first)
    whole = sum(time * growth_rate(field) for time, field in zip(times, fields[:count], strict=True))
    return Alternative(
        name,
        float(times.sum()),
        float(local[significant].min()),
        float(local.max()),
        float(np.asarray(whole) @ areas / areas.sum()),
        asked.excess(_expanded(times, len(rates))) if asked.most.size else None,
    )


def _asked(first: Field, rates: Floats, significant: Bools, target: float, turns: Turns) -> Asked:
    """Return target and caps as rows of a linear programme."""
    caps, most = [], []
    if turns.most_thickness is not None:
        caps.append(rates)
        most.append(np.full(rates.shape[1], turns.most_thickness))
    for fit in turns.fits:
        named = [is_called(feature, fit.feature) for feature in first.cell.part.features]
        rows = np.array(named)[first.panels.feature]
        if np.any(rows):
            caps.append(rates[:, rows])
            most.append(np.full(int(rows.sum()), fit.most_thickness))
    empty = np.zeros((len(rates), 0))
    return Asked(
        rates[:, significant],
        target,
        np.hstack(caps) if caps else empty,
        np.concatenate(most) if most else np.zeros(0),
    )


def _half_turned(asked: Asked) -> Times | None:
    """Return the best split between as hung and half turned."""
    pair = _of(asked, (0, 1))
    return _simple(pair, Programme(pair).best(2), 2, begun=False)


def _of(asked: Asked, poses: tuple[int, ...]) -> Asked:
    chosen = list(poses)
    return Asked(asked.rates[chosen], asked.target, asked.caps[chosen], asked.most)


def _simple(pair: Asked, best: Times | None, most_poses: int, *, begun: bool) -> Times | None:
    """Return one pose alone, or halves of both, where that is nearly as good as the best; else the best."""
    if best is None or best.excess > 1.0:
        return best
    for shares in ((1.0, 0.0), (0.0, 1.0), (0.5, 0.5))[: 1 + most_poses]:
        if begun and shares[0] == 0.0:
            continue
        mix = np.array(shares)
        slowest = float((mix @ pair.rates).min())
        if slowest <= 0:
            continue
        times = mix * pair.target / slowest
        fits = bool((times @ pair.caps <= pair.most * (1 + 1e-9)).all())
        if fits and times.sum() <= AS_GOOD * best.total:
            return Times(times, 1.0)
    return best


def _chosen(asked: Asked, turns: Turns, *, has_second: bool, begun: bool) -> Times | None:
    """Return the times to plate by: each further turn must pay its handling, and so must hanging it otherwise at first.

    ``begun``: time must be spent in the first pose.
    """
    most_poses = 1 + (1 if turns.most_turns is None else turns.most_turns)
    count = len(asked.rates)
    programme = Programme(asked)
    best = programme.least((0,))
    if has_second:
        pair = _of(asked, (0, 1))
        most_of_pair = min(2, most_poses)
        shortest = Programme(pair).best(most_of_pair, 0 if begun else None)
        found = _simple(pair, shortest, most_of_pair, begun=begun)
        ways = [found, _even(pair) if begun and most_of_pair == 2 else None]
        for both in (Times(_expanded(way.times, count), way.excess) for way in ways if way is not None):
            if best is None or _pays(both, best):
                best = both
    for poses in range(1, min(most_poses, count) + 1):
        for always in (0,) if begun else (0, None):
            found = programme.best(poses, always, None if best is None else partial(_pays, best=best))
            best = best if found is None else found
    return None if best is None else _without_short(programme, best, begun=begun)


def _even(pair: Asked) -> Times | None:
    """Return half the time in each pose: what is left to gain where the shortest would not begin in the first."""
    slowest = float(pair.rates.mean(axis=0).min())
    if slowest <= 0:
        return None
    times = np.full(2, 0.5 * pair.target / slowest)
    return Times(times, pair.excess(times))


def _begins(found: Times) -> bool:
    return bool(found.times[0] >= SHORT * found.total)


def _expanded(times: Floats, count: int) -> Floats:
    return np.concatenate([times, np.zeros(count - len(times))])


def _pays(found: Times, best: Times) -> bool:
    """Is it worth the handling: caps are passed less, or the time is shorter by enough?"""
    if found.excess < best.excess * (1 - CAP_SLACK):
        return True
    return found.excess <= best.excess * (1 + CAP_SLACK) and found.total <= WORTH_TURNING * best.total


def _without_short(programme: Programme, best: Times, *, begun: bool) -> Times:
    """Return the times without stays too short for a turn, where they are hardly missed."""
    long = frozenset(int(k) for k in np.flatnonzero(best.times >= SHORT * best.total))
    if long == best.used:
        return best
    kept = programme.least(long)
    if kept is None or (begun and not _begins(kept)):
        return best
    return kept if kept.excess <= best.excess and kept.total <= AS_GOOD * best.total else best


def holds(other: Schedule, alike: Schedule, begun: Schedule) -> bool:
    """Is a schedule that begins in another pose, on panels of its own, better than those that begin in the first?

    Parameters
    ----------
    alike : the best of these with no more turns
    begun : the best of them
    """
    new, same_turns, any_turns = (Times(np.array([one.time]), one.excess) for one in (other, alike, begun))
    return _pays(new, same_turns) and not _pays(any_turns, new)


def schedule_findings(schedule: Schedule) -> list[Finding]:
    """Return a stop where no split of the time keeps a cap on thickness."""
    if schedule.excess <= 1.0 + CAP_SLACK:
        return []
    text = (
        f"no split of the time over these poses meets the target and keeps the caps on thickness: the tightest is passed "
        f"{schedule.excess:.2f} times; the schedule shown passes it least. Lower the target, raise the cap, weigh more poses, mask the place, "
        "or even the deposit (lower current, thief, shield)"
    )
    return [Finding(Severity.STOP, "cap-not-kept", text)]
