"""`asked_of`: what the page's form says, to the text of a job; errors name the field that they are about."""

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from geom.errors import GeomError, JobError, PageError
from geom.job.answers import NAMES
from geom.page.store import PartFile, Store

if TYPE_CHECKING:  # at run time it is read with the first form: the page is there before it
    from geom.job.compose import Composed

Answers = Mapping[str, str | Sequence[str]]

UNTITLED = "A plan without a name"


@dataclass(frozen=True)
class Asked:
    """One filled form and the job it amounts to; paths in ``text`` start at the folder of uploads."""

    answers: Answers
    text: str
    title: str
    assumed: tuple[str, ...] = ()
    part: PartFile | None = None
    composed: "Composed | None" = field(default=None, repr=False)

    def told(self, error: GeomError) -> GeomError:
        """Return an error of this job in the words of the form: its fields, and the user's name for the file."""
        return in_form_words(error, self.composed, self.part)


def asked_of(answers: Any, store: Store) -> Asked:
    """Return the job of a form as a browser sent it.

    Raises
    ------
    PageError
        ``page-answers`` where it is not the form of an answer, ``page-no-file`` where its part is not here.
    JobError
        with every mistake, each under the name of its field.
    """
    from geom.job.compose import compose

    checked = checked_form(answers)
    part = None
    given = dict(checked)
    name = checked.get("part")
    if isinstance(name, str) and name.strip():
        part = store.part(name.strip())
        given["part"] = part.path.name
        if not str(given.get("title", "")).strip():
            given["title"] = PurePosixPath(part.name).stem[:80] or UNTITLED
    try:
        composed = compose(given, folder=store.parts_folder)
    except GeomError as error:
        raise in_form_words(error, None, part) from error
    return Asked(checked, composed.text, composed.title or UNTITLED, composed.assumed, part, composed)


def checked_form(answers: Any) -> Answers:
    """Return answers that are texts or lists of texts; raises ``page-answers``."""
    if not isinstance(answers, dict):
        raise _odd("the answers are not a record of names and texts", "")
    for name, value in answers.items():
        texts = value if isinstance(value, list) else [value]
        if not all(isinstance(text, str) for text in texts):
            raise _odd("an answer is a text, or a list of texts", name if name in NAMES else "")
    return answers


def _odd(text: str, where: str) -> PageError:
    return PageError("page-answers", text, where=where, hint="load the page again")


def in_form_words(error: GeomError, composed: "Composed | None", part: PartFile | None) -> GeomError:
    """Return the error with the field as ``where``, and the user's own name for the file in its words."""
    mistakes = [in_form_words(one, composed, part) for one in getattr(error, "mistakes", ())]
    where = error.where if error.where in NAMES else (composed.answer_of(error.where) or "" if composed else "")
    words = [text.replace(part.path.name, part.name) if part else text for text in (error.message, error.hint)]
    if mistakes:
        return JobError(error.slug, words[0], where=where, hint=words[1], mistakes=mistakes)
    if isinstance(error, PageError):
        return PageError(error.slug, words[0], where=where, hint=words[1], status=error.status)
    return JobError(error.slug, words[0], where=where, hint=words[1])


@contextlib.contextmanager
def in_form(asked: Asked) -> Iterator[None]:
    """Have the errors of a job told in the words of its form."""
    try:
        yield
    except GeomError as error:
        raise asked.told(error) from error
