"""What a composed job says, laid out as a file with remarks: what was assumed is marked where it stands."""

from dataclasses import dataclass

from geom.cell.cell import BoxTank
from geom.job.jobtext import Lines, Ruler, toml_list, toml_string
from geom.job.setup import Setup, Turn, Wish

ASSUMED = "assumed"
HEAD = (
    "# A job for geom. Lines that start with # are remarks; every size carries its unit.",
    '# What nobody said is assumed, and marked "assumed": look whether it fits your bench.',
)


@dataclass(frozen=True, slots=True)
class Piece:
    """One key of [part]: a text, or the holes as diameter, x, y."""

    key: str
    value: str | list[tuple[str, str, str]]
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Content:
    """Everything a composed job file says."""

    title: str
    part: list[Piece]
    bath: str
    stirred: str | None
    temperature: str | None
    setup: Setup
    wish: Wish
    material: str | None
    pose: str
    turn: Turn
    volts: str | None
    amps: str | None
    target: str
    current: str | None
    ruler: Ruler
    stated: frozenset[str]  # the names of the answers that were given
    assumed: list[str]
    tables: str | None = None  # a file of baths of the user's own

    def assume(self) -> None:
        """Put what was chosen here into sentences."""
        setup, text = self.setup, self.ruler.text
        if self.wish.tank is None and isinstance(setup.tank, BoxTank):
            sides = " x ".join(text(side) for side in (setup.tank.length, setup.tank.width, setup.tank.depth))
            self.assumed.append(f"tank: {sides} (length, width, depth of liquid), by the size of the part")
        if self.wish.anode is None:
            sides = " x ".join(text(side) for side in (setup.anode.thickness, setup.anode.width, setup.anode.height))
            self.assumed.append(f"anode: a sheet of {sides} (thickness, width, height), by the size of the part")
        if "anodes" not in self.stated:
            self.assumed.append("anodes: on one side")
        if self.wish.gap is None:
            self.assumed.append(f"distance: {text(setup.gap)} from anode to part")
        if "pose" not in self.stated:
            self.assumed.append(f"pose: {self.pose}")
        if "target" not in self.stated:
            self.assumed.append(f"target: {self.target} at the thinnest spot that counts")
        missing = [name for name in ("volts", "amps") if name not in self.stated]
        if missing:
            self.assumed.append(f"supply: its most {' and '.join(missing)} are not known, so that is not weighed")

    def mark(self, is_stated: bool, remark: str = "") -> str:
        """Return a remark that says so where the value was assumed."""
        return remark if is_stated else f"{ASSUMED}: {remark}" if remark else ASSUMED


def laid_out(content: Content) -> str:
    """Return the text of the job file."""
    lines = Lines([*HEAD, ""])
    lines.pair("title", content.title)
    if content.tables is not None:
        lines.pair("tables", content.tables, "baths of one's own")
    _part(content, lines)
    _bath(content, lines)
    _tank(content, lines)
    _anodes(content, lines)
    _pose(content, lines)
    _supply(content, lines)
    _target(content, lines)
    return lines.text


def _part(content: Content, lines: Lines) -> None:
    lines.head("[part]")
    for piece in content.part:
        if isinstance(piece.value, str):
            lines.pair(piece.key, piece.value, piece.remark)
            continue
        lines.add(f"{piece.key} = [", piece.remark)
        for diameter, x, y in piece.value:
            lines.add(f"  {{ diameter = {toml_string(diameter)}, at = {toml_list([x, y])} }},")
        lines.add("]")


def _bath(content: Content, lines: Lines) -> None:
    lines.head("[bath]")
    lines.pair("name", content.bath, content.mark("bath" in content.stated, "`geom baths` lists the names"))
    if content.temperature is not None:
        lines.pair("temperature", content.temperature)
    else:
        lines.add('# temperature = "50 C"', "if it is not the usual one of this bath")
    if content.stirred is not None:
        lines.add(f"stirred = {'true' if content.stirred == 'yes' else 'false'}")
    else:
        lines.add("# stirred = true", "say whether the bath is moved: true or false")


def _tank(content: Content, lines: Lines) -> None:
    tank, text = content.setup.tank, content.ruler.text
    lines.head("[tank]", content.mark(content.wish.tank is not None, "inside; depth is that of the liquid"))
    if isinstance(tank, BoxTank):
        lines.pair("shape", "box")
        lines.pair("length", text(tank.length), "along x: from the anode to the part")
        lines.pair("width", text(tank.width))
    else:
        lines.pair("shape", "jar")
        lines.pair("diameter", text(tank.diameter))
    lines.pair("depth", text(tank.depth))


def _anodes(content: Content, lines: Lines) -> None:
    anode, text, wish = content.setup.anode, content.ruler.text, content.wish
    lines.head("# Each [[anode]] is one anode. The tank's origin is on the floor, in the middle; z is up.")
    for number, at in enumerate(content.setup.anodes):
        if number:
            lines.add("")
        lines.add("[[anode]]")
        if anode.is_rod:
            lines.pair("shape", "rod")
            lines.pair("diameter", text(anode.thickness))
        else:
            remark = "along x: the sheet faces the part"
            lines.pair("shape", "sheet", content.mark(wish.anode is not None))
            lines.pair("length", text(anode.thickness), remark)
            lines.pair("width", text(anode.width))
        lines.pair("height", text(anode.height))
        lines.add(f"at = {toml_list([text(place) for place in at])}", _gap_remark(content))
        if content.material is not None:
            lines.pair("material", content.material)


def _gap_remark(content: Content) -> str:
    gap = f"its centre; {content.ruler.text(content.setup.gap)} from the part"
    return content.mark(content.wish.gap is not None, gap)


def _pose(content: Content, lines: Lines) -> None:
    lines.head("[pose]", content.mark("pose" in content.stated, content.pose))
    lines.add(f"turn = {toml_list([f'{angle} deg' for angle in content.turn])}", "about x, then y, then z")
    at = toml_list([content.ruler.text(place) for place in content.setup.part])
    lines.add(f"at = {at}", "centre of the part")


def _supply(content: Content, lines: Lines) -> None:
    pairs = (("max_voltage", content.volts, "12 V"), ("max_current", content.amps, "5 A"))
    is_known = any(value is not None for _, value, _ in pairs)
    mark = "" if is_known else "# "
    lines.head(f"{mark}[supply]", "" if is_known else "what your supply gives at most; not stated, so not weighed")
    for key, value, example in pairs:
        if value is not None:
            lines.pair(key, value)
        else:
            lines.add(f"# {key} = {toml_string(example)}")


def _target(content: Content, lines: Lines) -> None:
    lines.head("[target]")
    remark = content.mark("target" in content.stated, "at the thinnest spot that counts")
    lines.pair("thickness", content.target, remark)
    if content.current is not None:
        lines.pair("current", content.current, "given: geom weighs the limits but keeps to it")
