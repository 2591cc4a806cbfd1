"""GMRES for a few right-hand sides that share one matrix product an iteration."""

from collections.abc import Callable

import numpy as np

from geom.arrays import Floats

Product = Callable[[Floats], Floats]
"""(n, m) to (n, m): the matrix times each column."""


def gmres(product: Product, rhs: Floats, goal: Floats, *, most: int = 150) -> tuple[Floats, int]:
    """Return x (n, m) with ``|product(x) - rhs| <= goal`` column by column, and the iterations taken.

    Each column has its own Krylov space (Saad & Schultz, SIAM J. Sci. Stat. Comput. 7 (1986) 856), built by
    twice-repeated Gram-Schmidt in double precision; only the products may be in single precision. Starts
    from zero and gives up silently after ``most`` iterations: the caller looks at its own residual.
    """
    n, columns = rhs.shape
    size = np.linalg.norm(rhs, axis=0)
    basis = [rhs / np.maximum(size, 1e-300)]
    upper = np.zeros((columns, most + 1, most))
    right = np.zeros((columns, most + 1))
    right[:, 0] = size
    turns = np.zeros((columns, most, 2))
    count = 0
    while count < most and np.any(np.abs(right[:, count]) > goal):
        vector = product(basis[count])
        for _ in range(2):
            for row, older in enumerate(basis):
                share = np.einsum("nm,nm->m", older, vector)
                upper[:, row, count] += share
                vector = vector - older * share
        length = np.linalg.norm(vector, axis=0)
        upper[:, count + 1, count] = length
        basis.append(vector / np.maximum(length, 1e-300))
        _rotate(upper, right, turns, count)
        count += 1
    return _combined(basis, upper, right, count, n), count


def _rotate(upper: Floats, right: Floats, turns: Floats, k: int) -> None:
    """Apply the Givens rotations so far to column k, and the one that makes it triangular."""
    for m in range(len(upper)):
        for row in range(k):
            c, s = turns[m, row]
            a, b = upper[m, row, k], upper[m, row + 1, k]
            upper[m, row, k], upper[m, row + 1, k] = c * a + s * b, c * b - s * a
        a, b = upper[m, k, k], upper[m, k + 1, k]
        length = float(np.hypot(a, b))
        c, s = (a / length, b / length) if length > 0 else (1.0, 0.0)
        turns[m, k] = c, s
        upper[m, k, k], upper[m, k + 1, k] = length, 0.0
        right[m, k], right[m, k + 1] = c * right[m, k], -s * right[m, k]


def _combined(basis: list[Floats], upper: Floats, right: Floats, count: int, n: int) -> Floats:
    """Return the combination of basis vectors that solves each triangular system."""
    result = np.zeros((n, len(upper)))
    for m in range(len(upper)):
        weights = np.zeros(count)
        for row in range(count - 1, -1, -1):
            pivot = upper[m, row, row]
            rest = right[m, row] - upper[m, row, row + 1 : count] @ weights[row + 1 :]
            weights[row] = rest / pivot if abs(pivot) > 1e-300 else 0.0
        for row in range(count):
            result[:, m] += weights[row] * basis[row][:, m]
    return result
