"""TOML text to `Job`: every mistake at once, each with its line, and the origin of every value."""

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from geom.bench.records import Bench
from geom.chemistry import Bath
from geom.errors import TableError
from geom.findings import Finding, Severity
from geom.job import locate
from geom.job.fields import LONGEST_TEXT, Mistake, Section, check, quoted
from geom.job.files import FileKeys
from geom.job.job import Job
from geom.job.locate import Source
from geom.job.opened import refusal, text_of, toml_of
from geom.job.own_tables import read_tables
from geom.job.schema import JobKeys
from geom.part.masks import Mask, Plug
from geom.part.shapes import Shape
from geom.provenance import Origin
from geom.tables.cautions import anode_findings, anode_refusal
from geom.tables.load import overlaid
from geom.tables.read import bath_findings, bath_name, bath_names, bath_table, metal
from geom.tables.specs import Specification, specification
from geom.tables.substrates import substrate_findings, substrate_name
from geom.units import show

LARGE_PART, SMALL_PART = 3.0, 1e-3  # longest dimension past which a unit may have been mistaken [m]


def read_job(path: Path | str, *, tables: Path | str | None = None) -> Job:
    """Return the job in a file; ``tables`` is a file of the user's own baths, over those that the job names.

    Raises
    ------
    JobError
        with every mistake of the file in ``mistakes``, in file order.
    """
    path = Path(path)
    return parse_job(text_of(path), path=path, tables=tables)


def parse_job(text: str, *, path: Path | None = None, tables: Path | str | None = None) -> Job:
    """Return the job in a text; ``path`` names it in messages and is what paths in it start from."""
    source = locate.locate(text, path.name if path else "job")
    data = toml_of(source)
    with contextlib.ExitStack() as stack:
        files = tuple(Path(file) for file in (_own_tables(data, source, path), tables) if file is not None)
        for file in files:  # the later lies on top
            stack.enter_context(overlaid(read_tables(file)))
        return replace(_parsed(data, source, path), tables=files)


def _own_tables(data: Mapping[str, Any], source: Source, path: Path | None) -> Path | None:
    """Return the file of own baths that the job names, if it does; one that is not there is refused."""
    name = data.get("tables")
    if not isinstance(name, str) or not name.isprintable() or not 0 < len(name.strip()) <= LONGEST_TEXT:
        return None  # a mistake that the schema tells
    file = (path.parent if path else Path()) / name.strip()
    try:
        is_there = file.is_file()
    except (OSError, ValueError):
        is_there = False
    if not is_there:
        text = f"there is no file {quoted(name)} beside the job file"
        hint = "the path is taken from the job file's folder; docs/baths.md says how the file is laid out"
        raise refusal([Mistake(("tables",), "job-tables-missing", text, hint)], source)
    return file


def _parsed(data: Mapping[str, Any], source: Source, path: Path | None) -> Job:
    """Return the job of the keys of a file, under the tables that hold."""
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
    raise refusal(mistakes, source)


def _file_mistakes(data: Mapping[str, Any], path: Path | None) -> list[Mistake]:
    """Return each mesh or drawing that is not there, when the job file's own place is known."""
    found = _file_mistake(data.get("part"), ("part",), path)
    rack = data.get("rack")
    others = rack.get("other") if isinstance(rack, dict) else None
    for index, other in enumerate(others if isinstance(others, list) else []):
        found += _file_mistake(other.get("part") if isinstance(other, dict) else None, ("rack", "other", index, "part"), path)
    return found


def _file_mistake(part: object, where: tuple[str | int, ...], path: Path | None) -> list[Mistake]:
    """Return the mistake that the file of one part is not there."""
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
    return [Mistake((*where, key), "job-mesh-missing", text, "the path is taken from the job file's folder")]


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
            *bath_findings(bath, law_is_stated=keys.bath.polarization is not None),
            *anode_findings(bench.anode_materials, bath, ventilated=bench.ventilated),
            *substrate_findings(bench.substrate, bath),
        ),
        rack=keys.rack.record(path.parent if path else Path()) if keys.rack else None,
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
    if path == ("bath", "polarization"):
        return "no slope is known of this bath: no polarization"
    if path[-1] == "polarization":
        return "none given: no polarization"
    return "not given in the job"
