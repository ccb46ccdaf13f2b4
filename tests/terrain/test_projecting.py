"""Resampling: the kernel against plain interpolation, and positions against exact projection."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS, Transformer
from scipy.ndimage import map_coordinates

from terrain._kernels.resample import bilinear_rows
from terrain.reading.mosaic import Mosaic
from terrain.reading.projecting import plan_projection, resample, source_window

GEODETIC = CRS.from_epsg(4269)


def degrees(rows: int, cols: int, cell: float, west: float = -104.5, north: float = 39.6) -> Mosaic:
    place = Affine(cell, 0, west, 0, -cell, north)
    return Mosaic(rows, cols, place, ((0, 0),), ((rows, cols),))


@pytest.mark.parametrize("compiled", [True, False])
def test_the_kernel_equals_plain_bilinear_interpolation(compiled: bool) -> None:
    rng = np.random.default_rng(3)
    z = rng.normal(1600, 50, (20, 24)).astype(np.float32)
    valid = np.ones(z.shape, dtype=np.bool_)
    # Two nodes each way, 16 cells apart: positions run linearly between them.
    node_row = np.array([[1.3, 2.3], [17.2, 18.1]])
    node_col = np.array([[2.1, 21.0], [1.4, 22.2]])
    out = np.empty((14, 15), dtype=np.float32)
    known = np.empty(out.shape, dtype=np.bool_)
    kernel = bilinear_rows if compiled else getattr(bilinear_rows, "py_func", bilinear_rows)
    kernel(z, valid, node_row, node_col, 16, 1, 1, 0, 14, out, known)
    fr, fc = np.meshgrid((np.arange(14) + 1) / 16, (np.arange(15) + 1) / 16, indexing="ij")

    def between(node: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        return (1 - fr) * ((1 - fc) * node[0, 0] + fc * node[0, 1]) + fr * (
            (1 - fc) * node[1, 0] + fc * node[1, 1]
        )

    wanted = map_coordinates(
        z.astype(np.float64), [between(node_row), between(node_col)], order=1, mode="nearest"
    )
    assert known.all()
    np.testing.assert_allclose(out, wanted, atol=1e-3, rtol=0)


@pytest.mark.parametrize("cell", [1 / 108000, 1 / 3600])
def test_positions_between_nodes_are_exact_to_a_thousandth_of_a_cell(cell: float) -> None:
    mosaic = degrees(150, 170, cell)
    projection, grid = plan_projection(mosaic, GEODETIC, (-104.45, 39.57), None)
    # A raster of its own column and row numbers tells where each target cell was read.
    row, col = np.indices((150, 170)).astype(np.float32)
    valid = np.ones(row.shape, dtype=np.bool_)
    read_row, known = resample(row, valid, mosaic.transform, projection, grid)
    read_col, _ = resample(col, valid, mosaic.transform, projection, grid)
    back = Transformer.from_crs(projection.target, GEODETIC, always_xy=True)
    lon, lat = back.transform(*grid.xy(*np.indices(grid.shape)))
    u = (lon - mosaic.transform.c) / cell - 0.5
    v = (lat - mosaic.transform.f) / -cell - 0.5
    inner = known & (u > 0) & (v > 0) & (u < 169) & (v < 149)
    assert inner.sum() > 10_000
    np.testing.assert_allclose(read_col[inner], u[inner], atol=1e-3, rtol=0)
    np.testing.assert_allclose(read_row[inner], v[inner], atol=1e-3, rtol=0)


def test_the_window_of_a_part_holds_all_that_the_part_needs() -> None:
    mosaic = degrees(400, 500, 1 / 10800)
    projection, grid = plan_projection(mosaic, GEODETIC, (-104.48, 39.58), None)
    assert source_window(mosaic, projection, grid) == (0, 400, 0, 500)
    t = grid.transform
    corner = Affine(t.a, 0, t.c + 100 * t.a, 0, t.e, t.f + 150 * t.e)
    part = type(grid)(50, 60, corner, grid.crs)
    row0, row1, col0, col1 = source_window(mosaic, projection, part)
    back = Transformer.from_crs(projection.target, GEODETIC, always_xy=True)
    lon, lat = back.transform(*part.xy(*np.indices(part.shape)))
    u = (lon - mosaic.transform.c) * 10800 - 0.5
    v = (mosaic.transform.f - lat) * 10800 - 0.5
    assert row0 <= np.floor(v).min()
    assert np.floor(v).max() + 1 < row1
    assert col0 <= np.floor(u).min()
    assert np.floor(u).max() + 1 < col1
    assert (row1 - row0) * (col1 - col0) < 1.5 * part.size
