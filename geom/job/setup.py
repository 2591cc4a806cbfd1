"""Tank, anodes and place of the part where a few answers leave them open: chosen by the part's size as it hangs."""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np

from geom.arrays import Floats
from geom.cell.build import ANODE_AREA_RATIO, ANODE_GAP, TOP_CLEARANCE, WALL_CLEARANCE
from geom.cell.cell import BoxTank, JarTank, Tank
from geom.surface.turning import rotation
from geom.wording import mm

UPRIGHT = "upright, broad side to the anode"
POSES = {
    UPRIGHT: "zxy",
    "upright, edge to the anode": "zyx",
    "level, broad side to the anode": "yxz",
    "level, edge to the anode": "yzx",
    "level, end to the anode": "xzy",
    "upside down, broad side to the anode": "zxy",
    "as drawn, z up": "",
}
"""Ways of hanging: along which axes of the tank the longest, the least and the middle side of the part lie."""

BEHIND = 15e-3  # an anode from the wall behind it [m]; common practice
CLEAR = 2e-3  # least gap of the part to anything that is still let pass here [m]
SHEET_THICKNESS = 2e-3
LEAST_SHEET = 10e-3
ROUNDNESS = math.cos(math.pi / 72)  # a round tank is made of 72 flat sides


SHORT_POSES = {
    "upright": UPRIGHT,
    "end up": UPRIGHT,
    "edge up": "level, broad side to the anode",
    "flat": "level, edge to the anode",
    "lying flat": "level, edge to the anode",
    "as drawn": "as drawn, z up",
}


Turn = tuple[int, ...]
"""Quarter turns about x, then y, then z [deg]."""


class Misfit(Exception):
    """What does not fit, under the answer to change."""

    def __init__(self, answer: str, text: str, hint: str) -> None:
        super().__init__(text)
        self.answer, self.text, self.hint = answer, text, hint


@dataclass(frozen=True, slots=True)
class AnodeSize:
    """An upright sheet, or a rod where thickness and width are one."""

    thickness: float  # along x [m]
    width: float
    height: float
    is_rod: bool = False


@dataclass(frozen=True, slots=True)
class Wish:
    """What the answers say of the set-up; None: not said."""

    tank: Tank | None = None
    anode: AnodeSize | None = None
    is_both_sides: bool = False
    gap: float | None = None  # anode to part [m]


@dataclass(frozen=True, slots=True)
class Setup:
    """A set-up in the tank's frame [m]."""

    tank: Tank
    anode: AnodeSize
    anodes: tuple[tuple[float, float, float], ...]  # the centre of each
    part: tuple[float, float, float]
    gap: float  # anode to part


def turn_of(pose: str, extent: Floats) -> Turn:
    """Return the quarter turns about x, then y, then z [deg] that hang a part of such a bounding box so."""
    axes = POSES[pose]
    if not axes:
        return 0, 0, 0
    order = np.argsort(-np.round(extent, 9), kind="stable")  # longest, middle, least
    longest, middle, least = (int(axis) for axis in order)
    wanted = {longest: "xyz".index(axes[0]), least: "xyz".index(axes[1]), middle: "xyz".index(axes[2])}
    turns = sorted(product((0, 90, 180, 270), repeat=3), key=lambda t: (sum(a > 0 for a in t), max(t), t[::-1]))
    fitting = [turn for turn in turns if all(_image(turn, axis)[to] for axis, to in wanted.items())]
    usual = fitting[0]
    if not pose.startswith("upside down"):
        return usual
    up, out = _image(usual, longest), _image(usual, least)
    over = [t for t in fitting if (_image(t, longest) == -up).all() and (_image(t, least) == out).all()]
    return over[0]


def _image(turn: Turn, axis: int) -> Floats:
    """Return where an axis of the part points after quarter turns."""
    x, y, z = turn
    return np.round(rotation((math.radians(x), math.radians(y), math.radians(z)))[:, axis])


def turned(extent: Floats, turn: Turn) -> Floats:
    """Return (3,) the size of the bounding box after quarter turns [m]."""
    return np.asarray(sum(extent[axis] * np.abs(_image(turn, axis)) for axis in range(3)))


def arranged(extent: Floats, area: float, wish: Wish, step: float, grain: float = 1e-3) -> Setup:
    """Return tank, anodes and place for a part as it hangs.

    Parameters
    ----------
    extent : (3,) of its bounding box after turning [m]
    area : of its surface [m²]
    step, grain : sides of a tank are chosen as multiples of the one, sheets and distances of the other [m]

    Raises
    ------
    Misfit
        where what was said leaves no room.
    """
    anode = wish.anode or _usual_sheet(extent, area, wish, grain)
    tank = wish.tank or _usual_tank(extent, anode, wish, step)
    _check_part(extent, tank)
    _check_anode(anode, tank)
    x, places, gap = _along(extent, tank, anode, wish, grain)
    spare = tank.depth - float(extent[2])
    over = TOP_CLEARANCE if spare >= TOP_CLEARANCE + 20e-3 else spare / 2
    z = tank.depth - over - float(extent[2]) / 2
    height = _anode_height(anode, tank, z)
    return Setup(tank, anode, tuple((place, 0.0, height) for place in places), (x, 0.0, z), gap)


def _floored(length: float, grain: float) -> float:
    """Return the largest multiple of the grain that is no longer [m]."""
    return math.floor(length / grain + 1e-6) * grain


def _usual_gap(extent: Floats) -> float:
    return max(ANODE_GAP, float(extent[1]), float(extent[2]))


def _usual_sheet(extent: Floats, area: float, wish: Wish, grain: float) -> AnodeSize:
    """Return a sheet about as high as the part, with more area than it, that the tank has room for."""
    height = max(0.9 * float(extent[2]), 20e-3)
    most = math.inf
    if wish.tank is not None:
        height = min(height, 0.9 * wish.tank.depth)
        most = wish.tank.width - 10e-3 if isinstance(wish.tank, BoxTank) else 0.6 * wish.tank.diameter
    wanted = ANODE_AREA_RATIO * area / (4 if wish.is_both_sides else 2)  # both sides of a sheet count
    width = max(float(extent[1]), LEAST_SHEET)
    if height > width:
        width = max(width, min(wanted / height, height))
    elif wish.tank is None:
        height = max(height, min(wanted / width, width))
    width = min(max(width, wanted / height), most)
    width, height = (_floored(side, grain) for side in (width, height))
    if min(width, height) < 4e-3:
        raise Misfit("tank", "the tank has no room for an anode", "give the inside of the tank and the depth of liquid")
    return AnodeSize(round(SHEET_THICKNESS / grain) * grain, width, height)


def _usual_tank(extent: Floats, anode: AnodeSize, wish: Wish, step: float) -> BoxTank:
    """Return a box with the usual clearances round part and anodes."""
    gap = _usual_gap(extent) if wish.gap is None else wish.gap
    side = BEHIND + anode.thickness + gap
    length = float(extent[0]) + side + (side if wish.is_both_sides else WALL_CLEARANCE)
    width = max(float(extent[1]) + 2 * WALL_CLEARANCE, anode.width + 20e-3)
    depth = max(float(extent[2]) + WALL_CLEARANCE + TOP_CLEARANCE, anode.height + 10e-3)
    return BoxTank(*(math.ceil(side / step - 1e-6) * step for side in (length, width, depth)))


def _check_part(extent: Floats, tank: Tank) -> None:
    """Refuse a part that the tank cannot take in this pose."""
    x, y, z = (float(side) for side in extent)
    hint = "give a larger tank, or another way of hanging"
    if z > tank.depth - 2 * CLEAR:
        text = f"as it hangs the part is {mm(z)} mm high; the liquid is {mm(tank.depth)} mm deep"
        raise Misfit("tank", text, hint)
    length, width = (tank.length, tank.width) if isinstance(tank, BoxTank) else (tank.diameter, tank.diameter)
    is_round_full = isinstance(tank, JarTank) and math.hypot(x, y) > ROUNDNESS * tank.diameter - 2 * CLEAR
    if y > width - 2 * CLEAR or x > length - 2 * CLEAR or is_round_full:
        text = f"as it hangs the part is {mm(x)} mm deep and {mm(y)} mm wide; the tank is smaller"
        raise Misfit("tank", text, hint)


def _check_anode(anode: AnodeSize, tank: Tank) -> None:
    """Refuse an anode that is wider than the tank."""
    room = tank.width if isinstance(tank, BoxTank) else tank.diameter
    if anode.width > room - 2e-3:
        text = f"an anode {mm(anode.width)} mm wide does not go into a tank {mm(room)} mm wide"
        raise Misfit("anode", text, "an anode is given as thickness x width x height")


def _reach(tank: Tank, width: float) -> float:
    """Return how far something so wide can go from the middle towards an anode [m]."""
    if isinstance(tank, BoxTank):
        return tank.length / 2
    return math.sqrt(max((ROUNDNESS * tank.diameter / 2) ** 2 - (width / 2) ** 2, 0.0))


def _along(
    extent: Floats, tank: Tank, anode: AnodeSize, wish: Wish, grain: float
) -> tuple[float, tuple[float, ...], float]:
    """Return where along x the part and the anodes stand, and the gap between them."""
    reach = _floored(_reach(tank, anode.width), grain)
    face = reach - min(BEHIND, 0.1 * reach) - anode.thickness  # the side of an anode that looks at the part
    half = float(extent[0]) / 2
    back = min(_reach(tank, float(extent[1])), reach if wish.is_both_sides else math.inf)
    spare = face - half if wish.is_both_sides else face + back - 2 * half
    most = spare if wish.is_both_sides else spare - CLEAR
    if most < CLEAR:
        text = f"beside an anode {mm(anode.thickness)} mm thick the tank has no room for the part"
        raise Misfit("tank", text, "give a longer tank, or another way of hanging")
    if wish.gap is not None and wish.gap > most + 1e-9:
        text = f"{mm(wish.gap)} mm from anode to part do not go into this tank; at most {mm(most)} mm do"
        raise Misfit("distance", text, "leave it out, or give a longer tank")
    gap = wish.gap if wish.gap is not None else min(_usual_gap(extent), spare * (1.0 if wish.is_both_sides else 2 / 3))
    gap = gap if wish.gap is not None else max(_floored(gap, grain), CLEAR)
    if wish.is_both_sides:
        middle = half + gap + anode.thickness / 2
        return 0.0, (-middle, middle), gap
    return -face + gap + half, (-face - anode.thickness / 2,), gap


def _anode_height(anode: AnodeSize, tank: Tank, part: float) -> float:
    """Return the height of the middle of an anode: beside the part, off the floor, its top under the liquid or well out."""
    low, high = anode.height / 2 + 5e-3, tank.depth - anode.height / 2 - 2e-3
    if high >= low:
        return min(max(part, low), high)
    top = low + anode.height / 2
    return low + 2e-3 if abs(top - tank.depth) < 1e-3 else low
