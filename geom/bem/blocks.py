"""Block preconditioner: near neighbours are solved for exactly, the rest is left to the iteration."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints

LEAF = 32  # most panels of one block


def clusters(places: Floats, most: int = LEAF) -> list[Ints]:
    """Return the numbers of the places (n, 3) in groups of at most ``most``, halved along their longest side."""
    waiting, done = [np.arange(len(places))], []
    while waiting:
        rows = waiting.pop()
        if len(rows) <= most:
            done.append(rows)
            continue
        axis = int(np.argmax(np.ptp(places[rows], axis=0)))
        order = rows[np.argsort(places[rows, axis], kind="stable")]
        waiting += [order[: len(order) // 2], order[len(order) // 2 :]]
    return done


@dataclass(frozen=True, eq=False)
class Blocks:
    """Groups of unknowns, padded to one size so that all are handled in one stroke."""

    rows: Ints  # (blocks, size) unknown of each place; padding repeats the first of the block
    real: "np.ndarray[tuple[int, int], np.dtype[np.bool_]]"  # (blocks, size) not padding


def blocks_of(places: Floats) -> Blocks:
    """Return the blocks for panels at ``places`` (n, 3)."""
    groups = clusters(places)
    size = max(len(group) for group in groups)
    rows = np.stack([np.concatenate([group, np.full(size - len(group), group[0])]) for group in groups])
    real = np.stack([np.arange(size) < len(group) for group in groups])
    return Blocks(rows, real)


def inverted(blocks: Blocks, matrices: Floats) -> Floats:
    """Return the inverses of (blocks, size, size) matrices, with padding made into a unit matrix."""
    pair = blocks.real[:, :, None] & blocks.real[:, None, :]
    return np.linalg.inv(np.where(pair, matrices, np.eye(matrices.shape[1])))


def applied(blocks: Blocks, inverses: Floats, vectors: Floats) -> Floats:
    """Return the block inverses times (n, m) vectors."""
    gathered = np.where(blocks.real[:, :, None], vectors[blocks.rows], 0.0)
    product = inverses @ gathered
    out = np.zeros_like(vectors)
    out[blocks.rows[blocks.real]] = product[blocks.real]
    return out
