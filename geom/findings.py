"""Findings accompany a result; errors stop it."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """What a finding asks of the reader."""

    NOTE = "note"  # worth knowing
    WARNING = "warning"  # read before plating
    STOP = "stop"  # do not plate on this plan (exit code 1)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the reader should know; ``code`` is a stable slug, listed in docs/findings.md."""

    severity: Severity
    code: str
    message: str
