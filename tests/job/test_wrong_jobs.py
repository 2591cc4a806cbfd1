"""Wrong job files: each is refused with its slug, at its line, in words that say what to do."""

import re

import pytest

from geom.errors import JobError
from geom.job.read import parse_job

GOOD = """\
title = "Link 3, shore-power panel"
[part]
shape = "bar"
length = "100 mm"
width = "20 mm"
thickness = "3 mm"
edge_radius = "0.3 mm"
holes = [ { diameter = "8 mm", at = ["-30 mm", "0 mm"] } ]
[bath]
name = "watts-nickel"
conductivity = "8 S/m"
temperature = "50 C"
efficiency = 0.95
polarization = { law = "linear", resistance = "1.3e-4 ohm m2" }
[tank]
shape = "box"
length = "200 mm"
width = "150 mm"
depth = "150 mm"
[[anode]]
shape = "sheet"
length = "1 mm"
width = "100 mm"
height = "100 mm"
at = ["-30 mm", "0 mm", "75 mm"]
[pose]
turn = ["0 deg", "90 deg", "0 deg"]
at = ["31.5 mm", "0 mm", "75 mm"]
[supply]
max_voltage = "19 V"
max_current = "5 A"
[target]
thickness = "8 um"
current = "1.2 A"
"""

HOLES = 'holes = [ { diameter = "8 mm", at = ["-30 mm", "0 mm"] } ]'
LAW = 'polarization = { law = "linear", resistance = "1.3e-4 ohm m2" }'

OTHER = """
[[rack.other]]
name = "washer"
at = ["0 mm", "60 mm", "0 mm"]
part = { shape = "washer", diameter = "30 mm", bore = "10 mm", thickness = "2 mm" }
[supply]
"""
RACK = '[rack]\ncopies = [1, 3, 1]\npitch = ["0 mm", "40 mm", "0 mm"]\n[supply]\n'
SHIELD = '[[shield]]\nlength = "2 mm"\nwidth = "40 mm"\nheight = "20 mm"\nat = ["0 mm", "0 mm", "40 mm"]\n[supply]\n'
THIEF = (
    '[[thief]]\nshape = "wire"\ndiameter = "2 mm"\nstart = ["50 mm", "0 mm", "40 mm"]\n'
    'end = ["50 mm", "0 mm", "160 mm"]\n[supply]\n'
)
WIRE = '[[anode]]\nshape = "wire"\ndiameter = "2 mm"\nKEYS[supply]\n'
START = 'start = ["50 mm", "0 mm", "40 mm"]\n'

# (what is replaced, by what, slug, text of the line that is named, words of the message or hint)
CHANGES = [
    # units and numbers
    ('length = "100 mm"', "length = 100", "job-unit-missing", "length = 100", "100 has no unit; a length"),
    ('length = "100 mm"', 'length = "100"', "job-unit-missing", 'length = "100"', '"100" has no unit'),
    ('"8 S/m"', '"25 A"', "job-unit-mismatch", '"25 A"', '"25 A" is a current; a conductivity is needed'),
    ('"8 um"', '"8 deg"', "job-unit-mismatch", '"8 deg"', '"8 deg" is an angle; a length is needed here'),
    ('"90 deg"', '"0.5 mil"', "job-unit-mismatch", "turn", '"0.5 mil" is a length; an angle is needed here'),
    ('"50 C"', '"50 V"', "job-unit-mismatch", '"50 V"', "(C, F, K)"),
    ('"5 A"', '"5 A/dm2"', "job-unit-mismatch", '"5 A/dm2"', "is a current density; a current is needed"),
    ('"20 mm"', '"20 MM"', "job-unit-unknown", '"20 MM"', 'did you mean "mm"?'),
    ('"20 mm"', '"20 parsec"', "job-unit-unknown", '"20 parsec"', 'unit "parsec" is not known'),
    ('"20 mm"', '"2,5 mm"', "job-number", '"2,5 mm"', "decimal point"),
    ('"20 mm"', '"nan mm"', "job-number", '"nan mm"', "does not start with a number"),
    ('"20 mm"', '"1e999 mm"', "job-number", '"1e999 mm"', "past all reason"),
    ('"20 mm"', '""', "job-unit-missing", 'width = ""', "empty"),
    ('"20 mm"', "true", "job-number", "width = true", "true or false stands where a length"),
    ('"20 mm"', '["20 mm"]', "job-number", 'width = ["20 mm"]', "a list stands where a length"),
    ('"20 mm"', "2024-05-01", "job-number", "2024-05-01", "a date or time stands where"),
    # ranges
    ('"20 mm"', '"0 mm"', "job-range", 'width = "0 mm"', "more than 0 mm"),
    ('"20 mm"', '"-20 mm"', "job-range", '"-20 mm"', "out of range"),
    ('"20 mm"', '"20 m"', "job-range", '"20 m"', "at most 10000 mm"),
    ("0.95", "1.2", "job-range", "efficiency", "1.2 is out of range; more than 0 % and at most 100 %"),
    ("0.95", "0", "job-range", "efficiency", "more than 0 %"),
    ("0.95", "nan", "job-number", "efficiency", "not finite"),
    ('"50 C"', '"150 C"', "job-range", '"150 C"', "at most 100 °C"),
    ('"50 C"', '"-5 C"', "job-range", '"-5 C"', "more than 0 °C"),
    ('"8 S/m"', '"0 S/m"', "job-range", '"0 S/m"', "more than 0 S/m"),
    ('"8 um"', '"8 mm"', "job-range", '"8 mm"', "at most 1000 um"),
    ('"8 um"', '"8 nm"', "job-range", '"8 nm"', "at least 0.05 um"),
    ('"1.2 A"', '"-1 A"', "job-range", '"-1 A"', "more than 0 A"),
    # dimensions among themselves
    ('"3 mm"', '"30 mm"', "job-shape-impossible", '"30 mm"', "thickness 30 mm is more than width"),
    ('"0.3 mm"', '"1.5 mm"', "job-shape-impossible", "edge_radius", "less than half the thickness, 1.5 mm"),
    ('"-30 mm", "0 mm"] }', '"-47 mm", "0 mm"] }', "job-hole-outside", "holes", "along x it reaches 51 mm"),
    ('"-30 mm", "0 mm"] }', '"-30 mm", "7 mm"] }', "job-hole-outside", "holes", "along y it reaches 11 mm"),
    (
        HOLES,
        HOLES[:-2] + ', { diameter = "8 mm", at = ["-23 mm", "0 mm"] } ]',
        "job-holes-overlap",
        "holes",
        "runs into hole 1 of the list by 1 mm",
    ),
    (
        '{ diameter = "8 mm",',
        '{ diameter = "8 mm", length = "6 mm",',
        "job-hole-slot",
        "holes",
        "is not longer",
    ),
    ('{ diameter = "8 mm",', '{ diameter = "8 mm", angle = "6 deg",', "job-hole-slot", "holes", "no angle"),
    # names
    ("edge_radius", "edge_raduis", "job-key-unknown", "edge_raduis", 'did you mean "edge_radius"?'),
    ("[supply]", "[suply]", "job-key-unknown", "[suply]", 'did you mean "supply"?'),
    ("max_current", "colour", "job-key-unknown", "colour", "known here: max_voltage, max_current"),
    ('"bar"', '"barr"', "job-word-unknown", '"barr"', 'did you mean "bar"?'),
    ('"bar"', "3", "job-word-unknown", "shape = 3", "expected one of: bar, plate, rod"),
    ('"box"', '"sphere"', "job-word-unknown", '"sphere"', "expected one of: box, jar"),
    ('"sheet"', '"shet"', "job-word-unknown", '"shet"', 'did you mean "sheet"?'),
    ('law = "linear"', 'law = "liner"', "job-word-unknown", "polarization", 'did you mean "linear"?'),
    ('"watts-nickel"', '"wats-nickel"', "bath-unknown", '"wats-nickel"', "watts-nickel"),
    ('"watts-nickel"', '"silver-cyanide"', "bath-refused", '"silver-cyanide"', "cyanide kills"),
    ('"watts-nickel"', "7", "job-type", "name = 7", "the name of a bath is expected"),
    # keys that are missing or exclude each other
    (
        'width = "20 mm"\n',
        "",
        "job-key-missing",
        "[part]",
        '"width" is missing; required here: shape, length',
    ),
    ('name = "watts-nickel"\n', "", "job-key-missing", "[bath]", '"name" is missing'),
    ('thickness = "8 um"\n', "", "job-key-missing", "[target]", '"thickness" is missing'),
    ('shape = "bar"\n', "", "job-key-missing", "[part]", 'a mesh is given by "mesh" and "unit" instead'),
    ('shape = "sheet"\n', "", "job-key-missing", "[[anode]]", "it is one of: sheet, rod, wire"),
    (LAW, "polarization = {}", "job-key-missing", "polarization", '"law" is missing'),
    (LAW, 'polarization = { law = "tafel", slope = "0.1 V" }', "job-key-missing", "polarization", "exchange"),
    (
        LAW,
        'polarization = { law = "none", resistance = "1 ohm m2" }',
        "job-key-unknown",
        "polarization",
        "law",
    ),
    (LAW, 'current_density = { low = "5 A/dm2", high = "2 A/dm2" }', "job-range", "current_density", "order"),
    ('"1.2 A"', '"1.2 A"\nvoltage = "1 V"', "job-keys-exclude", "voltage", "both given"),
    ('shape = "bar"', 'shape = "bar"\nmesh = "link.stl"', "job-keys-exclude", "mesh", "shape and mesh"),
    # types
    ("[[anode]]", "[anode]", "job-type", "[anode]", "double brackets"),
    (
        '["31.5 mm", "0 mm", "75 mm"]',
        '["31.5 mm", "0 mm"]',
        "job-type",
        '"31.5 mm"',
        "a list of 2 stands where",
    ),
    ('["31.5 mm", "0 mm", "75 mm"]', '"middle"', "job-type", '"middle"', "three lengths such as"),
    (LAW, 'polarization = "linear"', "job-type", "polarization", "a table of keys is expected"),
    ('"Link 3, shore-power panel"', "3", "job-type", "title", "text in quotes"),
    ('"Link 3, shore-power panel"', f'"{"x" * 201}"', "job-type", "title", "at most 200"),
    # anodes
    ('"sheet"', '"sheet"\nmaterial = "stainless steel"', "anode-refused", "material", "chromium(VI)"),
    ('"sheet"', '"sheet"\nmaterial = "graphite"', "anode-refused", "material", "chlorine"),
    ('"sheet"', '"sheet"\nmaterial = "copper"', "anode-refused", "material", "plates out with the nickel"),
    ('"sheet"', '"sheet"\nmaterial = "mild steel"', "anode-refused", "material", "dissolves into the bath"),
    # racks, shields, thieves and wires
    ("[supply]", RACK.replace("[1, 3, 1]", "[1, 3]"), "job-type", "copies", "three whole numbers such as [1, 3, 1]"),
    ("[supply]", RACK.replace("3", "2.5"), "job-type", "copies", "2.5 stands where a whole number"),
    ("[supply]", RACK.replace("3", "true"), "job-type", "copies", "true stands where a whole number"),
    ("[supply]", RACK.replace("3", "0"), "job-range", "copies", "1 is the least"),
    ("[supply]", RACK.replace("3", "1"), "job-range", "copies", "leave [rack] out for a single part"),
    ("[supply]", RACK.replace("3", "61"), "job-range", "copies", "at most 60"),
    ("[supply]", RACK.replace('"40 mm"', '"0 mm"'), "job-range", "pitch", "3 copies along y with no pitch"),
    ("[supply]", RACK.replace('"40 mm"', "40"), "job-unit-missing", "pitch", "40 has no unit"),
    ("[supply]", RACK.replace('"40 mm"', '"-40 mm"'), "job-range", "pitch", "at least 0 mm"),
    ("[supply]", OTHER.replace("washer", "a: b", 1), "job-range", "name", "stands between the words"),
    ("[supply]", OTHER.replace('name = "washer"\n', ""), "job-key-missing", "[[rack.other]]", "required here: name, part, at"),
    ("[supply]", OTHER.replace('"30 mm"', '"3 mm"'), "job-shape-impossible", "part", "bore"),
    ("[supply]", OTHER.replace(" }", ', thicknes = "2 mm" }'), "job-key-unknown", "part", '"thicknes"'),
    ("[supply]", OTHER.replace(' }', ', roughness_factor = 1.2 }'), "job-range", "part", "under [part] alone"),
    ("[supply]", OTHER.replace("[[rack.other]]", "[rack.other]"), "job-type", "other", "[[rack.other]]"),
    ("[supply]", '[rack]\ncopies = [1, 1, 1]\n[supply]\n', "job-range", "copies", "at least 2"),
    ("[supply]", RACK.replace("[supply]", "pitsch = 1\n[supply]"), "job-key-unknown", "pitsch", '"pitch"?'),
    ("[supply]", SHIELD.replace("[[shield]]", "[shield]"), "job-type", "[shield]", "double brackets"),
    ("[supply]", SHIELD.replace('height = "20 mm"\n', ""), "job-key-missing", "[[shield]]", '"height" is missing'),
    (
        "[supply]",
        SHIELD.replace("[supply]", "law = 1\n[supply]"),
        "job-key-unknown",
        "law = 1",
        "not a key of this table",
    ),
    ("[supply]", THIEF.replace('"wire"', '"frame"'), "job-word-unknown", "frame", "expected one of: strip, wire"),
    ("[supply]", THIEF.replace('"160 mm"]', '"40 mm"]'), "job-range", "end", "the same place"),
    ("[supply]", THIEF.replace('diameter = "2 mm"\n', ""), "job-key-missing", "[[thief]]", '"diameter" is missing'),
    ("[supply]", WIRE.replace("KEYS", 'through = "bore 1"\n'), "job-key-missing", "[[anode]]", '"beyond" is missing'),
    ("[supply]", WIRE.replace("KEYS", START), "job-key-missing", "[[anode]]", '"end" is missing'),
    (
        "[supply]",
        WIRE.replace("KEYS", START + 'through = "bore 1"\n'),
        "job-keys-exclude",
        "through",
        "start and through are both",
    ),
    (
        "[supply]",
        WIRE.replace("KEYS", START + START.replace("start", "end")),
        "job-range",
        "end",
        "the wire has no length",
    ),
    ("[supply]", WIRE.replace("KEYS", 'through = 3\nbeyond = "8 mm"\n'), "job-type", "through", "text in quotes"),
    (
        "[supply]",
        WIRE.replace("KEYS", 'through = "bore 1"\nbeyond = "0 mm"\n'),
        "job-range",
        "beyond",
        "more than 0 mm",
    ),
    # accuracy
    ("[supply]", '[solve]\naccuracy = "quik"\n[supply]', "job-word-unknown", "quik", 'did you mean "quick"?'),
    ("[supply]", '[solve]\naccuracy = "exact"\n[supply]', "job-word-unknown", "exact", "usual (2 %)"),
    ("[supply]", '[solve]\naccuracy = "40 %"\n[supply]', "job-range", "40 %", "at least 0.2 % and at most 30 %"),
    ("[supply]", '[solve]\naccuracy = "0.1 %"\n[supply]', "job-range", "0.1 %", "at least 0.2 %"),
    ("[supply]", "[solve]\naccuracy = 0\n[supply]", "job-range", "accuracy", "0 is out of range"),
    ("[supply]", "[solve]\naccuracy = 2\n[supply]", "job-range", "accuracy", 'did you mean "2 %"?'),
    ("[supply]", "[solve]\naccuracy = true\n[supply]", "job-number", "accuracy", "true or false stands where"),
    ("[supply]", '[solve]\naccuracy = "2 mm"\n[supply]', "job-unit-mismatch", "accuracy", "is a length; a fraction"),
    ("[supply]", '[solve]\naccuracy = ""\n[supply]', "job-unit-missing", "accuracy", "empty"),
    ("[supply]", "[solve]\nmost_panels = 499\n[supply]", "job-range", "most_panels", "at least 500 and at most 60000"),
    ("[supply]", "[solve]\nmost_panels = 60001\n[supply]", "job-range", "most_panels", "60001 panels are out of range"),
    ("[supply]", '[solve]\nmost_panels = "9000"\n[supply]', "job-type", "most_panels", "a whole number of panels"),
    ("[supply]", "[solve]\nmost_panels = 1e4\n[supply]", "job-type", "most_panels", "a whole number of panels"),
    ("[supply]", "[solve]\nmost_time = 60\n[supply]", "job-unit-missing", "most_time", "60 has no unit; a time"),
    ("[supply]", '[solve]\nmost_time = "0.5 s"\n[supply]', "job-range", "most_time", "at least 1 s and at most 3600 s"),
    ("[supply]", '[solve]\nmost_time = "2 h"\n[supply]', "job-range", "most_time", "at most 3600 s"),
    ("[supply]", '[solve]\nacuracy = "2 %"\n[supply]', "job-key-unknown", "acuracy", 'did you mean "accuracy"?'),
    ('title = "Link 3, shore-power panel"', 'solve = "fine"', "job-type", "solve", "a table of keys is expected"),
    # not TOML
    ('"bar"', "bar", "job-syntax", "shape = bar", "not TOML: invalid value"),
    ('"20 mm"', '"20 mm', "job-syntax", 'width = "20 mm', "not TOML"),
    ("[supply]", "[supply", "job-syntax", "[supply", "expected ']'"),
    (
        'width = "20 mm"',
        'width = "20 mm"\nwidth = "21 mm"',
        "job-duplicate",
        'width = "21 mm"',
        "given twice",
    ),
    ("[supply]", "[tank]", "job-duplicate", "[tank]", "given twice"),
]


def refusal(text: str) -> JobError:
    """Return the error that the text is refused with."""
    with pytest.raises(JobError) as caught:
        parse_job(text)
    return caught.value


@pytest.mark.parametrize(("old", "new", "slug", "line", "words"), CHANGES)
def test_a_wrong_job_is_refused_with_slug_line_and_reason(old, new, slug, line, words):
    assert GOOD.count(old) >= 1
    text = GOOD.replace(old, new, 1) if old != "[supply]" or new != "[tank]" else GOOD.replace(old, new)
    error = refusal(text)
    assert [mistake.slug for mistake in error.mistakes] == [slug]
    mistake = error.mistakes[0]
    number = int(re.search(r"line (\d+)", mistake.where)[1])
    assert line in text.splitlines()[number - 1]
    assert words in f"{mistake.message} {mistake.hint}"


def part(body: str) -> str:
    """Return a job that has nothing but a part, a bath and a target."""
    return f'[part]\n{body}\n[bath]\nname = "watts-nickel"\n[target]\nthickness = "8 um"\n'


SHAPES = [
    ('shape = "rod"\nlength = "50 mm"\ndiameter = "6 mm"\nwall = "1 mm"', "job-key-unknown", 5, "known here"),
    (
        'shape = "tube"\nlength = "50 mm"\ndiameter = "6 mm"\nwall = "3 mm"',
        "job-shape-impossible",
        5,
        "two walls",
    ),
    (
        'shape = "tube"\nlength = "50 mm"\ndiameter = "12 mm"\nwall = "1 mm"\nflattened = "12 mm"',
        "job-shape-impossible",
        6,
        "not less than the diameter",
    ),
    (
        'shape = "tube"\nlength = "50 mm"\ndiameter = "12 mm"\nwall = "1 mm"\nflattened = "2 mm"',
        "job-shape-impossible",
        6,
        "do not fit",
    ),
    (
        'shape = "tube"\nlength = "50 mm"\ndiameter = "12 mm"\nwall = "1 mm"\n'
        'holes = [{ diameter = "3 mm", at = ["0 mm", "0 mm"] }]',
        "job-shape-impossible",
        6,
        "this tube is round",
    ),
    (
        'shape = "washer"\ndiameter = "10 mm"\nbore = "12 mm"\nthickness = "1 mm"',
        "job-shape-impossible",
        4,
        "not less than the diameter",
    ),
    (
        'shape = "angle"\nlength = "40 mm"\nheight = "5 mm"\nwidth = "20 mm"\nthickness = "3 mm"\n'
        'inside_radius = "3 mm"',
        "job-shape-impossible",
        4,
        "used up by the bend, which takes 6 mm",
    ),
    (
        'shape = "angle"\nlength = "40 mm"\nheight = "30 mm"\nwidth = "20 mm"\nthickness = "3 mm"\n'
        'inside_radius = "3 mm"\nbend = "170 deg"',
        "job-range",
        8,
        "at most 150 deg",
    ),
    (
        'shape = "channel"\nlength = "80 mm"\nwidth = "10 mm"\nheight = "15 mm"\nthickness = "3 mm"\n'
        'inside_radius = "2 mm"',
        "job-shape-impossible",
        4,
        "pair of bends, which takes 10 mm",
    ),
    (
        'shape = "offset"\nlength = "80 mm"\nwidth = "20 mm"\nthickness = "3 mm"\noffset = "5 mm"\n'
        'inside_radius = "3 mm"',
        "job-shape-impossible",
        6,
        "which alone make 9 mm",
    ),
    (
        'shape = "outline"\nthickness = "2 mm"\npoints = [["0 mm","0 mm"], ["9 mm","9 mm"], ["9 mm","0 mm"], '
        '["0 mm","9 mm"]]',
        "job-outline",
        4,
        "near 4.5 mm, 4.5 mm",
    ),
    (
        'shape = "outline"\nthickness = "2 mm"\npoints = [["0 mm","0 mm"]]',
        "job-outline",
        4,
        "1 points; at least 3",
    ),
    (
        'shape = "outline"\nthickness = "2 mm"\npoints = [["0 mm","0 mm"], ["20 mm","0 mm"], ["0 mm","20 mm"]]\n'
        'holes = [{ diameter = "3 mm", at = ["12 mm", "12 mm"] }]',
        "job-hole-outside",
        5,
        "does not lie inside the outline",
    ),
    ('mesh = "clamp.stl"', "job-key-missing", 1, '"unit" is missing; files of this format do not state'),
    ('mesh = "clamp.gltf"\nunit = "mm"', "job-mesh-format", 2, ".stl, .obj, .ply, .off"),
    ('mesh = "clamp.stl"\nunit = "kg"', "job-unit-unknown", 3, "is a mass; a length is needed"),
    ('mesh = "clamp.stl"\nunit = 0.001', "job-type", 3, "a unit in quotes"),
    ('length = "10 mm"', "job-key-missing", 1, '"shape" is missing'),
]


@pytest.mark.parametrize(("body", "slug", "line", "words"), SHAPES)
def test_a_wrong_part_is_refused_with_slug_line_and_reason(body, slug, line, words):
    error = refusal(part(body))
    assert [mistake.slug for mistake in error.mistakes] == [slug]
    assert f"line {line}," in error.mistakes[0].where
    assert words in f"{error.mistakes[0].message} {error.mistakes[0].hint}"


def test_every_mistake_of_a_file_is_told_at_once_in_file_order():
    text = GOOD.replace('"20 mm"', "20").replace('"8 S/m"', '"25 A"').replace('"box"', '"bx"')
    text = text.replace('"sheet"', '"sheet"\nmaterial = "316L"').replace('"19 V"', '"19 A"')
    error = refusal(text)
    slugs = [
        "job-unit-missing",
        "job-unit-mismatch",
        "job-word-unknown",
        "anode-refused",
        "job-unit-mismatch",
    ]
    assert [mistake.slug for mistake in error.mistakes] == slugs
    numbers = [int(re.search(r"line (\d+)", mistake.where)[1]) for mistake in error.mistakes]
    assert numbers == sorted(numbers)
    assert error.slug == "job-mistakes"
    assert "5 mistakes" in error.message


def test_the_caret_stands_under_the_value():
    lines = str(refusal(GOOD.replace('"8 S/m"', '"25 A"'))).splitlines()
    shown = next(line for line in lines if "conductivity =" in line)
    carets = lines[lines.index(shown) + 1]
    assert shown[carets.index("^") : carets.rindex("^") + 1] == '"25 A"'


def test_a_missing_section_is_named():
    error = refusal('[part]\nshape = "rod"\nlength = "50 mm"\ndiameter = "6 mm"\n')
    assert [(mistake.slug, mistake.message.split(";")[0]) for mistake in error.mistakes] == [
        ("job-key-missing", '"bath" is missing'),
        ("job-key-missing", '"target" is missing'),
    ]


def test_a_flood_of_mistakes_is_cut_short():
    error = refusal(GOOD + "".join(f"x{number} = 1\n" for number in range(500)))
    assert error.message == "500 mistakes"
    assert error.mistakes[-1].slug == "job-more-mistakes"
    assert len(error.mistakes) == 61


def test_a_wire_without_any_place_is_told_both_ways_of_giving_one():
    error = refusal(GOOD.replace("[supply]", WIRE.replace("KEYS", "")))
    assert [mistake.slug for mistake in error.mistakes] == ["job-key-missing"] * 2
    assert "start and end, or through and beyond" in str(error)


@pytest.mark.parametrize("missing", ["tank", "pose"])
def test_a_shield_or_thief_needs_a_stated_tank_and_pose(missing: str):
    text = re.sub(rf"\[{missing}\].*?(?=^\[)", "", GOOD, flags=re.DOTALL | re.MULTILINE)
    for body, name in ((SHIELD, "shield"), (THIEF, "thief")):
        error = refusal(text.replace("[supply]", body))
        assert error.slug == "job-key-missing"
        assert f"[{missing}] is missing; a {name} needs it" in error.message
        assert f"[[{name}]]" in error.where
