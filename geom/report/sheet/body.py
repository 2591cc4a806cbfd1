"""The sections of the report as HTML, each with its picture where it has one."""

import re
from collections.abc import Mapping

from geom.report.sheet.markup import Markup, joined, tag
from geom.report.tree import Row, Section, Table

LOWEST = 640
"""px of width from which a table of many columns is no longer scrolled sideways."""


def slug(title: str) -> str:
    """Return the name of a section in links."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "section"


def section_html(section: Section, picture: Markup | None, *, folded: bool) -> Markup:
    """Return one section; ``folded``: it is opened when asked for, and printed all the same."""
    inner = [
        *(tag("p", sentence) for sentence in section.sentences),
        *([_rows(section)] if section.rows else []),
        *([_table(section.table, section.title)] if section.table else []),
    ]
    if picture:
        inner.insert(0, picture)
    name = slug(section.title)
    if not folded:
        return tag("section", tag("h2", section.title), *inner, id_=name, class_="piece")
    head = tag("summary", tag("h2", section.title))
    return tag("section", tag("details", head, *inner), id_=name, class_="piece")


def contents(sections: tuple[Section, ...]) -> Markup:
    """Return the list of sections as links."""
    links = [tag("li", tag("a", section.title, href=f"#{slug(section.title)}")) for section in sections]
    return tag("nav", tag("h2", "In this report"), tag("ul", *links), class_="contents", aria_label="Sections")


def sections_html(sections: tuple[Section, ...], pictures: Mapping[str, Markup], folded: tuple[str, ...]) -> Markup:
    """Return all sections in their order."""
    return joined([section_html(one, pictures.get(one.title), folded=one.title in folded) for one in sections])


def _rows(section: Section) -> Markup:
    with_origin = any(row.origin for row in section.rows)
    lines = [_row(row, with_origin) for row in section.rows]
    heads = ("", "value", "from where") if with_origin else ()
    head = [tag("thead", tag("tr", *(tag("th", words, scope="col") for words in heads)))] if heads else []
    return _scrolled(tag("table", *head, tag("tbody", *lines), class_="rows"), section.title)


def _row(row: Row, with_origin: bool) -> Markup:
    inside = "of" if row.label.startswith(" ") else None
    cells = [tag("th", row.label.strip(), scope="row", class_=inside), tag("td", row.value)]
    if with_origin:
        assumed = row.origin.startswith("ASSUMED")
        cells.append(tag("td", row.origin, class_="origin assumed" if assumed else "origin"))
    return tag("tr", *cells)


def _table(table: Table, title: str) -> Markup:
    left = {0, *table.words}
    heads = [
        tag("th", head, scope="col", class_=None if place in left else "figure-cell")
        for place, head in enumerate(table.heads)
    ]
    lines = [
        tag(
            "tr",
            *(
                tag("th", cell, scope="row")
                if place == 0
                else tag("td", cell, class_=None if place in left else "figure-cell")
                for place, cell in enumerate(line)
            ),
            class_="binds" if "binds" in line else None,
        )
        for line in table.lines
    ]
    return _scrolled(tag("table", tag("thead", tag("tr", *heads)), tag("tbody", *lines)), title)


def _scrolled(table: Markup, title: str) -> Markup:
    """Return a table that is scrolled within its own frame where it is too wide, by keyboard too."""
    return tag("div", table, class_="wide", tabindex=0, role="region", aria_label=f"Table: {title}")
