"""What readings say of one value of a bath."""

from dataclasses import dataclass

from geom.chemistry import Range
from geom.provenance import Trust

GOOD, FAIR, ROUGH = 0.05, 0.15, 0.5
"""Half the width of an interval, as a share of its middle, up to which it is trusted so far."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One value of the bath with its interval.

    ``key`` is that of the table of baths. ``level`` is the share of the times that the interval is meant to hold the
    truth, or that a working range is meant to lie within the true one; None where the readings leave an end open.
    """

    key: str
    range: Range  # SI; slopes per e-fold
    level: float | None
    rests: tuple[str, ...]  # what it rests on, the weightiest first
    width: float  # half of the interval, as a share of the value

    @property
    def trust(self) -> Trust:
        """How far it may be leaned on, by its width."""
        for most, trust in ((GOOD, Trust.GOOD), (FAIR, Trust.FAIR), (ROUGH, Trust.ROUGH)):
            if self.width <= most:
                return trust
        return Trust.WEAK


def about(
    key: str, value: float, half: float, level: float, rests: tuple[str, ...], most: float = float("inf")
) -> Figure:
    """Return the figure with an interval of ``half`` to each side as a share of the value, taken on a scale of
    logarithms where it is wide so that it stays positive; nothing is over ``most``.
    """
    low, high = value * (1.0 - half), value * (1.0 + half)
    if half >= ROUGH:
        low = value / (1.0 + half)
    return Figure(key, Range(min(low, most), min(value, most), min(high, most)), level, rests, half)
