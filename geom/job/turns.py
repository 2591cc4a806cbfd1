"""What a job asks of the schedule: poses to weigh, how often to turn, how thick at most."""

from typing import Annotated

from pydantic import BeforeValidator

from geom.job.bodies import many
from geom.job.fields import Coordinate, Section, Text, Thickness, Turn, a_list, complain, list_of, quoted, table
from geom.job.job import AskedPose, Fit, Turns

MOST_TURNS = 20
_Place = Annotated[
    tuple[Coordinate, Coordinate, Coordinate],
    BeforeValidator(list_of(3, 'three lengths such as ["0 mm", "0 mm", "75 mm"]')),
]


def _turns(value: object) -> int:
    """Return how often the part may be turned."""
    if isinstance(value, bool) or not isinstance(value, int):
        complain("job-type", f"{quoted(value)} stands where a whole number of turns is expected")
    if not 0 <= value <= MOST_TURNS:
        complain("job-range", f"{quoted(value)} turns are out of range; at least 0 and at most {MOST_TURNS}")
    return value


class AskedPoseKeys(Section):
    """One more pose to weigh."""

    name: Text | None = None
    turn: Turn
    at: _Place | None = None

    def record(self, number: int) -> AskedPose:
        """Return the domain's record; ``number`` names a pose that has no name, from 1."""
        return AskedPose(self.name or f"pose {number}", self.turn, self.at)


class FitKeys(Section):
    """A place that must not grow more than its fit allows."""

    feature: Text
    most_thickness: Thickness

    def record(self) -> Fit:
        """Return the domain's record."""
        return Fit(self.feature, self.most_thickness)


class ScheduleKeys(Section):
    """What the schedule may and must do."""

    pose: Annotated[tuple[Annotated[AskedPoseKeys, table(AskedPoseKeys)], ...], a_list, many("schedule.pose")] = ()
    most_turns: Annotated[int, BeforeValidator(_turns)] | None = None
    most_thickness: Thickness | None = None
    fit: Annotated[tuple[Annotated[FitKeys, table(FitKeys)], ...], a_list, many("schedule.fit")] = ()

    def record(self) -> Turns:
        """Return the domain's record."""
        return Turns(
            poses=tuple(pose.record(k) for k, pose in enumerate(self.pose, 1)),
            most_turns=self.most_turns,
            most_thickness=self.most_thickness,
            fits=tuple(fit.record() for fit in self.fit),
        )
