"""Bring a mosaic onto a grid in metres: rescaled feet, or degrees resampled in the same datum."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from terrain._kernels.resample import bilinear_rows
from terrain.reading.crs import (
    datum_name,
    linear_factor,
    local_metric_crs,
    metric_equivalent,
    short_name,
)
from terrain.reading.mosaic import Mosaic
from terrain.values.errors import CrsError
from terrain.values.grid import Grid
from terrain.values.parallel import over_bands
from terrain.values.reader_units import exactly
from terrain.values.reading_remedies import ReadingRemedy

#: Every so many cells a position is projected exactly; between them it is interpolated. Over 16
#: cells of 30 m a UTM meridian bends by about 5 mm.
NODE_CELLS = 16


@dataclass(frozen=True, slots=True)
class Projection:
    """How cells are resampled: from the mosaic's system to a metric one in the same datum."""

    source: CRS
    target: CRS
    cell_m: float

    def sentence(self, crs: CRS, stretch: float) -> str:
        """Say what is done, in plain words."""
        why = (
            "The DEM is in degrees"
            if crs.is_geographic
            else f"{crs.name} makes areas {abs(stretch) * 100:.0f} % too "
            f"{'large' if stretch > 0 else 'small'} here"
        )
        return (
            f"{why}; projected to {short_name(self.target)}, same datum "
            f"({datum_name(self.target)}), bilinear, {exactly(self.cell_m, 'm')} cells."
        )


def plan_projection(
    mosaic: Mosaic, crs: CRS, place: tuple[float, float] | None, cell_m: float | None
) -> tuple[Projection, Grid]:
    """Choose the metric system, cell size and grid for a DEM that has to be resampled.

    The cell size is the geometric mean of a cell's true width and height at the centre, rounded to
    three significant figures; the grid is snapped to whole cells from the origin of the system.

    Raises
    ------
    CrsError
        The data lie where no projection can be chosen.
    """
    geodetic = crs.geodetic_crs
    if place is None or geodetic is None:
        x, y = mosaic.centre
        raise CrsError(
            f"the middle of the DEM ({x:.6g}, {y:.6g}) lies outside the area of {crs.name}",
            expected="a place on the Earth",
            do=ReadingRemedy.GIVE_RIGHT_CRS,
        )
    target = local_metric_crs(geodetic.to_2d(), place)
    transformer = Transformer.from_crs(crs, target, always_xy=True)
    size = cell_m if cell_m is not None else _true_cell_m(mosaic, transformer)
    west, south, east, north = transformer.transform_bounds(*mosaic.bounds, densify_pts=41)
    if not all(map(math.isfinite, (west, south, east, north))):
        raise CrsError(
            f"the DEM reaches beyond where {target.name} can show it",
            expected="a DEM of one region",
            do="cut it to the ranch and its surroundings first",
        )
    left, top = math.floor(west / size), math.ceil(north / size)
    cols, rows = math.ceil(east / size) - left, top - math.floor(south / size)
    grid = Grid(rows, cols, Affine(size, 0, left * size, 0, -size, top * size), target)
    return Projection(crs, target, size), grid


def _true_cell_m(mosaic: Mosaic, transformer: Transformer) -> float:
    x, y = mosaic.centre
    a, e = mosaic.transform.a, -mosaic.transform.e
    xs, ys = transformer.transform([x - a, x + a, x, x], [y, y, y - e, y + e])
    width = math.hypot(xs[1] - xs[0], ys[1] - ys[0]) / 2
    height = math.hypot(xs[3] - xs[2], ys[3] - ys[2]) / 2
    return float(f"{math.sqrt(width * height):.3g}")


def rescale_to_metres(mosaic: Mosaic, crs: CRS) -> tuple[Grid, tuple[str, ...]]:
    """Return the mosaic's own grid in metres; no cell is touched."""
    factor = linear_factor(crs)
    t = mosaic.transform
    if factor == 1.0:
        return Grid(mosaic.rows, mosaic.cols, t, crs), ()
    metric = metric_equivalent(crs)
    scaled = Affine(t.a * factor, 0, t.c * factor, 0, t.e * factor, t.f * factor)
    unit = crs.axis_info[0].unit_name
    note = (
        f"The map is in {unit} ({short_name(crs)}); taken as {short_name(metric)}, the same "
        f"projection in metres, cells of {exactly(scaled.a, 'm')}, nothing resampled."
    )
    return Grid(mosaic.rows, mosaic.cols, scaled, metric), (note,)


def source_window(mosaic: Mosaic, projection: Projection, grid: Grid) -> tuple[int, int, int, int]:
    """Rows and columns of the mosaic that a part of the working grid needs.

    Returns
    -------
    row0, row1, col0, col1
        Half-open, clipped to the mosaic, with two cells to spare.
    """
    back = Transformer.from_crs(projection.target, projection.source, always_xy=True)
    west, south, east, north = back.transform_bounds(*grid.bounds, densify_pts=41)
    m_west, _, _, _ = mosaic.bounds
    if projection.source.is_geographic and m_west >= 180.0:
        west, east = west + 360.0, east + 360.0
    t = mosaic.transform
    col0 = math.floor((west - t.c) / t.a) - 2
    col1 = math.ceil((east - t.c) / t.a) + 2
    row0 = math.floor((north - t.f) / t.e) - 2
    row1 = math.ceil((south - t.f) / t.e) + 2
    return max(row0, 0), min(row1, mosaic.rows), max(col0, 0), min(col1, mosaic.cols)


def resample(
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    transform: Affine,
    projection: Projection,
    grid: Grid,
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Resample bilinearly onto the working grid; void cells spread nothing.

    Parameters
    ----------
    z, valid
        Numbers and mask of the mosaic or a part of it.
    transform
        Transform of ``z`` in the mosaic's units.
    projection
        Systems on both sides.
    grid
        Grid to fill.

    Returns
    -------
    z, valid
        float32 and bool, shape of the grid. A cell is valid where the source cell under its centre
        is; its height is the weighted mean of the valid ones among the four around it. The part
        of a grid gets the same heights as the whole.
    """
    rows, cols, first_row, first_col = _nodes(transform, projection, grid)
    out = np.empty(grid.shape, dtype=np.float32)
    out_valid = np.empty(grid.shape, dtype=np.bool_)

    def band(start: int, stop: int) -> None:
        bilinear_rows(
            z, valid, rows, cols, NODE_CELLS, first_row, first_col, start, stop, out, out_valid
        )

    over_bands(band, grid.rows)
    return out, out_valid


def _nodes(
    transform: Affine, projection: Projection, grid: Grid
) -> tuple[NDArray[np.float64], NDArray[np.float64], int, int]:
    """Where a net of target cells lies in the source, projected exactly.

    The net is tied to the origin of the coordinate system, not to the grid, so that a part of a
    grid shares the nodes of the whole.
    """
    t = grid.transform
    row0, col0 = round(t.f / t.e), round(t.c / t.a)
    first_row, first_col = row0 % NODE_CELLS, col0 % NODE_CELLS
    row = row0 - first_row + NODE_CELLS * np.arange((first_row + grid.rows) // NODE_CELLS + 2)
    col = col0 - first_col + NODE_CELLS * np.arange((first_col + grid.cols) // NODE_CELLS + 2)
    x, y = np.meshgrid(t.c + (col - col0 + 0.5) * t.a, t.f + (row - row0 + 0.5) * t.e)
    back = Transformer.from_crs(projection.target, projection.source, always_xy=True)
    lon, lat = back.transform(x, y)
    if projection.source.is_geographic and transform.c >= 180.0:
        lon = lon + 360.0
    return (
        (lat - transform.f) / transform.e - 0.5,
        (lon - transform.c) / transform.a - 0.5,
        first_row,
        first_col,
    )
