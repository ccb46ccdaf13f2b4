"""An elevation raster in memory: metres, a mask of what is known, and its grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from terrain.values.arrays import read_only
from terrain.values.errors import ParameterError
from terrain.values.grid import Grid


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """Elevations in metres on a grid.

    Parameters
    ----------
    grid
        Where the cells lie.
    elevation_m
        float32, shape ``(rows, cols)``; what stands in invalid cells has no meaning.
    valid
        bool, same shape; False where there is no elevation.

    Raises
    ------
    ParameterError
        When shapes or types differ from the above.
    """

    grid: Grid
    elevation_m: NDArray[np.float32]
    valid: NDArray[np.bool_]

    def __post_init__(self) -> None:
        for name, array, dtype in (
            ("elevation_m", self.elevation_m, np.float32),
            ("valid", self.valid, np.bool_),
        ):
            if array.shape != self.grid.shape or array.dtype != dtype:
                raise ParameterError(
                    f"{name} is {array.dtype} with shape {array.shape}",
                    expected=f"{np.dtype(dtype)} with shape {self.grid.shape}",
                )
            read_only(array)

    @classmethod
    def from_array(
        cls,
        elevation_m: ArrayLike,
        *,
        cell_m: float = 1.0,
        valid: ArrayLike | None = None,
        grid: Grid | None = None,
    ) -> Raster:
        """Build a raster from any array of metres; NaN cells become invalid.

        Parameters
        ----------
        elevation_m
            Two-dimensional array, m.
        cell_m
            Cell size, m, used when no grid is given (origin 0, 0, no CRS).
        valid
            Mask of known cells; by default all that are finite.
        grid
            The grid, when it is known.

        Raises
        ------
        ParameterError
            An array that has not two dimensions.
        """
        z = np.array(elevation_m, dtype=np.float32, order="C")
        if z.ndim != 2:
            raise ParameterError(f"an array with {z.ndim} dimensions", expected="two")
        finite = np.isfinite(z)
        mask = finite if valid is None else finite & np.asarray(valid, dtype=np.bool_)
        if grid is None:
            top = z.shape[0] * cell_m
            grid = Grid(z.shape[0], z.shape[1], Affine(cell_m, 0, 0, 0, -cell_m, top))
        return cls(grid, z, np.ascontiguousarray(mask))

    @property
    def valid_cells(self) -> int:
        """Number of cells with an elevation."""
        return int(np.count_nonzero(self.valid))
