"""The text of a STEP file, held against the grammar of ISO 10303-21 before a library reads it.

The library passes over a line it does not understand, and takes what hung on it to be absent: with the unit of angles
gone, degrees are read as radians. So every entity must be whole, and every entity that is referred to must be there.
"""

import re

from geom.formats.raw import malformed, shown

BEGIN, END = "ISO-10303-21;", "END-ISO-10303-21;"
LEFT_OUT = re.compile(r"'(?:[^']++|'')*+'|/\*.*?\*/", re.DOTALL)  # strings and comments
BLANKS = re.compile(r"\s*([(),;=])\s*")  # those that part nothing; others must not be there
SECTION = re.compile(r"\bDATA(?:\([^;]*\))?;(.*?)ENDSEC;", re.DOTALL)
REFERENCE = re.compile(r"#([0-9]{1,18})")
SPACE = re.compile(r"\bGEOMETRIC_REPRESENTATION_CONTEXT\(3\)")  # what holds for the numbers of a shape
STATED = re.compile(r"\bGLOBAL_UNIT_ASSIGNED_CONTEXT\(\(([#0-9,]*)\)\)")
PREFIX = r"(?:\$|\.(?:EXA|PETA|TERA|GIGA|MEGA|KILO|HECTO|DECA|DECI|CENTI|MILLI|MICRO|NANO|PICO|FEMTO|ATTO)\.)"
LENGTH, ANGLE = re.compile(r"\bLENGTH_UNIT\(\)"), re.compile(r"\bPLANE_ANGLE_UNIT\(\)")
BY_ANGLE = ("CONICAL_SURFACE(", "TRIMMED_CURVE(")  # shapes that an angle is a size of
UNITS = {
    LENGTH: re.compile(rf"CONVERSION_BASED_UNIT\(''|SI_UNIT\({PREFIX},\.METRE\.\)"),
    ANGLE: re.compile(rf"CONVERSION_BASED_UNIT\(''|SI_UNIT\({PREFIX},\.RADIAN\.\)"),
}

_OPEN = r"(?:!?[A-Z][A-Z0-9_]*+)?\("
_VALUE = r"(?:''|\$|\*|#[0-9]{1,18}|\.[A-Z_][A-Z0-9_]*+\.|[+-]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++)(?:[Ee][+-]?[0-9]++)?|\"[0-9A-F]*+\")"
_LIST = rf"(?:{_OPEN})++(?:{_VALUE})?+"  # may be empty
# a value or a list follows a comma; members of a complex entity follow each other directly
ENTITY = re.compile(rf"#[0-9]{{1,18}}={_LIST}\)*+(?:(?:,(?:{_LIST}|{_VALUE})|{_LIST})\)*+)*+")


def check_text(data: bytes) -> None:
    """Refuse a file that is no whole STEP file, or does not state its unit of length.

    Raises
    ------
    PartError
        ``part-mesh-format``, with the first entity that is wrong.
    """
    text = data.decode("latin-1").strip()
    if not text.startswith(BEGIN) or not text.endswith(END):
        raise malformed(f'a STEP file begins "{BEGIN}" and ends "{END}"; this one does not')
    bare = BLANKS.sub(r"\1", LEFT_OUT.sub(lambda hit: "''" if hit[0][0] == "'" else " ", text))
    sections = SECTION.findall(bare.replace("ENDSEC;", "ENDSEC;\n").replace("DATA", "\nDATA"))
    if not sections:
        raise malformed("the STEP file has no section DATA")
    entities: dict[int, str] = {}
    for section in sections:
        if not section.rstrip("\n").endswith(";"):
            raise malformed("the last entity of the STEP file does not end")
        for entity in section.replace("\n", "").split(";")[:-1]:
            number = _number(entity)
            if number in entities:
                raise malformed(f"the STEP file gives two entities the number #{number}")
            entities[number] = entity
    _check_references("".join(sections), entities)
    _check_units(entities, any(word in bare for word in BY_ANGLE))


def _number(entity: str) -> int:
    """Return the number of an entity that keeps to the grammar."""
    if not ENTITY.fullmatch(entity) or entity.count("(") != entity.count(")"):
        raise malformed(f'the STEP file has an entity that is not whole: "{shown(entity)}"')
    return int(entity[1 : entity.index("=")])


def _check_references(text: str, entities: dict[int, str]) -> None:
    """Every number that is referred to must be that of an entity."""
    missing = set(map(int, set(REFERENCE.findall(text)))) - entities.keys()
    if missing:
        raise malformed(f"the STEP file refers to an entity that it does not have: #{min(missing)}")


def _check_units(entities: dict[int, str], by_angle: bool) -> None:
    """Every shape must state its unit of length, and that of angles where one is a size of it; both must be known."""
    numbers: dict[re.Pattern[str], set[str]] = {LENGTH: set(), ANGLE: set()}
    for number, entity in entities.items():
        for unit in [unit for unit in UNITS if unit.search(entity)] if "_UNIT(" in entity else []:
            numbers[unit].add(f"#{number}")
            if not UNITS[unit].search(entity):
                raise malformed(f'the STEP file states a unit that is none: "{shown(entity)}"')
    contexts = [entity for entity in entities.values() if SPACE.search(entity)]
    for unit, name in ((LENGTH, "length"), (ANGLE, "angle")):
        if unit == ANGLE and not by_angle:
            continue
        for entity in contexts or [""]:
            stated = STATED.search(entity)
            if not stated or not numbers[unit] & set(stated[1].split(",")):
                raise malformed(f"the STEP file does not state its unit of {name}", "export it again, with its units")
