"""Array types used in signatures, and the one way to freeze an array."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def frozen(array: Any, dtype: Any) -> NDArray[Any]:
    """Return a read-only C-contiguous copy: a frozen record alone does not protect array contents."""
    copy = np.array(array, dtype=dtype, order="C", copy=True)
    copy.flags.writeable = False
    return copy
