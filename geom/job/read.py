"""TOML text to `Job`: every mistake at once, each with its line, and the origin of every value."""

import contextlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from geom.bench.records import Bench
from geom.chemistry import Bath
from geom.errors import GeomError, JobError, TableError
from geom.findings import Finding, Severity
from geom.job import locate
from geom.job.fields import Mistake, Section, check, quoted
from geom.job.files import DRAWING_SUFFIXES, MESH_SUFFIXES, UNIT_INSIDE, FileKeys
from geom.job.job import Job
from geom.job.locate import Source
from geom.job.schema import JobKeys
from geom.part.masks import Mask, Plug
from geom.part.shapes import Shape
from geom.provenance import Origin
from geom.tables.cautions import anode_findings, anode_refusal
from geom.tables.read import bath_name, bath_names, bath_table, metal
from geom.tables.specs import Specification, specification
from geom.tables.substrates import substrate_findings, substrate_name
from geom.units import show

LARGEST_FILE_BYTES = 1_000_000
MOST_MISTAKES = 60
LARGE_PART, SMALL_PART = 3.0, 1e-3  # longest dimension past which a unit may have been mistaken [m]


def read_job(path: Path | str) -> Job:
    """Return the job in a file.

    Raises
    ------
    JobError
        with every mistake of the file in ``mistakes``, in file order.
    """
    path = Path(path)
    return parse_job(_text(path), path=path)


def parse_job(text: str, *, path: Path | None = None) -> Job:
    """Return the job in a text; ``path`` names it in messages and is what a mesh's path starts from."""
    source = locate.locate(text, path.name if path else "job")
    data = _toml(source)
    keys, mistakes = check(JobKeys, data)
    mistakes += _file_mistakes(data, path)
    mistakes += _anode_mistakes(data)
    mistakes += _target_mistakes(data)
    mistakes += _specification_mistakes(data)
    mistakes += _place_mistakes(data)
    if keys is not None and not mistakes:
        try:
            return _job(keys, source, path)
        except TableError as error:
            key = ("bath", "temperature") if "temperature" in data["bath"] else ("bath",)
            mistakes.append(Mistake(key, error.slug, error.message, error.hint))
    raise _refusal(mistakes, source)


def _text(path: Path) -> str:
    """Return the text of the file, or say why it cannot be had."""
    where = "".join(letter if letter.isprintable() else "?" for letter in str(path))
    try:
        if path.is_dir():
            raise _one("job-file-missing", "this is a folder, not a job file", where, "name the .toml file in it")
        if not path.exists():
            near = _near_files(path)
            raise _one("job-file-missing", "there is no such file", where, near)
        if path.suffix.lower() in (*MESH_SUFFIXES, *DRAWING_SUFFIXES):
            text = (
                "this is the file of a part, a mesh or a drawing; what is planned is a job, a .toml file that names it"
            )
            raise _one("job-file-is-part", text, where, _part_lines(path))
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "not a path"
        raise _one("job-file-unreadable", f"the file cannot be read: {reason.lower()}", where) from error
    if len(content) > LARGEST_FILE_BYTES:
        text = "the file is larger than 1 MB, which no job file is"
        raise _one("job-file-too-large", text, where, "a mesh goes into its own file, named by part.mesh")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        text = f"byte {error.start + 1} of the file, in line {line}, is not UTF-8 text"
        raise _one("job-file-encoding", text, where, 'save the file as "UTF-8"') from error


def _part_lines(path: Path) -> str:
    """Return a hint with the lines that name a part in a job."""
    name = "".join(letter if letter.isprintable() and letter not in '"\\' else "?" for letter in path.name)
    if path.suffix.lower() in DRAWING_SUFFIXES:
        lines = f'drawing = "{name}" and thickness = "2 mm"'
    elif path.suffix.lower() in UNIT_INSIDE:
        lines = f'mesh = "{name}"'
    else:
        lines = f'mesh = "{name}" and unit = "mm"'
    return f"in the job, under [part]: {lines}; docs/job-file.md has the rest. geom area takes the file by itself"


def _near_files(path: Path) -> str:
    """Return a hint naming the job files that are in the folder instead."""
    try:
        names = sorted(entry.name for entry in path.parent.glob("*.toml"))[:5]
    except OSError:
        names = []
    return f"there is: {', '.join(names)}" if names else ""


def _one(slug: str, text: str, where: str, hint: str = "") -> JobError:
    """Return the refusal of a whole file for one reason."""
    mistake = JobError(slug, text, where=where, hint=hint)
    return JobError(slug, text, where=where, hint=hint, mistakes=[mistake])


def _toml(source: Source) -> dict[str, Any]:
    """Return what the text holds, or point at where it stops being TOML."""
    if not source.text.strip():
        hint = "docs/job-file.md shows a complete one"
        raise _one("job-file-empty", "the job file is empty", source.name, hint)
    try:
        return tomllib.loads(source.text)
    except RecursionError as error:
        raise _one("job-syntax", "lists or tables are nested too deeply", source.name) from error
    except ValueError as error:
        raise _syntax(str(error), source) from error


def _syntax(message: str, source: Source) -> JobError:
    """Return the syntax error of tomllib, with its line shown."""
    reason, _, place = message.partition(" (at ")
    found = re.match(r"line (\d+), column (\d+)", place)
    offset = max(len(source.text.rstrip()) - 1, 0)
    if found:
        line_start = sum(len(line) + 1 for line in source.text.split("\n")[: int(found[1]) - 1])
        offset = min(line_start + int(found[2]) - 1, len(source.text) - 1)
    twice = any(words in reason for words in ("twice", "Cannot overwrite", "Cannot mutate", "Cannot declare"))
    where = f"{source.name}, line {source.line_of(offset)}\n{source.excerpt(offset, offset + 1)}"
    if twice:
        text = f"a key or table is given twice ({_clean(reason)})"
        return _one("job-duplicate", text, where, "only tables in double brackets, such as [[anode]], may be repeated")
    hint = 'text stands in quotes, and so does every quantity: length = "100 mm"'
    return _one("job-syntax", f"this is not TOML: {_clean(reason)}", where, hint)


def _clean(reason: str) -> str:
    """Return a library's message on one line, its first letter small."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in reason)[:120]
    return shown[:1].lower() + shown[1:]


def _refusal(mistakes: list[Mistake], source: Source) -> JobError:
    """Return all mistakes as one error, in file order."""
    found = sorted(mistakes, key=lambda mistake: _offset(mistake, source))
    errors: list[GeomError] = [_placed(mistake, source) for mistake in found[:MOST_MISTAKES]]
    if len(found) > MOST_MISTAKES:
        text = f"{len(found) - MOST_MISTAKES} more mistakes are not shown"
        errors.append(JobError("job-more-mistakes", text, where=source.name))
    if len(found) == 1:
        return JobError(errors[0].slug, errors[0].message, where=errors[0].where, hint=errors[0].hint, mistakes=errors)
    return JobError("job-mistakes", f"{len(found)} mistakes", where=source.name, mistakes=errors)


def _offset(mistake: Mistake, source: Source) -> int:
    """Return where in the text a mistake stands; what is missing altogether comes last."""
    place = source.nearest(mistake.key)
    return place.start if place else len(source.text)


def _placed(mistake: Mistake, source: Source) -> JobError:
    """Return a mistake with its line, key and the line's text."""
    place, key = source.nearest(mistake.key), locate.dotted(mistake.key)
    if place is None:
        return JobError(mistake.slug, mistake.text, where=f"{source.name}, {key}", hint=mistake.hint)
    is_name = mistake.slug in ("job-key-unknown", "job-key-missing")
    start, end = (place.key_start, place.key_end) if is_name else (place.start, place.end)
    where = f"{source.name}, line {source.line_of(start)}, {key}\n{source.excerpt(start, end)}"
    return JobError(mistake.slug, mistake.text, where=where, hint=mistake.hint)


def _file_mistakes(data: Mapping[str, Any], path: Path | None) -> list[Mistake]:
    """Return the mistake that the mesh or drawing is not there, when the job file's own place is known."""
    part = data.get("part")
    key = "drawing" if isinstance(part, dict) and "drawing" in part else "mesh"
    name = part.get(key) if isinstance(part, dict) else None
    if path is None or not isinstance(name, str) or not name.isprintable() or len(name) > 200:
        return []
    try:
        is_there = (path.parent / name).is_file()
    except (OSError, ValueError):
        is_there = False
    if is_there:
        return []
    text = f"there is no file {quoted(name)} beside the job file"
    return [Mistake(("part", key), "job-mesh-missing", text, "the path is taken from the job file's folder")]


def _anode_mistakes(data: Mapping[str, Any]) -> list[Mistake]:
    """Return each anode whose material the bath refuses."""
    bath, anodes = data.get("bath"), data.get("anode")
    name = bath.get("name") if isinstance(bath, dict) else None
    ventilated = isinstance(bath, dict) and bath.get("ventilated") is True
    baths = bath_names()
    with contextlib.suppress(TableError):
        baths = (bath_name(name),) if isinstance(name, str) else baths
    found = []
    for index, anode in enumerate(anodes if isinstance(anodes, list) else []):
        material = anode.get("material") if isinstance(anode, dict) else None
        text = material[:200] if isinstance(material, str) else ""
        reasons = [
            anode_refusal(text, bath, ventilated=ventilated) for bath in baths
        ]  # of an unknown bath, if all would refuse
        if all(reasons):
            hint = "hang anodes of the bath's own metal"
            found.append(Mistake(("anode", index, "material"), "anode-refused", str(reasons[0]), hint))
    return found


def _target_mistakes(data: Mapping[str, Any]) -> list[Mistake]:
    """Return the mistake that both controls are given."""
    target = data.get("target")
    if not isinstance(target, dict) or not {"current", "voltage"} <= target.keys():
        return []
    text = "current and voltage are both given; a supply holds one of them and the cell makes the other"
    return [Mistake(("target", "voltage"), "job-keys-exclude", text, "leave one out, or both to be advised")]


def _specification_mistakes(data: Mapping[str, Any]) -> list[Mistake]:
    """Return the mistake that the tables have no such specification, or one of another metal than the bath's."""
    asked = _text_at(data, "target", "specification")
    if asked is None:
        return []
    key, found, symbol = ("target", "specification"), None, None
    try:
        found = specification(asked[:200], substrate=_known_substrate(data))
    except TableError as error:
        is_answered = error.slug == "spec-substrate" and _text_at(data, "substrate", "metal") is not None
        told_already = is_answered and _known_substrate(data) is None  # that metal is a mistake of its own
        return [] if told_already else [Mistake(key, error.slug, error.message, error.hint)]
    with contextlib.suppress(TableError):
        symbol = bath_table(_text_at(data, "bath", "name") or "").metal
    if symbol in (None, found.metal):
        return []
    text = f"{found.words} asks for {found.title}; this bath plates {metal(str(symbol)).name}"
    return [Mistake(key, "job-other-metal", text, f"geom specs --metal {symbol} lists those of this metal")]


def _known_substrate(data: Mapping[str, Any]) -> str | None:
    """Return the metal that is plated on where the job states one that the tables have."""
    with contextlib.suppress(TableError):
        return substrate_name(_text_at(data, "substrate", "metal") or "")
    return None


def _text_at(data: Mapping[str, Any], section: str, key: str) -> str | None:
    """Return a text of the file, or None where there is no text at that place."""
    keys = data.get(section)
    value = keys.get(key) if isinstance(keys, dict) else None
    return value if isinstance(value, str) else None


def _place_mistakes(data: Mapping[str, Any]) -> list[Mistake]:
    """Return each section that must be given because something stands in the tank at a stated place."""
    standing = [name for name in ("shield", "thief") if data.get(name)]
    missing = [name for name in ("tank", "pose") if name not in data]
    hint = "a shield or thief stands at a stated place beside the part: tank and part must have theirs"
    return [
        Mistake((standing[0],), "job-key-missing", f"[{name}] is missing; a {standing[0]} needs it", hint)
        for name in missing
        if standing
    ]


def _job(keys: JobKeys, source: Source, path: Path | None) -> Job:
    """Return the job of keys that hold together."""
    bath = keys.bath.record()
    bench = _bench(keys)
    asked = _specification(keys, bench)
    shape = _shape(keys, path)
    title = keys.title or (path.stem if path else "job")
    return Job(
        title=title,
        path=path,
        shape=shape,
        bath=bath,
        tank=keys.tank.record() if keys.tank else None,
        anodes=tuple(anode.record() for anode in keys.anode) if keys.anode is not None else None,
        pose=keys.pose.record() if keys.pose else None,
        supply=keys.supply.record(),
        target=keys.target.record(asked),
        origins=_origins(keys, bath, source) | _specification_origin(asked),
        findings=(
            *_size_findings(keys),
            *anode_findings(bench.anode_materials, bath, ventilated=bench.ventilated),
            *substrate_findings(bench.substrate, bath),
        ),
        rack=keys.rack.record() if keys.rack else None,
        shields=tuple(shield.record() for shield in keys.shield),
        thieves=tuple(thief.record() for thief in keys.thief),
        demand=keys.solve.record(),
        masks=tuple(_masks(keys)),
        threads=tuple(thread.record() for thread in keys.thread),
        roughness=keys.part.roughness_factor,
        bench=bench,
        turns=keys.schedule.record(),
    )


def _specification(keys: JobKeys, bench: Bench) -> Specification | None:
    """Return the specification that the target asks for."""
    if keys.target.specification is None:
        return None
    return specification(keys.target.specification, substrate=bench.substrate.metal if bench.substrate else None)


def _specification_origin(asked: Specification | None) -> dict[str, Origin]:
    """Return where the thickness of a specification came from."""
    if asked is None:
        return {}
    who = asked.source
    return {"target.thickness": Origin("table", f"{asked.words}: {who.text} [{who.basis}, trust {who.trust}]")}


def _bench(keys: JobKeys) -> Bench:
    """Return what stands round the cell."""
    return Bench(
        hook=keys.hook.record() if keys.hook else None,
        lead=keys.lead.record() if keys.lead else None,
        room=keys.room.record() if keys.room else None,
        substrate=keys.substrate.record() if keys.substrate else None,
        make_up=keys.make_up.record() if keys.make_up else None,
        stirred=keys.bath.stirred,
        ventilated=keys.bath.ventilated,
        anode_materials=tuple(anode.material for anode in keys.anode or ()),
    )


def _masks(keys: JobKeys) -> Iterator[Mask]:
    """Yield what keeps places of the part bare, in the order that decides where two of them overlap."""
    if getattr(keys.part, "ends", "open") == "plugged":
        yield Plug("inside")
    yield from (plug.record() for plug in keys.plug)
    yield from (contact.record() for contact in keys.contact)
    yield from (stop_off.record() for stop_off in keys.stop_off)


def _shape(keys: JobKeys, path: Path | None) -> Shape:
    """Return the part's shape, a file's path being taken from the job file's folder."""
    if isinstance(keys.part, FileKeys):
        return keys.part.record(path.parent if path else Path())
    return keys.part.record()


def _size_findings(keys: JobKeys) -> Iterator[Finding]:
    """Yield a warning where the longest dimension makes a mistaken unit likely."""
    names = ("length", "width", "height", "diameter", "offset")
    sizes = [getattr(keys.part, name) for name in names if hasattr(keys.part, name)]
    points = getattr(keys.part, "points", ())
    sizes += [max(axis) - min(axis) for axis in zip(*points, strict=True)] if points else []
    longest = max(sizes, default=None)
    if longest is not None and not SMALL_PART <= longest <= LARGE_PART:
        text = f"the longest dimension of the part is {show(longest, 'mm', 4)}: is the unit the one meant?"
        yield Finding(Severity.WARNING, "part-size", text)


def _origins(keys: JobKeys, bath: Bath, source: Source) -> dict[str, Origin]:
    """Return where each value came from: the file's line, else the table, else assumed."""
    origins: dict[str, Origin] = {}
    for name, published in bath.sources.items():
        key = f"bath.{'polarization' if name == 'law' else name}"
        origins[key] = Origin("table", f"{bath.name}: {published.text}")
    for name in ("title", "tank", "anode", "pose", "supply", "schedule", "solve"):
        origins[name] = Origin("assumed", "not given in the job")
    for path, value in _leaves(keys):
        key = locate.dotted(path)
        if value is not None or key not in origins:
            place = source.nearest(path)
            is_given = path in source.places and place is not None
            detail = f"{source.name} line {source.line_of(place.key_start)}" if is_given and place else ""
            origins[key] = Origin("job", detail) if is_given else Origin("assumed", _default(path, value, bath))
    return origins


def _leaves(section: Section, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Yield every key of a section and of those in it, with its value."""
    for name in type(section).model_fields:
        value = getattr(section, name)
        entries = value if isinstance(value, tuple) and value and isinstance(value[0], Section) else ()
        yield (*path, name), value
        if isinstance(value, Section):
            yield from _leaves(value, (*path, name))
        for index, entry in enumerate(entries):
            yield (*path, name, index), entry
            yield from _leaves(entry, (*path, name, index))


def _default(path: tuple[str | int, ...], value: Any, bath: Bath) -> str:
    """Return what is taken for a key that the file leaves out."""
    if path[-1] == "material":
        return f"{bath.metal.name}, the metal of the bath"
    if path[-1] == "polarization":
        return "none given: no polarization"
    return "not given in the job"
