"""Tables as columns: what features and the tables of a plan are made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.values.arrays import read_only

#: Columns of one table by name, all of one length.
Columns = dict[str, NDArray[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class FeatureTable:
    """Features of one layer.

    Parameters
    ----------
    geometry
        Shapely geometries in the grid's coordinate system, shape ``(n,)``.
    columns
        SI columns by name, each of shape ``(n,)``.
    """

    geometry: NDArray[Any]
    columns: Columns

    def __post_init__(self) -> None:
        for values in (self.geometry, *self.columns.values()):
            read_only(values)

    @property
    def size(self) -> int:
        """Number of features."""
        return int(self.geometry.size)


def shapes_of(shapes: list[Any]) -> NDArray[Any]:
    """Shapes as an object array, ``(n,)``."""
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out


def texts_of(values: list[Any]) -> NDArray[Any]:
    """Texts as an object array, ``(n,)``."""
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out
