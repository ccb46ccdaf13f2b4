"""Read a ranch boundary from any vector file into the DEM's working coordinate system."""

from __future__ import annotations

import os
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.errors
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from rasterio.features import rasterize
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from terrain.reading.crs import place_of, same_crs, short_name
from terrain.values.errors import BoundaryError
from terrain.values.grid import Grid
from terrain.values.reading_remedies import ReadingRemedy
from terrain.vectors.vector_files import UNREADABLE, own_crs

#: A crossing is mended when that changes the area by less than this share.
MENDABLE_AREA_SHARE = 0.001

_DRAW = "draw the ranch as a polygon"


@dataclass(frozen=True, slots=True, eq=False)
class Boundary:
    """A ranch boundary in the DEM's working coordinate system.

    Parameters
    ----------
    polygon
        Valid polygon or multipolygon, m.
    crs
        Its coordinate system.
    name
        The file.
    notes
        Plain sentences: what was done to it.
    """

    polygon: Polygon | MultiPolygon
    crs: CRS
    name: str
    notes: tuple[str, ...]

    @property
    def area_ha(self) -> float:
        """Area on the map, ha."""
        return float(self.polygon.area) / 1e4

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge, m."""
        west, south, east, north = self.polygon.bounds
        return west, south, east, north


def read_boundary(
    path: str | os.PathLike[str], crs: CRS, *, layer: str | None = None, grid: Grid | None = None
) -> Boundary:
    """Read polygons, dissolve them and bring them into the DEM's system.

    Parameters
    ----------
    path
        Any vector file (GeoJSON, Shapefile, GeoPackage, KML, zipped or not).
    crs
        The DEM's working coordinate system, m.
    layer
        Layer to take where the file has several with polygons.
    grid
        When given, the boundary must meet it; see :func:`fit_to_grid`.

    Returns
    -------
    Boundary

    Raises
    ------
    BoundaryError
        Missing, no vector file, empty, points or lines, crossing itself, no or an unusable
        coordinate system, several layers, or outside the DEM.
    """
    source = os.fspath(path)
    name = Path(source).name
    if not os.path.exists(source):
        raise BoundaryError(f"no file {source}", expected="a boundary file", do="check the path")
    with warnings.catch_warnings():
        # GDAL's remarks on odd rings come back below as clear errors.
        warnings.simplefilter("ignore")
        layer, notes = _choose_layer(source, name, layer)
        meta, shapes = _read_shapes(source, name, layer)
    flat = [shapely.force_2d(s) for s in shapes if s is not None and not s.is_empty]
    polygons = _polygons_only(flat, name)
    own = own_crs(meta["crs"], name, error=BoundaryError)
    moved = [_to_working(p, own, crs, name) for p in polygons]
    if not same_crs(own, crs):
        notes.append(f"{name} is in {short_name(own)}; moved to {short_name(crs)}.")
    mended = [_mend(p, crs, name, notes) for p in moved]
    whole = shapely.union_all(mended)
    if whole.is_empty or whole.area == 0:
        raise BoundaryError(f"{name} encloses no area", expected="a polygon", do=_DRAW)
    if len(polygons) > 1:
        notes.append(f"The {len(polygons)} polygons of {name} are taken together.")
    boundary = Boundary(whole, crs, name, tuple(notes))
    return boundary if grid is None else fit_to_grid(boundary, grid)


def fit_to_grid(boundary: Boundary, grid: Grid) -> Boundary:
    """Make sure that a boundary meets the DEM, and note how much of it does.

    Raises
    ------
    BoundaryError
        It lies wholly outside; both extents are named.
    """
    frame = shapely.box(*grid.bounds)
    inside = boundary.polygon.intersection(frame).area / boundary.polygon.area
    if inside == 0:
        raise BoundaryError(
            f"{boundary.name} lies outside the DEM: it spans {_extent(boundary.bounds, grid)}, "
            f"the DEM {_extent(grid.bounds, grid)}",
            expected="a boundary that the DEM covers",
            do="check that both belong to the same ranch, and the coordinate system of each",
        )
    if inside > 0.9999:
        return boundary
    note = f"{100 * (1 - inside):.2g} % of the ranch lies outside the DEM and is not looked at."
    return replace(boundary, notes=(*boundary.notes, note))


def mask_of(polygon: BaseGeometry, grid: Grid) -> NDArray[np.bool_]:
    """Return the cells whose centres lie inside a polygon.

    Parameters
    ----------
    polygon
        In the grid's coordinate system.
    grid
        The cells.

    Returns
    -------
    ndarray of bool, shape ``(rows, cols)``
    """
    if polygon.is_empty:
        return np.zeros(grid.shape, dtype=np.bool_)
    burnt: NDArray[np.uint8] = rasterize(
        [polygon], out_shape=grid.shape, transform=grid.transform, dtype="uint8"
    )
    return burnt.view(np.bool_)


def _choose_layer(source: str, name: str, layer: str | None) -> tuple[str | None, list[str]]:
    """Pick the one layer with polygons, or the one asked for."""
    try:
        listed = [(str(n), None if t is None else str(t)) for n, t in pyogrio.list_layers(source)]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise BoundaryError(
            f"{name} cannot be read as a vector file",
            expected="a GeoJSON, Shapefile, GeoPackage or KML file",
            do="check that it is the boundary file",
        ) from error
    names = [n for n, _ in listed]
    if layer is not None:
        if layer not in names:
            raise BoundaryError(
                f"{name} has no layer '{layer}'", expected=f"one of {', '.join(names)}"
            )
        return layer, []
    if not listed:
        raise BoundaryError(f"{name} is empty", expected="a polygon", do=_DRAW)
    if len(listed) == 1:
        return listed[0][0], []
    # A layer of unknown type may hold polygons; a table cannot.
    maybe = [n for n, t in listed if t is not None and ("Polygon" in t or t == "Unknown")]
    if len(maybe) == 1:
        return maybe[0], [f"{name} has several layers; '{maybe[0]}' holds the polygons."]
    if not maybe:
        raise BoundaryError(f"{name} holds no polygons", expected="a polygon", do=_DRAW)
    raise BoundaryError(
        f"{name} has several layers with polygons ({', '.join(maybe)})",
        expected="one",
        do=ReadingRemedy.NAME_BOUNDARY_LAYER,
    )


def _read_shapes(
    source: str, name: str, layer: str | None
) -> tuple[dict[str, Any], Sequence[BaseGeometry | None]]:
    try:
        meta, _, geometry, _ = pyogrio.raw.read(source, layer=layer, columns=[])
        shapes = shapely.from_wkb(geometry, on_invalid="ignore") if geometry is not None else []
    except UNREADABLE as error:
        raise BoundaryError(
            f"{name} is damaged: its shapes cannot be read",
            expected="a whole vector file",
            do="export it again",
        ) from error
    return meta, list(shapes)


def _polygons_only(shapes: Sequence[BaseGeometry], name: str) -> list[BaseGeometry]:
    """Take the polygons, and say what is there instead when there are none."""
    if not shapes:
        raise BoundaryError(f"{name} is empty: it holds no shape", expected="a polygon", do=_DRAW)
    parts = [p for s in shapes for p in shapely.get_parts(shapely.get_parts(s))]
    polygons = [p for p in parts if p.geom_type == "Polygon"]
    if polygons:
        return polygons
    kinds = {p.geom_type for p in parts}
    closed = all(p.is_ring for p in parts if p.geom_type == "LineString")
    if "LineString" in kinds or "LinearRing" in kinds:
        found = "a closed line" if closed else "a line"
        raise BoundaryError(
            f"{name} holds {found}, not a polygon",
            expected="a polygon",
            do="turn the line into a polygon in a GIS"
            if closed
            else "close the line and turn it into a polygon in a GIS",
        )
    raise BoundaryError(
        f"{name} holds only points" if len(parts) > 1 else f"{name} holds only a point",
        expected="a polygon",
        do=_DRAW,
    )


def _to_working(shape: BaseGeometry, own: CRS, crs: CRS, name: str) -> BaseGeometry:
    """Move a shape into the working system."""
    points = shapely.get_coordinates(shape)
    if own.is_geographic and (np.abs(points[:, 0]) > 360).any() | (np.abs(points[:, 1]) > 90).any():
        x, y = points[0]
        raise BoundaryError(
            f"{name} should be in longitude and latitude but has a corner at ({x:.6g}, {y:.6g})",
            expected="degrees",
            do="export it again with its coordinate system",
        )
    if not np.isfinite(points).all():
        raise BoundaryError(f"{name} has a corner that is not a number", expected="numbers")
    if same_crs(own, crs):
        return shape
    transformer = Transformer.from_crs(own, crs, always_xy=True)
    moved = shapely.transform(shape, transformer.transform, interleaved=False)
    if not np.isfinite(shapely.get_coordinates(moved)).all():
        raise BoundaryError(
            f"{name} lies far outside the area of {crs.name}, the DEM's coordinate system",
            expected="a boundary that the DEM covers",
            do="check the coordinate system of both",
        )
    return moved


def _mend(shape: BaseGeometry, crs: CRS, name: str, notes: list[str]) -> BaseGeometry:
    """Return a valid shape; small crossings are mended, others refused with their place."""
    if shape.is_valid:
        return shape
    mended = shapely.make_valid(shape)
    parts = [p for p in shapely.get_parts(mended) if p.geom_type in ("Polygon", "MultiPolygon")]
    mended = shapely.union_all(parts) if parts else Polygon()
    before, after = _ring_area(shape), float(mended.area)
    where = _crossing(shape, crs)
    if after == 0:
        raise BoundaryError(f"{name} encloses no area", expected="a polygon", do=_DRAW)
    # The two halves of a bow tie may cancel out.
    change = abs(after - before) / before if before > 0 else 1.0
    if change >= MENDABLE_AREA_SHARE:
        raise BoundaryError(
            f"{name} crosses itself near {where}",
            expected="a polygon whose sides do not cross",
            do="mend it in a GIS and try again",
        )
    notes.append(f"{name} crossed itself near {where}; mended, its area changes by {change:.1g}.")
    return mended


def _ring_area(shape: BaseGeometry) -> float:
    """Area between the rings of one polygon as they are drawn (shoelace), m2."""
    rings = shapely.get_rings(shape)
    sizes = [float(Polygon(r).area) for r in rings]
    return sizes[0] - sum(sizes[1:]) if sizes else 0.0


def _crossing(shape: BaseGeometry, crs: CRS) -> str:
    """Name the place that makes a shape invalid."""
    reason = shapely.is_valid_reason(shape)
    if "[" not in reason:
        return str(reason).lower()
    x, y = (float(v) for v in reason.rsplit("[", 1)[1].rstrip("]").split()[:2])
    place = place_of(crs, x, y)
    degrees = "" if place is None else f" (longitude {place[0]:.5f}, latitude {place[1]:.5f})"
    return f"x {x:.1f}, y {y:.1f}{degrees}"


def _extent(bounds: tuple[float, float, float, float], grid: Grid) -> str:
    """Return an extent in words, in longitude and latitude where they are known."""
    west, south, east, north = bounds
    if grid.crs is not None:
        low, high = place_of(grid.crs, west, south), place_of(grid.crs, east, north)
        if low is not None and high is not None:
            return (
                f"longitude {low[0]:.4f} to {high[0]:.4f}, latitude {low[1]:.4f} to {high[1]:.4f}"
            )
    return f"x {west:.0f} to {east:.0f}, y {south:.0f} to {north:.0f}"
