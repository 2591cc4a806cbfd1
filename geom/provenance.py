"""Where a number came from: who published it, and where this run got it."""

from dataclasses import dataclass
from enum import StrEnum


class Trust(StrEnum):
    """How far a tabulated value may be leaned on."""

    GOOD = "good"
    FAIR = "fair"
    ROUGH = "rough"  # about ±30 % or worse
    WEAK = "weak"  # factor 2 or worse


@dataclass(frozen=True, slots=True)
class Source:
    """Who says so.

    ``basis`` is one of ``seen`` (read in a copy of the source), ``memory`` (recalled from it, not re-read), ``derived``
    (worked out from the figures named), ``practice`` (custom, no source), ``assumed`` (by this program, no source),
    ``measured`` (by the user) and ``user`` (stated in the user's own table).
    """

    text: str
    basis: str
    trust: Trust


@dataclass(frozen=True, slots=True)
class Origin:
    """Where this run got a value: a job line, an option, a table entry or an assumption of the program."""

    kind: str  # "job" | "command" | "table" | "assumed"
    detail: str  # "job.toml line 12", "watts-nickel: Nickel Plating Handbook", "no value given"
