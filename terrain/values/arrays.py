"""Kinds of arrays that are met everywhere, and how an array is made read-only."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ArrayLike",
    "BoolArray",
    "FloatArray",
    "IntArray",
    "floats",
    "frozen",
    "frozen_mask",
    "read_only",
]

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """Return the array, of any shape, no longer writable."""
    array.flags.writeable = False
    return array


def floats(values: ArrayLike) -> NDArray[np.float64]:
    """Return `values` as a float64 array of the same shape (a copy only where needed)."""
    return np.asarray(values, dtype=np.float64)


def frozen(values: ArrayLike) -> NDArray[np.float64]:
    """Return a read-only float64 copy of `values`, of the same shape."""
    out = np.array(values, dtype=np.float64)
    out.flags.writeable = False
    return out


def frozen_mask(values: ArrayLike) -> BoolArray:
    """Return a read-only boolean copy of `values`, of the same shape."""
    out = np.array(values, dtype=np.bool_)
    out.flags.writeable = False
    return out
