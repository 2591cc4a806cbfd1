"""A few answers in words, such as "100 x 20 x 3 mm" or "8 mm at -30,0", read one by one; every mistake is told."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from geom.errors import GeomError, JobError
from geom.job.fields import LARGEST_LENGTH, LONGEST_TEXT, nearest, quoted
from geom.units import UnitError, parse

PARTS = ("bar", "rod", "part")
NAMES = (
    "title",
    *PARTS,
    "unit",
    "thickness",
    "hole",
    "bath",
    "temperature",
    "stirred",
    "tank",
    "anode",
    "anodes",
    "distance",
    "pose",
    "volts",
    "amps",
    "target",
    "current",
)
"""Every answer there is; each is an option of the command line too."""

MOST_HOLES = 500
_BETWEEN = re.compile(r"\s*(?:[xX×✕*]|\bby\b)\s*")
_UNIT = re.compile(r"[A-Za-zµμ\"″”]+$")
_AT = re.compile(r"\s*(?:\bat\b|@)\s*", re.IGNORECASE)
_COMMA = re.compile(r"\s*[,;]\s*|\s+(?=[-+−]?[0-9.]+(?:\s*[A-Za-z\"]+)?$)")
_NUMBER = re.compile(r"[-+−.]*[0-9]")


@dataclass
class Told:
    """The mistakes found so far, each under the name of its answer."""

    mistakes: list[GeomError] = field(default_factory=list)

    def __call__(self, answer: str, slug: str, text: str, hint: str = "") -> None:
        """Note a mistake."""
        self.mistakes.append(JobError(slug, text, where=answer, hint=hint))

    def has(self, *answers: str) -> bool:
        """Is there a mistake in one of these answers?"""
        return any(mistake.where in answers for mistake in self.mistakes)

    def refuse(self) -> None:
        """Raise all mistakes as one error, if there are any."""
        if len(self.mistakes) == 1:
            one = self.mistakes[0]
            raise JobError(one.slug, one.message, where=one.where, hint=one.hint, mistakes=self.mistakes)
        if self.mistakes:
            where = self.mistakes[0].where
            raise JobError("job-mistakes", f"{len(self.mistakes)} mistakes", where=where, mistakes=self.mistakes)


@dataclass(frozen=True, slots=True)
class Span:
    """A length as it was written, unit and all, and what it is."""

    text: str
    value: float  # [m]


def checked_answers(answers: Mapping[str, str | Sequence[str]], told: Told) -> dict[str, list[str]]:
    """Return what was answered, blanks left out: a list for each name, of one text but for holes."""
    found: dict[str, list[str]] = {}
    for name, value in answers.items():
        if name not in NAMES:
            told(str(name)[:40], "job-answer-unknown", f"{quoted(name)} is no answer", nearest(str(name), NAMES))
            continue
        texts = [value] if isinstance(value, str) else list(value)
        if not all(isinstance(text, str) for text in texts) or (name != "hole" and len(texts) > 1):
            told(name, "job-answer-form", "a text is expected here")
            continue
        if name == "hole" and len(texts) > MOST_HOLES:
            told(name, "job-range", f"{len(texts)} holes; at most {MOST_HOLES} can be given")
            continue
        texts = [text.strip() for text in texts if text.strip()]
        if any(len(text) > LONGEST_TEXT for text in texts):
            told(name, "job-answer-form", f"the text is longer than {LONGEST_TEXT} letters")
        elif texts:
            found[name] = texts
    return found


def lengths(text: str, count: int, unit: str | None = None) -> list[Span]:
    """Return ``count`` lengths of a text such as "100 x 20 x 3 mm"; one without a unit has that of the next.

    Raises
    ------
    UnitError
        where the text is no such thing; ``unit`` is taken where no unit stands at all.
    """
    pieces = [piece.strip() for piece in _BETWEEN.split(text.strip())]
    if len(pieces) != count:
        raise UnitError(f"{quoted(text)} has {len(pieces)} of the {count} lengths that are wanted")
    return _with_units(pieces, text, unit)


def _with_units(pieces: Sequence[str], text: str, unit: str | None) -> list[Span]:
    """Return each piece as a length, in its own unit or the next one's."""
    found: list[Span] = []
    for piece in reversed(pieces):
        own = _UNIT.search(piece.strip())
        unit = own.group() if own else unit
        if unit is None:
            raise UnitError(f'{quoted(text)} has no unit; write for example "mm" or "in" behind it', "missing")
        number = piece.strip()[: own.start()].strip() if own else piece.strip()
        shown = f"{number}{unit}" if unit in ('"', "″", "”") else f"{number} {unit}".strip()
        found.append(Span(" ".join(shown.split()), parse(shown, "length")))
    return found[::-1]


def unit_of(text: str) -> str | None:
    """Return the last unit in a text of lengths, or None."""
    found = _UNIT.search(text.strip())
    return found.group() if found else None


def sizes(answer: str, text: str, names: Sequence[str], example: str, told: Told) -> list[Span] | None:
    """Return one length for each name, each more than zero, or tell what is wrong with the answer."""
    wanted = f'{", ".join(names[:-1])} and {names[-1]}, such as "{example}"' if len(names) > 1 else f'"{example}"'
    try:
        found = lengths(text, len(names))
    except UnitError as error:
        told(answer, "job-answer-form", str(error), f"give {wanted}")
        return None
    for name, span in zip(names, found, strict=True):
        if not 0 < span.value <= LARGEST_LENGTH:
            told(answer, "job-range", f"{name}: {quoted(span.text)} is out of range; more than 0 mm and at most 10 m")
    return None if told.has(answer) else found


def hole(number: int, text: str, unit: str | None, told: Told) -> tuple[Span, Span, Span] | None:
    """Return diameter and place of a hole from the middle of the bar: "8 mm at -30,0"."""
    hint = 'give diameter and place from the middle, such as "8 mm at -30,0"'
    size, _, place = _AT.sub("\0", text, count=1).partition("\0")
    try:
        (diameter,) = lengths(size, 1, unit)
        pieces = _COMMA.split(place.strip()) if place.strip() else ["0", "0"]
        if len(pieces) != 2:
            raise UnitError(f"{quoted(place)} is not two numbers, along the bar and across it")
        along, across = _with_units(pieces, text, unit or unit_of(size))
    except UnitError as error:
        told("hole", "job-answer-form", f"hole {number}: {error}", hint)
        return None
    if not 0 < diameter.value <= LARGEST_LENGTH:
        told("hole", "job-range", f"hole {number}: a diameter of {quoted(diameter.text)} is out of range", hint)
        return None
    return diameter, along, across


def worded(text: str) -> tuple[str, str]:
    """Return the words before the first number, in small letters, and the rest: "round", "180 x 160 mm"."""
    found = _NUMBER.search(text)
    start = found.start() if found else len(text)
    return " ".join(text[:start].split()).strip(" ,:;").casefold(), text[start:].strip()


def choice(answer: str, text: str, known: Mapping[str, str], told: Told) -> str | None:
    """Return the one of several words that is meant, in full or by its beginning or end; else tell the nearest."""
    plain = _folded(text)
    folded = {_folded(name): meaning for name, meaning in known.items()}
    if plain in folded:
        return folded[plain]
    near = [name for name in folded if len(plain) >= 3 and plain in name]
    if near:
        return folded[near[0]]
    names = list(dict.fromkeys(known.values()))
    hint = nearest(text, [*names, *known])
    hint = hint if hint.startswith("did") else f"known here: {', '.join(quoted(name) for name in names)}"
    told(answer, "job-answer-word", f"{quoted(text)} is not known here", hint)
    return None


def _folded(text: str) -> str:
    """Return words as they are compared: "Upright-edge-to-the-anode" is "upright, edge to the anode"."""
    return " ".join(re.sub("[-,]", " ", text.casefold()).split())
