"""How sure the figures have to be: the section ``[solve]`` of the job file, and the same word on the command line."""

from collections.abc import Callable
from dataclasses import replace
from typing import Annotated

from pydantic import BeforeValidator

from geom.errors import JobError
from geom.job.fields import Section, Span, check, complain, nearest, quantity, quoted
from geom.job.job import FINE, QUICK, USUAL, Demand, Job
from geom.provenance import Origin

ACCURACIES = {"quick": QUICK, "usual": USUAL, "fine": FINE}
LEAST_ACCURACY, MOST_ACCURACY = 0.002, 0.30
LEAST_PANELS, MOST_PANELS = 500, 60_000
LEAST_TIME, MOST_TIME = 1.0, 3600.0  # [s]

_share: Callable[[object], float] = quantity("fraction", Span("%", LEAST_ACCURACY, MOST_ACCURACY)).func


def _accuracy(value: object) -> float:
    """Return an accuracy given as a word or a share."""
    words = ", ".join(f"{word} ({100 * share:g} %)" for word, share in ACCURACIES.items())
    if isinstance(value, str) and value.strip()[:1].isalpha():
        word = value.strip().casefold()
        if word not in ACCURACIES:
            text = f'{quoted(value)} is no accuracy; expected a share such as "3 %" or one of: {words}'
            complain("job-word-unknown", text, nearest(value, list(ACCURACIES)))
        return ACCURACIES[word]
    plain = value.strip() if isinstance(value, str) else f"{value:g}" if _is_number(value) else ""
    if plain.isdecimal() and 1 <= int(plain) <= 100 * MOST_ACCURACY:
        text = f"{quoted(value)} alone is {plain} times the figure itself; an accuracy is a share of it"
        complain("job-range", text, f'did you mean "{plain} %"?')
    return _share(value)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _panels(value: object) -> int:
    """Return a number of panels."""
    if isinstance(value, bool) or not isinstance(value, int):
        complain("job-type", f"{quoted(value)} stands where a whole number of panels is expected, such as 16000")
    if not LEAST_PANELS <= value <= MOST_PANELS:
        text = (
            f"{quoted(value)} panels are out of range; at least {LEAST_PANELS} and at most {MOST_PANELS} are expected"
        )
        complain("job-range", text)
    return value


class SolveKeys(Section):
    """How sure the figures have to be, and what may be spent on it."""

    accuracy: Annotated[float, BeforeValidator(_accuracy)] | None = None
    most_panels: Annotated[int, BeforeValidator(_panels)] | None = None
    most_time: Annotated[float, quantity("time", Span("s", LEAST_TIME, MOST_TIME))] | None = None

    def record(self) -> Demand:
        """Return the domain's record, what is left out as usual."""
        usual = Demand()
        return Demand(
            accuracy=usual.accuracy if self.accuracy is None else self.accuracy,
            panels=usual.panels if self.most_panels is None else self.most_panels,
            seconds=usual.seconds if self.most_time is None else self.most_time,
        )


def with_accuracy(job: Job, text: str, option: str = "--accuracy") -> Job:
    """Return the job with the accuracy that an option of the command line asks for in place of its own.

    Raises
    ------
    JobError
        where ``text`` is no accuracy.
    """
    keys, mistakes = check(SolveKeys, {"accuracy": text})
    if keys is None:
        (mistake,) = mistakes
        raise JobError(mistake.slug, mistake.text, where=option, hint=mistake.hint)
    origin = Origin("command", f"{option} {text.strip()}")
    return replace(
        job,
        demand=replace(job.demand, accuracy=keys.record().accuracy),
        origins={**job.origins, "solve.accuracy": origin},
    )


def check_accuracy(text: str, option: str = "--accuracy") -> None:
    """Refuse a text that is no accuracy.

    Raises
    ------
    JobError
        as `with_accuracy`.
    """
    _, mistakes = check(SolveKeys, {"accuracy": text})
    for mistake in mistakes:
        raise JobError(mistake.slug, mistake.text, where=option, hint=mistake.hint)
