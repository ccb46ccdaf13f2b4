"""Reading points from any vector file into the raster's coordinate system."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError as PyprojCrsError

from terrain.values.errors import CrsError, GullywalkError, ParameterError
from terrain.vectors.vector_files import UNREADABLE


class PointsError(GullywalkError, ValueError):
    """A file of points that cannot be used."""


def read_points(path: str | os.PathLike[str], crs: CRS) -> NDArray[np.float64]:
    """Read the points of a vector file, in the file's order.

    Parameters
    ----------
    path
        Any vector file with one layer (GeoJSON, Shapefile, GeoPackage, KML).
    crs
        Coordinate system wanted, m.

    Returns
    -------
    numpy.ndarray
        Shape ``(n, 2)``: x and y, m.

    Raises
    ------
    PointsError
        Missing, no vector file, no points in it, or points that the system does not reach.
    CrsError
        The file has no coordinate system.
    """
    source = os.fspath(path)
    name = Path(source).name
    if not os.path.exists(source):
        raise PointsError(f"no file {source}", expected="a file of points", do="check the path")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            meta, _, wkb, _ = pyogrio.raw.read(source, columns=[])
            shapes = shapely.from_wkb(wkb) if wkb is not None else np.array([])
    except UNREADABLE as error:
        raise PointsError(
            f"{name} cannot be read as a vector file",
            expected="points in a GeoJSON, Shapefile, GeoPackage or KML file",
        ) from error
    parts = shapely.get_parts(shapes[~shapely.is_missing(shapes)]) if len(shapes) else shapes
    kinds = sorted({part.geom_type for part in parts} - {"Point"})
    if not len(parts) or kinds:
        found = f"a {kinds[0]}" if kinds else "no shape"
        raise PointsError(f"{name} holds {found}", expected="points")
    xy = shapely.get_coordinates(parts)
    return _moved(xy, meta["crs"], crs, name)


def _moved(xy: NDArray[np.float64], own: str | None, crs: CRS, name: str) -> NDArray[np.float64]:
    """Bring coordinates into the system wanted."""
    if not own:
        raise CrsError(
            f"{name} has no coordinate system",
            expected="one",
            do="export it again with its coordinate system",
        )
    try:
        mover = Transformer.from_crs(CRS.from_user_input(own), crs, always_xy=True)
    except PyprojCrsError as error:
        raise CrsError(
            f"{name} has a coordinate system that is not understood", expected="a published one"
        ) from error
    # As lists: pyproj takes an array of one place for a number.
    moved = np.column_stack(mover.transform(xy[:, 0].tolist(), xy[:, 1].tolist()))
    if not np.isfinite(moved).all():
        raise ParameterError(f"{name} has a point that lies far outside the raster")
    return moved
