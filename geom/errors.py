"""The exceptions a user can meet.

    GeomError                      exit 2 unless noted
    ├── JobError                   the job file: syntax, unknown key, unit, range
    ├── PartError                  the part: dimensions that cannot be, a mesh that is not a solid
    ├── CellError                  the set-up: part touches an anode, lies outside the tank
    ├── TableError                 a table entry missing, refused or without source
    ├── RunLogError                the log of runs: a line that is none
    ├── CalibrateError             readings that no bath can give
    ├── OutputError                the folder of results cannot be written
    ├── PageError                  the local page cannot be served, or refuses what it was asked
    └── SolveError                 exit 3: no trustworthy solution

Each says what is wrong, where, why, and what to do; ``slug`` names it in docs/errors.md.
"""

from collections.abc import Sequence


class GeomError(Exception):
    """A mistake that stops the run, put in words for the person who must mend it."""

    exit_code = 2

    def __init__(self, slug: str, message: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.slug = slug
        self.message = message
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        lines = [f"{self.slug}: {self.message}"]
        if self.where:
            lines.append(f"  in {self.where}")
        if self.hint:
            lines.append(f"  hint: {self.hint}")
        return "\n".join(lines)


class JobError(GeomError):
    """One or more mistakes in a job file; ``mistakes`` holds each, in file order."""

    def __init__(
        self,
        slug: str,
        message: str,
        *,
        where: str = "",
        hint: str = "",
        mistakes: Sequence[GeomError] = (),
    ) -> None:
        super().__init__(slug, message, where=where, hint=hint)
        self.mistakes = tuple(mistakes)

    def __str__(self) -> str:
        if not self.mistakes:
            return super().__str__()
        return "\n".join(str(mistake) for mistake in self.mistakes)


class PartError(GeomError):
    """The part cannot be: impossible dimensions, or a mesh that is not a closed solid.

    ``marks`` are the places of the defect in the frame of the file [m]: points (x, y, z) for a picture of it.
    """

    def __init__(
        self,
        slug: str,
        message: str,
        *,
        where: str = "",
        hint: str = "",
        marks: Sequence[tuple[float, float, float]] = (),
    ) -> None:
        super().__init__(slug, message, where=where, hint=hint)
        self.marks = tuple(marks)


class CellError(GeomError):
    """The set-up cannot be: bodies that touch or lie outside the tank."""


class TableError(GeomError):
    """A table has no such entry, or has it only to refuse it."""


class RunLogError(GeomError):
    """The log of runs cannot be read, or a run cannot be."""


class CalibrateError(GeomError):
    """The readings cannot be those of a bath, or give no figure."""


class OutputError(GeomError):
    """The results cannot be written where they were asked for."""


class PageError(GeomError):
    """The local page cannot be served, or refuses a request; ``status`` is the answer's by HTTP."""

    def __init__(self, slug: str, message: str, *, where: str = "", hint: str = "", status: int = 400) -> None:
        super().__init__(slug, message, where=where, hint=hint)
        self.status = status


class SolveError(GeomError):
    """No trustworthy solution; ``residuals`` holds the history of the attempt."""

    exit_code = 3

    def __init__(
        self,
        slug: str,
        message: str,
        *,
        where: str = "",
        hint: str = "",
        residuals: Sequence[float] = (),
    ) -> None:
        super().__init__(slug, message, where=where, hint=hint)
        self.residuals = tuple(residuals)
