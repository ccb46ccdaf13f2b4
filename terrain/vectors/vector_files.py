"""What the readers of vector files share: what may go wrong, and whose coordinates they hold."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyogrio.errors
import shapely
import shapely.errors
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError as PyprojCrsError

from terrain.reading.crs import horizontal_part, is_usable, same_crs
from terrain.values.errors import GullywalkError

#: A file that GDAL cannot open, a layer or a shape in it that cannot be read.
UNREADABLE = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.GeometryError,
    shapely.errors.GEOSException,
)

#: Formats whose coordinates are longitude and latitude by their own standard.
LON_LAT_FORMATS = (".geojson", ".json", ".kml", ".kmz", ".gpx")


def own_crs(text: str | None, name: str, *, error: type[GullywalkError]) -> CRS:
    """Return a file's own coordinate system.

    Parameters
    ----------
    text
        What the file says of it; None for nothing.
    name
        The file.
    error
        Raised when there is none, or none that places the file on the Earth.
    """
    if not text:
        if name.lower().endswith(LON_LAT_FORMATS):
            return CRS.from_epsg(4326)
        hint = "give its .prj file with it" if name.lower().endswith(".shp") else "export it"
        raise error(
            f"{name} has no coordinate system",
            expected="one",
            do=f"{hint} with its coordinate system",
        )
    try:
        crs = horizontal_part(CRS.from_user_input(text))
    except PyprojCrsError:
        crs = None
    if crs is None or not is_usable(crs):
        named = "that is not understood" if crs is None else f"'{crs.name}'"
        raise error(
            f"{name} has a coordinate system {named}",
            expected="a published one that places it on the Earth",
            do="export it again in longitude and latitude (EPSG:4326)",
        )
    return crs


def check_corners(
    shapes: NDArray[Any], own: CRS, name: str, *, error: type[GullywalkError]
) -> None:
    """Make sure that corners are numbers, and degrees where degrees are said.

    Parameters
    ----------
    shapes
        Shapely geometries, shape ``(n,)``.
    own
        Coordinate system that the file says.
    name, error
        The file, and the kind of error to raise.

    Raises
    ------
    GullywalkError
        Of the given kind.
    """
    points = shapely.get_coordinates(shapes)
    if not np.isfinite(points).all():
        raise error(
            f"{name} has a corner that is not a number",
            expected="numbers",
            do="mend the shape in a GIS, or export the file again",
        )
    if not own.is_geographic:
        return
    off = (np.abs(points[:, 0]) > 360) | (np.abs(points[:, 1]) > 90)
    if off.any():
        x, y = points[np.flatnonzero(off)[0]]
        raise error(
            f"{name} should be in longitude and latitude but has a corner at ({x:.7g}, {y:.7g})",
            expected="degrees",
            do="export it again with its coordinate system",
        )


def moved(shapes: NDArray[Any], own: CRS, crs: CRS) -> NDArray[Any]:
    """Bring shapes ``(n,)`` into another system; corners it does not reach are not finite."""
    if same_crs(own, crs):
        return shapes
    mover = Transformer.from_crs(own, crs, always_xy=True)
    return np.asarray(shapely.transform(shapes, mover.transform, interleaved=False))
