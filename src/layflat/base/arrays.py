"""The two array types of the core, and how a frozen record keeps them unchanged."""

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]


def frozen(values: ArrayLike, dtype: type[Any] = np.float64) -> NDArray[Any]:
    """A read-only, contiguous array of its own with the given dtype.

    Frozen dataclasses pass their array fields through this in ``__post_init__``
    (by ``object.__setattr__``), so that a record that travels cannot change.
    """
    array = np.array(values, dtype=dtype, order="C", copy=True)
    array.setflags(write=False)
    return array
