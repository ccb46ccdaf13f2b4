"""Bring maps of codes, polygons or raster, onto the cells of an elevation grid."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import Resampling
from rasterio.features import rasterize
from rasterio.transform import Affine
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window

from terrain.reading.opening import GDAL_ERRORS, quiet_gdal
from terrain.values.arrays import read_only
from terrain.values.grid import Grid
from terrain.values.parallel import band_edges
from terrain.values.reading_remedies import ReadingRemedy
from terrain.vectors.patches import MapError, Patches

#: Different codes that one map may hold: a byte a cell, 0 for none.
MOST_CODES = 255


@dataclass(frozen=True, slots=True, eq=False)
class CodeMap:
    """A code for each cell.

    Parameters
    ----------
    index
        uint8, shape ``(rows, cols)``: 0 where the map has nothing, else one more than the place
        of the cell's code in `codes`.
    codes
        The different codes, as the map writes them.
    name
        The file.
    notes
        Plain sentences: what was done.
    """

    index: NDArray[np.uint8]
    codes: tuple[Any, ...]
    name: str
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        read_only(self.index)


def burn_patches(patches: Patches, grid: Grid) -> CodeMap:
    """Give each cell the code of the polygon that its centre lies in; the last one counts.

    Polygons without a code leave a hole.

    Raises
    ------
    MapError
        None of the polygons meets the grid, or there are more than 255 different codes.
    """
    codes, which = _numbered(patches.values, patches.name)
    known = which > 0
    shapes, numbers = patches.shapes[known], which[known]
    tree = shapely.STRtree(shapes)
    if not tree.query(shapely.box(*grid.bounds)).size:
        raise MapError(
            f"{patches.name} lies outside the DEM",
            expected="a map that covers it",
            do="check that both belong to the same ranch, and the coordinate system of each",
        )
    out = np.zeros(grid.shape, dtype=np.uint8)
    west, _, east, _ = grid.bounds
    for a, b in band_edges(grid.rows):
        t = grid.transform @ Affine.translation(0, a)
        south = t.f + (b - a) * t.e
        # in the file's order, so that the last polygon counts in every band alike
        here = np.sort(tree.query(shapely.box(west, south, east, t.f)))
        if here.size:
            rasterize(
                zip(shapes[here], numbers[here].tolist(), strict=True),
                out=out[a:b],
                transform=t,
            )
    return CodeMap(out, codes, patches.name, patches.notes)


def read_codes(path: str | os.PathLike[str], grid: Grid) -> CodeMap:
    """Read a raster of codes onto a grid, taking the nearest code for each cell.

    Raises
    ------
    MapError
        Unreadable, not whole numbers, without a place, off the grid, or with more than 255
        different codes.
    """
    source = os.fspath(path)
    name = Path(source).name
    if grid.crs is None:
        raise MapError(
            f"{name} cannot be laid over a DEM whose place is not known",
            expected="a DEM with a coordinate system",
            do=ReadingRemedy.GIVE_CRS_OF_DEM,
        )
    try:
        with quiet_gdal(), rasterio.open(source) as file:
            _check_file(file, name)
            return _read_codes(file, grid, name)
    except GDAL_ERRORS as error:
        raise MapError(
            f"{name} cannot be read as a raster of codes", expected="a whole raster file"
        ) from error


def _check_file(file: Any, name: str) -> None:
    if file.count != 1:
        raise MapError(f"{name} has {file.count} bands", expected="one band of codes")
    if np.dtype(file.dtypes[0]).kind not in "iu":
        raise MapError(
            f"{name} holds {file.dtypes[0]} numbers", expected="whole numbers, one for each cover"
        )
    if not file.crs:
        raise MapError(f"{name} has no coordinate system", expected="one", do="export it with it")


def _read_codes(file: Any, grid: Grid, name: str) -> CodeMap:
    notes = []
    own = CRS.from_user_input(file.crs.to_wkt())
    if file.transform.almost_equals(grid.transform) and file.shape == grid.shape:
        pass
    else:
        notes.append(
            f"{name} ({file.res[0]:.3g} x {file.res[1]:.3g} in {own.name}) was laid over the DEM's "
            "cells, each taking the nearest code."
        )
    out = np.zeros(grid.shape, dtype=np.uint8)
    number: dict[int, int] = {}
    alpha = file.nodata is None
    warp = {
        "crs": grid.crs.to_wkt() if grid.crs is not None else None,
        "transform": grid.transform,
        "height": grid.rows,
        "width": grid.cols,
        "resampling": Resampling.nearest,
        # what lies off the file is told apart from every code
        "add_alpha": alpha,
    }
    with WarpedVRT(file, **warp) as onto:
        for a, b in band_edges(grid.rows):
            window = Window(0, a, grid.cols, b - a)
            codes = onto.read(1, window=window)
            # the alpha band itself: masks of signed types do not follow it
            there = (onto.read(2, window=window) if alpha else codes != file.nodata) != 0
            table = _table(codes[there], number, name)
            if table is not None:
                low, lookup = table
                out[a:b][there] = lookup[codes[there].astype(np.int64) - low]
    if not number:
        raise MapError(
            f"{name} has no codes over the DEM",
            expected="a raster that covers it",
            do="check that both belong to the same ranch, and the coordinate system of each",
        )
    return CodeMap(out, tuple(number), name, tuple(notes))


def _table(
    codes: NDArray[Any], number: dict[int, int], name: str
) -> tuple[int, NDArray[np.uint8]] | None:
    """Lookup from code less the lowest one to its number; new codes are given the next one."""
    if not codes.size:
        return None
    low, high = int(codes.min()), int(codes.max())
    if high - low > 1_000_000:
        raise MapError(
            f"{name} holds codes from {low} to {high}", expected="codes of cover, such as 11 to 95"
        )
    there = np.flatnonzero(np.bincount(codes.astype(np.int64).reshape(-1) - low))
    for code in (int(c) + low for c in there):
        number.setdefault(code, len(number) + 1)
    _check_count(len(number), name)
    lookup = np.zeros(high - low + 1, dtype=np.uint8)
    lookup[there] = [number[int(c) + low] for c in there]
    return low, lookup


def _numbered(values: NDArray[Any], name: str) -> tuple[tuple[Any, ...], NDArray[np.int64]]:
    """Different codes in the file's order, and the number of each value; 0 for no value."""
    number: dict[Any, int] = {}
    which = np.zeros(len(values), dtype=np.int64)
    for i, value in enumerate(values):
        plain = value.item() if isinstance(value, np.generic) else value
        if plain is None or plain != plain or str(plain).strip() == "":
            continue
        which[i] = number.setdefault(plain, len(number) + 1)
    _check_count(len(number), name)
    if not number:
        raise MapError(f"{name} has no value in any polygon", expected="a code in each")
    return tuple(number), which


def _check_count(count: int, name: str) -> None:
    if count > MOST_CODES:
        raise MapError(
            f"{name} holds more than {MOST_CODES} different codes",
            expected="soil groups or cover codes",
            do="name the field that holds them",
        )
