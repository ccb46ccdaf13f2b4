"""Coordinate systems: what a raster's is, and which metric one to work in.

Every grid the project works on is projected and in metres. A projected system in feet becomes the
same projection in metres without touching a cell. Degrees, and map projections whose areas are not
true where the data lie, need projecting; the datum always stays the same.
"""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
from pyproj import CRS, Proj, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError as PyprojCrsError
from pyproj.exceptions import ProjError

from terrain.values.errors import CrsError
from terrain.values.reading_remedies import ReadingRemedy
from terrain.values.units import unit_from_factor

#: A projection that stretches areas more than this is not fit for measuring on.
AREA_STRETCH_LIMIT = 0.01

#: Largest shift allowed when feet become metres, m.
SAME_PLACE_M = 0.001


def parse_crs(text: str, *, what: str) -> CRS:
    """Return the coordinate system that a text names (``EPSG:..``, WKT, PROJ).

    Raises
    ------
    CrsError
        The text names none.
    """
    try:
        return CRS.from_user_input(text)
    except PyprojCrsError:
        shown = text if len(text) <= 60 else text[:57] + "..."
        raise CrsError(
            f"{what} '{shown}' is not a known coordinate system",
            expected="a code such as EPSG:26913, or WKT",
            do="look the code up in the DEM's description",
        ) from None


def horizontal_part(crs: CRS) -> CRS:
    """Return the flat part of a coordinate system: without heights and without a datum shift."""
    if crs.is_bound and crs.source_crs is not None:
        return horizontal_part(crs.source_crs)
    if crs.is_compound:
        return horizontal_part(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) > 2 else crs


def as_published(crs: CRS) -> CRS:
    """Return the published twin of a system read from a file: it knows its name and its area."""
    code = crs.to_epsg()
    if code is not None:
        known = CRS.from_epsg(code)
        if known.equals(crs, ignore_axis_order=True):
            return known
    return crs


def vertical_axis_unit(crs: CRS) -> str | None:
    """Return the unit of the height axis (``m``, ``ft``, ``us-ft``), or None without one.

    Raises
    ------
    CrsError
        Heights are in some other unit.
    """
    if crs.is_bound and crs.source_crs is not None:
        return vertical_axis_unit(crs.source_crs)
    axes = [a for part in (crs.sub_crs_list or [crs]) for a in part.axis_info]
    up = [a for a in axes if a.direction.lower() == "up"]
    if not up:
        return None
    unit = unit_from_factor(up[0].unit_conversion_factor)
    if unit is None:
        raise CrsError(
            f"a coordinate system with heights in '{up[0].unit_name}'",
            expected="metres or feet",
            do=ReadingRemedy.TURN_AND_GIVE_VERTICAL_UNIT,
        )
    return unit


def is_usable(crs: CRS | None) -> bool:
    """Whether a coordinate system places its data on the Earth."""
    if crs is None:
        return False
    flat = horizontal_part(crs)
    return bool(flat.is_geographic or flat.is_projected)


def same_crs(a: CRS, b: CRS) -> bool:
    """Whether two coordinate systems mean the same places, whatever they are called."""
    if a.equals(b, ignore_axis_order=True):
        return True
    code = a.to_epsg(min_confidence=70)
    return code is not None and code == b.to_epsg(min_confidence=70)


def datum_name(crs: CRS) -> str:
    """Return the name of the geodetic datum."""
    geodetic = crs.geodetic_crs
    if geodetic is not None and geodetic.datum is not None:
        return str(geodetic.datum.name)
    return str(geodetic.name) if geodetic is not None else "unknown"


def short_name(crs: CRS) -> str:
    """Return the code of a coordinate system where it has one, with its name."""
    code = crs.to_epsg(min_confidence=70)
    return f"{crs.name} (EPSG:{code})" if code else str(crs.name)


def place_of(crs: CRS, x: float, y: float) -> tuple[float, float] | None:
    """Return longitude and latitude of a point, or None where the system does not reach."""
    geodetic = crs.geodetic_crs
    if geodetic is None:
        return None
    try:
        transformer = Transformer.from_crs(crs, geodetic.to_2d(), always_xy=True)
        lon, lat = transformer.transform(x, y, errcheck=True)
    except ProjError:
        return None
    if not (math.isfinite(lon) and math.isfinite(lat)):
        return None
    lon = (lon + 180.0) % 360.0 - 180.0
    area = crs.area_of_use
    if area is not None:
        east = area.east if area.east >= area.west else area.east + 360.0
        inside = area.west - 2 <= lon <= east + 2 or area.west - 2 <= lon + 360 <= east + 2
        if not (inside and area.south - 2 <= lat <= area.north + 2):
            return None
    return lon, lat


def area_stretch(crs: CRS, place: tuple[float, float] | None) -> float:
    """How much a projection enlarges areas at a place: 0 is true, 0.65 is 65 % too large."""
    if place is None:
        return 0.0
    try:
        factors = Proj(crs).get_factors(*place)
    except ProjError:
        return 0.0
    scale = float(factors.areal_scale)
    return scale - 1.0 if math.isfinite(scale) else 0.0


def linear_factor(crs: CRS) -> float:
    """Metres in one unit of a projected system's axes."""
    return float(crs.axis_info[0].unit_conversion_factor)


def metric_equivalent(crs: CRS) -> CRS:
    """Return the same projection with metres for axes.

    Parameters
    ----------
    crs
        Projected system, any linear unit.

    Returns
    -------
    pyproj.CRS
        A published system where one lies within 1 mm, else one built for the purpose.

    Raises
    ------
    CrsError
        The result would move points by 1 mm or more.
    """
    factor = linear_factor(crs)
    if factor == 1.0:
        return crs
    spec: dict[str, Any] = crs.to_json_dict()
    _axes_to_metres(spec["coordinate_system"]["axis"])
    for parameter in spec["conversion"].get("parameters", []):
        unit = parameter.get("unit")
        if isinstance(unit, dict) and unit.get("type") == "LinearUnit":
            parameter["value"] = parameter["value"] * unit["conversion_factor"]
            parameter["unit"] = "metre"
    for key in ("id", "ids", "area", "bbox", "scope", "usages", "remarks"):
        spec.pop(key, None)
    spec["conversion"].pop("id", None)
    spec["conversion"]["name"] = f"{spec['conversion'].get('name', 'projection')}, metres"
    spec["name"] = re.sub(r"\s*\((ftUS|ft|ftIntl)\)$", "", spec["name"]) + " (metres)"
    built = CRS.from_json_dict(spec)
    code = built.to_epsg(min_confidence=25)
    if code is not None:
        published = CRS.from_epsg(code)
        if _shift_m(crs, published, factor) < SAME_PLACE_M:
            return published
    shift = _shift_m(crs, built, factor)
    if not shift < SAME_PLACE_M:
        raise CrsError(
            f"'{crs.name}' could not be turned into metres: points would move by {shift:.3g} m",
            expected="less than 1 mm",
            do="warp the DEM to a metric coordinate system first",
        )
    return built


def _axes_to_metres(axes: list[dict[str, Any]]) -> None:
    for axis in axes:
        axis["unit"] = "metre"


def _shift_m(feet: CRS, metres: CRS, factor: float) -> float:
    """Largest distance, m, between the same points in both systems; infinite when unrelated."""
    geodetic = feet.geodetic_crs
    if geodetic is None or not metres.is_projected:
        return math.inf
    flat = geodetic.to_2d()
    to_feet = Transformer.from_crs(flat, feet, always_xy=True)
    area = feet.area_of_use
    if area is not None:
        west, south, east, north = area.bounds
        lon = [west + f * (east - west) for f in (0.1, 0.5, 0.9)]
        lat = [south + f * (north - south) for f in (0.1, 0.5, 0.9)]
        x, y = to_feet.transform(np.tile(lon, 3), np.repeat(lat, 3))
    else:
        some = np.array([0.0, 3e5, 1e6])
        x, y = np.tile(some, 3), np.repeat(some, 3)
    back = to_feet.transform(x, y, direction="INVERSE")
    xm, ym = Transformer.from_crs(flat, metres, always_xy=True).transform(*back)
    shift = np.hypot(np.multiply(x, factor) - xm, np.multiply(y, factor) - ym)
    # Where one is not a number the other must not be either; one common point is the least.
    both = np.isfinite(x) & np.isfinite(back[0]) & np.isfinite(xm)
    return float(shift[both].max()) if both.any() else math.inf


def local_metric_crs(geodetic: CRS, place: tuple[float, float]) -> CRS:
    """Return a metric system for a place, in the same datum.

    Parameters
    ----------
    geodetic
        Geographic system in two dimensions, whose datum is kept.
    place
        Longitude and latitude of the middle of the data, degrees.

    Returns
    -------
    pyproj.CRS
        The UTM zone of that datum where one is published for the place, else a transverse Mercator
        projection centred on the data.
    """
    lon, lat = place
    pattern = re.compile(re.escape(str(geodetic.name)) + r" / UTM zone \d+[NS]$")
    zones = query_utm_crs_info(
        datum_name=geodetic.name,
        area_of_interest=AreaOfInterest(lon, lat, lon, lat),
        contains=True,
    )
    codes = sorted({int(z.code) for z in zones if pattern.match(z.name) and z.auth_name == "EPSG"})
    if codes:
        return CRS.from_epsg(codes[0])
    centre_lon, centre_lat = round(lon, 2), round(lat, 2)
    return ProjectedCRS(
        conversion=TransverseMercatorConversion(
            latitude_natural_origin=centre_lat, longitude_natural_origin=centre_lon
        ),
        name=f"{geodetic.name} / local transverse Mercator {centre_lon:g} {centre_lat:g}",
        geodetic_crs=geodetic,
    )
