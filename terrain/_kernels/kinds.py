"""Kinds of arrays that kernels take: one name for each width, since each is compiled apart."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Float32s: TypeAlias = NDArray[np.float32]
Float64s: TypeAlias = NDArray[np.float64]
#: Of either width.
Floats: TypeAlias = NDArray[np.floating[Any]]
Int32s: TypeAlias = NDArray[np.int32]
Int64s: TypeAlias = NDArray[np.int64]
Ints: TypeAlias = NDArray[np.integer[Any]]
#: A number of Python or of an array.
Real: TypeAlias = float | np.floating[Any]
Whole: TypeAlias = int | np.integer[Any]
#: Flow codes, donors and other small numbers.
Bytes: TypeAlias = NDArray[np.uint8]
Bools: TypeAlias = NDArray[np.bool_]
#: Levels, sequence numbers and cells (`terrain._kernels.heap`).
Heap: TypeAlias = tuple[Float32s, Int64s, Int64s]
#: Keys of a heap: level and sequence number in one.
Keys: TypeAlias = NDArray[np.uint64]
#: Growable arrays of a search (`terrain._kernels.carve.new_workspace`).
Workspace: TypeAlias = tuple[Keys, Int64s, Int32s, Bytes, Float32s]
