"""The locator finds every key that tomllib reads, where a person would look for it."""

import tomllib
from collections.abc import Iterator

from hypothesis import given, settings
from hypothesis import strategies as st

from geom.job.locate import dotted, locate

TEXT = '''\
title = "a # b" # c
[part]  # [not.this]
holes = [ { diameter = "8 mm", at = ["-30 mm", "0 mm"] },
  # ] } a comment in a list
  { diameter = '9 mm', at = [1.5, -2] }, ]
a.b.c = """first " line
second = 3""" # d
"quoted key" = 1979-05-27 07:32:00
[[anode]]
at = [inf, true, 0x_f]
[anode.polarization]
law = 'none'
[[anode.hook]]
x = 1
[[anode.hook]]
x = 2
[[anode]]
'at' = []
[anode.polarization]
law = {}
'''.replace("0x_f", "0xff")


def paths(value: object, path: tuple = ()) -> Iterator[tuple]:
    """Yield the path of everything in what tomllib returns."""
    entries = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, entry in entries:
        yield (*path, key)
        yield from paths(entry, (*path, key))


def value_at(data: object, path: tuple) -> object:
    for step in path:
        data = data[step]
    return data


def test_every_key_is_found_and_nothing_else():
    assert set(locate(TEXT, "job.toml").places) == set(paths(tomllib.loads(TEXT)))


def test_the_span_of_a_value_is_the_text_of_that_value():
    data, source = tomllib.loads(TEXT), locate(TEXT, "job.toml")
    checked = 0
    for path, place in source.places.items():
        value = value_at(data, path)
        if not isinstance(value, dict | list):
            assert tomllib.loads(f"k = {TEXT[place.start : place.end]}")["k"] == value, path
            checked += 1
    assert checked == 15


def test_lines_are_counted_from_one():
    source = locate(TEXT, "job.toml")
    wanted = {"title": 1, "part": 2, "part.holes[1].at[1]": 5, "anode[0]": 9, "anode[1].polarization.law": 20}
    found = {dotted(path): source.line_of(place.start) for path, place in source.places.items()}
    assert {key: found[key] for key in wanted} == wanted


def test_a_key_that_is_not_there_falls_back_on_what_is_around_it():
    source = locate(TEXT, "job.toml")
    assert source.nearest(("anode", 1, "width")) == source.places[("anode", 1)]
    assert source.nearest(("bath",)) is None


def test_a_long_line_is_cut_around_the_caret():
    text = "x = [" + ", ".join(f'"{number} mm"' for number in range(200)) + "]"
    source = locate(text, "job.toml")
    place = source.places[("x", 150)]
    shown, carets = source.excerpt(place.start, place.end).splitlines()
    assert len(shown) < 120
    assert shown[carets.index("^") : carets.rindex("^") + 1] == '"150 mm"'


KEYS = st.from_regex(r"[a-z][a-z0-9_-]{0,5}", fullmatch=True) | st.sampled_from(['"a b"', "'c.d'", '"e\\"f"'])
SCALARS = st.sampled_from(
    ['"x"', "'y'", "1", "-2.5e3", "true", "inf", '"a # b"', '"]"', "1979-05-27", '""', "'''a\nb'''"]
)


@st.composite
def values(draw, depth: int = 2) -> str:
    kind = draw(st.integers(0, 3)) if depth else 0
    if kind == 1:
        return (
            "[" + ", ".join(draw(st.lists(values(depth=depth - 1), max_size=3))) + draw(st.sampled_from(["]", "\n]"]))
        )
    if kind == 2:
        keys = draw(st.lists(KEYS, max_size=3, unique_by=lambda key: key.strip("\"'")))
        return "{ " + ", ".join(f"{key} = {draw(values(depth=depth - 1))}" for key in keys) + " }"
    return draw(SCALARS)


@st.composite
def documents(draw) -> str:
    lines = []
    for section in draw(st.lists(st.sampled_from(["", "[s]", "[[t]]", "[[t]]", "[t.u]", "[s.v]"]), max_size=5)):
        lines.append(section)
        keys = draw(st.lists(KEYS, max_size=3, unique_by=lambda key: key.strip("\"'")))
        lines += [f"{key} = {draw(values())}{draw(st.sampled_from(['', ' # c', '  ']))}" for key in keys]
    return "\n".join(lines)


@settings(max_examples=150, deadline=None)
@given(documents())
def test_the_locator_agrees_with_tomllib_on_generated_documents(text):
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert set(locate(text, "job.toml").places) == set(paths(data))
