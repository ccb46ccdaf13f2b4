"""The grid a raster lies on: shape, place and cell size, always north-up and in metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from terrain.values.errors import GridMismatchError, ParameterError

if TYPE_CHECKING:
    from pyproj import CRS

ALIGN_TOLERANCE_CELLS = 0.01


@dataclass(frozen=True, slots=True)
class Grid:
    """A north-up grid of cells in a projected CRS whose unit is the metre.

    Parameters
    ----------
    rows, cols
        Number of cells from north to south and from west to east.
    transform
        Affine transform from (column, row) to (x, y); no rotation, ``a > 0``, ``e < 0``.
    crs
        Projected coordinate reference system, metres, or None for a grid without a place.

    Raises
    ------
    ParameterError
        When the grid is empty, rotated or not north-up.
    """

    rows: int
    cols: int
    transform: Affine
    crs: CRS | None = None

    def __post_init__(self) -> None:
        t = self.transform
        if self.rows < 1 or self.cols < 1:
            raise ParameterError(f"a grid of {self.rows} x {self.cols} cells", expected="one cell")
        if t.b != 0 or t.d != 0 or t.a <= 0 or t.e >= 0:
            raise ParameterError(
                f"a rotated or south-up grid ({t.a:g}, {t.b:g}, {t.d:g}, {t.e:g})",
                expected="columns that run east and rows that run south",
            )

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    @property
    def size(self) -> int:
        """Number of cells."""
        return self.rows * self.cols

    @property
    def cell_width_m(self) -> float:
        """East-west size of a cell, m."""
        return float(self.transform.a)

    @property
    def cell_height_m(self) -> float:
        """North-south size of a cell, m."""
        return float(-self.transform.e)

    @property
    def cell_area_m2(self) -> float:
        """Area of a cell, m2."""
        return self.cell_width_m * self.cell_height_m

    @property
    def cell_m(self) -> float:
        """Side of a square cell of the same area, m."""
        return float(np.sqrt(self.cell_area_m2))

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge, m."""
        t = self.transform
        return t.c, t.f + self.rows * t.e, t.c + self.cols * t.a, t.f

    def xy(self, row: ArrayLike, col: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
        """Centres of cells, m; row and column may be fractional (0 is the first centre)."""
        t = self.transform
        x = t.c + (np.asarray(col, dtype=np.float64) + 0.5) * t.a
        y = t.f + (np.asarray(row, dtype=np.float64) + 0.5) * t.e
        return x, y

    def xy_of(self, cells: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
        """Centres of cells given by their flat (row-major) number, m."""
        row, col = np.divmod(np.asarray(cells, dtype=np.int64), self.cols)
        return self.xy(row, col)

    def rowcol(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of the cell that holds each point; points outside fall outside."""
        t = self.transform
        col = np.floor((np.asarray(x, dtype=np.float64) - t.c) / t.a).astype(np.int64)
        row = np.floor((np.asarray(y, dtype=np.float64) - t.f) / t.e).astype(np.int64)
        return row, col

    def contains(self, row: ArrayLike, col: ArrayLike) -> NDArray[np.bool_]:
        """Whether rows and columns lie inside the grid."""
        r, c = np.asarray(row), np.asarray(col)
        inside: NDArray[np.bool_] = (r >= 0) & (c >= 0) & (r < self.rows) & (c < self.cols)
        return inside

    def require_same(self, other: Grid, what: str = "the two rasters") -> None:
        """Raise unless the other grid is the same one, naming each difference.

        Raises
        ------
        GridMismatchError
            Shape, cell size, origin or CRS differ.
        """
        diffs = []
        if self.shape != other.shape:
            diffs.append(f"shape {self.shape} and {other.shape}")
        a, b = self.transform, other.transform
        if not np.allclose([a.a, a.e], [b.a, b.e], rtol=1e-9):
            diffs.append(f"cell size {a.a:g} x {-a.e:g} m and {b.a:g} x {-b.e:g} m")
        elif not np.allclose([a.c, a.f], [b.c, b.f], rtol=0, atol=ALIGN_TOLERANCE_CELLS * a.a):
            diffs.append(f"upper-left corner ({a.c:g}, {a.f:g}) and ({b.c:g}, {b.f:g})")
        if self.crs != other.crs:
            diffs.append("coordinate reference systems")
        if diffs:
            raise GridMismatchError(f"{what} differ in {'; '.join(diffs)}", expected="one grid")
