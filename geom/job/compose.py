"""`compose`: a few answers in words to the text of a whole job file, every assumption marked in it."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from geom.arrays import Floats
from geom.cell.cell import BoxTank, JarTank
from geom.errors import GeomError, PartError
from geom.job.answer_of import answer_at
from geom.job.answers import PARTS, Span, Told, checked_answers, choice, hole, sizes, unit_of, worded
from geom.job.fields import LONGEST_TEXT, quoted
from geom.job.files import DRAWING_SUFFIXES
from geom.job.job import Job
from geom.job.jobtext import Ruler
from geom.job.layout import Content, Piece, laid_out
from geom.job.partsize import drawing_size, mesh_size
from geom.job.read import parse_job
from geom.job.setup import POSES, SHORT_POSES, UPRIGHT, AnodeSize, Misfit, Wish, arranged, turn_of, turned
from geom.provenance import Origin
from geom.tables.read import bath_names, bath_table
from geom.units import UnitError, parse, unit_factor

USUAL_BATH, USUAL_TARGET = "watts-nickel", "8 um"
SOME_PART = (np.array([90e-3, 20e-3, 3e-3]), 4.3e-3)  # stands in for a part that is refused, so that the rest is read
SAID_BY = {
    "bath.name": ("bath",),
    "tank": ("tank",),
    "anode": ("anode", "distance"),
    "pose.turn": ("pose",),
    "pose.at": ("distance", "tank"),
    "target.thickness": ("target",),
}
"""The answers, any of which settles the value of a key."""
YES = {"yes": "yes", "true": "yes", "no": "no", "false": "no"}
SIDES = {"one side": "one side", "one": "one side", "both sides": "both sides", "both": "both sides"}


@dataclass(frozen=True, slots=True)
class Composed:
    """A job file made of answers."""

    text: str
    assumed: tuple[str, ...]  # a sentence for each thing that nobody said
    title: str
    answered: tuple[str, ...] = ()  # the names of the answers it was made of

    @property
    def assumed_keys(self) -> tuple[str, ...]:
        """The keys of the job whose values nobody stated."""
        return tuple(key for key, names in SAID_BY.items() if not set(names) & set(self.answered))

    def job(self, path: Path) -> Job:
        """Return the job as read from a file of that name; what nobody said has its origin marked as assumed."""
        job = parse_job(self.text, path=path)
        origins = {key: self._origin(key, origin) for key, origin in job.origins.items()}
        return replace(job, origins=origins)

    def _origin(self, key: str, origin: Origin) -> Origin:
        """Return where a value came from, seen from the answers."""
        is_assumed = any(key == start or key.startswith((f"{start}.", f"{start}[")) for start in self.assumed_keys)
        if origin.kind != "job" or not is_assumed:
            return origin
        return Origin("assumed", f"nothing was said of it; {origin.detail} has it now")

    def answer_of(self, where: str) -> str | None:
        """Return the answer that an error about this job is about, from the ``where`` of the error."""
        return answer_at(where, self.text, self.answered)


def pose_names() -> tuple[str, ...]:
    """Return the ways of hanging that can be asked for, the usual one first."""
    return tuple(POSES)


def defaults() -> dict[str, str | list[str]]:
    """Return answers that make a whole plan: a link of a shore-power panel, as a place to begin."""
    return {
        "bar": "90 x 20 x 3 mm",
        "hole": ["8.4 mm at -33,0", "8.4 mm at 33,0"],
        "bath": USUAL_BATH,
        "stirred": "yes",
        "tank": "200 x 120 x 160 mm",
        "anode": "2 x 80 x 120 mm",
        "anodes": "one side",
        "distance": "60 mm",
        "pose": UPRIGHT,
        "volts": "12 V",
        "amps": "5 A",
        "target": USUAL_TARGET,
    }


def compose(
    answers: Mapping[str, str | Sequence[str]], *, folder: Path | None = None, tables: str | None = None
) -> Composed:
    """Return the job that a few answers amount to; what they leave open is assumed, and said.

    Parameters
    ----------
    answers : by name (`geom.job.answers.NAMES`); a blank one counts as not given
    folder : of the job file, from which the paths of the part's file and of ``tables`` start; the working folder
    tables : a file of baths of the user's own

    Raises
    ------
    JobError
        with every mistake in ``mistakes``, the name of its answer as ``where``.
    """
    told = Told()
    given = checked_answers(answers, told)
    place = folder or Path()
    content = _content({name: texts[0] for name, texts in given.items()}, given.get("hole", []), place, told)
    content = replace(content, tables=tables)
    composed = replace(laid_out_job(content), answered=tuple(given))
    try:
        parse_job(composed.text, path=place / "job.toml")
    except GeomError as error:
        _tell_of_job(error, composed, told)
    told.refuse()
    return composed


def laid_out_job(content: Content) -> Composed:
    """Return the text of a job with the sentences of what is assumed in it."""
    return Composed(laid_out(content), tuple(content.assumed), content.title)


def _tell_of_job(error: GeomError, composed: Composed, told: Told) -> None:
    """Put the mistakes of the composed job under the answers that made them; one told already is left out."""
    before = [str(mistake.where) for mistake in told.mistakes]
    for mistake in getattr(error, "mistakes", ()) or (error,):
        answer = composed.answer_of(mistake.where) or "title"
        if answer not in before:
            drilled = re.search(r"part\.holes\[(\d+)\]", mistake.where) if answer == "hole" else None
            text = (
                re.sub("^th(e|is) hole ", f"hole {int(drilled[1]) + 1} ", mistake.message)
                if drilled
                else mistake.message
            )
            told(answer, mistake.slug, text, mistake.hint)


def _content(given: Mapping[str, str], holes: Sequence[str], folder: Path, told: Told) -> Content:
    """Return everything the job file will say."""
    assumed: list[str] = []
    part, extent, area, title = _part(given, holes, folder, told, assumed)
    ruler = Ruler(any(unit_of(given.get(name, "")) in ("in", "inch", "ft", '"') for name in ("bar", "rod", "tank")))
    pose = choice("pose", given.get("pose", UPRIGHT), {**{name: name for name in POSES}, **SHORT_POSES}, told)
    turn = turn_of(pose or UPRIGHT, extent)
    material, wish = _wish(given, told)
    hung = turned(extent, turn)
    try:
        setup = arranged(hung, area, wish, ruler.step, ruler.grain)
    except Misfit as error:
        if not told.has(*PARTS, "tank", "anode", "distance", "pose", "unit", "thickness"):
            told(error.answer, "job-answer-room", error.text, error.hint)
        setup = arranged(hung, area, Wish(), ruler.step, ruler.grain)
    bath = _bath(given, assumed)
    target = given.get("target", USUAL_TARGET)
    content = Content(
        title=given.get("title", title),
        part=part,
        bath=bath,
        stirred=choice("stirred", given["stirred"], YES, told) if "stirred" in given else None,
        temperature=given.get("temperature"),
        setup=setup,
        wish=wish,
        material=material,
        pose=pose or UPRIGHT,
        turn=turn,
        volts=given.get("volts"),
        amps=given.get("amps"),
        target=target,
        current=given.get("current"),
        ruler=ruler,
        stated=frozenset(given),
        assumed=assumed,
    )
    content.assume()
    return content


def _bath(given: Mapping[str, str], assumed: list[str]) -> str:
    """Return the bath that is named, or the usual one."""
    if "bath" in given:
        return given["bath"]
    name = USUAL_BATH if USUAL_BATH in bath_names() else bath_names()[0]
    assumed.append(f"bath: {name} ({bath_table(name).title})")
    return name


def _part(
    given: Mapping[str, str], holes: Sequence[str], folder: Path, told: Told, assumed: list[str]
) -> tuple[list[Piece], Floats, float, str]:
    """Return the lines of [part], its bounding box [m], area [m²] and a title."""
    kinds = [name for name in PARTS if name in given]
    if len(kinds) > 1:
        text = f"{' and '.join(kinds)} are both given; a part is a bar, a rod or a file"
        told(kinds[1], "job-answer-part", text, "leave one out")
    if not kinds:
        if not told.has(*PARTS):
            text = "nothing says what part it is: a bar, a rod or a file with a mesh or a drawing"
            told("bar", "job-answer-part", text, 'give a bar such as "100 x 20 x 3 mm" (length x width x thickness)')
        return [], *SOME_PART, "part"
    kind = kinds[0]
    if holes and kind != "bar":
        text = "holes are drilled through a bar; this part is none"
        told("hole", "job-answer-part", text, "give a bar, or draw the holes in the file")
    for name in ("unit", "thickness"):
        if name in given and kind != "part":
            text = f"{name} belongs to a part in a file; a {kind} has it in its own lengths"
            told(name, "job-answer-part", text, "leave it out")
    if kind == "bar":
        return _bar(given["bar"], holes, told, assumed)
    return _rod(given["rod"], told) if kind == "rod" else _file(given, folder, told)


def _bar(text: str, holes: Sequence[str], told: Told, assumed: list[str]) -> tuple[list[Piece], Floats, float, str]:
    """Return what `_part` does, of a bar."""
    sides = sizes("bar", text, ("length", "width", "thickness"), "100 x 20 x 3 mm", told)
    found = [hole(number, one, unit_of(text), told) for number, one in enumerate(holes, start=1)]
    for number, (one, read) in enumerate(zip(holes, found, strict=True), start=1):
        if read is not None and "at" not in one.casefold() and "@" not in one:
            assumed.append(f"hole {number}: in the middle of the bar, for no place was given")
    if sides is None:
        return [], *SOME_PART, "bar"
    remarks = ("along x, before the part is turned", "along y", "along z")
    pieces = [Piece("shape", "bar", "a rectangular bar, its edges sharp")]
    names = ("length", "width", "thickness")
    pieces += [Piece(name, side.text, remark) for name, side, remark in zip(names, sides, remarks, strict=True)]
    drilled = [one for one in found if one is not None]
    if drilled:
        pieces.append(Piece("holes", [(d.text, x.text, y.text) for d, x, y in drilled], "from the part's centre: x, y"))
    length, width, thickness = (side.value for side in sides)
    extent = np.array([length, width, thickness])
    return pieces, extent, _bar_area(extent, drilled), _title("Bar", text)


def _bar_area(extent: Floats, holes: Sequence[tuple[Span, Span, Span]]) -> float:
    """Return the area of a bar with round holes [m²]."""
    x, y, z = (float(side) for side in extent)
    bores = sum(math.pi * d.value * (z - d.value / 2) for d, _, _ in holes)
    return max(2 * (x * y + y * z + z * x) + bores, 0.5 * x * y)


def _rod(text: str, told: Told) -> tuple[list[Piece], Floats, float, str]:
    """Return what `_part` does, of a rod."""
    found = sizes("rod", text, ("diameter", "length"), "8 x 60 mm", told)
    if found is None:
        return [], *SOME_PART, "rod"
    diameter, length = found
    pieces = [
        Piece("shape", "rod", "a round rod"),
        Piece("length", length.text, "along x, before the part is turned"),
        Piece("diameter", diameter.text),
    ]
    d, x = diameter.value, length.value
    return pieces, np.array([x, d, d]), math.pi * d * (x + d / 2), _title("Rod", text)


def _title(kind: str, text: str) -> str:
    return f"{kind} {' '.join(text.split())}"


def _file(given: Mapping[str, str], folder: Path, told: Told) -> tuple[list[Piece], Floats, float, str]:
    """Return what `_part` does, of a mesh or a drawing."""
    name = given["part"]
    path = folder / name
    is_drawing = path.suffix.lower() in DRAWING_SUFFIXES
    pieces = [Piece("drawing" if is_drawing else "mesh", name, "looked for from the folder of this file")]
    if "unit" in given:
        pieces.append(Piece("unit", given["unit"], "the length of one unit of the file"))
    if "thickness" in given:
        pieces.append(Piece("thickness", given["thickness"], "of the metal"))
    extent, area = SOME_PART
    size = _file_size(path, is_drawing, given, told)
    if size is not None:
        extent, area = size
    words = "".join(letter if letter.isprintable() else "?" for letter in path.stem)
    return pieces, extent, area, words[:LONGEST_TEXT].strip() or "part"


def _file_size(path: Path, is_drawing: bool, given: Mapping[str, str], told: Told) -> tuple[Floats, float] | None:
    """Return bounding box and area of the part in a file, or tell why there are none."""
    try:
        unit = unit_factor(given["unit"], "length") if "unit" in given else None
        thickness = parse(given["thickness"], "length") if "thickness" in given else None
        is_there = path.is_file()
    except (UnitError, OSError, ValueError):
        return None  # a mistake that the reader of the job tells
    if is_drawing and thickness is None:
        text = "a drawing is flat: the thickness of the metal must be stated"
        told("thickness", "drawing-thickness-missing", text, 'say for example "2 mm"')
    if not is_there or (is_drawing and not thickness) or not all(v is None or 0 < v <= 10 for v in (unit, thickness)):
        return None
    try:
        found = drawing_size(path, unit, thickness or 0.0) if is_drawing else mesh_size(path, unit)
    except PartError as error:
        told("unit" if "unit" in error.slug else "part", error.slug, error.message, error.hint)
        return None
    return found.extent, found.area


def _wish(given: Mapping[str, str], told: Told) -> tuple[str | None, Wish]:
    """Return the material of the anodes and what the answers say of the set-up."""
    tank = _tank(given["tank"], told) if "tank" in given else None
    material, anode = _anode(given["anode"], told) if "anode" in given else (None, None)
    sides = choice("anodes", given.get("anodes", "one side"), SIDES, told)
    gap = None
    if "distance" in given:
        found = sizes("distance", given["distance"], ("distance",), "60 mm", told)
        gap = found[0].value if found else None
    return material, Wish(tank, anode, sides == "both sides", gap)


def _tank(text: str, told: Told) -> BoxTank | JarTank | None:
    """Return the tank of "200 x 120 x 160 mm" or "round 180 x 160 mm"."""
    words, rest = worded(text)
    if words in ("round", "jar"):
        found = sizes("tank", rest, ("diameter", "depth of the liquid"), "round 180 x 160 mm", told)
        return JarTank(*(side.value for side in found)) if found else None
    if words not in ("", "box"):
        told(
            "tank", "job-answer-word", f"{quoted(words)} is no kind of tank", 'write "200 x 120 x 160 mm" or "round …"'
        )
        return None
    found = sizes("tank", rest, ("length", "width", "depth of the liquid"), "200 x 120 x 160 mm", told)
    return BoxTank(*(side.value for side in found)) if found else None


def _anode(text: str, told: Told) -> tuple[str | None, AnodeSize | None]:
    """Return material and size of "2 x 80 x 120 mm", "rod 10 x 110 mm", "nickel" or "nickel 2 x 80 x 120 mm"."""
    words, rest = worded(text)
    is_rod = "rod" in words.split()
    material = " ".join(word for word in words.split() if word not in ("rod", "sheet")) or None
    if not rest:
        return material, None
    if is_rod:
        found = sizes("anode", rest, ("diameter", "height"), "rod 10 x 110 mm", told)
        size = AnodeSize(found[0].value, found[0].value, found[1].value, is_rod=True) if found else None
    else:
        found = sizes("anode", rest, ("thickness", "width", "height"), "2 x 80 x 120 mm", told)
        size = AnodeSize(found[0].value, found[1].value, found[2].value) if found else None
    return material, size
