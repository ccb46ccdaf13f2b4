"""The shaded ground as a raster layer of the plan, so that a plan is drawn without its raster."""

from __future__ import annotations

import math
import os
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.errors import RasterioError, RasterioIOError

from cli.plan.layers import Layer
from terrain.values.grid import Grid
from terrain.values.raster import Raster

Bounds = tuple[float, float, float, float]
LAYER = "relief"
MEANING = "Shaded ground, a picture to draw the plan on; it holds no elevations"
#: Pixels along the longer side at most; quality of the picture's tiles, per cent.
MOST_PIXELS, QUALITY = 2000, 75
_TILE = 256
#: Ground around what the plan holds, as a share of its longer side.
_MARGIN = 0.04
_SHOWN = ("ranch", "sites", "headcuts", "drainage_areas", "structures", "pools")


@dataclass(frozen=True, slots=True, eq=False)
class ReliefPicture:
    """A picture of the ground.

    Parameters
    ----------
    grid
        Its pixels on the map.
    rgb
        uint8, shape ``(rows, cols, 3)``; white where nothing is known.
    """

    grid: Grid
    rgb: NDArray[np.uint8]

    @property
    def extent(self) -> Bounds:
        """West, east, south, north, as an image wants it."""
        west, south, east, north = self.grid.bounds
        return west, east, south, north

    @property
    def tiles(self) -> int:
        """Number of tiles that it is kept in."""
        rows, cols = self.grid.shape
        return math.ceil(rows / _TILE) * math.ceil(cols / _TILE)


def relief_picture(raster: Raster, layers: Mapping[str, Layer]) -> ReliefPicture | None:
    """Shade the ground of a plan: all that its layers cover, with a margin.

    Parameters
    ----------
    raster
        Elevations, m.
    layers
        Layers of the plan by name.

    Returns
    -------
    ReliefPicture or None
        None where the raster has no coordinate system, so that the picture would have no place.
    """
    # the figures bring a drawing library along, which readers of a plan can do without
    from cli.plan.relief import hillshade, relief_of

    if raster.grid.crs is None:
        return None
    relief = relief_of(raster, _bounds(raster, layers), most_cells=MOST_PIXELS)
    rgba = hillshade(relief)
    rgb = np.where(rgba[..., 3:] > 0, rgba[..., :3], np.uint8(255))
    return ReliefPicture(relief.grid, rgb)


def _bounds(raster: Raster, layers: Mapping[str, Layer]) -> Bounds:
    parts = [layers[name].geometry for name in _SHOWN if name in layers and layers[name].rows]
    shapes = [part for part in parts if part is not None]
    if not shapes:
        return raster.grid.bounds
    west, south, east, north = shapely.total_bounds(np.concatenate(shapes)).tolist()
    pad = _MARGIN * max(east - west, north - south)
    return west - pad, south - pad, east + pad, north + pad


def start_with_relief(part: Path, picture: ReliefPicture, *, fixed_date: str) -> None:
    """Begin a GeoPackage with the picture; layers are added to it afterwards.

    Parameters
    ----------
    part
        File to make; none may be there.
    picture
        The ground.
    fixed_date
        Date that stands for "changed", the same in every plan.

    Raises
    ------
    OSError
        It could not be written.
    """
    rows, cols = picture.grid.shape
    crs = picture.grid.crs
    assert crs is not None  # no picture is made without one
    settings = {
        "OGR_CURRENT_DATE": fixed_date,
        # The file is synced once, when it is whole.
        "OGR_SQLITE_SYNCHRONOUS": "OFF",
        "OGR_SQLITE_JOURNAL": "DELETE",
        "CREATE_METADATA_TABLES": "NO",
    }
    try:
        with (
            rasterio.Env(**settings),
            rasterio.open(
                part,
                "w",
                driver="GPKG",
                width=cols,
                height=rows,
                count=3,
                dtype="uint8",
                crs=crs.to_wkt(),
                transform=picture.grid.transform,
                RASTER_TABLE=LAYER,
                RASTER_IDENTIFIER=LAYER,
                RASTER_DESCRIPTION=MEANING,
                TILE_FORMAT="JPEG",
                QUALITY=QUALITY,
                TILING_SCHEME="CUSTOM",
                BLOCKSIZE=_TILE,
                VERSION="1.3",
            ) as out,
        ):
            out.write(np.moveaxis(picture.rgb, 2, 0))
    # The library stumbles over its own message when a disk is full: a TypeError comes then.
    except (RasterioError, TypeError) as error:
        raise OSError(f"the shaded ground could not be written: {error}") from error


def check_relief(db: sqlite3.Connection, picture: ReliefPicture) -> None:
    """Check that every tile of the picture is in an unfinished plan.

    Raises
    ------
    sqlite3.DatabaseError
        Some are missing: the library that writes them does not always say so.
    """
    (count,) = db.execute(f'SELECT count(*) FROM "{LAYER}"').fetchone()
    if count != picture.tiles:
        raise sqlite3.DatabaseError(f"{count} of {picture.tiles} tiles of {LAYER} were written")


def read_relief(path: str | os.PathLike[str]) -> ReliefPicture | None:
    """Read the picture of a plan back; None where the plan has none."""
    try:
        with rasterio.open(os.fspath(path), driver="GPKG", TABLE=LAYER) as source:
            rgb = np.moveaxis(source.read([1, 2, 3]), 0, 2)
            t = source.transform
            crs = CRS.from_wkt(source.crs.to_wkt()) if source.crs is not None else None
            grid = Grid(source.height, source.width, Affine(t.a, t.b, t.c, t.d, t.e, t.f), crs)
    except RasterioIOError:
        return None
    return ReliefPicture(grid, rgb)
