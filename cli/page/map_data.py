"""Everything that the page draws on its map, in metres from a corner of the page."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from cli import palette
from cli.figures.drawing import downhill_turn
from cli.page.ground_picture import Bounds, GroundPicture
from cli.palette import SiteSymbol
from cli.plan.layers import Layer
from cli.plan.plan_reading import PlanFile
from cli.plan.structure_looks import StructureLooks

#: Lines may leave their true way by so much, m: less than a pixel of any useful view.
_TOLERANCE_M = 0.4
#: Points a side of the grid that turns projected coordinates into degrees.
_DEGREES = 17
#: Margin about everything, as a share of its size, and least size of a map, m.
_MARGIN, _LEAST_M = 0.06, 60.0


@dataclass(frozen=True, slots=True)
class Frame:
    """What the map covers, m; the page counts from its lower left corner."""

    bounds: Bounds

    @classmethod
    def around(cls, plan: PlanFile) -> Frame:
        """Frame about the ranch, or where there is none about channels and sites."""
        shapes: list[BaseGeometry] = []
        for name in ("ranch", "sites", "headcuts", "structures"):
            shapes += _shapes(plan, name)
        if not _shapes(plan, "ranch"):
            shapes += _shapes(plan, "channels")
        if not shapes:
            return cls((0.0, 0.0, _LEAST_M, _LEAST_M))
        west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object)).tolist()
        more = max(_MARGIN * max(east - west, north - south), 15.0)
        wide, high = max(east - west, _LEAST_M), max(north - south, _LEAST_M)
        x, y = (west + east) / 2, (south + north) / 2
        return cls(
            (x - wide / 2 - more, y - high / 2 - more, x + wide / 2 + more, y + high / 2 + more)
        )

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and height, m."""
        west, south, east, north = self.bounds
        return east - west, north - south

    def local(self, shape: BaseGeometry, digits: int = 1) -> list[list[float]]:
        """Rings or lines of a shape as flat lists x, y, x, y from the corner."""
        west, south = self.bounds[:2]
        return [
            np.round(shapely.get_coordinates(line) - (west, south), digits).ravel().tolist()
            for line in _lines(shape)
        ]

    def point(self, shape: BaseGeometry) -> list[float]:
        """A point from the corner."""
        return [round(shape.x - self.bounds[0], 2), round(shape.y - self.bounds[1], 2)]


def map_data(plan: PlanFile, frame: Frame, picture: GroundPicture | None) -> dict[str, Any]:
    """Layers of the map, without the sites, which carry more than a shape.

    Parameters
    ----------
    plan
        The plan.
    frame
        What the map covers.
    picture
        Shaded ground, where there is some.
    """
    west, south = frame.bounds[:2]
    data: dict[str, Any] = {
        "corner": [round(west, 2), round(south, 2)],
        "size": [round(v, 1) for v in frame.size_m],
        "ranch": _many(plan, "ranch", frame),
        "roads": _many(plan, "roads", frame),
        "channels": _channels(plan, frame),
        "headcuts": _headcuts(plan, frame),
        "looks": _looks(plan, frame),
        "structures": _footprints(plan, frame),
        "gullies": _gullies(plan, frame),
        "pools": _pools(plan, frame),
        "areas": _areas(plan, frame),
    }
    if (crs := plan.crs) is not None:
        data |= {"crs": crs_words(crs), "degrees": degrees(frame, crs)}
    if picture is not None:
        a, b, c, d = picture.bounds
        box = [round(v, 2) for v in (a - west, b - south, c - west, d - south)]
        data["relief"] = {"box": box, "address": picture.address}
    return data


def crs_words(crs: pyproj.CRS) -> str:
    """Name of a coordinate system and its code, where it has one."""
    code = crs.to_authority(min_confidence=70)
    return f"{crs.name} ({':'.join(code)})" if code else str(crs.name)


def degrees(frame: Frame, crs: pyproj.CRS) -> dict[str, Any]:
    """Longitudes and latitudes of a grid over the map; between its points the page interpolates.

    With 16 steps across 20 km the error of that is about 0.1 m.
    """
    west, south, east, north = frame.bounds
    x, y = np.meshgrid(np.linspace(west, east, _DEGREES), np.linspace(south, north, _DEGREES))
    turn = pyproj.Transformer.from_crs(crs, pyproj.CRS.from_epsg(4326), always_xy=True)
    lon, lat = turn.transform(x, y)
    return {
        "n": _DEGREES,
        "lon": np.round(lon.ravel(), 7).tolist(),
        "lat": np.round(lat.ravel(), 7).tolist(),
    }


def mark(symbol: SiteSymbol, azimuth_deg: float) -> dict[str, Any]:
    """Shape and colour of a site: its name in the list of shapes, and how far it is turned."""
    turn = downhill_turn(azimuth_deg) if symbol.turns else 0.0
    return {"shape": symbol.key, "turn": round(turn)}


def shapes_in_use(looks: StructureLooks) -> dict[str, dict[str, str]]:
    """Path, colour and words of every shape of a site, and of a headcut."""
    own = {symbol.key: symbol for symbol in looks.own_symbols.values()}
    symbols = {s.key: s for s in palette.SITE_SYMBOLS} | own
    shapes = {
        name: {
            "path": palette.svg_path(symbol.rings, scale=1.0, centre=0.0),
            "colour": symbol.colour,
            "label": symbol.label,
        }
        for name, symbol in symbols.items()
    }
    comb = palette.svg_path((palette.COMB,), scale=1.0, centre=0.0)
    label = "Headcut as found: a drop in the bed that moves upstream"
    return shapes | {"headcut": {"path": comb, "colour": palette.HEADCUT, "label": label}}


def _shapes(plan: PlanFile, name: str) -> list[BaseGeometry]:
    layer = plan.layers.get(name)
    return [] if layer is None or layer.geometry is None else list(layer.geometry)


def _lines(shape: BaseGeometry) -> Iterable[BaseGeometry]:
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            yield part.exterior
            yield from part.interiors
        else:
            yield part


def _many(plan: PlanFile, name: str, frame: Frame) -> list[list[float]]:
    found = []
    for shape in _shapes(plan, name):
        found += frame.local(shapely.simplify(shape, _TOLERANCE_M))
    return found


def _rows(plan: PlanFile, name: str) -> tuple[NDArray[Any], Mapping[str, NDArray[Any]]]:
    layer: Layer = plan.layers[name]
    shapes = layer.geometry if layer.geometry is not None else np.array([], dtype=object)
    return shapes, layer.columns


def _channels(plan: PlanFile, frame: Frame) -> list[dict[str, Any]]:
    shapes, columns = _rows(plan, "channels")
    # Parts far outside are of no use and may be most of the raster.
    box = shapely.box(*frame.bounds)
    found = []
    for i in np.flatnonzero(shapely.intersects(shapes, box)) if len(shapes) else ():
        area = float(np.nan_to_num(columns["drainage_area_ha"][i], nan=1.0))
        shape = shapely.simplify(shapely.intersection(shapes[i], box.buffer(200)), _TOLERANCE_M)
        found.append(
            {
                "at": frame.local(shape),
                "wide": round(palette.channel_width_mm(area) * 96 / 25.4, 2),
                "whole": bool(columns["area_complete"][i]),
            }
        )
    return found


def _headcuts(plan: PlanFile, frame: Frame) -> list[dict[str, Any]]:
    shapes, columns = _rows(plan, "headcuts")
    return [
        {
            "at": frame.point(shape),
            "turn": round(downhill_turn(float(columns["flow_azimuth_deg"][i]))),
            "sure": bool(columns["confidence"][i] >= palette.LOW_CONFIDENCE),
        }
        for i, shape in enumerate(shapes)
    ]


def _looks(plan: PlanFile, frame: Frame) -> list[dict[str, Any]]:
    """Reaches to look at first: their mark, its place in the middle, and the line."""
    shapes, columns = _rows(plan, "look_first")
    return [
        {
            "mark": f"L{columns['look_id'][i]}",
            "at": frame.point(shapely.line_interpolate_point(shape, 0.5, normalized=True)),
            "line": frame.local(shape),
        }
        for i, shape in enumerate(shapes)
    ]


def _footprints(plan: PlanFile, frame: Frame) -> list[dict[str, Any]]:
    shapes, columns = _rows(plan, "structures")
    return [
        {
            "site": int(columns["site_id"][i]),
            "shape": str(columns["control"][i] or "refer"),
            "body": bool(columns["is_body"][i]),
            "at": frame.local(shapely.simplify(shape, 0.03), 2),
        }
        for i, shape in enumerate(shapes)
    ]


def _gullies(plan: PlanFile, frame: Frame) -> list[list[list[float]]]:
    """Rings of each gully, to half a metre."""
    shapes, _ = _rows(plan, "gullies")
    return [frame.local(shapely.simplify(shape, 0.5)) for shape in shapes]


def _pools(plan: PlanFile, frame: Frame) -> list[dict[str, Any]]:
    shapes, columns = _rows(plan, "pools")
    water = {
        int(columns["site_id"][i]): shape
        for i, shape in enumerate(shapes)
        if columns["kind"][i] == "pool"
    }
    found = []
    for i, shape in enumerate(shapes):
        number, kind = int(columns["site_id"][i]), str(columns["kind"][i] or "pool")
        if kind == "wedge" and number in water:
            shape = shapely.difference(shape, water[number])
        lines = frame.local(shapely.simplify(shape, 0.1))
        if lines:
            found.append({"site": number, "kind": kind, "at": lines})
    return found


def _areas(plan: PlanFile, frame: Frame) -> dict[str, list[list[float]]]:
    """Drainage area of each site, coarsely: it is a hint on the map, not a survey."""
    shapes, columns = _rows(plan, "drainage_areas")
    found = {}
    for i, shape in enumerate(shapes):
        rough = min(max(math.sqrt(shape.area) / 110, 1.0), 12.0)
        simple = shapely.simplify(shape, rough)
        parts = [p for p in shapely.get_parts(simple) if p.area > 4 * rough * rough]
        found[str(int(columns["site_id"][i]))] = frame.local(shapely.MultiPolygon(parts))
    return found
