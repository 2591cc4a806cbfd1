"""`Limit`: one limit on the current."""

from dataclasses import dataclass

CLEAR = 0.5
"""Share of the limiting current that is recommended at most: near it deposits turn rough and powdery (common
practice, no source; the warning about the hottest edge begins at the same share)."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on the current: the current it allows, and whether it is the one that binds."""

    name: str
    value: float  # current to set that it allows, into part and thieves [A]
    binds: bool
    basis: str
    source: str = ""  # who says so
    relax: str = ""  # what would let more current through
