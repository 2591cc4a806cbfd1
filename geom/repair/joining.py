"""`joined_bodies`: the bodies that meet are joined by the solid modeller, negative ones cut out; others stay."""

from collections.abc import Sequence

import manifold3d
import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.repair.change import Change
from geom.repair.intersections import crossing_faces, rounding
from geom.repair.nesting import Bodies, sorted_bodies
from geom.repair.work import warned
from geom.surface.solid import NotSolidError, from_manifold, to_manifold
from geom.surface.soundness import edge_report, groups_of
from geom.surface.surface import Surface
from geom.wording import mm2

FLAKE = 0.5  # mean thickness of a scrap of rounding, in least depths of a crossing
TRIES = 8  # orders in which bodies are joined, while rounding folds the skin of the union onto itself
FOLDED = 1e-3  # most that may stay folded, as a share of the area
SURE = 1e-12  # by how much touching bodies are let into each other at least, as a share of the diagonal


def joined_bodies(
    bodies: Bodies, source: Ints, meeting: Ints, crossing: Ints
) -> tuple[Bodies, Ints, tuple[Change, ...]]:
    """Return the shells after every group of ``meeting`` (k, 2) bodies has become one, their source, and the change.

    ``crossing`` (k, 2) are the faces of different bodies that cross or lie on each other.
    """
    _, shallow = rounding(bodies.vertices, bodies.faces)
    moved = _let_in(bodies, crossing, shallow)
    group = groups_of(meeting, len(bodies))
    size = np.bincount(group)
    alone = np.repeat(size[group] == 1, np.diff(bodies.start))
    pieces = [Surface(bodies.vertices, bodies.faces[alone], np.flatnonzero(alone))]
    before, after, cuts = 0.0, 0.0, 0
    clusters = [np.flatnonzero(group == number) for number in np.flatnonzero(size > 1)]
    for members in clusters:
        piece = _one(bodies, members, moved, shallow)
        pieces.append(piece)
        before += float(bodies.area[members].sum())
        after += piece.area
        cuts += int((bodies.volume[members] < 0).sum())
    shells, order, tag = _shells(pieces)
    change = _told(bodies, clusters, (before, after), cuts)
    return shells, source[tag[order]], (change,)


def _one(bodies: Bodies, members: Ints, moved: dict[int, Floats], shallow: float) -> Surface:
    """Return the union of some bodies, the negative ones cut out; tags are rows of ``bodies.faces``."""
    added: list[manifold3d.Manifold] = []
    cut: list[manifold3d.Manifold] = []
    for member in members.tolist():
        body = bodies.selected(member)
        vertices = moved.get(member, body.vertices)
        negative = bodies.volume[member] < 0
        faces = body.faces[:, ::-1] if negative else body.faces
        try:
            solid = to_manifold(Surface(vertices, faces, body.tag), int(bodies.start[member]))
        except NotSolidError as error:
            raise PartError(
                "part-mesh-edges",
                f"a body that touches or overlaps another cannot be joined to it: {error}",
                hint="join the bodies in the program that made them and export the part again",
                marks=[bodies.place(member)],
            ) from error
        (cut if negative else added).append(solid)
    best, least = None, np.inf
    for turn in range(TRIES):
        mixer = np.random.default_rng(turn)
        whole = _without_flakes(_union(added, cut, mixer if turn else None, len(bodies.faces)), shallow)
        folded = crossing_faces(whole.vertices, whole.faces)
        fold = float(whole.areas[np.unique(folded)].sum())
        if best is None or fold < least:
            best, least = whole, fold
        if not len(folded):
            break
    assert best is not None
    if least > FOLDED * best.area:
        raise PartError(
            "part-mesh-tangled",
            f"the union of {len(members)} bodies would lie on itself in {mm2(least)} of its faces: some of theirs lie in "
            "one plane but for rounding",
            hint="join the bodies in the program that made them, or export them one at a time",
            marks=[bodies.place(member) for member in members[:100].tolist()],
        )
    return best


def _union(
    added: list[manifold3d.Manifold], cut: list[manifold3d.Manifold], mixer: np.random.Generator | None, rows: int
) -> Surface:
    """Return the union of ``added`` less ``cut``, one after the other in the order given or a mixed one."""
    if mixer is not None:
        added, cut = ([some[k] for k in mixer.permutation(len(some))] for some in (added, cut))
    solid = manifold3d.Manifold.batch_boolean(added or cut, manifold3d.OpType.Add)
    if added and cut:
        solid -= manifold3d.Manifold.batch_boolean(cut, manifold3d.OpType.Add)
    whole = from_manifold(solid, np.arange(rows))
    if not added:  # voids that meet in the metal of another body stay hollow
        whole = Surface(whole.vertices, whole.faces[:, ::-1], whole.tag)
    return whole


def _without_flakes(surface: Surface, shallow: float) -> Surface:
    """Drop shells thinner than rounding: what is left between faces that nearly lie in one plane."""
    shell = groups_of(edge_report(surface.faces).pairs // 3, len(surface.faces))
    area = np.bincount(shell, surface.areas)
    middle = surface.centroids - surface.vertices.mean(axis=0) if len(surface.faces) else surface.centroids
    volume = np.bincount(shell, (middle * surface.area_vectors).sum(axis=1) / 3)
    thin = 2 * np.abs(volume) <= FLAKE * shallow * area
    return surface.selected(~thin[shell]) if thin.any() else surface


def _shells(pieces: Sequence[Surface]) -> tuple[Bodies, Ints, Ints]:
    """Return all shells of the pieces, the row of each sorted face, and the tag of each row."""
    first = np.cumsum([0, *(len(piece.vertices) for piece in pieces)])
    vertices = np.concatenate([piece.vertices for piece in pieces])
    faces = np.concatenate([piece.faces + n for piece, n in zip(pieces, first[:-1], strict=True)])
    tag = np.concatenate([piece.tag for piece in pieces])
    shells, order = sorted_bodies(vertices, faces, groups_of(edge_report(faces).pairs // 3, len(faces)))
    return shells, order, tag


def _let_in(bodies: Bodies, crossing: Ints, shallow: float) -> dict[int, Floats]:
    """Return new vertices for the bodies that touch an earlier one with a whole face, by body.

    Faces that lie on each other within rounding may leave a gap or an overlap of any pattern. The later body is
    let into the earlier one by a little more than they are apart, so that no gap is left between them.
    """
    body = np.searchsorted(bodies.start, crossing, side="right") - 1
    normal = bodies.vectors / np.maximum(np.linalg.norm(bodies.vectors, axis=1), 1e-300)[:, None]
    normal *= np.sign(np.repeat(bodies.volume, np.diff(bodies.start)))[:, None]
    one, two = crossing[:, 0], crossing[:, 1]
    apart = np.abs(np.einsum("ijk,ik->ij", bodies.corners[two] - bodies.corners[one][:, :1], normal[one])).max(axis=1)
    back = np.abs(np.einsum("ijk,ik->ij", bodies.corners[one] - bodies.corners[two][:, :1], normal[two])).max(axis=1)
    apart = np.maximum(apart, back)
    facing = np.einsum("ij,ij->i", normal[one], normal[two]) < 0
    alike = bodies.volume[body[:, 0]] * bodies.volume[body[:, 1]] > 0
    # the modeller itself is exact where two faces share a coordinate
    exact = (apart == 0) & (np.abs(normal[one]).max(axis=1, initial=0.0) == 1)
    # metal on metal and void on void face each other; a void's wall runs along the outside
    touching = (apart <= shallow) & (facing == alike) & ~exact
    grows = np.where(alike | (bodies.volume[body[:, 1]] < 0), two, one)[touching]
    amount = apart[touching]
    least = SURE * float(np.linalg.norm(np.ptp(bodies.vertices, axis=0)))
    owner = np.searchsorted(bodies.start, grows, side="right") - 1
    out = {}
    for number in np.unique(owner).tolist():
        mine = owner == number
        by = 2 * float(amount[mine].max()) + least
        out[number] = _grown(bodies.selected(number), np.unique(grows[mine]) - int(bodies.start[number]), by)
    return out


def _grown(body: Surface, faces: Ints, by: float) -> Floats:
    """Return the vertices of a body with some faces moved outward [m]: the least move that shifts each plane."""
    outward = body.normals[faces] * (1.0 if body.volume > 0 else -1.0)
    corner = body.faces[faces].reshape(-1)
    each = np.repeat(outward, 3, axis=0)
    square, right = np.zeros((len(body.vertices), 3, 3)), np.zeros((len(body.vertices), 3))
    np.add.at(square, corner, each[:, :, None] * each[:, None, :])
    np.add.at(right, corner, by * each)
    used = np.unique(corner)
    inverse = np.linalg.pinv(square[used], rcond=1e-3, hermitian=True)
    vertices = np.array(body.vertices)
    vertices[used] += np.einsum("ijk,ik->ij", inverse, right[used])
    return vertices


def _told(bodies: Bodies, clusters: list[Ints], areas: tuple[float, float], cuts: int) -> Change:
    """Say what was joined and what it did to the area."""
    number = sum(len(members) for members in clusters)
    before, after = areas
    inner = f", {cuts} of them hollow and cut out," if cuts else ""
    message = (
        f"{number} bodies that touch or overlap{inner} joined into "
        f"{len(clusters)}: {mm2(before, 6)} of skin before, {mm2(after, 6)} after; joints and what lies "
        f"inside, {mm2(before - after, 6)}, are not wetted"
    )
    faces = int(sum(np.diff(bodies.start)[members].sum() for members in clusters))
    return warned("repair-united", message, faces, after - before, np.array(bodies.place(int(clusters[0][0]))))
