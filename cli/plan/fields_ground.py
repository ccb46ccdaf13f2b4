"""Fields of what makes a plan self-contained: roads, ground at each site, settings, field notes.

Part of the field table (`cli.plan.fields`).
"""

from __future__ import annotations

from typing import Final

from cli.plan.field_types import Field, LayerSpec
from cli.plan.fields_structures import STAGES

Codes = tuple[tuple[str, str], ...]

DECISIONS: Final[Codes] = (
    ("build", "Build here as planned"),
    ("move", "Build, but at the place this point was moved to"),
    ("skip", "Do not build here"),
    ("refer", "Ask an engineer or another specialist first"),
)
SOILS: Final[Codes] = (
    ("rock", "Rock in place, that a shovel does not break"),
    ("stones", "Cobbles and stones, larger than a fist"),
    ("gravel", "Gravel, from a pea to a fist"),
    ("sand", "Sand: gritty, falls apart when dry"),
    ("loam", "Loam: holds a shape when moist, crumbles when pressed"),
    ("clay", "Clay: sticky, rolls into a ribbon when moist"),
    ("peat", "Peat or black wet soil, soft underfoot"),
    ("mixed", "Layers or a mixture: say which in the notes"),
)
SECTION_SOURCES: Final[Codes] = (
    ("dem", "Read across the channel on the elevation raster"),
    ("curve", "Made up from a published regional curve: the raster does not show the channel"),
    ("measured", "Stretched to the width and depth measured on site"),
)
SETTINGS_KEPT: Final[Codes] = (
    ("rules", "Limits, as a TOML file that --rules reads"),
    ("works", "Horizon and order of the works, JSON"),
    ("weights", "Weights of the ranking, in plans up to format 2"),
    ("costs", "Prices and productivity, as a TOML file that --costs reads"),
    ("stock", "What there is to build with, as JSON"),
    ("earth", "Soil of the banks and what grows on the bed, as JSON"),
    ("means", "Spare, crew, and what there is to spend, as JSON"),
    ("design", "Design flood, and names of the files that limits and costs came from"),
    ("floods", "What the floods were made with beside rain and maps, as JSON"),
    ("keep", "Roads and what else is kept clear of, as GeoJSON in the plan's coordinates"),
)

GROUND_LAYERS: Final = (
    LayerSpec("roads", "LineString", None, "Roads that were given"),
    LayerSpec("gullies", "MultiPolygon", "gully_id", "Ground that is cut between edges"),
    LayerSpec(
        "look_first",
        "LineString",
        "look_id",
        "Reaches that may be filling again: look at them before anything is built; no series there",
    ),
)
#: Drawn above everything else: its points are moved on site.
NOTE_LAYERS: Final = (
    LayerSpec(
        "field_notes",
        "Point",
        None,
        "To fill in on site, one point for each site: move it to where you measured",
    ),
)
GROUND_TABLES: Final = (
    LayerSpec("profile_points", None, None, "Bed of the channel above and below each site"),
    LayerSpec("section_points", None, None, "Ground across the channel at each site"),
    LayerSpec("settings_used", None, "name", "Exact settings of the run, in SI units"),
)

_SITE: Final = "Number of the site"
_ON_SITE: Final = "measured on site; empty where it was not"


def _f(
    layer: str,
    name: str,
    kind: str,
    decimals: int,
    meaning: str,
    *,
    required: bool = False,
    codes: Codes = (),
    us_suffix: str = "",
) -> Field:
    return Field(layer, name, kind, decimals, meaning, required, codes, us_suffix)  # type: ignore[arg-type]


_LOOK_FIRST: Final = (
    ("look_id", "int", 0, "Number of the reach, the longest first"),
    ("channel_id", "int", 0, "Channel it lies on"),
    ("station_m", "float", 2, "Where it begins, along the channel from its lower end"),
    ("length_m", "float", 1, "Its length along the channel"),
    ("stage", "int", 0, "How far the channel is in cutting down and healing, mostly"),
    ("stage_confidence", "float", 2, "How sure that stage is, 0 to 1"),
    ("bench_m", "float", 2, "Height of the bench in the cut above the bed"),
    ("bank_depth_m", "float", 2, "Depth from the lower bank top to the bed"),
    ("bank_width_m", "float", 2, "Width between the bank tops"),
    ("slope", "float", 5, "Bed slope, drop over distance"),
    ("drainage_area_ha", "float", 4, "Land that drains to its lower end"),
    ("evidence", "text", 0, "What speaks for it, and what to look for"),
    ("lon", "float", 7, "Longitude of its lower end, WGS 84, degrees"),
    ("lat", "float", 7, "Latitude of its lower end, WGS 84, degrees"),
)
_GULLIES: Final = (
    ("gully_id", "int", 0, "Number of the gully, the one with the largest void first"),
    ("channel_id", "int", 0, "Channel at its lowest place; 0 where none is"),
    ("area_m2", "float", 2, "Area between its edges"),
    ("length_m", "float", 2, "Length along its longest flow line"),
    ("mean_width_m", "float", 2, "Shortest way from edge to edge, averaged over its flow lines"),
    ("greatest_width_m", "float", 2, "The greatest such width"),
    ("mean_depth_m", "float", 2, "Depth below the ground laid straight across, over its area"),
    ("greatest_depth_m", "float", 2, "Greatest such depth along its flow lines"),
    ("void_m3", "float", 2, "Ground that is gone: up to straight lines from edge to edge"),
    ("void_low_m3", "float", 2, "The same with the edges one cell further in, less noise"),
    ("void_high_m3", "float", 2, "The same with the edges one cell further out, and noise"),
    ("heads", "int", 0, "Number of headcuts in it or at its edge"),
    ("head_ids", "text", 0, "Their numbers"),
    ("maybe_ditch", "bool", 0, "True where it is as long and straight as a ditch"),
    (
        "confidence",
        "float",
        2,
        "How clear it is, 0 to 1, by its depth against noise, its length and its straightness: a "
        "judgement, no probability",
    ),
    ("lon", "float", 7, "Longitude of its lowest place, WGS 84, degrees"),
    ("lat", "float", 7, "Latitude of its lowest place, WGS 84, degrees"),
)
GROUND_FIELDS: Final = (
    *(
        _f(
            "gullies",
            name,
            kind,
            decimals,
            meaning,
            required=name == "gully_id",
            us_suffix="_yd3" if name.endswith("_m3") else "",
        )
        for name, kind, decimals, meaning in _GULLIES
    ),
    _f("roads", "name", "text", 0, "What the file of roads calls it"),
    *(
        _f("look_first", name, kind, decimals, meaning, codes=STAGES if name == "stage" else ())
        for name, kind, decimals, meaning in _LOOK_FIRST
    ),
    _f("profile_points", "site_id", "int", 0, _SITE, required=True),
    _f(
        "profile_points",
        "station_m",
        "float",
        2,
        "Distance along the channel from its lower end; below 0 in the channel that it flows into",
        required=True,
    ),
    _f(
        "profile_points",
        "distance_m",
        "float",
        2,
        "Distance from the site along the bed: 0 there, above 0 upstream, below 0 downstream; on a "
        "road straight along it",
        required=True,
    ),
    _f("profile_points", "bed_m", "float", 3, "Elevation of the bed, smoothed", required=True),
    _f("profile_points", "error_m", "float", 3, "Standard error of that elevation", required=True),
    _f(
        "profile_points",
        "piece",
        "int",
        0,
        "Which piece of the bed: rows of one even number hang together, and an odd number lies on "
        "the face of a headcut, which bed slopes leave out",
    ),
    _f("section_points", "site_id", "int", 0, _SITE, required=True),
    _f(
        "section_points",
        "offset_m",
        "float",
        2,
        "Distance to the right of the middle of the channel, looking downstream",
        required=True,
    ),
    _f(
        "section_points",
        "ground_m",
        "float",
        3,
        "Elevation of the ground; at a headcut that of the channel below the drop",
        required=True,
    ),
    _f(
        "section_points",
        "source",
        "text",
        0,
        "Where the section comes from",
        required=True,
        codes=SECTION_SOURCES,
    ),
    _f(
        "settings_used",
        "name",
        "text",
        0,
        "What the settings are about",
        required=True,
        codes=SETTINGS_KEPT,
    ),
    _f("settings_used", "text", "text", 0, "The settings, to be read again", required=True),
    _f("field_notes", "site_id", "int", 0, _SITE, required=True),
    _f(
        "field_notes",
        "decision",
        "text",
        0,
        "What to do here, once the place has been seen",
        codes=DECISIONS,
    ),
    _f("field_notes", "measured_width_m", "float", 3, f"Width between the bank tops, {_ON_SITE}"),
    _f("field_notes", "measured_depth_m", "float", 3, f"Depth below the lower bank, {_ON_SITE}"),
    _f(
        "field_notes",
        "measured_bankfull_depth_m",
        "float",
        3,
        f"Depth of the flow that fills the inner bench, {_ON_SITE}",
    ),
    _f("field_notes", "measured_drop_m", "float", 3, f"Height of the drop, {_ON_SITE}"),
    _f(
        "field_notes",
        "measured_slope",
        "float",
        5,
        f"Slope of the bed, drop over distance (0.03 for 3 in 100), {_ON_SITE}",
    ),
    _f("field_notes", "soil", "text", 0, "Soil of the bed and banks", codes=SOILS),
    _f("field_notes", "notes", "text", 0, "What else was seen"),
    _f("field_notes", "photos", "text", 0, "Names of the photographs, with commas"),
    _f("field_notes", "measured_by", "text", 0, "Who measured"),
    _f("field_notes", "measured_on", "text", 0, "When, as year-month-day such as 2031-05-20"),
)
