"""Thickness specifications: the least local thickness that a class of a standard asks for."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from geom.chemistry import Range
from geom.errors import TableError
from geom.provenance import Source
from geom.tables.load import Row, source_of, table
from geom.tables.substrates import substrate_family
from geom.units import parse

NOISE = {"class", "grade", "service", "condition", "astm", "sae", "um", "µm"}
"""Words that say nothing of which class is meant."""


@dataclass(frozen=True, slots=True)
class Specification:
    """One class of one standard."""

    words: str  # canonical: "ASTM B689 class 5"
    standard: str  # "ASTM B689"
    title: str  # what the standard is of
    metal: str  # symbol
    thickness: float  # least local thickness asked for; the larger figure where it is not sure [m]
    thickness_range: Range  # [m]
    family: str | None  # of the substrate it holds on: "steel", "copper", "other" than steel; None: any
    text: str
    source: Source


@dataclass(frozen=True, slots=True)
class Standard:
    """One standard with its classes."""

    name: str  # "astm-b689"
    standard: str
    title: str
    metal: str
    text: str
    source: Source
    classes: tuple[Specification, ...]  # none where the thickness is left to the drawing


def standards(metal: str | None = None) -> tuple[Standard, ...]:
    """Return every standard, or those of one metal by its symbol."""
    rows = table("specs")
    return tuple(_standard(name) for name in rows if metal is None or rows[name]["metal"] == metal)


def standard_named(text: str) -> Standard:
    """Return the standard that a text names; where it names a class too, with that class alone.

    Raises
    ------
    TableError
        "spec-unknown" or "spec-class-unknown".
    """
    standard, found, rest = _found(re.split(r"\bon\b", text, maxsplit=1, flags=re.IGNORECASE)[0])
    if rest and not found:
        raise _no_class(standard, rest)
    return replace(standard, classes=found) if rest else standard


def specification(text: str, *, substrate: str | None = None) -> Specification:
    """Return the class that a text names: "B689 class 5", "qq-n-290 grade G", "B545 C on steel".

    ``substrate`` is the metal plated on where the job states it; it decides between classes that differ by it.

    Raises
    ------
    TableError
        "spec-unknown" for a standard, "spec-class-unknown" for a class that the table has not, "spec-open"
        where a standard leaves the thickness to the drawing, "spec-substrate" where it goes by a substrate
        that is not stated or is another.
    """
    told, *on = re.split(r"\bon\b", text, maxsplit=1, flags=re.IGNORECASE)
    standard, found, rest = _found(told)
    if not standard.classes:
        raise TableError(
            "spec-open",
            f"{standard.standard} has no thickness of its own: {standard.text}",
            hint="state thickness instead",
        )
    if not found:
        raise _no_class(standard, rest)
    if on and substrate and substrate_family(on[0]) != substrate_family(substrate):
        raise TableError(
            "spec-substrate",
            f'"{text.strip()[:60]}" is on {on[0].strip()[:40]}, and the metal plated on is {substrate}',
        )
    return _on_substrate(found, on[0].strip() if on else substrate)


def _found(text: str) -> tuple[Standard, tuple[Specification, ...], tuple[str, ...]]:
    """Return the standard that a text names, the classes that its words for the class mean, and those words."""
    name, rest = _standard_of(text)
    standard = _standard(name)
    pairs = zip(table("specs")[name]["class"], standard.classes, strict=True)
    return standard, tuple(one for row, one in pairs if rest in _spellings(row)), rest


def _no_class(standard: Standard, rest: tuple[str, ...]) -> TableError:
    """Return the mistake that a standard has no such class."""
    offered = ", ".join(one.words.removeprefix(f"{standard.standard} ") for one in standard.classes)
    told = f'{standard.standard} has no class "{" ".join(rest)[:40]}"' if rest else f"{standard.standard} needs a class"
    return TableError("spec-class-unknown", told, hint=f"it has: {offered or 'none, ' + standard.text}")


def _on_substrate(found: Sequence[Specification], substrate: str | None) -> Specification:
    """Return the one of the classes of one name that holds on a substrate."""
    family = None if substrate is None else substrate_family(substrate)
    fitting = [one for one in found if _fits(one.family, family)]
    if len(fitting) == 1:
        return fitting[0]
    offered = ", ".join(f'"{one.words}"' if " on " in one.words else f'"{one.words} on copper"' for one in found)
    if fitting:
        raise TableError(
            "spec-substrate",
            f"what {found[0].words.split(' on ')[0]} asks for goes by the metal plated on",
            hint=f"state [substrate] metal, or write one of: {offered}",
        )
    families = " or ".join(dict.fromkeys(str(one.family) for one in found))
    raise TableError(
        "spec-substrate",
        f"{found[0].words.split(' on ')[0]} is for {families}, not for {substrate}",
        hint="take a specification for the metal plated on, or state thickness instead",
    )


def _fits(asked: str | None, family: str | None) -> bool:
    """Does a class for the family ``asked`` hold on a substrate? One that is not stated may be any."""
    if asked is None or family is None:
        return True
    return family != "steel" if asked == "other" else family == asked


def _standard(name: str) -> Standard:
    """Return a standard of the table."""
    row = table("specs")[name]
    return Standard(
        name, row["standard"], row["title"], row["metal"], row.get("text", ""), source_of(row), tuple(_classes(row))
    )


def _classes(row: Row) -> Iterator[Specification]:
    """Yield the classes of one standard."""
    for one in row["class"]:
        low, high = (_micrometres(one.get(bound, one["minimum"])) for bound in ("low", "high"))
        thickness = _micrometres(one["minimum"])
        yield Specification(
            words=f"{row['standard']} {one['name']}",
            standard=row["standard"],
            title=row["title"],
            metal=row["metal"],
            thickness=thickness,
            thickness_range=Range(low, thickness, high),
            family=one.get("family"),
            text=one.get("text", ""),
            source=source_of(one if "source" in one else row),
        )


def _micrometres(number: float) -> float:
    """Return a thickness of the table [m]."""
    return parse(f"{number} um", "length")


def _standard_of(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the standard that a text names, and its words for the class."""
    text = re.sub(r"\btype\s+(?:[ivx]+|\d+)\b", " ", text.casefold())  # of nickel or of chromate: no thickness
    text = re.sub(r"(\d{3,})[a-z]\b", r"\1", text).replace("busbar", "bus bar")  # without the letter of a revision
    tokens = _tokens(text)
    for name, row in table("specs").items():
        for key in (_tokens(row["standard"]), _tokens(row["standard"])[-2:]):
            for start in range(len(tokens) - len(key) + 1):
                if len(key) > 1 and tokens[start : start + len(key)] == key:
                    return name, (*tokens[:start], *_without_year(tokens[start + len(key) :]))
    known = [row["standard"] for row in table("specs").values()]
    offered = [one for one in known if _likeness(_tokens(one), tokens) > 0.6]
    raise TableError(
        "spec-unknown",
        f'no thickness specification is called "{text.strip()[:60]}"',
        hint=f"nearest: {', '.join(offered)}" if offered else f"known: {', '.join(known)}",
    )


def _likeness(standard: tuple[str, ...], tokens: tuple[str, ...]) -> float:
    """Return how like the name of a standard the beginning of a text is, 0 to 1."""
    return SequenceMatcher(None, "".join(standard), "".join(tokens[: len(standard)])).ratio()


def _without_year(rest: tuple[str, ...]) -> tuple[str, ...]:
    """Return the words for the class without the year of the standard before them: "B633-98 SC2"."""
    while len(rest) > 1 and re.fullmatch(r"\d\d|(?:19|20)\d\d", rest[0]):
        rest = rest[1:]
    return rest


def _tokens(text: str) -> tuple[str, ...]:
    """Return the words and numbers of a text, without those that say nothing of the class."""
    return tuple(word for word in re.findall(r"[a-zµ]+|\d+(?:\.\d+)?", text.casefold()) if word not in NOISE)


def _spellings(row: Row) -> set[tuple[str, ...]]:
    """Return the ways that a class may be written, without the substrate."""
    return {_tokens(text) for text in (row["name"].split(" on ")[0], *row["words"])}
