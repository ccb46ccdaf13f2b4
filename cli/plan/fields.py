"""Every field of every output layer, in one table.

Layer schemas, unit conversion, the field guide (in the plan and in ``FIELDS.md``) and the
tests all come from here. Inside, everything is SI; US names and numbers are made on writing.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.file_errors import LayerError
from cli.plan.field_types import (
    ACRE_M2,
    CFS_M3S,
    FOOT_M,
    MILE_M,
    Field,
    Kind,
    LayerSpec,
    Units,
)
from cli.plan.fields_floods import FLOOD_ROWS
from cli.plan.fields_ground import GROUND_FIELDS, GROUND_LAYERS, GROUND_TABLES, NOTE_LAYERS
from cli.plan.fields_revising import (
    FIELD_SITE_FIELDS,
    RECORD_TABLES,
    REVISED_TABLES,
    REVISING_FIELDS,
)
from cli.plan.fields_structures import (
    CONTROLS,
    SITE_FIELDS,
    STRUCTURE_FIELDS,
    STRUCTURE_LAYERS,
    STRUCTURE_TABLES,
)
from cli.plan.fields_works import WORK_FIELDS, WORK_LAYERS, WORK_SITE_FIELDS, WORK_TABLES
from cli.plan.row_units import us_factors, us_words
from cli.plan.tidy_numbers import tidy
from terrain.values.errors import ParameterError

__all__ = [
    "ACRE_M2",
    "CFS_M3S",
    "CONTROLS",
    "FIELDS",
    "FOOT_M",
    "HEADCUT_ANSWERS",
    "LAYERS",
    "MILE_M",
    "Field",
    "Kind",
    "LayerSpec",
    "Units",
    "check_units",
    "convert_columns",
    "fields_of",
    "schema",
]

LAYERS: Mapping[str, LayerSpec] = {
    spec.name: spec
    for spec in (
        LayerSpec("ranch", "MultiPolygon", None, "The boundary that was given"),
        LayerSpec("drainage_areas", "MultiPolygon", "site_id", "The land that drains to each site"),
        *GROUND_LAYERS,
        LayerSpec(
            "channels", "LineString", "channel_id", "Channels, one line between two junctions"
        ),
        LayerSpec(
            "cross_sections", "LineString", "section_id", "Lines across the channel, left to right"
        ),
        *STRUCTURE_LAYERS,
        LayerSpec("structure_lines", "LineString", "site_id", "The crest of each structure"),
        LayerSpec("headcuts", "Point", "headcut_id", "Sudden drops found in the channel beds"),
        *WORK_LAYERS,
        LayerSpec("sites", "Point", "site_id", "Candidate sites, by the rank of their works"),
        *NOTE_LAYERS,
        LayerSpec("floods", None, None, "Every flood method at every site, side by side"),
        LayerSpec(
            "flood_inputs", None, "site_id", "What the flood methods were given at each site"
        ),
        LayerSpec("rainfall", None, None, "The rain that the floods were made from"),
        *STRUCTURE_TABLES,
        *WORK_TABLES,
        *GROUND_TABLES,
        *RECORD_TABLES,
        *REVISED_TABLES,
        LayerSpec("run_info", None, "name", "What the run was given and what it met"),
        LayerSpec("field_guide", None, None, "What each field means"),
    )
}

CHANNEL_FORMS = (
    ("cut", "For half of its length or more it lies within gullies"),
    ("open", "Water runs here over ground that is mostly not cut"),
)
WIDTH_SOURCES = (
    ("dem", "Measured on the elevation raster"),
    ("curve", "From a published regional curve; measure on site"),
    ("measured", "Measured on site"),
)
HEADCUT_KINDS = (
    ("channel", "A drop in the bed of a channel"),
    ("side", "A drop where a side channel enters"),
)
HEADCUT_ANSWERS = (
    ("site", "A site stands at it"),
    ("unsure", "Not sure enough to plan for: look at it"),
    ("hillside", "The bed is so steep that it belongs to the hillside"),
    ("no channel", "The land above it is too small for a channel"),
    ("outside", "Outside the ranch"),
)
RETURN_PERIODS = (2, 5, 10, 25, 50, 100)

_AREA = "Land that drains to this place"
_COMPLETE = "False where the raster's edge or a hole cuts the area: area and flow are then minima"
_STATION = "Distance along the channel from its lower end"
_AZIMUTH = "Direction of the flow on the map, clockwise from north"
_SLOPE = (
    "Bed slope where the structure stands, drop over distance: through its footprint, at a headcut "
    "below its foot; on a road its grade"
)
_SLOPE_REACH = "with the one it stands on, the steepest is held against limits"
_REACH = (
    "Share of the rise to the foot of its drop that a grade control's crest makes up, 0 to 1; of a "
    "headcut that of its pair, 1 where it needs no water backed to it; empty where nothing is built"
)
_BANKS_FIRST = (
    "True where the elevations do not show the banks that have to hold the flow over a crest: "
    "measure them before building; also at the headcut above"
)
_CONFIDENCE = "How sure the finding is, 0 to 1; below 0.5 look before planning"


def _rows() -> tuple[Field, ...]:
    f = Field
    channels = [
        f("channels", "channel_id", "int", 0, "Number of the channel", True),
        f(
            "channels",
            "downstream_id",
            "int",
            0,
            "Channel it flows into; 0 where it leaves the raster",
            True,
        ),
        f(
            "channels",
            "stream_order",
            "int",
            0,
            "Strahler order: 1 has no tributaries, two of the same order make the next",
            True,
        ),
        f("channels", "length_m", "float", 2, "Length along the channel", True),
        f("channels", "slope", "float", 5, "Mean bed slope, drop over length", True),
        f("channels", "drainage_area_ha", "float", 4, "Land that drains to its lower end", True),
        f("channels", "area_complete", "bool", 0, _COMPLETE, True),
        f("channels", "form", "text", 0, "Whether it is cut", False, CHANNEL_FORMS),
        f("channels", "cut_m", "float", 2, "Length of it that lies within gullies"),
    ]
    headcuts = [
        f("headcuts", "headcut_id", "int", 0, "Number of the headcut", True),
        f("headcuts", "channel_id", "int", 0, "Channel it lies on", True),
        f("headcuts", "station_m", "float", 2, _STATION, True),
        f("headcuts", "headcut_height_m", "float", 2, "Height of the drop, lip to foot", True),
        f("headcuts", "face_slope", "float", 4, "Slope of the face, drop over distance", True),
        f("headcuts", "drainage_area_ha", "float", 4, _AREA, True),
        f("headcuts", "confidence", "float", 2, _CONFIDENCE, True),
        f("headcuts", "width_m", "float", 2, "Bank-top width just below the drop"),
        f("headcuts", "depth_m", "float", 2, "Bank-top depth just below the drop"),
        f("headcuts", "kind", "text", 0, "Where the drop is", False, HEADCUT_KINDS),
        f("headcuts", "evidence", "text", 0, "What speaks for a headcut, in words"),
        f("headcuts", "flow_azimuth_deg", "float", 1, _AZIMUTH),
        f("headcuts", "lon", "float", 7, "Longitude, WGS 84, degrees"),
        f("headcuts", "lat", "float", 7, "Latitude, WGS 84, degrees"),
        f("headcuts", "site_id", "int", 0, "Site at it; 0 where there is none"),
        f("headcuts", "answer", "text", 0, "What became of it", False, HEADCUT_ANSWERS),
        f("headcuts", "why_no_site", "text", 0, "Why it is no site"),
    ]
    sites = [
        f("sites", "site_id", "int", 0, "Number of the site; the same input gives the same", True),
        f("sites", "rank", "int", 0, "Rank of its work, 1 first; 0 where nothing is built", True),
        f("sites", "structure", "text", 0, "What to build", True),
        f("sites", "control", "text", 0, "What the structure is for", True, CONTROLS),
        f("sites", "channel_id", "int", 0, "Channel it lies on", True),
        f("sites", "station_m", "float", 2, _STATION, True),
        f("sites", "elevation_m", "float", 2, "Elevation of the bed", True),
        f("sites", "slope", "float", 5, _SLOPE, True),
        f("sites", "slope_above", "float", 5, f"Bed slope over the reach above; {_SLOPE_REACH}"),
        f("sites", "slope_below", "float", 5, f"Bed slope over the reach below; {_SLOPE_REACH}"),
        f("sites", "width_m", "float", 2, "Bank-top width; empty where nobody saw it"),
        f("sites", "depth_m", "float", 2, "Bank-top depth; empty where nobody saw it"),
        f("sites", "width_low_m", "float", 2, "Least width where nobody saw it; else empty"),
        f("sites", "width_high_m", "float", 2, "Greatest width where nobody saw it; else empty"),
        f("sites", "width_source", "text", 0, "Where the width comes from", False, WIDTH_SOURCES),
        f("sites", "bank_width_m", "float", 2, "Width between the bank tops; the lower bank rules"),
        f("sites", "bank_depth_m", "float", 2, "Depth from the lower bank top to the bed"),
        f("sites", "bankfull_width_m", "float", 2, "Width of the flow that fills the inner bench"),
        f("sites", "bankfull_depth_m", "float", 2, "Depth of the flow that fills the inner bench"),
        f("sites", "headcut_height_m", "float", 2, "Height of the drop; empty where there is none"),
        f("sites", "drainage_area_ha", "float", 4, _AREA, True),
        f("sites", "area_complete", "bool", 0, _COMPLETE, True),
        *(
            f(
                "sites",
                f"q{t}_m3s",
                "float",
                4,
                f"Peak flow with a 1 in {t} chance a year; empty without rainfall for it",
            )
            for t in RETURN_PERIODS
        ),
        f("sites", "flood_method", "text", 0, "Flood method that the peak flows are from"),
        f("sites", "flood_note", "text", 0, "What limits the peak flows"),
        f("sites", "tc_h", "float", 3, "Time the water takes from the far end of the area to here"),
        f("sites", "curve_number", "float", 1, "Runoff curve number used, 0 to 100"),
        f("sites", "structure_height_m", "float", 2, "Height of the structure above the bed"),
        f("sites", "structure_length_m", "float", 2, "Length of the structure along the channel"),
        f("sites", "reach_share", "float", 2, _REACH),
        f("sites", "banks_first", "bool", 0, _BANKS_FIRST),
        f("sites", "pair_id", "int", 0, "Sites that work together share this number; 0 for none"),
        f(
            "sites",
            "build_order",
            "int",
            0,
            "Place in the building of its work, from 1; 0 for none",
        ),
        f(
            "sites",
            "score",
            "float",
            3,
            "What its work saves for its cost, over the most of any work: 0 to 1",
            True,
        ),
        f("sites", "confidence", "float", 2, _CONFIDENCE, True),
        f("sites", "reason", "text", 0, "Why here", True),
        f("sites", "caution", "text", 0, "What to check or what can go wrong"),
        f("sites", "flow_azimuth_deg", "float", 1, _AZIMUTH),
        f("sites", "lon", "float", 7, "Longitude, WGS 84, degrees", True),
        f("sites", "lat", "float", 7, "Latitude, WGS 84, degrees", True),
        *WORK_SITE_FIELDS,
        *SITE_FIELDS,
        *FIELD_SITE_FIELDS,
    ]
    areas = [
        f("drainage_areas", "site_id", "int", 0, "Site that the land drains to", True),
        f("drainage_areas", "drainage_area_ha", "float", 4, "Size of the area", True),
        f("drainage_areas", "mean_slope", "float", 4, "Mean slope of the ground, rise over run"),
        f("drainage_areas", "flow_path_m", "float", 1, "Longest way that water takes to the site"),
        f("drainage_areas", "curve_number", "float", 1, "Runoff curve number used, 0 to 100"),
        f("drainage_areas", "area_complete", "bool", 0, _COMPLETE),
    ]
    lines = [
        f("structure_lines", "site_id", "int", 0, "Site of the structure", True),
        f("structure_lines", "crest_length_m", "float", 2, "Length across the channel", True),
        f("cross_sections", "section_id", "int", 0, "Number of the cross-section", True),
        f("cross_sections", "channel_id", "int", 0, "Channel it crosses", True),
        f("cross_sections", "station_m", "float", 2, _STATION, True),
        f("cross_sections", "width_m", "float", 2, "Bank-top width", True),
        f("cross_sections", "depth_m", "float", 2, "Bank-top depth", True),
    ]
    tables = [
        *(f(*row) for row in FLOOD_ROWS),
        *STRUCTURE_FIELDS,
        *WORK_FIELDS,
        *GROUND_FIELDS,
        *REVISING_FIELDS,
        f("ranch", "name", "text", 0, "Name of the piece of land, where the file has one"),
        f("ranch", "area_ha", "float", 3, "Area inside the boundary", True),
        f("run_info", "name", "text", 0, "What is told", True),
        f("run_info", "value", "text", 0, "Its value", True),
        *(
            f("field_guide", name, "text", 0, meaning, True)
            for name, meaning in (
                ("layer", "Layer of the plan"),
                ("field", "Name of the field"),
                ("type", "Kind of value"),
                ("unit", "Unit of the value"),
                ("meaning", "What it means"),
                ("values", "Allowed values, where there is a list"),
            )
        ),
    ]
    return (*channels, *headcuts, *sites, *areas, *lines, *tables)


FIELDS: tuple[Field, ...] = _rows()


def check_units(units: str) -> Units:
    """Return the units when they are known.

    Raises
    ------
    ParameterError
        Neither ``si`` nor ``us``.
    """
    if units == "si":
        return "si"
    if units == "us":
        return "us"
    raise ParameterError(f"units {units!r}", expected="si or us")


@functools.cache
def fields_of(layer: str) -> tuple[Field, ...]:
    """Fields of a layer in the order they are written.

    Raises
    ------
    LayerError
        No such layer.
    """
    if layer not in LAYERS:
        raise LayerError(f"a layer named {layer!r}", expected="one of " + ", ".join(LAYERS))
    return tuple(field for field in FIELDS if field.layer == layer)


def schema(layer: str, units: Units = "si") -> dict[str, Kind]:
    """Names and kinds of a layer's fields in the units asked for."""
    return {field.name_in(check_units(units)): field.kind for field in fields_of(layer)}


def convert_columns(
    layer: str, columns: Mapping[str, NDArray[Any]], units: Units
) -> dict[str, NDArray[Any]]:
    """Columns as they are written: named and rounded for the units asked for.

    Parameters
    ----------
    layer
        Name of the layer.
    columns
        SI columns by SI name; may be some of the layer's fields only, but with the unit of their
        rows.
    units
        ``si`` or ``us``.

    Raises
    ------
    LayerError
        A column that the layer does not have.
    """
    check_units(units)
    known = {field.name: field for field in fields_of(layer)}
    row_units = {field.unit_from for field in known.values()}
    unknown = [name for name in columns if name not in known]
    if unknown:
        raise LayerError(f"{layer} has no field {', '.join(unknown)}", expected=", ".join(known))
    out: dict[str, NDArray[Any]] = {}
    for name, values in columns.items():
        field = known[name]
        if field.kind == "float":
            scaled = np.asarray(values, dtype=np.float64)
            if units == "us":
                factor = us_factors(columns[field.unit_from]) if field.unit_from else field.factor
                scaled = scaled * factor
            # Adding zero turns -0.0, which prints badly, into 0.0.
            feet = units == "us" and bool(field.unit_from or field.name_us.endswith("_ft"))
            values = tidy(scaled, field.decimals_in(units), feet=feet) + 0.0
        elif units == "us" and name in row_units:
            values = us_words(values)
        out[field.name_in(units)] = values
    return out
