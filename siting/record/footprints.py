"""Structures on the map: footprints to scale, and the crest across the channel."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from siting.channels.reaches import section_lines
from siting.record.feature_tables import lines_of
from siting.sites import Sites
from siting.structures.structure_type import Part
from siting.values.columns import FeatureTable, shapes_of, texts_of
from terrain.values.arrays import FloatArray


def middles(sites: Sites) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle of each structure: place, and metres to the right of it (looking downstream).

    A structure is centred on the measured channel where one was measured at the place itself.
    """
    s = sites.section
    measured = np.isfinite(s.left_m) & np.isfinite(s.right_m) & (sites.cell == sites.section_cell)
    half = 0.5 * np.nan_to_num(sites.drawn("crest_m"))
    shift = np.where(measured, 0.5 * (s.left_m + s.right_m), 0.0)
    return sites.x_m, sites.y_m, np.clip(np.nan_to_num(shift), -half, half)


def placed_part(
    part: Part, x_m: float, y_m: float, azimuth_deg: float, shift_m: float
) -> BaseGeometry:
    """Turn a part's outline, in metres along and across the flow, into a polygon on the map."""
    along, across = np.array(part.outline, dtype=np.float64).T
    angle = np.radians(azimuth_deg)
    east, north = np.sin(angle), np.cos(angle)
    right = across + shift_m
    # right of the flow when looking downstream is (north, -east)
    corners = np.column_stack(
        [x_m + along * east + right * north, y_m + along * north - right * east]
    )
    shape = shapely.Polygon(corners)
    return shape if shape.is_valid else shapely.make_valid(shape)


def footprint_table(sites: Sites) -> FeatureTable:
    """Parts of every structure as polygons to scale; at the widest where nobody saw the width."""
    x, y, shift = middles(sites)
    shapes, ids, parts, bodies = [], [], [], []
    for i, site in enumerate(sites):
        for k, part in enumerate(site.drawn[1].parts if site.ends else ()):
            at = (float(x[i]), float(y[i]), float(sites.azimuth_deg[i]), float(shift[i]))
            shapes.append(_polygons(placed_part(part, *at)))
            ids.append(i + 1)
            parts.append(part.name)
            bodies.append(k == 0)
    return FeatureTable(
        shapes_of(shapes),
        {
            "site_id": np.array(ids, dtype=np.int64),
            "structure": texts_of([sites[i - 1].structure for i in ids]),
            "control": texts_of([sites[i - 1].control for i in ids]),
            "part": texts_of(parts),
            "is_body": np.array(bodies, dtype=np.bool_),
        },
    )


def crest_table(sites: Sites) -> FeatureTable:
    """Crests of the structures as lines across the channel; sites that are referred have none.

    Drawn at the widest where nobody saw the width; their length is then not told.
    """
    crest = sites.drawn("crest_m")
    has = np.flatnonzero(np.isfinite(crest))
    x, y, shift = middles(sites)
    half = 0.5 * crest[has]
    ends = section_lines(
        x[has], y[has], sites.azimuth_deg[has], shift[has] - half, shift[has] + half
    )
    return FeatureTable(
        lines_of(ends), {"site_id": has + 1, "crest_length_m": sites.sized("crest_m")[has]}
    )


def _polygons(shape: BaseGeometry) -> BaseGeometry:
    """Only the polygons of a shape, as one multipolygon."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
    return shapely.MultiPolygon(parts)
