"""Errors between processes: a `GeomError` as plain fields, and the same error again."""

from dataclasses import dataclass
from typing import Any

from geom import errors
from geom.errors import GeomError


@dataclass(frozen=True, slots=True)
class ToldError:
    """A `GeomError` that can be sent: its own ``__init__`` wants words that pickling does not keep."""

    kind: str  # name of the class
    exit_code: int
    fields: dict[str, Any]
    mistakes: tuple["ToldError", ...] = ()


def told(error: GeomError) -> ToldError:
    """Return an error as plain fields, with all that it holds."""
    fields = {name: value for name, value in vars(error).items() if name != "mistakes" and not name.startswith("__")}
    mistakes = tuple(told(one) for one in getattr(error, "mistakes", ()))
    return ToldError(type(error).__name__, error.exit_code, fields, mistakes)


def rebuilt(one: ToldError) -> GeomError:
    """Return the error that was told; a class that is not known here becomes the plain one with its exit code."""
    kind = getattr(errors, one.kind, GeomError)
    kind = kind if isinstance(kind, type) and issubclass(kind, GeomError) else GeomError
    error = kind.__new__(kind, one.fields["message"])
    for name, value in one.fields.items():
        setattr(error, name, value)
    if error.exit_code != one.exit_code:
        error.exit_code = one.exit_code
    if one.mistakes or issubclass(kind, errors.JobError):
        error.mistakes = tuple(rebuilt(mistake) for mistake in one.mistakes)  # type: ignore[attr-defined]
    return error


def sendable(value: Any) -> Any:
    """Return a result with the errors in its lists told."""
    if isinstance(value, GeomError):
        return told(value)
    return [sendable(one) for one in value] if isinstance(value, list | tuple) else value


def received(value: Any) -> Any:
    """Return a result with the errors in its lists rebuilt."""
    if isinstance(value, ToldError):
        return rebuilt(value)
    return [received(one) for one in value] if isinstance(value, list) else value
