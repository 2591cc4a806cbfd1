"""A user's own tables of baths: TOML text to tables that are laid over those of the program, every mistake at once."""

import re
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from geom.errors import TableError
from geom.job import locate
from geom.job.fields import Mistake, check, complain, quoted
from geom.job.opened import refusal, text_of, toml_of
from geom.job.own_rows import OwnBathKeys, collected
from geom.tables.load import Row, overlaid
from geom.tables.load import table as table_of
from geom.tables.own import OwnBath, entry_of, lacking, overlay
from geom.tables.read import bath, bath_name, check_not_refused, metal

PAGE = "docs/baths.md"


def read_tables(path: Path | str) -> Mapping[str, Row]:
    """Return the tables of a file to lay over those that hold now, by `geom.tables.load.overlaid`.

    Raises
    ------
    JobError
        with every mistake of the file in ``mistakes``, in file order.
    """
    path = Path(path)
    return parse_tables(text_of(path, "table"), name=path.name)


def parse_tables(text: str, *, name: str = "tables") -> Mapping[str, Row]:
    """Return the tables of a text; ``name`` is the file in messages and sources."""
    source = locate.locate(text, name)
    data = toml_of(source, "table", PAGE)
    mistakes: list[Mistake] = []
    found: dict[str, OwnBath] = {}
    at: dict[str, str] = {}
    for heading, value in data.items():
        keys, wrong = check(OwnBathKeys, value)
        mistakes += [Mistake((heading, *one.key), one.slug, one.text, one.hint) for one in wrong]
        mistakes += _refused(heading, value)
        key = collected(mistakes, (heading,), partial(_name, heading))
        if key in found:
            mistakes.append(Mistake((heading,), "job-duplicate", f"a bath {quoted(key)} stands in this file already"))
        elif keys is not None and key is not None:
            at[key] = heading
            found[key] = _own(key, keys, f"user's table {''.join(c if c.isprintable() else '?' for c in name)}")
    if mistakes:
        raise refusal(mistakes, source)
    entries = _entries(found, at, mistakes)
    laid = overlay(entries, _texts(found))
    with overlaid(laid):
        for key in entries:
            try:
                bath(key)
            except TableError as error:
                mistakes.append(Mistake((at[key], "values"), error.slug, error.message, error.hint))
    if mistakes:
        raise refusal(mistakes, source)
    return laid


def _name(heading: str) -> str:
    """Return the name of a bath of the file: one of the tables, or a new one."""
    try:
        return bath_name(heading)
    except TableError as error:
        if error.slug == "bath-refused":
            complain(error.slug, error.message, error.hint)
    plain = re.sub(r"[\s_/-]+", "-", heading.strip().casefold())
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", plain) or len(plain) > 60:
        complain("job-type", f"{quoted(heading)} is no name of a bath: letters, digits and hyphens, 60 at most")
    return plain


def _refused(heading: str, value: object) -> Iterator[Mistake]:
    """Yield the mistake that title or constituents speak of a bath that is never planned, whatever it is called."""
    if not isinstance(value, dict):
        return
    composition = value.get("composition")
    said: list[tuple[tuple[str, ...], object]] = [(("title",), value.get("title"))]
    said += [(("composition", key), key) for key in (composition if isinstance(composition, dict) else ())]
    for key, text in said:
        try:
            check_not_refused(text if isinstance(text, str) else "")
        except TableError as error:
            yield Mistake((heading, *key), error.slug, error.message, error.hint)


def _own(name: str, keys: OwnBathKeys, who: str) -> OwnBath:
    """Return the record of a bath's keys; a row without a source has the file."""

    def told(rows: Mapping[str, Row]) -> dict[str, Row]:
        return {key: {**row, "source": row["source"] or [who]} for key, row in rows.items()}

    rows = told(keys.composition), told(keys.values.rows()), told(keys.notes)
    return OwnBath(name, keys.like, keys.title, keys.metal, keys.use, *rows)


def _texts(found: Mapping[str, OwnBath]) -> dict[str, str]:
    """Return the sources that the file names itself, each its own key."""
    rows = [row for own in found.values() for part in (own.composition, own.values, own.notes) for row in part.values()]
    known = table_of("sources")
    return {text: text for row in rows for text in row["source"] if text not in known}


def _entries(found: Mapping[str, OwnBath], at: Mapping[str, str], mistakes: list[Mistake]) -> dict[str, Row]:
    """Return the entries of the table of baths that the file makes; one may be like another of the file."""
    made: dict[str, Row] = {}
    for name in found:
        _make(name, found, at, mistakes, made, ())
    return made


def _make(
    name: str,
    found: Mapping[str, OwnBath],
    at: Mapping[str, str],
    mistakes: list[Mistake],
    made: dict[str, Row],
    on_the_way: tuple[str, ...],
) -> Row | None:
    """Return the entry of one bath, also in ``made``, after those of the file that it is like; None where it cannot be."""
    if name in made:
        return made[name]
    own, known = found[name], table_of("baths")
    base: Row | None = known.get(name)
    kin = base.get("family", "") if base else ""
    if own.like is not None:
        like = _like(own.like, {**known, **found})
        if not isinstance(like, Mistake) and (like in on_the_way or (like == name and base is None)):
            like = Mistake((), "job-keys-exclude", f"{quoted(name)} is like itself, by way of {quoted(own.like)}")
        if isinstance(like, Mistake):
            mistakes.append(Mistake((at[name], "like"), like.slug, like.text, like.hint))
            return None
        if like in found and like != name:
            base = _make(like, found, at, mistakes, made, (*on_the_way, name))
            if base is None:
                return None
        elif like != name:
            base = known[like]
        kin = str(base.get("family") or like) if base else ""
    entry = _entry(own, base, kin, at[name], mistakes)
    if entry is not None:
        made[name] = entry
    return entry


def _like(text: str, known: Mapping[str, Any]) -> str | Mistake:
    """Return the bath that is meant, of the tables or of the file."""
    plain = re.sub(r"[\s_/-]+", "-", text.strip().casefold())
    if plain in known:
        return plain
    try:
        return bath_name(text)
    except TableError as error:
        return Mistake((), error.slug, error.message, error.hint)


def _entry(own: OwnBath, base: Row | None, kin: str, heading: str, mistakes: list[Mistake]) -> Row | None:
    """Return the entry of one bath, or None with what is wrong with it added to ``mistakes``."""
    symbol = own.metal or (base["metal"] if base else None)
    if symbol is None:
        text = '"metal" is missing: which metal does the bath deposit?'
        mistakes.append(
            Mistake((heading, "metal"), "job-key-missing", text, f"{_metals()}; or say like which bath it is")
        )
        return None
    if base is not None and symbol != base["metal"]:
        text = f"{quoted(symbol)} is not the metal of the bath it is like, {base['metal']}"
        mistakes.append(Mistake((heading, "metal"), "job-other-metal", text, "be like another bath, or like none"))
        return None
    try:
        electrons = metal(symbol).electrons
    except TableError as error:
        mistakes.append(Mistake((heading, "metal"), error.slug, error.message, error.hint))
        return None
    entry = entry_of(own, base, kin, electrons)
    missing = list(lacking(entry))
    hint = "a new bath needs them all, or like = a bath of the tables that it takes them from"
    for key in missing:
        mistakes.append(
            Mistake((heading, "values", *key.split(".")), "job-key-missing", f"{quoted(key)} is missing", hint)
        )
    return None if missing else entry


def _metals() -> str:
    """Return the symbols of the metals there are."""
    return f"one of {', '.join(table_of('metals'))}"
